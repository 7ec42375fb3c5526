"""The plan as a person and a script get it, of a made-up day: 300 clips of five cameras, and every original accounted for."""

import json
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from here import rushlight
from manifests import entry, hash_list
from pictures import numbered, write_movie, write_sequence
from rushlight.batch.api.plan_document import Counts
from rushlight.batch.printed.plan_page import print_plan
from rushlight.batch.room.output_sizes import GUESS_RANGE
from rushlight.pipelines.colour.cdl import CDL, format_ccc
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

# letter: suffix, rate, label of minute m, encoding
CAMERAS = {
    "A": (".mov", Fraction(24), "10:{:02}:00:00", "ARRI LogC3"),
    "B": (".mov", Fraction(24000, 1001), "11:{:02}:00:00", "V-Log"),
    "C": (".mxf", Fraction(25), "12:{:02}:00:00", "S-Log3 S-Gamut3.Cine"),
    "D": (".mp4", Fraction(30000, 1001), "13:{:02}:01;02", "Canon Log 3 Cinema Gamut"),
}
BAD = """nowhere.mov,,,LogC3,,,
A001C001,,,LogC3,,-1 1 1,
C0001.mxf,,,S-Log3 S-Gamut3.Cine,,,
A009C009.mov,,,LogC3,,,
"""


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, float | None]]:
    """The day on disk, and the saturation that each original is to have by its path under `media`."""
    place = tmp_path_factory.mktemp("day")
    media, grades = place / "media", place / "grades"
    grades.mkdir()
    frames, small = [numbered(0, 32, 18), numbered(1, 32, 18)], [numbered(0, 64, 36, "yuv420p")]
    truth: dict[str, float | None] = {}
    rows = ["clip,reel,date,encoding,scene,slope,note"]
    by_name: list[CDL] = []
    edl = []
    for letter, (suffix, rate, label, encoding) in CAMERAS.items():
        for number in range(60):
            reel = f"{letter}00{number // 30 + 1}"
            name = f"C{number % 30 + 1:04}" if letter == "C" else f"{reel}C{number % 30 + 1:03}"
            card = f"{reel}_card"
            path = media / card / f"{name}{suffix}"
            path.parent.mkdir(parents=True, exist_ok=True)
            codec = "libx264" if letter == "D" else "prores_ks"
            pictures = small if letter == "D" else frames
            write_movie(path, pictures, codec=codec, rate=rate, timecode=label.format(number), reel=reel)
            rows.append(f"{name}{suffix},{reel if letter == 'C' else ''},2026-05-04,{encoding},,,")
            truth[f"{card}/{name}{suffix}"] = None
            if letter in "AB":  # by the change record
                truth[f"{card}/{name}{suffix}"] = (0.3 if number < 20 else 0.4) + (letter == "B") / 10
            elif letter == "C":  # by name and reel
                value = round(0.5 + number / 1000, 3)
                truth[f"{card}/{name}{suffix}"] = value
                edl += [
                    f"{number + 1:03}  {reel} V C {label.format(number)} {label.format(number)[:-1]}2 00:00:00:00 00:00:00:02"
                ]
                edl += [f"* FROM CLIP NAME: {name}", f"* ASC_SAT: {value}"]
            elif number % 3:
                by_name.append(CDL(id=f"{name}_260504", saturation=round(0.6 + number / 1000, 3)))
                truth[f"{card}/{name}{suffix}"] = by_name[-1].saturation
    for number in range(60):
        name = f"E001C{number + 1:03}"
        write_sequence(
            media / "E001" / name, [np.full((18, 32, 3), 400, np.uint16)] * 2, first=1_000_000 + 100 * number
        )
        rows.append(f"{name},,2026-05-04,Log3G10,{7 if number < 40 else 8},,")
        truth[f"E001/{name}"] = 0.9 if number < 40 else None
    (place / "day.csv").write_text("\n".join(rows) + "\n" + BAD)
    (grades / "names.ccc").write_text(format_ccc(by_name))
    (grades / "c.edl").write_text("TITLE: c\nFCM: NON-DROP FRAME\n" + "\n".join(edl) + "\n")
    (grades / "scenes.csv").write_text("scene,saturation\n7,0.9\n")
    (grades / "record.csv").write_text(
        "date,timecode,rate,jammed,camera,saturation\n2026-05-04,09:00:00:00,24,08:00,A,0.3\n2026-05-04,10:20:00:00,24,08:00,A,0.4\n"
        "2026-05-04,09:00:00:00,24,08:00,B,0.4\n2026-05-04,11:20:00:00,24,08:00,B,0.5\n"
    )
    # What no row names, what does not open, and what is no original.
    cut = (media / "A001_card" / "A001C001.mov").read_bytes()[:300]
    (media / "A002_card" / "A009C009.mov").write_bytes(cut)
    (media / "A002_card" / "A009C010.mov").write_bytes(cut)
    (media / "A002_card" / "A009C011.r3d").write_bytes(b"raw")
    write_movie(media / "B002_card" / "B002C099.mov", frames, timecode="18:00:00:00", reel="B002")
    write_sequence(media / "E001" / "E001C099", [np.full((18, 32, 3), 400, np.uint16)] * 2, first=2_000_000)
    for name in ("._A001C001.mov", "A001C001.xml", ".DS_Store", "A001C001.jpg"):
        (media / "A001_card" / name).write_bytes(b"")
    history = media / "A001_card" / "ascmhl"
    history.mkdir()
    (history / "0001.mhl").write_bytes(hash_list([entry(f"A001C{n}.mov", b"") for n in ("001", "077")]))
    return place, truth


