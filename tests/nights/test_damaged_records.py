"""A damaged output folder: what was torn, changed or broken costs its clip's verdict, and every other clip has its own.

One tiny day is rendered once; each test damages a copy of it and asks the command, in this process.
"""

import io
import json
import random
import shutil
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from here import rushlight
from logged import latest, read_records
from pictures import texture, write_movie
from rushlight.batch import job_log
from rushlight.batch.cli.main import cli
from rushlight.batch.error_log import ERRORS
from rushlight.batch.job_log import log_path

RECIPE = """
[[output]]
name = "plain"
make = "movie"
codec = "prores-lt"
size = "160x90"

[[output]]
name = "small"
make = "movie"
codec = "h264"
size = "160x90"
quality = 6

[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg", "tiff16"]
size = "160x90"
"""
CLIPS = ("A001.mov", "B001.mov")


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("damaged") / "day"
    folder.mkdir()
    for number, name in enumerate(CLIPS):
        frames = [texture("yuv422p10le", 160, 90, k + 9 * number) for k in range(6)]
        write_movie(folder / name, frames, timecode=f"0{number + 1}:00:00:00", reel=name[:4])
    rows = "".join(f"{name},LogC3,narrow,1.02 1 0.98\n" for name in CLIPS)
    (folder / "day.csv").write_text("clip,encoding,levels,slope\n" + rows)
    (folder / "day.toml").write_text(RECIPE)
    run = rushlight(
        "render", folder / "day.csv", "--recipe", folder / "day.toml", "--out", folder / "out", "--workers", 1
    )
    assert run.returncode == 0, run.stdout + run.stderr
    return folder


@pytest.fixture()
def out(day: Path, tmp_path: Path) -> Path:
    """A copy of the rendered folder, to be damaged."""
    copy = tmp_path / "out"
    shutil.copytree(day / "out", copy)
    return copy


def answer(*arguments: object) -> tuple[int, str, str]:
    """Exit code, standard output and error of a command, run here."""
    code, said, told = 0, io.StringIO(), io.StringIO()
    with redirect_stdout(said), redirect_stderr(told):
        try:
            cli([str(a) for a in arguments], standalone_mode=False)
        except SystemExit as stop:
            code = int(stop.code or 0)
    return code, said.getvalue(), told.getvalue()


def measured(out: Path, *more: object) -> tuple[int, dict[str, dict[str, Any]]]:
    """`verify --json`: the exit code, and each clip's verdict by name."""
    code, text, error = answer("verify", out, "--json", *more)
    assert code in (0, 1), error
    return code, {c["clip"]: c for c in json.loads(text)["clips"]}


def says(clip: dict[str, Any]) -> str:
    """What a verdict says of a clip, all checks of all its files."""
    every = [*clip["checks"].values(), *(c for f in clip["files"].values() for c in f.values())]
    return " | ".join(c["text"] for c in every)


def one_is_well(clips: dict[str, dict[str, Any]], name: str = "B001.mov") -> bool:
    return clips[name]["verdict"] in ("pass", "cannot tell") and len(clips[name]["files"]) == 4


def lines(out: Path) -> list[bytes]:
    return log_path(out).read_bytes().splitlines(keepends=True)


def changed_record(out: Path, change: Callable[[dict[str, Any]], None], at: int = 0) -> None:
    """One record of the log, rewritten in its place."""
    all_ = lines(out)
    record = json.loads(all_[at])
    change(record)
    all_[at] = json.dumps(record).encode() + b"\n"
    log_path(out).write_bytes(b"".join(all_))


def side_file(out: Path, clip: str = "A001.mov") -> Path:
    (record,) = (r for r in latest(read_records(out)).values() if r["clip"] == clip)
    return out / record["colour"]["pictures"][0]["frames"]


def test_an_undamaged_day_passes(out: Path) -> None:
    code, clips = measured(out)
    assert code == 0 and all(one_is_well(clips, name) for name in CLIPS)
    assert not (out / ERRORS).exists()


# --- the side file of frames


