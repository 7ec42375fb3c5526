"""A night with production sound, through the commands; what was delivered is read by the FFmpeg binary."""

from __future__ import annotations

import csv
import io
import json
import shutil
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

import independent
from here import rushlight
from logged import latest, read_records
from movies import tone
from mxf_structure import structure
from pictures import numbered, write_movie
from recordings import bext, chunk, counted, counting, ixml, write_wav

N30 = Fraction(30000, 1001)
RECIPE = """
name = "sound"
[[output]]
name = "editorial"
make = "movie"
codec = "prores-proxy"
size = "64x36"
state = "log"

[[output]]
name = "viewing"
make = "movie"
codec = "h264"
size = "64x36"
sound = "mix"
preset = "veryfast"
[output.burnin]
text = [{ at = "bottom", text = "{sound}", size = 0.1 }]
"""
LIST = """clip,encoding,levels,scene,take,sound,capture_rate
a.mov,LogC3,full,1,1,,
b.mov,LogC3,full,2,1,,
c.mov,LogC3,full,3,1,,
d.mov,LogC3,full,4,1,none,
e.mov,LogC3,full,5,1,,50
"""
A_FIRST = (10 * 3600 + 2) * 48000 + 77  # 3 s less 77 samples before clip a
B_FIRST = 1_727_998_272 + 1000  # 10:00:00;00 is 5 s less 1000 samples before clip b


def original(path: Path, timecode: str, rate: Fraction = Fraction(25), frames: int = 10) -> None:
    frames_made = [numbered(n, 64, 36) for n in range(frames)]
    samples = round(frames * 48000 / rate)
    write_movie(path, frames_made, rate=rate, timecode=timecode, sound=tone(2, samples) >> 8 << 8)


