"""Metadata that travels: what the list and the original's header state, read in the delivered files by FFmpeg's command, pyaaf2
and others; a note that comes later makes no file again."""

import csv
import json
import subprocess
from collections.abc import Mapping
from pathlib import Path

import OpenImageIO as oiio
import pytest

import independent
from here import rushlight
from logged import latest, read_records
from mxf_structure import structure
from pictures import settled, texture
from xmp import properties

NOTE = 'lamp; "Mårten" = 1\nsecond line #2 \\ \u202e'
ROW = {
    "clip": "A001C001.mov",
    "encoding": "LogC3",
    "scene": "12A",
    "take": "3",
    "circled": "yes",
    "note": NOTE,
    "production": "The Lamp Room",
    "day": "day 3",
    "unit": "main",
    "iso": "1600",
    "tint": "+3",
}
SHOWN = NOTE.replace("\u202e", "\\u202e")
WANTED = {
    **{name: ROW[name] for name in ("scene", "take", "circled", "production", "day", "unit", "iso", "tint")},
    "note": SHOWN,
    "camera": "A",
    "camera_make": "Halden",
    "camera_model": "H7",
    "camera_serial": "0042",
    "lens": "Norrin 35 mm",
    "white_balance": "5600K",
    "shutter": "172.8°",
    "state": "graded",
}
HEADER = {
    "com.apple.quicktime.make": "Halden",
    "com.apple.quicktime.model": "H7",
    "com.apple.quicktime.camera.lens_model": "Norrin 35 mm",
    "org.halden.camera_serial_number": "0042",
    "org.halden.iso": "800",
    "org.halden.white_balance": "5600",
    "org.halden.shutter_angle": "172.8",
}
RECIPE = """
[[output]]
name = "cut"
make = "movie"
codec = "prores-proxy"
size = "256x144"

[[output]]
name = "view"
make = "movie"
codec = "h264"
size = "256x144"

[[output]]
name = "relink"
make = "movie"
codec = "dnxhr-lb"
container = "mxf"
size = "256x144"

[[output]]
name = "plain"
make = "movie"
codec = "prores-proxy"
state = "log"
size = "256x144"

[[output]]
name = "wide"
make = "movie"
codec = "prores-proxy"
display = "P3-D65"
size = "256x144"

[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg", "png16", "tiff16", "exr"]
at = ["first"]
size = "128x72"
"""


def written(path: Path, row: Mapping[str, str]) -> Path:
    with path.open("w", newline="", encoding="utf-8") as stream:
        table = csv.DictWriter(stream, list(row))
        table.writeheader()
        table.writerow(row)
    return path


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("metadata")
    tags = [part for key, text in HEADER.items() for part in ("-metadata", f"{key}={text}")]
    encoder = ("-c:v", "prores_ks", "-timecode", "10:00:00:00", "-movflags", "use_metadata_tags", *tags)
    frames = [texture("yuv422p10le", 128, 72, n) for n in range(6)]
    settled(independent.write(folder / "A001C001.mov", frames, *encoder, rate="24"))
    (folder / "four.toml").write_text(RECIPE)
    written(folder / "day.csv", ROW)
    run = rushlight("render", folder / "day.csv", "--recipe", folder / "four.toml", "--out", folder / "out")
    assert run.returncode == 0, run.stderr
    return folder / "out"


def tags_of(path: Path) -> dict[str, str]:
    """The file's tags as the FFmpeg command writes them (its ffmetadata escapes `=`, `;`, `#`, a backslash and line feeds)."""
    command = [independent.FFMPEG, "-v", "error", "-i", str(path), "-f", "ffmetadata", "-"]
    text = subprocess.run(command, capture_output=True, check=True).stdout.decode()
    found, key, value, escaped = {}, "", None, False
    for c in text:
        if escaped:
            value, escaped = (value or "") + c, False
        elif c == "\\":
            escaped = True
        elif c == "=" and value is None:
            value = ""
        elif c == "\n":
            found |= {key: value} if value is not None else {}
            key, value = "", None
        elif value is None:
            key += c
        else:
            value += c
    return found


