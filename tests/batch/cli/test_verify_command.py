"""Proof end to end on small pictures: what the log keeps of each state, and verify's answer as its user sees it."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from here import rushlight
from logged import append_record, latest, read_records
from pictures import frame_of, texture, write_movie, write_sequence
from recorded import movie, recorded
from rushlight.batch.api import verify as verify_module
from rushlight.batch.api.verify import CheckVerdict, VerifyResult
from rushlight.batch.cli.verify_command import _print, show_verify
from rushlight.batch.records.verdicts import ClipVerdicts
from rushlight.pipelines.measure.colour_tiles import sampled_frames

RECIPE = """
[[output]]
name = "plain"
make = "movie"
codec = "prores-lt"
size = "640x360"

[[output]]
name = "marked"
make = "movie"
codec = "prores-lt"
size = "640x360"
[output.burnin]
watermark = "{mark}"
text = [{{ at = "bottom", text = "{{timecode}}" }}, {{ at = "top", text = "{{clip}}" }}, {{ at = "centre", text = "{{clip}}", size = 0.1 }}]
[output.guides]
action_safe = 0.9
title_safe = 0.8
centre = true

[[output]]
name = "show"
make = "movie"
codec = "h264"
size = "320x180"
state = "show"

[[output]]
name = "camera"
make = "movie"
codec = "prores-422"
size = "320x180"
state = "log"