def wav(path: Path, samples: int, first: int, **said: Any) -> Path:
    names = said.pop("names", ["BOOM"])
    before = [chunk(b"bext", bext(first)), chunk(b"iXML", ixml(reference=first, names=names, **said))]
    return write_wav(
        path, samples, fill=counting(len(names)), first=first, channels=len(names), before=before
    )


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five clips and five sound files: one take, one in two files, a wild track, and one that is broken."""
    folder = tmp_path_factory.mktemp("sound")
    (folder / "recorder").mkdir()
    original(folder / "a.mov", "10:00:05:00")
    original(folder / "b.mov", "10:00:05;00", N30)
    for name, hour in (("c", 11), ("d", 12), ("e", 13)):
        original(folder / f"{name}.mov", f"{hour}:00:00:00")
    recorder = folder / "recorder"
    wav(recorder / "T1.wav", 240_000, A_FIRST, scene="1", take="1", roll="SR1")
    split = {
        "scene": "2",
        "take": "1",
        "roll": "SR1",
        "rate": "30000/1001",
        "flag": "DF",
        "names": ["MIX", "LAV"],
        "family": "F2",
    }
    half = 240_240 - 1000 + 5000  # it ends within clip b
    wav(recorder / "T2.wav", half, B_FIRST, **split)
    wav(recorder / "T3.wav", 100_000, B_FIRST + half, **split)
    wav(recorder / "W1.wav", 2_400_000, 11 * 3600 * 48000, extra="<WILD_TRACK>TRUE</WILD_TRACK>")
    (recorder / "broken.wav").write_bytes(b"no sound")
    (folder / "r.toml").write_text(RECIPE)
    (folder / "day.csv").write_text(LIST)
    return folder


def given(day: Path) -> tuple[object, ...]:
    return day / "day.csv", "--recipe", day / "r.toml", "--sound", day / "recorder"


@pytest.fixture(scope="module")
def out(day: Path) -> Path:
    run = rushlight("render", *given(day), "--out", day / "out", "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    return day / "out"


def numbers(path: Path, track: int, channel: int = 0) -> list[int]:
    return counted(independent.sound(path, track, 1)[0] >> 8, channel).tolist()


def test_a_plan_accounts_for_every_clip_and_every_file(day: Path) -> None:
    run = rushlight("plan", *given(day), "--json")
    document = json.loads(run.stdout)
    assert run.returncode == 0, run.stderr
    kinds = {clip["clip"]: (clip["sound"]["kind"], clip["sound"]["reason"]) for clip in document["clips"]}
    assert kinds == {
        "a.mov": ("production", "scene and take, timecode"),
        "b.mov": ("production", "scene and take, timecode"),
        "c.mov": ("camera", "W1.wav is a wild track"),
        "d.mov": ("none", "the row wants none"),
        "e.mov": ("camera", "shot at 50 and shown at 25: none by rule"),
    }
    sums = document["sound"]
    assert (sums["found"], sums["used"], len(sums["not_used"]), len(sums["unreadable"])) == (5, 3, 1, 1)
    assert sums["not_used"][0]["why"] == "wild track"
    missed = {
        clip["clip"]: [w for w in clip["warnings"] if "production sound" in w] for clip in document["clips"]
    }
    assert {name for name, said in missed.items() if said} == {"c.mov"}
    assert "the camera's own is carried" in missed["c.mov"][0]


def test_a_person_sees_it_on_one_screen(day: Path) -> None:
    run = rushlight("plan", *given(day))
    assert "5 sound files found = 3 used + 1 not used + 1 not readable" in run.stdout
    assert "sound not used: " in run.stdout and "wild track" in run.stdout
    assert "T1.wav" in run.stdout and "sound:" in run.stdout
    assert all(len(line) <= 100 for line in run.stdout.splitlines())


def test_delivered_sound_is_right_to_the_sample(day: Path, out: Path) -> None:
    begin = (10 * 3600 + 5) * 48000
    assert numbers(out / "editorial" / "a.mov", 0) == [n % (1 << 24) for n in range(begin, begin + 19_200)]
    begin = 1_727_998_272 + 240_240
    for track in (0, 1):
        assert numbers(out / "editorial" / "b.mov", track, track) == [
            n % (1 << 24) for n in range(begin, begin + 16_016)
        ]


def test_names_of_tracks_are_in_the_file_and_the_record(out: Path) -> None:
    told = independent.said(out / "editorial" / "b.mov")
    assert "handler_name    : MIX" in told and "handler_name    : LAV" in told
    mixed = independent.said(out / "viewing" / "b.mp4")
    assert "handler_name    : MIX" in mixed and "MIX + MIX" not in mixed  # one track on both sides
    record = latest(read_records(out))
    b = next(r for r in record.values() if r["clip"] == "b.mov")
    movie = next(o for o in b["outputs"] if o["output"] == "editorial")
    assert [t["name"] for t in movie["sound"]] == ["MIX", "LAV"]
    sound = b["sound"]
    assert (sound["kind"], sound["scene"], sound["take"], sound["roll"], sound["tracks"]) == (
        "production",
        "2",
        "1",
        "SR1",
        ["MIX", "LAV"],
    )
    assert [[Path(f["path"]).name for f in part] for part in sound["files"]] == [["T2.wav"], ["T3.wav"]]
    assert (sound["start"], sound["step"], sound["silence"]) == ("239240", "1", "")


def test_a_clip_without_a_take_has_the_cameras_sound_and_says_so(out: Path) -> None:
    camera = independent.sound(out / "editorial" / "c.mov", 0, 2)
    assert np.array_equal(camera, tone(2, 19_200) >> 8 << 8)
    assert "Audio:" not in independent.said(out / "editorial" / "d.mov")
    records = {r["clip"]: r for r in latest(read_records(out)).values()}
    assert records["c.mov"]["sound"]["kind"] == "camera"
    assert any("no production sound" in text for text in records["c.mov"]["warnings"])
    assert records["d.mov"]["warnings"] == [w for w in records["d.mov"]["warnings"] if "sound" not in w]


def test_pages_and_table_say_which_sound_it_is(out: Path) -> None:
    page = (out / "report" / "index.html").read_text()
    assert (
        "Sound: production: T2.wav T3.wav (scene 2, take 1, roll SR1): scene and take, timecode; tracks MIX, LAV"
        in page
    )
    assert "the first 0.4 seconds: above production sound, below camera sound" in page
    assert "Sound: camera: W1.wav is a wild track" in page and "Sound: none: the row wants none" in page
    text = (out / "report" / "batch.csv").read_text()
    rows = {row["clip"]: row for row in csv.DictReader(io.StringIO(text))}
    assert (rows["b.mov"]["sound_from"], rows["b.mov"]["sound_files"]) == ("production", "T2.wav T3.wav")
    assert (rows["c.mov"]["sound_from"], rows["a.mov"]["sound_take"], rows["a.mov"]["sound_roll"]) == (
        "camera",
        "1 1",
        "SR1",
    )


def test_a_second_night_makes_nothing_and_an_offset_makes_one_clip(day: Path, out: Path) -> None:
    run = rushlight("render", *given(day), "--out", out, "--workers", 1, "--json")
    assert run.returncode == 0 and json.loads(run.stdout.splitlines()[-1])["done"] == []
    text = LIST.replace("capture_rate\n", "capture_rate,sound_offset\n").replace(
        "a.mov,LogC3,full,1,1,,", "a.mov,LogC3,full,1,1,,,1 frame"
    )
    (day / "moved.csv").write_text(text)
    run = rushlight("plan", day / "moved.csv", *given(day)[1:], "--json")
    clip = json.loads(run.stdout)["clips"][0]
    assert clip["sound"]["start"] == str(3 * 48000 - 77 - 1920) and any(
        "moved 1920 samples later" in w for w in clip["warnings"]
    )


def test_from_the_folder_alone_it_is_made_again(day: Path, out: Path) -> None:
    run = rushlight("render", "--from", out, "--out", day / "again", "--workers", 1, "--only", "clip=a.mov")
    assert run.returncode == 0, run.stdout + run.stderr
    assert (day / "again" / "editorial" / "a.mov").read_bytes() == (out / "editorial" / "a.mov").read_bytes()


def test_a_queue_passes_it_on(day: Path) -> None:
    asked = ("--out", day / "queued", "--queue", day / "q.sqlite", "--only", "clip=a.mov")
    assert rushlight("queue", "add", *given(day), *asked).returncode == 0
    run = rushlight("queue", "run", "--queue", day / "q.sqlite", "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    (record,) = latest(read_records(day / "queued")).values()
    begin = (10 * 3600 + 5) * 48000
    assert record["sound"]["kind"] == "production"
    assert numbers(day / "queued" / "editorial" / "a.mov", 0)[0] == begin % (1 << 24)


def sound_verdicts(folder: Path, *options: object) -> dict[str, tuple[str, str]]:
    run = rushlight("verify", folder, "--json", *options)
    found = {}
    for clip in json.loads(run.stdout)["clips"]:
        for path, checks in clip["files"].items():
            if "sound" in checks:
                found[path] = (checks["sound"]["verdict"], checks["sound"]["text"])
    return found


def test_verify_compares_delivered_sound_with_its_files(day: Path, out: Path) -> None:
    found = sound_verdicts(out)
    assert found["editorial/a.mov"] == found["editorial/b.mov"] == ("pass", "")
    assert found["viewing/a.mp4"][0] in ("pass", "cannot tell")
    assert found["editorial/c.mov"] == found["editorial/e.mov"] == ("pass", "")  # the camera's own


def test_verify_finds_sound_that_is_one_sample_late(day: Path, out: Path) -> None:
    text = LIST.replace("capture_rate\n", "capture_rate,sound_offset\n")
    text = text.replace("a.mov,LogC3,full,1,1,,", "a.mov,LogC3,full,1,1,,,1 sample")
    (day / "late.csv").write_text(text)
    late = day / "late"
    run = rushlight(
        "render", day / "late.csv", *given(day)[1:], "--out", late, "--workers", 1, "--only", "clip=a.mov"
    )
    assert run.returncode == 0, run.stdout + run.stderr
    shutil.copytree(out, day / "swapped")
    shutil.copyfile(late / "editorial" / "a.mov", day / "swapped" / "editorial" / "a.mov")
    verdict, said = sound_verdicts(day / "swapped", "--no-hash")["editorial/a.mov"]
    assert verdict == "fail" and "19200 samples differ, the first at 0" in said


def test_verify_says_where_the_sound_files_are_gone(day: Path, out: Path) -> None:
    kept = day / "recorder" / "T1.wav"
    kept.rename(day / "away.wav")
    try:
        verdict, said = sound_verdicts(out)["editorial/a.mov"]
    finally:
        (day / "away.wav").rename(kept)
    assert verdict == "cannot tell" and "T1.wav: is not there" in said


def test_a_row_that_names_several_recordings_has_each_at_its_own_timecode(day: Path) -> None:
    """In clip e, from 13:00:00:00: two mono files that begin together, up to the fourth frame, and one of two tracks from the
    seventh on; between them silence."""
    begin = 13 * 3600 * 48000
    named = day / "named"
    named.mkdir()
    wav(named / "BOOM.wav", 3000 + 4 * 1920, begin - 3000)
    wav(named / "LAV.wav", 3000 + 4 * 1920, begin - 3000, names=["LAV"])
    wav(named / "on.wav", 48_000, begin + 6 * 1920, names=["BOOM", "LAV"])
    row = "clip,encoding,levels,sound\ne.mov,LogC3,full,{}\n"
    asked = ("--recipe", day / "r.toml", "--sound", named)
    (day / "named.csv").write_text(row.format("on.wav; BOOM.wav; LAV.wav"))
    out = day / "named out"
    run = rushlight("render", day / "named.csv", *asked, "--out", out, "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    (record,) = latest(read_records(out)).values()
    assert record["sound"]["reason"] == "3 recordings named in the row, covers 80 %"
    assert record["sound"]["silence"] == "from 13:00:00:04 to 13:00:00:05"
    assert [len(part) for part in record["sound"]["files"]] == [2, 1]
    first = counting()(begin, 4 * 1920)[0]
    both = counting(2)(begin + 6 * 1920, 4 * 1920)
    for track in (0, 1):
        heard = independent.sound(out / "editorial" / "e.mov", track, 1)[0] >> 8
        assert np.array_equal(heard, [*first, *np.zeros(2 * 1920, int), *both[track]])
    assert sound_verdicts(out)["editorial/e.mov"] == ("pass", "")
    wav(named / "late.wav", 48_000, begin + 960)
    (day / "named.csv").write_text(row.format("BOOM.wav; late.wav"))
    run = rushlight("plan", day / "named.csv", *asked)
    said = " ".join(run.stdout.split())
    assert (
        run.returncode == 1
        and "sound: names BOOM.wav and late.wav, which run at the same time and begin" in said
    )
    assert "name one of them" in said


LATER = """
name = "later"
[[output]]
name = "editorial"
make = "movie"
codec = "dnxhr-hqx"
size = "256x144"
state = "log"