@pytest.mark.parametrize(("name", "state"), [("cut", "graded"), ("view", "graded"), ("plain", "log")])
def test_tags_of_mov_and_mp4(out: Path, name: str, state: str) -> None:
    (path,) = [p for p in (out / name).iterdir() if p.suffix in (".mov", ".mp4")]
    (record,) = latest(read_records(out)).values()
    keys = {"camera_make": "com.apple.quicktime.make", "camera_model": "com.apple.quicktime.model"}
    wanted = {keys.get(key, key): text for key, text in WANTED.items()} | {"state": state}
    wanted |= {"look": record["look"]["description"], "look_digest": record["look"]["digest"]}
    found = tags_of(path)
    assert {key: found.get(key) for key in wanted} == wanted
    usual = {"major_brand", "minor_version", "compatible_brands", "encoder", "timecode", "reel", "reel_name"}
    assert found.keys() - wanted.keys() <= usual, "nothing else is invented"
    assert record["warnings"] == [w for w in record["warnings"] if "does not state" not in w]


def test_each_file_states_the_look_that_it_shows(out: Path) -> None:
    """An output with a display of its own has another look, and another digest of it."""
    one, other = tags_of(out / "cut" / "A001C001.mov"), tags_of(out / "wide" / "A001C001.mov")
    assert one["look"].endswith("Rec.709 BT.1886") and "P3-D65" in other["look"]
    assert one["look_digest"] != other["look_digest"] and other["look_digest"].startswith("sha256:")


def test_comments_of_mxf(out: Path) -> None:
    material = structure(out / "relink" / "A001C001.mxf").packages["material"]
    assert material.name == "A001C001"
    assert {key: material.comments.get(key) for key in WANTED} == WANTED
    assert material.comments["look"].startswith("ARRI LogC3")


def header_of(path: Path) -> dict[str, object]:
    """A picture's header as OpenImageIO reads it."""
    reader = oiio.ImageInput.open(str(path))
    found = {a.name: a.value for a in reader.spec().extra_attribs}
    reader.close()
    return found


def still(out: Path, extension: str) -> Path:
    (path,) = (out / "stills").glob(f"*{extension}")
    return path


def test_standard_attributes_of_exr(out: Path) -> None:
    found = header_of(still(out, ".exr"))
    wanted = {
        "cameraLabel": "A",
        "cameraMake": "Halden",
        "cameraModel": "H7",
        "cameraSerialNumber": "0042",
        "lensModel": "Norrin 35 mm",
        "isoSpeed": 1600.0,
        "cameraCCTSetting": 5600.0,
        "cameraTintSetting": 3.0,
        "shutterAngle": pytest.approx(172.8),
        "framesPerSecond": (24, 1),
        "smpte:TimeCode": (0x10000000, 0),
        "ImageDescription": "A001C001 10:00:00:00",  # OpenEXR's `comments`
        "state": "scene light",
        "note": SHOWN,
    }
    wanted |= {name: ROW[name] for name in ("scene", "take", "circled", "production", "day", "unit")}
    assert {name: found.get(name) for name in wanted} == wanted
    assert str(found["look"]).startswith("ARRI LogC3")


@pytest.mark.parametrize("extension", [".jpg", ".tif"])
def test_tags_of_tiff_and_jpeg(out: Path, extension: str) -> None:
    found = header_of(still(out, extension))
    assert (found["Make"], found["Model"]) == ("Halden", "H7")
    if extension == ".tif":
        assert (found["Exif:BodySerialNumber"], found["Exif:LensModel"]) == ("0042", "Norrin 35 mm")
    assert found["ImageDescription"] == "A001C001 10:00:00:00"
    assert found.get("Exif:PhotographicSensitivity") == (1600 if extension == ".jpg" else None)
    assert "DateTime" not in found and "Software" not in found


@pytest.mark.parametrize("extension", [".jpg", ".png", ".tif"])
def test_xmp_of_a_still(out: Path, extension: str) -> None:
    found = properties(still(out, extension).read_bytes())
    wanted = {
        "dc:title": "A001C001",
        "dc:description": "A001C001 10:00:00:00",
        "xmpDM:scene": "12A",
        "xmpDM:takeNumber": "3",
        "xmpDM:good": "True",
        "xmpDM:cameraLabel": "A",
        "xmpDM:logComment": SHOWN,
        "xmpDM:projectName": "The Lamp Room",
        "xmpDM:shotDay": "day 3",
        "tiff:Make": "Halden",
        "tiff:Model": "H7",
        "exifEX:LensModel": "Norrin 35 mm",
        "exif:ISOSpeedRatings": "1600",
    }
    wanted |= {f"rushlight:{name}": text for name, text in WANTED.items()}
    assert {name: found.get(name) for name in wanted} == wanted