@pytest.fixture(scope="module")
def document(day: tuple[Path, dict[str, float | None]]) -> dict[str, Any]:
    place, _ = day
    run = rushlight(
        "plan", "day.csv", "--media", "media", "--grades", "grades", "--out", "out", "--json", cwd=place
    )
    assert run.returncode == 1, run.stderr
    return json.loads(run.stdout)  # type: ignore[no-any-return]


def test_every_original_has_one_place_and_the_counts_add_up(
    day: tuple[Path, dict[str, float | None]], document: dict[str, Any]
) -> None:
    place, truth = day
    media, counts = document["media"], document["counts"]
    assert len(truth) == 300 and (
        counts["rows"],
        counts["planned"],
        counts["set_aside"],
        counts["failed"],
    ) == (304, 300, 3, 1)
    planned = Counter(str(Path(c["path"]).relative_to("media")) for c in document["clips"])
    assert planned == Counter(list(truth))
    assert {Path(p).name for p in media["not_listed"]} == {"B002C099.mov", "E001C099"}
    assert {Path(e["path"]).name for e in media["unreadable"]} == {
        "A009C009.mov",
        "A009C010.mov",
        "A009C011.r3d",
    }
    assert [e["path"] for e in media["absent"]] == ["A001C077.mov"]
    files = [p for p in (place / "media").rglob("*") if p.is_file() and p.suffix != ".dpx"]
    assert media["listed"] == 300 and media["ignored"] == 5  # four by name, and the manifest
    assert media["found"] == len(files) + 61 == 300 + 2 + 3 + 5


def test_every_clip_has_the_grade_meant_for_it(
    day: tuple[Path, dict[str, float | None]], document: dict[str, Any]
) -> None:
    _, truth = day
    found = {
        str(Path(c["path"]).relative_to("media")): c["grade"] and c["grade"]["saturation"]
        for c in document["clips"]
    }
    assert found == {path: value and pytest.approx(value) for path, value in truth.items()}
    reasons = Counter(c["grade_reason"].partition(",")[0] for c in document["clips"])
    assert reasons["held at the cut"] == 120 and reasons["it is for the clip's scene"] == 40
    assert (
        sum(1 for value in truth.values() if value is None)
        == document["counts"]["ungraded"]
        == reasons["no decision was found for this clip"]
    )
    twins = {c["path"]: c["folder"] for c in document["clips"] if "/C0001.mxf" in c["path"]}
    assert sorted(twins.values()) == ["C001", "C002"]


def test_the_document_has_everything_in_the_given_shape(document: dict[str, Any]) -> None:
    assert {"clips", "problems", "counts"} <= set(document)
    for problem in document["problems"]:
        assert {"file", "line", "key", "text"} <= set(problem) and problem["file"] == "day.csv"
    assert sorted((p["line"], p["key"]) for p in document["problems"]) == [
        (302, "clip"),
        (303, "slope"),
        (304, "clip"),
        (305, ""),
    ]
    graded = next(c for c in document["clips"] if c["grade"])
    assert {"slope", "offset", "power", "saturation", "source", "reason"} <= set(graded["grade"])
    assert {
        "clip",
        "reel",
        "first_timecode",
        "last_timecode",
        "frames",
        "rate",
        "codec",
        "encoding",
        "encoding_from",
        "outputs",
        "warnings",
    } <= set(graded)
    assert graded["encoding_from"] == "the list"
    by_name = {c["path"]: c for c in document["clips"]}
    drop = by_name["media/D001_card/D001C001.mp4"]
    assert (drop["first_timecode"], drop["rate"], drop["codec"]) == ("13:00:01;02", "30000/1001", "h264")
    start = Timecode.parse(drop["first_timecode"], FrameRate.parse(drop["rate"]))
    assert drop["end_timecode"] == str(start + drop["frames"])
    assert drop["last_timecode"] == str(start + (drop["frames"] - 1))
    assert document["counts"]["frames"] == sum(c["frames"] for c in document["clips"])
    estimate = document["estimate"]
    assert estimate["bytes"] > 0 and estimate["seconds_one_worker"] > 0 and estimate["free_bytes"] > 0