[[output]]
name = "relink"
make = "movie"
codec = "dnxhr-hqx"
container = "mxf"
size = "256x144"
state = "log"

[[output]]
name = "viewing"
make = "movie"
codec = "h264"
size = "128x72"
sound = "mix"
preset = "veryfast"
card = 3
[output.burnin]
text = [{ at = "bottom", text = "{clip}", size = 0.1 }]

[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg"]
size = "128x72"
"""


def coded(path: Path) -> list[bytes]:
    with av.open(str(path)) as movie:
        return [bytes(packet) for packet in movie.demux(movie.streams.video[0])]


def _check_tables(out: Path, record: dict[str, Any]) -> None:
    """Each folder of movies has its tables, the manifest lists them, and table, record and MXF name the same clip and reel."""
    (manifest,) = (out / "ascmhl").glob("0001*.mhl")
    for folder in ("editorial", "relink", "viewing"):
        (entry,) = (e for e in record["outputs"] if e["output"] == folder)
        with (out / folder / "clips.csv").open(newline="") as stream:
            (row,) = csv.DictReader(stream)
        assert (row["file"], row["hash"], row["umid"]) == (
            Path(entry["path"]).name,
            entry["hash"],
            entry["umid"],
        )
        assert all(f">{folder}/clips.{kind}<" in manifest.read_text() for kind in ("csv", "otio"))
        assert bool(row["umid"]) == (folder == "relink")
    packages = structure(out / "relink" / "b.mxf").packages
    with (out / "relink" / "clips.csv").open(newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert (packages["material"].umid, packages["material"].name) == (row["umid"], row["clip"])
    if row["reel"]:
        assert (packages["tape"].umid, packages["tape"].name) == (row["reel_umid"], row["reel"])
    assert not (out / "stills" / "clips.csv").exists()


def test_sound_that_comes_days_later_is_all_that_is_made(day: Path) -> None:
    """The pictures are copied packet by packet, digests are as they were, and it is a revision as any other."""
    (day / "later.toml").write_text(LATER)
    asked = (
        day / "day.csv",
        "--recipe",
        day / "later.toml",
        "--out",
        day / "later",
        "--workers",
        1,
        "--only",
        "clip=b.mov",
    )
    movies = [day / "later" / name for name in ("editorial/b.mov", "relink/b.mxf", "viewing/b.mp4")]
    run = rushlight("render", *asked)
    assert run.returncode == 0, run.stdout + run.stderr
    (before,) = latest(read_records(day / "later")).values()
    pictures, old = [coded(path) for path in movies], [path.read_bytes() for path in movies]
    _check_tables(day / "later", before)
    run = rushlight("render", *asked, "--sound", day / "recorder", "--json")
    assert run.returncode == 0, run.stdout + run.stderr
    events = [json.loads(line) for line in run.stdout.splitlines()]
    assert not [event for event in events if event.get("event") == "segment"], "no picture was rendered"
    (after,) = latest(read_records(day / "later")).values()
    assert [coded(path) for path in movies] == pictures
    for name in ("digest", "pictures", "tiles", "patches"):
        assert after["colour"][name] == before["colour"][name], name
    assert after["counts"] == before["counts"] and after["look"] == before["look"]
    begin = 1_727_998_272 + 240_240
    for path in movies[:2]:
        for track in (0, 1):
            assert numbers(path, track, track) == [n % (1 << 24) for n in range(begin, begin + 16_016)]
    assert after["sound"]["kind"] == "production" and after["revision"] == 2
    made = {entry["output"]: entry for entry in after["outputs"]}
    assert {name: entry["revision"] for name, entry in made.items()} == {
        "editorial": 2,
        "relink": 2,
        "viewing": 2,
        "stills": 1,
    }
    assert [t["name"] for t in made["editorial"]["sound"]] == ["MIX", "LAV"] and made["viewing"][
        "frames"
    ] == 13
    assert {entry["why"] for entry in after["replaced"]} == {"other sound"}
    for entry, data in zip(after["replaced"], old, strict=True):
        assert (day / "later" / entry["kept"]).read_bytes() == data
    _check_tables(day / "later", after)
    tables = {path: path.stat().st_mtime_ns for path in (day / "later").glob("*/clips.*")}
    again = rushlight("render", *asked, "--sound", day / "recorder", "--json")
    assert json.loads(again.stdout.splitlines()[-1])["done"] == []
    assert {path: path.stat().st_mtime_ns for path in (day / "later").glob("*/clips.*")} == tables
    assert {path: v for path, (v, _) in sound_verdicts(day / "later").items()}["editorial/b.mov"] == "pass"


HDR = """
name = "hdr"
[look]
display = "PQ BT.2100"
"""
HDR_MOVIE = """
[[output]]
name = "{name}"
make = "movie"
codec = "hevc-10"
container = "{name}"
size = "128x72"
preset = "superfast"
quality = 4
card = {card}
"""


def stated_light(path: Path) -> tuple[list[str], list[bytes]]:
    """What the FFmpeg binary says of a movie's light, and the boxes that say it."""
    said = [
        line.strip() for line in independent.said(path).splitlines() if "MaxCLL" in line or "lumina" in line
    ]
    data = path.read_bytes()
    return said, [data[data.index(name) :][:size] for name, size in ((b"mdcv", 28), (b"clli", 8))]


def test_hdr_movies_keep_their_pictures_and_their_light(day: Path) -> None:
    burnin = '[output.burnin]\ntext = [{ at = "bottom", text = "{clip}", size = 0.1 }]\n'
    recipe = HDR + HDR_MOVIE.format(name="mp4", card=3) + burnin + HDR_MOVIE.format(name="mov", card=0)
    (day / "hdr.toml").write_text(recipe)
    out = day / "hdr"
    asked = (
        day / "day.csv",
        "--recipe",
        day / "hdr.toml",
        "--out",
        out,
        "--workers",
        1,
        "--only",
        "clip=a.mov",
    )
    run = rushlight("render", *asked)
    assert run.returncode == 0, run.stdout + run.stderr
    (before,) = latest(read_records(out)).values()
    movies = [out / "mp4" / "a.mp4", out / "mov" / "a.mov"]
    pictures, light = [coded(path) for path in movies], [stated_light(path) for path in movies]
    assert all(said and "MaxCLL" in " ".join(said) for said, _ in light)
    run = rushlight("render", *asked, "--sound", day / "recorder", "--json")
    assert run.returncode == 0, run.stdout + run.stderr
    events = [json.loads(line) for line in run.stdout.splitlines()]
    assert not [event for event in events if event.get("event") == "segment"], "no picture was rendered"
    texts = [event["text"] for event in events if event["event"] == "note"]
    assert "new sound alone, under the pictures that are there: mp4, mov of a.mov" in texts
    (after,) = latest(read_records(out)).values()
    assert [coded(path) for path in movies] == pictures
    assert [stated_light(path) for path in movies] == light
    assert after["colour"] == before["colour"] and after["sound"]["kind"] == "production"
    assert [e["light"] for e in after["outputs"]] == [e["light"] for e in before["outputs"]]
    assert all(entry["light"] for entry in after["outputs"])
    assert len(numbers(movies[1], 0)) == 19_200
    begin = (10 * 3600 + 5) * 48000
    assert numbers(movies[1], 0)[0] == begin % (1 << 24)
    run = rushlight("verify", out, "--json")
    assert {c["verdict"] for c in json.loads(run.stdout)["clips"]} == {"pass"}, run.stdout


def test_a_drawn_sound_is_rendered_again_and_said_and_the_rest_has_sound_alone(day: Path) -> None:
    """`{sound}` changes the picture; a still that is gone is made; the clean movie's pictures are copied."""
    stills = '[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nsize = "64x36"\n'
    (day / "drawn.toml").write_text(RECIPE + stills)
    out = day / "drawn"
    asked = (day / "day.csv", "--recipe", day / "drawn.toml", "--out", out, "--only", "clip=a.mov")
    run = rushlight("render", *asked, "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    clean = coded(out / "editorial" / "a.mov")
    drawn = coded(out / "viewing" / "a.mp4")
    (out / "stills" / "a.jpg").unlink()
    alone = "new sound alone, under the pictures that are there: editorial of a.mov"
    again = (
        "rendered again, pictures and all, for its new sound: viewing of a.mov: "
        "what is drawn into its picture is another now: {sound}"
    )
    plan = json.loads(rushlight("plan", *asked, "--sound", day / "recorder", "--json").stdout)
    assert alone in plan["warnings"] and again in plan["warnings"]
    run = rushlight("render", *asked, "--workers", 1, "--sound", day / "recorder", "--json")
    assert run.returncode == 0, run.stdout + run.stderr
    events = [json.loads(line) for line in run.stdout.splitlines()]
    assert {alone, again} <= {event["text"] for event in events if event["event"] == "note"}
    assert coded(out / "editorial" / "a.mov") == clean and coded(out / "viewing" / "a.mp4") != drawn
    begin = (10 * 3600 + 5) * 48000
    assert numbers(out / "editorial" / "a.mov", 0) == [n % (1 << 24) for n in range(begin, begin + 19_200)]
    (record,) = latest(read_records(out)).values()
    assert {entry["output"] for entry in record["outputs"]} == {"editorial", "viewing", "stills"}
    assert record["status"] == "done" and (out / "stills" / "a.jpg").is_file()
    assert record["sound"]["kind"] == "production"
    assert sorted(each["output"] for each in record["replaced"]) == ["editorial", "viewing"]
    plan = json.loads(rushlight("plan", *asked, "--sound", day / "recorder", "--json").stdout)
    assert not [text for text in plan["warnings"] if "sound" in text]


def test_a_scene_that_comes_with_the_sound_is_said_where_it_is_drawn(day: Path) -> None:
    movie = RECIPE.partition('[[output]]\nname = "viewing"')
    (day / "scene.toml").write_text(movie[0] + movie[1] + movie[2].replace("{sound}", "{clip} {scene}"))
    (day / "scene.csv").write_text("clip,encoding,levels\na.mov,LogC3,full\n")
    asked = (day / "scene.csv", "--recipe", day / "scene.toml", "--out", day / "scene")
    run = rushlight("render", *asked, "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    plan = json.loads(rushlight("plan", *asked, "--sound", day / "recorder", "--json").stdout)
    said = [text for text in plan["warnings"] if "new sound" in text]
    assert said == [
        "new sound alone, under the pictures that are there: editorial of a.mov",
        "rendered again, pictures and all, for its new sound: viewing of a.mov: what is drawn into its picture is another now: {scene}",
    ]


def without_picture_identity(out: Path, **more: str) -> None:
    """The log as a version wrote it that did not know which pictures a movie has."""
    log = out / "log" / "jobs.jsonl"
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    for entry in (entry for line in lines for entry in line["outputs"]):
        entry.pop("picture_identity", None)
        entry.update(more)
    log.write_text("".join(json.dumps(line) + "\n" for line in lines))


def test_a_folder_of_an_older_version_has_its_sound_alone_where_that_is_sure(day: Path) -> None:
    (day / "older.toml").write_text(LATER.partition('[[output]]\nname = "relink"')[0])
    out = day / "older"
    asked = (day / "day.csv", "--recipe", day / "older.toml", "--out", out, "--only", "clip=a.mov")
    run = rushlight("render", *asked, "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    pictures = coded(out / "editorial" / "a.mov")
    log = (out / "log" / "jobs.jsonl").read_text()
    without_picture_identity(out, identity="0" * 16)
    said = json.loads(rushlight("plan", *asked, "--sound", day / "recorder", "--json").stdout)["warnings"]
    assert [text for text in said if "an older version made it, and its record does not tell" in text]
    (out / "log" / "jobs.jsonl").write_text(log)
    without_picture_identity(out)
    run = rushlight("render", *asked, "--workers", 1, "--sound", day / "recorder", "--json")
    assert run.returncode == 0, run.stdout + run.stderr
    assert '"event":"segment"' not in run.stdout.replace(" ", "")
    assert coded(out / "editorial" / "a.mov") == pictures
    assert numbers(out / "editorial" / "a.mov", 0)[0] == (10 * 3600 + 5) * 48000 % (1 << 24)
