"""The main job as its user does it: the sample day and real originals, read back by outsiders."""

import json
import os
import shutil
import signal
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np
import OpenImageIO as oiio
import pytest

import command
import independent
import ocio
from budget import seconds
from command import started
from here import HereFarm, farm_here, run, rushlight, small_day  # noqa: F401
from logged import latest, read_records
from pictures import settled
from rushlight.batch.plan.growing_originals import Growth
from rushlight.batch.plan.model import Plan
from rushlight.batch.run import render as rendering
from rushlight.batch.verify.deliveries import verify
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.measure.colour_difference import delta_e, lab
from test_kills import made_up_day

ROOT = Path(__file__).resolve().parents[3]
SAMPLES = ROOT / "sample_frames"
REC709 = find_display("Rec.709 BT.1886")
SMALL = """[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg", "tiff16"]
at = ["middle"]
size = "320x180"
"""


def records(out: Path) -> dict[str, dict[str, Any]]:
    return {r["clip"]: r for r in latest(read_records(out)).values() if r["status"] != "withdrawn"}


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The sample day, rendered once for the tests below."""
    out = tmp_path_factory.mktemp("day") / "out"
    run = command.rushlight(
        "render", SAMPLES / "day.csv", "--recipe", "overnight", "--out", out, "--workers", 2
    )
    assert run.returncode == 0, run.stdout + run.stderr
    return out, run.stdout


def test_the_sample_day_is_delivered(day: tuple[Path, str]) -> None:
    out, said = day
    truth = json.loads((SAMPLES / "truth.json").read_text())
    found = records(out)
    assert set(found) == set(truth) and "delivered 3 clips" in said
    for clip, facts in truth.items():
        record = found[clip]
        assert {
            "schema",
            "job",
            "clip",
            "status",
            "frames",
            "source",
            "look",
            "outputs",
            "colour",
            "warnings",
            "seconds",
        } <= set(record)
        assert (record["status"], record["frames"]) == ("done", facts["frames"])
        assert {o["output"] for o in record["outputs"]} == {"editorial", "viewing", "stills"}
        stem = clip.removesuffix(".mov")
        for output in record["outputs"]:
            path = out / output["path"]
            assert path.stem == stem and path.stat().st_size == output["bytes"] and "/" in output["path"]
            if output["kind"] == "movie":
                assert output["first_timecode"] == facts["timecode"] and output["frames"] == facts["frames"]
                assert independent.count(path) == facts["frames"]
                assert independent.timecode(path) == facts["timecode"]
                said = independent.said(path)
                assert "tv, bt709" in said and ("1920x1080" in said) == (output["output"] == "editorial")
                if output["output"] == "editorial":
                    assert "dnxhd (DNXHR LB)" in said and (
                        not record["reel"] or f"reel_name       : {record['reel']}" in said
                    )
                else:
                    assert "h264 (High)" in said and "1280x720" in said
    sound = independent.said(out / "editorial" / "A001C003.mov")
    assert "pcm_s24le" in sound and "aac (LC)" in independent.said(out / "viewing" / "A001C003.mp4")
    assert not (out / ".work").exists()
    (manifest,) = (out / "ascmhl").glob("0001_*.mhl")
    assert all(f"{o['path']}</path>" in manifest.read_text() for r in found.values() for o in r["outputs"])


def test_sound_is_carried_sample_for_sample(day: tuple[Path, str]) -> None:
    out, _ = day
    assert (
        independent.sound(out / "editorial" / "A001C007.mov") == independent.sound(SAMPLES / "A001C007.mov")
    ).all()


def test_the_chart_in_the_stills_is_what_opencolorio_says(day: tuple[Path, str]) -> None:
    """Every patch of the sample charts, from the file's own codes: within one ten-bit code in the TIFF."""
    out, _ = day
    truth = json.loads((SAMPLES / "truth.json").read_text())
    grades = {
        "A001C007": CDL(slope=(1.04, 1, 0.96), offset=(0.004, 0, -0.006), saturation=1.05),
        "B001C002": CDL(
            slope=(0.98, 1, 1.09), offset=(-0.004, 0, 0.008), power=(1.02, 1, 0.98), saturation=0.95
        ),
    }
    spaces = {"A001C007": "ARRI LogC3 (EI800)", "B001C002": "V-Log V-Gamut"}
    worst = 0.0
    for stem, grade in grades.items():
        facts = truth[f"{stem}.mov" if stem[0] == "A" else stem]
        still = oiio.ImageBuf(str(out / "stills" / f"{stem}.tif")).get_pixels(oiio.FLOAT)
        held = np.ascontiguousarray(original(SAMPLES, stem, facts), np.float32)
        area = oiio.ROI(0, 1920, 0, 1080, 0, 1, 0, 3)
        log = oiio.ImageBufAlgo.resize(oiio.ImageBuf(held), filtername="catmull-rom", roi=area).get_pixels(
            oiio.FLOAT
        )
        scale = 1920 / facts["width"]
        at = [(round(p["x"] * scale), round(p["y"] * scale)) for p in facts["patches"].values()]
        codes, found = (
            np.stack([picture[y - 12 : y + 13, x - 12 : x + 13].reshape(-1, 3) for x, y in at])
            for picture in (log, still)
        )
        wanted = ocio.displayed(grade.apply(codes), spaces[stem])  # all at once: each call reads the config
        worst = max(worst, float(np.abs(found.mean(1) - wanted.mean(1)).max() * 1023))
    assert worst <= 1.0, worst