def side_mutants(text: bytes) -> list[tuple[str, bytes]]:
    """Sixty ways in which a side file of frames may be damaged, the same each time."""
    dice = random.Random(20261127)
    found = [(f"cut at {at}", text[:at]) for at in sorted(dice.sample(range(1, len(text) - 2), 48))]
    rows = text.splitlines(keepends=True)
    for value in (b"null", b'"x"', b"-5", b"NaN", b"1e999", b"[]", b"{}"):
        row = json.loads(rows[2])
        row["luma"] = "LUMA"
        found.append(
            (
                f"luma is {value!r}",
                b"".join([*rows[:2], json.dumps(row).encode().replace(b'"LUMA"', value) + b"\n", *rows[3:]]),
            )
        )
    found.append(("a line twice", b"".join([*rows[:3], rows[2], *rows[3:]])))
    found.append(("lines in another order", b"".join([rows[1], rows[0], *rows[2:]])))
    found.append(("a line gone", b"".join(rows[:2] + rows[3:])))
    found.append(("zeros", bytes(len(text))))
    found.append(("nothing", b""))
    return found


def test_a_torn_or_changed_side_file_is_its_clips_failure_by_file_and_line(out: Path) -> None:
    """`frames` alone are measured against it: the other checks keep their verdicts."""
    path = side_file(out)
    whole = path.read_bytes()
    mutants = side_mutants(whole)
    assert len(mutants) == 60
    for what, damaged in mutants[:: 1 if len(mutants) < 10 else 4]:
        path.write_bytes(damaged)
        code, clips = measured(out, "--no-hash")
        failed = clips["A001.mov"]
        assert code == 1 and one_is_well(clips), what
        assert failed["checks"]["record"]["verdict"] == "fail" and path.name in says(failed), what
        assert failed["checks"]["frames"]["verdict"] == "cannot tell", (what, failed["checks"])
        assert failed["checks"]["timecode"]["verdict"] == failed["checks"]["tags"]["verdict"] == "pass"
    assert not (out / ERRORS).exists()


def test_every_way_a_side_file_is_damaged_is_told(out: Path) -> None:
    """The same sixty, read alone."""
    from rushlight.batch.verify.deliveries import _logged_grids
    from rushlight.pipelines.errors import OptionError

    path = side_file(out)
    (record,) = (r for r in job_log.read_records(out) if r.clip == "A001.mov" and r.status == "done")
    entry = record.outputs[0]
    grids = _logged_grids(out, record, entry)
    assert grids is not None and grids.shape == (6, 16) and np.isfinite(grids).all()
    for what, damaged in side_mutants(path.read_bytes()):
        path.write_bytes(damaged)
        with pytest.raises(OptionError) as told:
            _logged_grids(out, record, entry)
        assert told.value.file == str(path), what
        assert told.value.line or "6 frames" in str(told.value), (what, str(told.value))


# --- the log


def test_a_log_torn_anywhere_costs_the_clip_it_tears(out: Path) -> None:
    """Torn in the middle, closed off: that clip by name and line. At the end, as a crash leaves it: not a word of it."""
    first, *rest = lines(out)
    dice = random.Random(7)
    for at in sorted(dice.sample(range(120, len(first) - 1), 12)):
        log_path(out).write_bytes(first[:at] + b"\n" + b"".join(rest))
        code, clips = measured(out, "--no-hash")
        assert code == 1 and one_is_well(clips)
        assert clips["A001.mov"]["verdict"] == "fail" and "jobs.jsonl:1: is torn" in says(clips["A001.mov"])
    log_path(out).write_bytes(first + rest[0][:-40])
    code, clips = measured(out, "--no-hash")
    assert code == 0 and list(clips) == ["A001.mov"]


def drop(key: str) -> Callable[[dict[str, Any]], None]:
    return lambda record: record.pop(key)