[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg", "png8", "tiff16", "exr"]
at = ["first", "middle"]
size = "320x180"
"""


def made(folder: Path, mark: str = "FOR {reel}", take: int = 3) -> Path:
    """A textured clip, a flat one and a grey one (`take` of them), through a recipe with every state."""
    folder.mkdir(exist_ok=True)
    luma, chroma = np.full((180, 320), 420), np.full((180, 160), 512)
    grey = texture("yuv422p10le", 320, 180)
    for plane in (1, 2):
        np.frombuffer(grey.planes[plane], np.uint16)[:] = 512
    clips = {
        "A001.mov": [texture("yuv422p10le", 320, 180, k) for k in range(12)],
        "B001.mov": [frame_of("yuv422p10le", luma, chroma - 40, chroma + 60) for _ in range(12)],
        "C001.mov": [frame_of("yuv422p10le", *(np.array(p) for p in _views(grey))) for _ in range(12)],
    }
    for number, (name, frames) in enumerate(clips.items()):
        path = folder / name
        if not path.is_file():
            write_movie(path, frames, timecode=f"0{number + 1}:00:00:00", reel=name[:4])
    grade = "1.04 1 0.96,0.004 0 -0.006,1 1 1,1.05"
    rows = "".join(f"{n},LogC3,narrow,{',,,' if n == 'C001.mov' else grade}\n" for n in list(clips)[:take])
    (folder / "day.csv").write_text("clip,encoding,levels,slope,offset,power,saturation\n" + rows)
    (folder / "all.toml").write_text(RECIPE.format(mark=mark))
    out = folder / f"out-{len(mark)}"
    run = rushlight(
        "render", folder / "day.csv", "--recipe", folder / "all.toml", "--out", out, "--workers", 2
    )
    assert run.returncode == 0, run.stdout + run.stderr
    return out


def _views(frame: Any) -> Any:
    from rushlight.pipelines.formats.pixel_formats import planes

    return planes(frame)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made(tmp_path_factory.mktemp("proof") / "day")


def test_the_log_keeps_tiles_of_every_state_and_a_side_file_of_every_frame(out: Path) -> None:
    for record in latest(read_records(out)).values():
        frames = list(sampled_frames(12, 24))  # type: ignore[arg-type]
        tiles = record["colour"]["tiles"]
        assert set(tiles) == {"plain", "marked", "show", "camera"}
        for name, kept in tiles.items():
            assert [t["frame"] for t in kept] == frames
            values = np.array(kept[0]["values"], float)
            assert values.shape == (9, 16, 3)
            if name == "camera":
                assert np.nanmin(values) >= 64 and np.nanmax(values) <= 960  # ten-bit codes
            else:
                assert np.nanmax(values[..., 0]) <= 100  # L*
        stills = [e for e in record["outputs"] if e["kind"] == "still"]
        assert len(stills) == 8 and all(
            np.shape(e["tiles"]) == (9, 16, 3) for e in stills if e["still_kind"] != "exr"
        )
        pictures = record["colour"]["pictures"]
        assert sorted(sorted(p["outputs"]) for p in pictures) == [["camera"], ["marked", "plain"], ["show"]]
        side = [json.loads(line) for line in (out / pictures[0]["frames"]).read_text().splitlines()]
        assert len(side) == 12 * len(pictures)
        assert all(len(bytes.fromhex(s["digest"])) == 16 and len(s["luma"]) == 16 for s in side)
        assert record["colour"]["digest"].startswith("rushlight-colour-1:")
        assert len(record["colour"]["patches"]) == 27


def test_verify_passes_all_of_it_and_cannot_tell_what_is_flat_or_grey(out: Path) -> None:
    run = rushlight("verify", out, "--json")
    document = json.loads(run.stdout)
    assert run.returncode == 0, run.stdout
    found = {c["clip"]: c for c in document["clips"]}
    for clip in found.values():
        assert set(clip["checks"]) == {"hash", "frames", "timecode", "tags", "colour"}
        assert {n: c["verdict"] for n, c in clip["checks"].items() if n not in ("colour", "frames")} == {
            "hash": "pass",
            "timecode": "pass",
            "tags": "pass",
        }
        assert len(clip["files"]) == 12
    assert found["A001.mov"]["checks"]["colour"]["verdict"] == "pass", found["A001.mov"]["checks"]["colour"]
    for name, blind in {"B001.mov": ("jpg",), "C001.mov": ("jpg", "png", "tif", "plain", "marked")}.items():
        assert found[name]["checks"]["colour"]["verdict"] == "cannot tell"
        for path, checks in found[name]["files"].items():
            if path.startswith(blind) or path.endswith(blind):
                assert checks["colour"]["verdict"] == "cannot tell", (path, checks["colour"])
                assert "saturation 0.05" in checks["colour"]["text"]
        assert found[name]["files"][f"camera/{name[:4]}.mov"]["colour"]["verdict"] == "pass"
    (record, *_) = latest(read_records(out)).values()
    (entry,) = (e for e in record["outputs"] if e["output"] == "marked")
    for left, top in ((160 * k, 90 * m) for k in range(4) for m in range(4)):  # no cell is free of burn-in
        assert any(
            x < left + 160 and x + w > left and y < top + 90 and y + h > top
            for x, y, w, h in entry["covered"]
        )
    plain = rushlight("verify", out)
    assert "1 match the decision supplied, 2 cannot be told" in " ".join(plain.stdout.split())
    assert "approved" not in plain.stdout and max(map(len, plain.stdout.splitlines())) <= 100


def test_another_burn_in_is_the_same_colour(out: Path) -> None:
    other = made(out.parent, "SOMETHING ELSE", take=1)
    digests = [
        {r["clip"]: r["colour"]["digest"] for r in latest(read_records(o)).values()} for o in (out, other)
    ]
    assert digests[0]["A001.mov"] == digests[1]["A001.mov"]
    assert (out / "marked" / "A001.mov").read_bytes() != (other / "marked" / "A001.mov").read_bytes()


def test_a_still_of_another_moment_or_kind_is_found(out: Path, tmp_path: Path) -> None:
    import shutil

    copy = tmp_path / "out"
    shutil.copytree(out, copy)
    (record,) = (r for r in latest(read_records(copy)).values() if r["clip"] == "A001.mov")
    first, middle = (e["path"] for e in record["outputs"] if e.get("still_kind") == "tiff16")
    shutil.copy(copy / first, copy / middle)
    document = json.loads(rushlight("verify", copy, "--json", "--no-hash").stdout)
    (clip,) = (c for c in document["clips"] if c["clip"] == "A001.mov")
    checks = clip["files"][middle]
    assert checks["colour"]["verdict"] == "fail" and checks["timecode"]["verdict"] == "fail"
    assert record["first_timecode"] in checks["timecode"]["text"]


def test_a_stretch_held_for_missing_frames_is_warned_of(tmp_path: Path) -> None:
    y, x = np.mgrid[:90, :160] / 20
    codes = [
        np.rint(420 + 150 * np.stack([np.sin(x + k / 5), np.cos(y - k / 7), np.sin(x + y)], -1)).astype(
            np.uint16
        )
        for k in range(20)
    ]
    folder = write_sequence(tmp_path / "D001_C001", codes)
    for path in sorted(folder.iterdir())[8:13]:
        path.unlink()
    (tmp_path / "hold.toml").write_text(
        'missing_frames = "hold"\n[[output]]\nname = "plain"\nmake = "movie"\ncodec = "prores-lt"\nsize = "160x90"\n'
    )
    (tmp_path / "day.csv").write_text("clip,encoding,levels\nD001_C001,LogC3,full\n")
    out = tmp_path / "out"
    run = rushlight("render", tmp_path / "day.csv", "--recipe", tmp_path / "hold.toml", "--out", out)
    assert run.returncode == 0, run.stdout + run.stderr
    (record,) = latest(read_records(out)).values()
    assert record["original"] == {**record["original"], "held": [[8, 12]], "repeated": [], "black": []}
    run = rushlight("verify", out)
    assert run.returncode == 0
    assert "5 frames, the first number 8, are frozen, and the original is not" in " ".join(run.stdout.split())


@pytest.mark.parametrize("heard", [True, False])
def test_sound_is_a_column_where_it_was_compared(heard: bool, capsys: pytest.CaptureFixture[str]) -> None:
    good = CheckVerdict(verdict="pass", text="")
    checks = {"frames": good, "hash": good} | ({"sound": good} if heard else {})
    clips = [
        ClipVerdicts(clip=c, job=c, made="", decision="none", verdict="pass", checks=k, files={})
        for c, k in (("A", checks), ("B", {"frames": good}))
    ]
    _print(VerifyResult(measured="", clips=tuple(clips)))
    first, *_ = capsys.readouterr().out.splitlines()
    assert ("sound" in first.split()) is heard


def test_rows_say_which_output_they_are_of(capsys: pytest.CaptureFixture[str]) -> None:
    def check(verdict: str, mean: float | None = None, unit: str = "") -> dict[str, object]:
        figures = {"mean": mean, "p95": 2 * mean, "worst": 3 * mean, "unit": unit} if mean else {}
        return {"verdict": verdict, "text": "", **figures}

    def clip(name: str, verdict: str, files: dict[str, object]) -> ClipVerdicts:
        worst = {"frames": check(verdict), "colour": check("pass", 0.1, "CIEDE2000")}
        said = {"clip": name, "job": name, "made": "", "decision": "supplied", "verdict": verdict}
        return ClipVerdicts.read({**said, "checks": worst, "files": files})

    fine = {
        "editorial/A.mov": {"frames": check("pass"), "colour": check("pass", 0.1, "CIEDE2000")},
        "viewing/A.mp4": {"frames": check("pass"), "colour": check("pass", 0.3, "CIEDE2000")},
        "camera/A.mov": {"frames": check("pass"), "colour": check("pass", 4.0, "codes")},
        "stills/x/A.jpg": {"frames": check("pass"), "colour": check("pass", 0.2, "CIEDE2000")},
        "stills/x/A.tif": {"frames": check("pass"), "colour": check("pass", 0.05, "CIEDE2000")},
    }
    lost = {"editorial/B.mov": fine["camera/A.mov"], "viewing/B.mp4": {"frames": check("fail")}}
    one = {"viewing/C.mp4": {"frames": check("pass"), "colour": check("pass", 0.5, "CIEDE2000")}}
    clips = (clip("A", "pass", fine), clip("B", "fail", lost), clip("C", "pass", one), clip("D", "fail", {}))
    _print(VerifyResult(measured="", clips=clips))
    rows = [line.split(maxsplit=2) for line in capsys.readouterr().out.splitlines() if line[:2] in TABLE]
    assert [row[:2] for row in rows] == [
        ["B", "viewing"],
        ["B", "editorial"],
        ["D", "-"],
        ["A", "all"],
        ["C", "viewing"],
    ]
    assert rows[1][2].endswith("4.00/8.00/12.00 codes")
    assert rows[3][2].startswith("4 ") and rows[3][2].endswith("viewing 0.30/0.60/0.90")


TABLE = ("A ", "B ", "C ", "D ")


def test_a_clip_delivered_with_damaged_frames_counts_among_the_warnings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    said = "delivered with 2 damaged frames: 01:00:00:03"
    verdicts = {"A": "pass", "B": "pass", "C": "cannot tell", "D": "fail"}
    good = {"frames": {"verdict": "pass", "text": ""}}
    clips = [
        ClipVerdicts.read(
            {"clip": c, "job": c, "made": "", "decision": "supplied", "verdict": v, "checks": good}
        )
        for c, v in verdicts.items()
    ]
    for job in verdicts:
        append_record(tmp_path, recorded(job, movie(), warnings=[said] if job != "A" else []))
    monkeypatch.setattr(verify_module, "measure", lambda out, **options: clips)
    asked = {"no_hash": True, "against": None, "reference": None, "workers": 1}
    assert show_verify(tmp_path, **asked, as_json=False) == 1  # of D alone
    printed = capsys.readouterr().out
    assert [line for line in printed.splitlines() if line.startswith("WARN")] == [
        f"WARN  {clip}: {said}" for clip in "DBC"
    ]
    assert "4 clips: 1 match the decision supplied, 0 cannot be told, 2 with warnings, 1 FAILED" in " ".join(
        printed.split()
    )
    del clips[3]
    assert show_verify(tmp_path, **asked, as_json=True) == 0  # the document is as it was
    document = json.loads(capsys.readouterr().out)
    assert (
        document["counts"] == {"pass": 2, "cannot tell": 1, "warn": 0, "fail": 0}
        and "damaged" not in document
    )