def original(folder: Path, stem: str, facts: dict[str, Any]) -> np.ndarray:
    """The middle frame's log signal, read by FFmpeg or OpenImageIO and turned to R'G'B' here."""
    middle = facts["frames"] // 2
    if stem[0] == "B":
        path = sorted((folder / stem).glob("*.dpx"))[middle]
        return oiio.ImageBuf(str(path)).get_pixels(oiio.UINT16)[..., :3] / 64 // 1 / 1023
    width, height = facts["width"], facts["height"]
    samples = independent.raw(folder / f"{stem}.mov", "yuv422p10le", width, height, middle).astype(float)
    luma = samples[: width * height].reshape(height, width)
    cb, cr = samples[width * height :].reshape(2, height, width // 2).repeat(2, -1)
    y, b, r = (luma - 64) / 876, (cb - 512) / 896, (cr - 512) / 896
    return np.stack([y + 1.5748 * r, y - 0.187324 * b - 0.468124 * r, y + 1.8556 * b], -1)


def test_movies_look_like_the_stills(day: tuple[Path, str]) -> None:
    """After the codec, tile for tile of 32x32: mean CIEDE2000 under 1 against the exact still."""
    out, _ = day
    for stem, frame in (("A001C007", 20), ("A001C003", 20)):
        samples = independent.raw(out / "editorial" / f"{stem}.mov", "yuv422p", 1920, 1080, frame).astype(
            float
        )
        luma = samples[: 1920 * 1080].reshape(1080, 1920)
        cb, cr = samples[1920 * 1080 :].reshape(2, 1080, 960).repeat(2, -1)
        y, b, r = (luma - 16) / 219, (cb - 128) / 224, (cr - 128) / 224
        movie = np.stack([y + 1.5748 * r, y - 0.187324 * b - 0.468124 * r, y + 1.8556 * b], -1)
        still = oiio.ImageBuf(str(out / "stills" / f"{stem}.tif")).get_pixels(oiio.FLOAT)
        tiles = [REC709.to_xyz(p[:1056].reshape(33, 32, 60, 32, 3).mean((1, 3))) for p in (movie, still)]
        difference = delta_e(lab(tiles[0]), lab(tiles[1]))
        assert difference.mean() < 1.0, (stem, difference.mean(), difference.max())


def test_verify_passes_it(day: tuple[Path, str]) -> None:
    """At the rasters that the shipped recipe has: no movie of the charts is a fifth of a CIEDE2000 off in its mean."""
    for found in verify(day[0]):
        assert all(c.verdict in ("pass", "cannot tell") for c in found.checks.values()), found
        for path, checks in found.files.items():
            if path.endswith((".mov", ".mp4")):
                colour = checks["colour"]
                assert colour.verdict == "pass" and colour.mean < 0.2, (path, colour)


def test_burn_in_runs_in_the_viewing_copy_and_nowhere_else(day: tuple[Path, str]) -> None:
    out, _ = day
    entries = records(out)["A001C003.mov"]["outputs"]
    viewing = next(o for o in entries if o["output"] == "viewing")
    assert len(viewing["covered"]) >= 4 and all(
        o["covered"] == [] for o in entries if o["output"] != "viewing"
    )
    x, y, w, h = next(c for c in viewing["covered"] if c[1] > 600)
    crops = [
        independent.raw(out / "viewing" / "A001C003.mp4", "gray", 1280, 720, n)
        .reshape(720, 1280)[y : y + h, x : x + w]
        .astype(float)
        for n in (3, 4)
    ]
    assert all(c.max() > 225 and c.min() < 30 for c in crops)
    assert np.abs(crops[0] - crops[1]).max() > 100  # the frame number changed


def test_again_renders_nothing_and_is_quick(day: tuple[Path, str]) -> None:
    out, _ = day
    before = {
        p: (p.stat().st_mtime_ns, p.read_bytes())
        for p in out.rglob("*")
        if p.suffix in (".mov", ".mp4", ".tif", ".jpg")
    }
    start = seconds()
    run = command.rushlight("render", SAMPLES / "day.csv", "--recipe", "overnight", "--out", out)
    used = seconds() - start
    assert run.returncode == 0 and "nothing to render" in run.stdout
    assert (
        used < 10
    )  # of processor time; the figure asked for, 2 s on a quiet machine, is measured by the benchmarks
    assert before == {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in before}


def test_one_file_deleted_is_one_file_remade(day: tuple[Path, str], tmp_path: Path) -> None:
    out, _ = day
    files = [
        p for p in out.rglob("*") if p.suffix in (".mov", ".mp4", ".tif", ".jpg") and "report" not in p.parts
    ]
    before = {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in files}
    digest = records(out)["B001C002"]["colour"]["digest"]
    gone = out / "viewing" / "B001C002.mp4"
    gone.unlink()
    run = rushlight("render", SAMPLES / "day.csv", "--recipe", "overnight", "--out", out, "--workers", 1)
    assert run.returncode == 0 and "delivered 1 clip" in run.stdout
    assert gone.read_bytes() == before[gone][1]
    for path in files:
        if path != gone:
            assert (path.stat().st_mtime_ns, path.read_bytes()) == before[path]
    record = records(out)["B001C002"]
    assert record["colour"]["digest"] == digest and {o["output"] for o in record["outputs"]} == {
        "editorial",
        "viewing",
        "stills",
    }


def test_this_process_and_two_workers_give_the_same_bytes(day: tuple[Path, str], tmp_path: Path) -> None:
    out, _ = day
    run = rushlight(
        "render",
        SAMPLES / "day.csv",
        "--recipe",
        "overnight",
        "--out",
        tmp_path / "one",
        "--workers",
        1,
        "--only",
        "clip=B001C002",
    )
    assert run.returncode == 0, run.stderr
    one, two = records(tmp_path / "one")["B001C002"], records(out)["B001C002"]
    assert (
        one["colour"]["digest"] == two["colour"]["digest"] and one["look"]["digest"] == two["look"]["digest"]
    )
    assert [o["hash"] for o in one["outputs"]] == [
        o["hash"]
        for o in sorted(two["outputs"], key=lambda o: [x["path"] for x in one["outputs"]].index(o["path"]))
    ]


def test_a_changed_note_remakes_nothing_and_a_changed_grade_remakes_the_clip(
    day: tuple[Path, str], tmp_path: Path
) -> None:
    shutil.copytree(SAMPLES, tmp_path / "s", ignore=shutil.ignore_patterns("*.py"))
    listed = (tmp_path / "s" / "day.csv").read_text()
    arguments = (
        "render",
        tmp_path / "s" / "day.csv",
        "--recipe",
        "viewing",
        "--out",
        tmp_path / "out",
        "--workers",
        1,
        "--only",
        "clip=B001C002",
    )
    assert rushlight(*arguments).returncode == 0
    (tmp_path / "s" / "day.csv").write_text(
        listed.replace("lamplight only", "another note").replace(
            "kitchen.ccc#kitchen_7_1,,7,1", "kitchen.ccc#kitchen_7_1,,8,2"
        )
    )
    assert "nothing to render" in rushlight(*arguments).stdout
    first = records(tmp_path / "out")["B001C002"]
    (tmp_path / "s" / "day.csv").write_text(listed.replace("kitchen_7_1", "kitchen_7_2"))
    assert "delivered 1 clip" in rushlight(*arguments).stdout
    second = records(tmp_path / "out")["B001C002"]
    assert (
        first["colour"]["digest"] != second["colour"]["digest"]
        and first["look"]["digest"] != second["look"]["digest"]
    )


BAD = """clip,encoding,levels,slope,offset,power,saturation,cdl,lut
A001C003.mov,S-Log3/S-Gamut3.Cine,narrow,-1 1 1,0 0 0,1 1 1,1,,
nothere.mov,LogC3,narrow,,,,,,
A001C007.mov,LogC9,narrow,,,,,,
junk.mov,LogC3,narrow,,,,,,
B001C002,V-Log,full,,,,,kitchen.ccc#kitchen_7_1,
"""


def test_bad_rows_never_stop_the_night(tmp_path: Path) -> None:
    shutil.copytree(SAMPLES, tmp_path / "s", ignore=shutil.ignore_patterns("*.py"))
    (tmp_path / "s" / "junk.mov").write_bytes(b"this is no movie")
    settled(tmp_path / "s" / "junk.mov")
    (tmp_path / "s" / "bad.csv").write_text(BAD)
    (tmp_path / "small.toml").write_text(SMALL)
    out, recipe = tmp_path / "out", tmp_path / "small.toml"
    strict = rushlight("render", tmp_path / "s" / "bad.csv", "--recipe", recipe, "--out", out, "--strict")
    assert strict.returncode == 2 and not out.exists() and "bad.csv:2: slope" in strict.stderr
    run = rushlight("render", tmp_path / "s" / "bad.csv", "--recipe", recipe, "--out", out, "--workers", 1)
    assert run.returncode == 1, run.stderr
    summary = run.stdout[run.stdout.index("SET ASIDE") :]
    assert summary.startswith("SET ASIDE: 3 clips")
    for words in (
        "bad.csv:2: slope",
        "bad.csv:3: clip",
        "bad.csv:4: encoding",
        "LogC3",
        "FAILED: 1 clip",
        "junk.mov",
    ):
        assert words in summary
    assert {r["clip"]: r["status"] for r in records(out).values()} == {
        "A001C003.mov": "set aside", "nothere.mov": "set aside", "A001C007.mov": "set aside", "junk.mov": "failed", "B001C002": "done",
    }  # fmt: skip
    assert (out / "stills" / "B001C002.tif").is_file()
    plan = rushlight("plan", tmp_path / "s" / "bad.csv", "--json")
    assert plan.returncode == 1
    document = json.loads(plan.stdout)
    assert len(document["problems"]) == 4 and {p["key"] for p in document["problems"]} >= {
        "slope",
        "clip",
        "encoding",
    }
    assert document["clips"][0]["grade"]["saturation"] == 0.95


def test_a_list_that_is_spoilt_while_an_original_is_waited_for_costs_what_is_left_alone(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """What was made by then is told as it is at any other end."""
    clip_list = small_day(tmp_path)

    class Waits(Growth):
        def take_out(self, plan: Plan, changed: Iterable[Path] = ()) -> list[Path]:
            (second,) = (clip for clip in plan.clips if clip.row.clip == "A001C002.mov")
            plan.clips.remove(second)
            plan.growing.append(second.row)
            return [second.path]

        def wait(self, growing: Iterable[Path], stopped: Callable[[], bool]) -> bool:
            clip_list.write_text("no column that is known\n")
            return True

    monkeypatch.setattr(rendering, "Growth", Waits)
    code, said = run("render", clip_list, "--recipe", tmp_path / "two.toml", "--out", tmp_path / "out")
    assert code == 3, said
    assert "what was waited for is not made" in said and "delivered 1 clip" in said
    assert [r["status"] for r in records(tmp_path / "out").values()] == ["done"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--recipe", "nightly"], "did you mean 'overnight'"),
        (["--media", "nowhere"], "nowhere"),
        (["--encoding", "LogX"], "LogX"),
        (["--only", "scen=1"], "scen"),
        (["--out", "/proc/nowhere/out"], "cannot be made"),
        (["--rate", "quick"], "quick"),
    ],
)
def test_wrong_requests_make_nothing(arguments: list[str], words: str, tmp_path: Path) -> None:
    out = tmp_path / "out"
    run = rushlight("render", SAMPLES / "day.csv", "--out", out, *arguments)
    assert run.returncode == 2 and words in run.stderr and "Traceback" not in run.stderr
    assert not out.exists()


def test_unreadable_lists_make_nothing(tmp_path: Path) -> None:
    for name, content in (("a.csv", b"\xff\xfe\x00"), ("b.csv", b"name\nx\n"), ("c.csv", b"")):
        (tmp_path / name).write_bytes(content)
        run = rushlight("render", tmp_path / name, "--out", tmp_path / "out")
        assert run.returncode == 2 and name in run.stderr
    assert not (tmp_path / "out").exists()


def test_json_events(tmp_path: Path) -> None:
    (tmp_path / "small.toml").write_text(SMALL)
    request = (SAMPLES / "day.csv", "--recipe", tmp_path / "small.toml", "--only", "clip=B001C002")
    run = rushlight("render", *request, "--out", tmp_path / "o", "--json")
    events = [json.loads(line) for line in run.stdout.splitlines()]
    assert [event["event"] for event in events[:2]] == ["folder", "phase"]
    assert "begin" in {event["event"] for event in events}
    assert events[-1]["event"] == "summary" and events[-1]["done"] == ["B001C002"]


def test_ctrl_c_stops_cleanly_and_the_same_command_goes_on(tmp_path: Path) -> None:
    out = tmp_path / "out"
    arguments = (*made_up_day(tmp_path)[:-3], "--out", out, "--workers", 1)
    process = started(*arguments, start_new_session=True)
    deadline = time.monotonic() + 120
    while not list(out.glob(".work/*/*/*.mov")) and process.poll() is None and time.monotonic() < deadline:
        time.sleep(0.05)
    os.killpg(process.pid, signal.SIGINT)
    said, errors = process.communicate(timeout=120)
    assert process.returncode == 3, said + errors
    assert "STOPPED" in said and ("being finished" in errors or "nothing is in hand" in errors)
    assert not [p for p in out.glob("editorial/*") if p.suffix == ".part"]
    run = command.rushlight(*arguments)
    assert run.returncode == 0, run.stderr
    assert {r["status"] for r in records(out).values()} == {"done"}


@pytest.mark.slow  # test_kills.py kills a smaller day in every run
def test_kill_9_leaves_nothing_half_and_the_same_bytes_in_the_end(
    day: tuple[Path, str], tmp_path: Path
) -> None:
    out, _ = day
    again = tmp_path / "out"
    arguments = ("render", SAMPLES / "day.csv", "--recipe", "overnight", "--out", again, "--workers", 2)
    for wait in (4.0, 8.0):
        process = started(*arguments, start_new_session=True)
        time.sleep(wait)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        process.stdout.close()  # type: ignore[union-attr]
        process.stderr.close()  # type: ignore[union-attr]
        for path in again.glob("*/*"):
            if path.parent.name in ("editorial", "viewing", "stills"):
                assert path.read_bytes() == (out / path.relative_to(again)).read_bytes()
    run = command.rushlight(*arguments)
    assert run.returncode == 0, run.stderr
    for path in (p for p in out.glob("*/*") if p.suffix in (".mov", ".mp4", ".tif", ".jpg")):
        assert (again / path.relative_to(out)).read_bytes() == path.read_bytes(), path