@pytest.mark.parametrize("columns", ["100", "72"])
def test_one_screen_says_it_all_and_fits(day: tuple[Path, dict[str, float | None]], columns: str) -> None:
    place, truth = day
    run = rushlight("plan", "day.csv", "--media", "media", "--grades", "grades", cwd=place, COLUMNS=columns)
    assert run.returncode == 1 and not run.stderr
    lines = run.stdout.splitlines()
    assert max(map(len, lines)) <= int(columns)
    together = " ".join(run.stdout.split())
    assert "304 rows = 300 planned + 3 set aside + 1 failed;" in together
    assert (
        "310 found under the media folders = 300 listed + 2 not listed + 3 not readable + 5 ignored; 1 absent"
        in together
    )
    for word in (
        "SET ASIDE day.csv:302",
        "day.csv:303",
        "day.csv:304",
        "FAILED day.csv:305",
        "A009C011.r3d",
        "B002C099.mov",
        "A001C077.mov",
    ):
        assert word in together
    assert "scene 7" in together and "--clips shows each clip" in together
    assert not any(line.startswith("A001C001.mov") for line in lines), "the long list is on demand"
    run = rushlight(
        "plan", "day.csv", "--clips", "--media", "media", "--grades", "grades", cwd=place, COLUMNS=columns
    )
    lines = run.stdout.splitlines()
    assert max(map(len, lines)) <= int(columns)
    assert "timecode: in 10:00:00:00, out 10:00:00:02, 2 frames" in " ".join(run.stdout.split())
    for path in truth:  # every clip has lines of its own
        assert any(line.startswith(Path(path).name) for line in lines), path


def blank(**counts: int) -> Any:
    """The document of a plan in which nothing is wrong."""
    return {
        **{
            "title": "",
            "clips": [],
            "problems": [],
            "missing": [],
            "warnings": [],
            "media": None,
            "sound": None,
        },
        "counts": {**dict.fromkeys(Counts.__annotations__, 0), **counts},
        "estimate": {"bytes": 35_400, "seconds_one_worker": 90, "free_bytes": None},
    }


@pytest.mark.parametrize(
    ("to_make", "said"),
    [
        (None, "97 frames, about 2 min for one worker, about 35 kB (free space: give --out)"),
        (4, "97 frames, about 2 min for one worker, about 35 kB, 7 MB free"),
        (1, "1 clip to make, 3 made earlier and unchanged; all 4: 97 frames, about 2 min for one worker, about 35 kB, 7 MB free"),
        (0, "nothing to make: 4 clips made earlier and unchanged"),
    ],
)  # fmt: skip
def test_the_last_line_says_how_many_clips_are_to_be_made_and_what_all_take(
    to_make: int | None, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    document = blank(rows=4, planned=4, frames=97)
    if to_make is not None:
        document["to_make"], document["estimate"]["free_bytes"] = to_make, 7_000_000
    print_plan(document)
    _, _, last = " ".join(capsys.readouterr().out.split()).partition("; 0 ungraded ")
    assert last == said


def test_a_guess_of_sizes_says_its_range(capsys: pytest.CaptureFixture[str]) -> None:
    one = {"out": "/o", "clips": 1, "make": 4_000, "replaced": 0, "older": 0, "volume": "/"}
    outputs = [{**one, "output": "editorial", "guess": False}, {**one, "output": "viewing", "guess": True}]
    print_plan({**blank(rows=1, planned=1), "room": {"outputs": outputs, "volumes": []}})
    said = " ".join(capsys.readouterr().out.split())
    assert said.endswith(" viewing: a guess, until a clip of it is made here: " + GUESS_RANGE)
    assert "viewing 1 4 kB - - /" in said


def test_of_many_originals_that_no_row_names_the_first_are_named_and_the_rest_counted(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """`--media` may be a whole show's: the screen does not grow with it."""
    document = blank()
    document["media"] = {
        "found": 60,
        "listed": 2,
        "not_listed": [f"media/A001C{n:03}.mov" for n in range(40)],
        "unreadable": [{"path": f"media/B{n}.mov", "why": "no picture decodes"} for n in range(13)],
        "ignored": 5,
        "absent": [],
    }
    document["sound"] = {
        "found": 30,
        "used": 0,
        "not_used": [{"path": f"sound/T{n:02}.wav", "why": ""} for n in range(30)],
        "unreadable": [],
    }
    print_plan(document)
    said = capsys.readouterr().out
    assert "not listed: media/A001C003.mov\nnot listed: 36 more; --clips and --json name each\n" in said
    assert "not readable: 9 more;" in said and "sound not used: 26 more;" in said
    assert "60 found under the media folders = 2 listed + 40 not listed + 13 not readable" in said
    assert len(said.splitlines()) < 25
    print_plan(document, all_clips=True)
    said = capsys.readouterr().out
    assert said.count("not listed: ") == 40 and said.count("sound not used: ") == 30 and " more" not in said
