"""Every recipe that ships, over the camera-like originals: delivered whole, read by an outsider, measured by `verify`."""

from pathlib import Path

import independent
import pytest
from command import rushlight
from real import originals
from rushlight.batch.records import latest, read_records
from rushlight.batch.verify import verify
from rushlight.pipelines.recipe import shipped_recipes
from rushlight.pipelines.stills import read_still

QUICK = "remote"  # the usual run takes this one, and tests/test_render.py overnight


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=() if n == QUICK else pytest.mark.slow) for n in shipped_recipes()]
)
def test_real_originals_through(name: str, tmp_path: Path) -> None:
    folder, truth = originals()
    if name == QUICK:
        truth = [t for t in truth if t["audio_channels"] in (0, 4)][:2]
    rows = [
        f"{t['file']},{t['encoding'].replace('ARRI LogC3 (EI800)', 'LogC3')},{t['levels']}" for t in truth
    ]
    (tmp_path / "day.csv").write_text("clip,encoding,levels\n" + "\n".join(rows) + "\n")
    out = tmp_path / "out"
    run = rushlight(
        "render", tmp_path / "day.csv", "--recipe", name, "--media", folder, "--out", out, "--workers", 2
    )
    assert run.returncode == 0, run.stdout + run.stderr
    found = {r["clip"]: r for r in latest(read_records(out)).values()}
    for entry in truth:
        outputs = found[entry["file"]]["outputs"]
        assert outputs
        for output in outputs:
            path = out / output["path"]
            if output["kind"] == "still":
                assert read_still(path).shape == (output["height"], output["width"], 3)
                continue
            assert independent.count(path) == entry["frames"]
            assert independent.timecode(path) == entry["timecode"]
            tracks = [line for line in independent.said(path).splitlines() if "Audio:" in line]
            mixed = output["codec"].startswith(("h264", "hevc"))
            if not entry["audio_channels"]:
                assert not tracks
            elif output["container"] == "mxf":
                assert len(tracks) == entry["audio_channels"]
            else:
                assert len(tracks) == 1 and ("stereo" in tracks[0]) == (mixed or entry["audio_channels"] == 2)
    for verdict in verify(out):
        assert {c.verdict for c in verdict.checks.values()} <= {"pass", "cannot tell"}, verdict