def put(path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(record: dict[str, Any]) -> None:
        here: Any = record
        *above, last = [int(p) if p.isdigit() else p for p in path.split(".")]
        for part in above:
            here = here[part]
        here[last] = value

    return change


RECORDS = {
    "outputs is gone": (drop("outputs"), "outputs"),
    "colour is gone": (drop("colour"), "colour"),
    "look is a list": (put("look", []), "look"),
    "frames is text": (put("frames", "6"), "frames"),
    "first_frame is null": (put("first_frame", None), "first_frame"),
    "a hash is a number": (put("outputs.0.hash", 5), "outputs[0].hash"),
    "a width is negative": (put("outputs.0.width", -160), "outputs[0].width"),
    "a picture is short": (put("outputs.0.picture", [0, 0]), "outputs[0].picture"),
    "a kind is of another hand": (put("outputs.0.kind", "hologram"), "outputs[0]"),
    "a rate is none": (put("outputs.0.rate", "often"), "outputs[0]"),
    "tiles are numbers": (put("colour.tiles", {"plain": 3}), "colour.tiles"),
    "status is a list": (put("status", []), "status"),
    "schema is of another hand": (put("schema", "elsewhere-3"), "schema"),
}


@pytest.mark.parametrize("what", RECORDS)
def test_a_missing_or_wrong_key_is_its_clips_failure_by_line_and_key(what: str, out: Path) -> None:
    change, key = RECORDS[what]
    changed_record(out, change)
    code, clips = measured(out, "--no-hash")
    assert code == 1 and one_is_well(clips)
    failed = clips["A001.mov"]
    assert failed["verdict"] == "fail" and f"jobs.jsonl:1: {key}" in says(failed), says(failed)
    code, _, error = answer("report", out)
    assert code == 0, error
    page = (out / "report" / "index.html").read_text()
    assert "jobs.jsonl:1" in page and "B001.mov" in page
    shown = answer("verify", out, "--no-hash")[1]
    assert "FAIL  A001.mov: record:" in shown and max(map(len, shown.splitlines())) <= 110


def test_a_record_that_passes_and_still_cannot_be_measured_costs_its_file(out: Path) -> None:
    for change, says_ in (
        (put("outputs.0.codec", "crayon"), "crayon"),
        (put("outputs.0.display", "the moon"), "the moon"),
        (put("outputs.0.width", 161), "size"),
        (put("outputs.0.picture", [0, 0, 4000, 3000]), ""),
    ):
        saved = log_path(out).read_bytes()
        changed_record(out, change)
        code, clips = measured(out, "--no-hash")
        assert code == 1 and one_is_well(clips) and says_ in says(clips["A001.mov"]), says(clips["A001.mov"])
        log_path(out).write_bytes(saved)


def test_an_error_that_nobody_expected_costs_one_file_and_is_kept(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rushlight.batch.verify import deliveries

    measure = deliveries._movie

    def odd(folder: Path, path: Path, *rest: Any) -> Any:
        if path.parts[-2:] == ("plain", "A001.mov"):
            raise ZeroDivisionError("odd")
        return measure(folder, path, *rest)

    monkeypatch.setattr(deliveries, "_movie", odd)
    code, clips = measured(out, "--no-hash")
    assert code == 1 and one_is_well(clips)
    assert "measuring plain/A001.mov ended with a fault of rushlight's own: ZeroDivisionError: odd" in says(
        clips["A001.mov"]
    )
    assert clips["A001.mov"]["files"]["small/A001.mp4"]["frames"]["verdict"] == "pass"
    kept = (out / ERRORS).read_text()
    assert "Traceback" in kept and "test_damaged_records.py" in kept

    def none(*_: Any) -> Any:
        raise KeyError("odder")

    monkeypatch.setattr("rushlight.batch.report.page_clip.clip_pictures", none)
    assert answer("report", out)[0] == 0
    assert "showing A001.mov ended with a fault" in (out / "report" / "index.html").read_text()


# --- delivered files


@pytest.mark.parametrize("name", ["plain/A001.mov", "small/A001.mp4", "stills/A001.tif", "stills/A001.jpg"])
def test_a_delivered_file_with_a_broken_header_fails_alone(name: str, out: Path) -> None:
    path = out / name
    whole = path.read_bytes()
    dice = random.Random(name)
    for turn in range(10):
        data = bytearray(whole)
        if turn < 3:
            data = data[: (0, 20, len(data) // 2)[turn]]
        elif turn < 6:
            at = (0, len(data) // 2, len(data) - 400)[turn - 3]
            data[at : at + 300] = dice.randbytes(300)
        else:
            for _ in range(8):
                data[dice.randrange(len(data))] = dice.randrange(256)
        path.write_bytes(data)
        code, clips = measured(out)
        assert code == 1 and one_is_well(clips) and clips["A001.mov"]["verdict"] == "fail", turn
        assert set(clips["A001.mov"]["files"]) - {name} == {
            p
            for p, checks in clips["A001.mov"]["files"].items()
            if p != name and "fail" not in {c["verdict"] for c in checks.values()}
        }


# --- against


def test_against_a_damaged_folder_compares_the_rest(day: Path, out: Path) -> None:
    changed_record(out, drop("colour"))
    for one, other in ((day / "out", out), (out, day / "out")):
        code, text, error = answer("verify", one, "--no-hash", "--json", "--against", other)
        assert code in (0, 1), error
        rows = {(r["clip"], r["verdict"]): r for r in json.loads(text)["against"]}
        assert ("B001.mov", "same colour") in rows
        assert "colour: is damaged" in rows["A001.mov", "not compared"]["differences"][0]
    changed_record(out, put("colour", {"digest": "", "pictures": [], "tiles": {}, "sensitivity": {}}), 0)
    code, text, error = answer("verify", day / "out", "--no-hash", "--against", out)
    assert code == 0 and "not compared" in text and "patches" in text, error


def test_references_with_bad_names_are_named(out: Path, tmp_path: Path) -> None:
    frames = tmp_path / "monitor"
    frames.mkdir()
    shutil.copy(out / "stills" / "A001.jpg", frames / "A001_01.00.00.03.jpg")
    shutil.copy(out / "stills" / "A001.jpg", frames / "monitor shot 4.jpg")
    (frames / "notes.txt").write_text("none of it")
    code, text, error = answer("verify", out, "--no-hash", "--json", "--reference", frames)
    assert code == 0, error
    rows = {Path(r["reference"]).name: r for r in json.loads(text)["references"]}
    assert set(rows) == {"A001_01.00.00.03.jpg", "monitor shot 4.jpg"}
    assert rows["A001_01.00.00.03.jpg"]["mean"] is not None
    assert rows["monitor shot 4.jpg"]["verdict"] == "not compared"
    assert "is not named by clip and timecode" in rows["monitor shot 4.jpg"]["text"]
    code, text, error = answer("verify", out, "--no-hash", "--reference", frames)
    assert code == 0 and "monitor shot 4.jpg" in text, error
    (frames / "monitor shot 4.jpg").unlink()
    code, text, error = answer("verify", out, "--no-hash", "--reference", frames)
    assert code == 0 and "A001_01.00.00.03.jpg" in text, error  # a last column of which nothing is said
    code, _, error = answer("verify", out, "--no-hash", "--reference", tmp_path / "none")
    assert code == 2 and "is no folder of reference frames" in error


# --- what is kept beside the log


@pytest.mark.parametrize("text", ["", "[]", "{", "null", '{"schema": "rushlight-media-1", "found": "many"}'])
def test_a_damaged_request_or_verdicts_are_said_and_the_page_made(text: str, out: Path) -> None:
    (request, *_) = (out / "log" / "requests").glob("*.json")
    request.write_text(text.replace("media", "asked"))
    (out / "log" / "verify.json").write_text(text.replace("media", "verify"))
    code, _, error = answer("report", out)
    assert code == 0, error
    page = (out / "report" / "index.html").read_text()
    assert request.name in page and "verify.json" in page
    assert measured(out, "--no-hash")[0] == 0


# --- made again


def test_a_clip_whose_record_is_damaged_is_made_again_and_no_other(day: Path, out: Path) -> None:
    before = (out / "plain" / "B001.mov").stat().st_mtime_ns
    changed_record(out, drop("outputs"))
    (out / ".work").mkdir(exist_ok=True)
    (out / ".work" / "queue.sqlite").write_bytes(b"no queue at all " * 300)
    call = ("render", day / "day.csv", "--recipe", day / "day.toml", "--out", out, "--workers", 1)
    run = rushlight(*call)
    words = " ".join((run.stdout + run.stderr).split())
    assert run.returncode == 0, words
    assert (
        "jobs.jsonl:1: outputs: is damaged: is missing" in words
        and "A001.mov counts as not made yet" in words
    )
    assert "It is put aside as queue.sqlite.damaged" in words
    assert (out / "plain" / "B001.mov").stat().st_mtime_ns == before
    code, clips = measured(out)
    assert code == 0 and one_is_well(clips, "A001.mov") and one_is_well(clips)


def test_from_says_what_of_the_requests_does_not_read(day: Path, out: Path) -> None:
    requests = out / "log" / "inputs" / "requests.jsonl"
    whole = requests.read_bytes()
    again = ("render", "--from", out, "--workers", 1)
    requests.write_bytes(b'{"schema":"rushlight-request-1","list":5}\n' + whole)
    code, text, error = answer(*again)
    assert code == 1 and "requests.jsonl:1: list: is damaged" in " ".join((text + error).split())
    requests.write_bytes(whole.replace(b'"only":[]', b'"only":7'))
    code, text, error = answer(*again)
    assert code == 2 and "requests.jsonl:1: only: is damaged" in " ".join((text + error).split())
    requests.write_bytes(whole)
    (kept,) = out.glob("log/inputs/*.list.csv")
    kept.write_bytes(kept.read_bytes().replace(b"1.02", b"1.92"))
    code, text, error = answer(*again)
    assert code == 2 and f"{kept.name}: has changed since it was kept" in " ".join((text + error).split())