def test_stills_are_as_verify_wants_them(out: Path) -> None:
    run = rushlight("verify", out, "--json")
    (clip,) = json.loads(run.stdout)["clips"]
    assert {
        name: check["verdict"] for name, check in clip["checks"].items() if check["verdict"] == "fail"
    } == {}


def test_the_record_says_who(out: Path) -> None:
    (record,) = latest(read_records(out)).values()
    facts = record["camera_facts"]
    assert facts["iso"] == {"value": "1600", "said_by": "the list"}
    assert facts["wb"] == {"value": "5600K", "said_by": "its header (org.halden.white_balance)"}
    assert record["source"]["header"]["org.halden.iso"] == "800"


def test_what_was_written_is_read_again_as_an_original(out: Path) -> None:
    from rushlight.pipelines.originals.camera_header import header_facts
    from rushlight.pipelines.originals.probe import probe

    wanted = {"camera_make", "camera_model", "camera_serial", "lens", "iso", "tint", "shutter"}
    for path in (
        out / "cut" / "A001C001.mov",
        out / "view" / "A001C001.mp4",
        out / "relink" / "A001C001.mxf",
    ):
        found = {name: fact.value for name, fact in header_facts(probe(path).metadata).items()}
        known = wanted - {"camera_make", "camera_model"} if path.suffix == ".mxf" else wanted
        assert {name: found.get(name) for name in known} == {name: WANTED[name] for name in known}
        assert found["wb"] == "5600K"


def test_a_folder_of_an_older_version_stays_as_it_is(out: Path) -> None:
    """Its records know nothing of headers: nothing is made again, and nothing new is recorded."""
    log = out / "log" / "jobs.jsonl"
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    for line in lines:
        del line["camera_facts"], line["source"]["header"]
    old = "".join(json.dumps(line) + "\n" for line in lines)
    log.write_text(old)
    before = {path: path.stat().st_mtime_ns for path in out.rglob("A001C001*") if "log" not in path.parts}
    assert len(before) >= 9
    day = ("render", out.parent / "day.csv", "--recipe", out.parent / "four.toml", "--out", out)
    run = rushlight(*day)
    assert run.returncode == 0, run.stderr
    assert log.read_text() == old
    pictures = out / "report"
    assert {p: p.stat().st_mtime_ns for p in before if pictures not in p.parents} == {
        p: when for p, when in before.items() if pictures not in p.parents
    }


def test_a_later_note_makes_no_file_again(out: Path) -> None:
    """And where the file is made again all the same, it states the note that is known then."""
    movies = [
        p
        for p in out.rglob("*.m*")
        if p.parent.name in ("cut", "view", "relink", "plain", "wide") and p.suffix != ".mhl"
    ]
    before = {path: path.stat().st_mtime_ns for path in movies}
    assert len(before) == 5
    day = written(out.parent / "day.csv", ROW | {"note": "later", "lens": "another"})
    again = ("render", day, "--recipe", out.parent / "four.toml", "--out", out)
    run = rushlight(*again)
    assert run.returncode == 0, run.stderr
    assert {path: path.stat().st_mtime_ns for path in movies} == before
    with (out / "cut" / "clips.csv").open(newline="") as stream:
        assert [row["note"] for row in csv.DictReader(stream)] == ["later"]
    (record,) = latest(read_records(out)).values()
    assert record["camera_facts"]["lens"] == {"value": "another", "said_by": "the list"}
    assert tags_of(out / "cut" / "A001C001.mov")["note"] == SHOWN
    (out / "cut" / "A001C001.mov").unlink()
    assert rushlight(*again).returncode == 0
    found = tags_of(out / "cut" / "A001C001.mov")
    assert (found["note"], found["lens"]) == ("later", "another")
