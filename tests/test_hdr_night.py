"""HDR from list to delivery: tags, measured light and burn-in, as an FFmpeg that is not ours reads them."""

import re
from pathlib import Path
from typing import Any

import independent
import numpy as np
import pytest
from command import rushlight
from real import originals
from rushlight.batch.records import latest, read_records
from rushlight.pipelines.display import pq_decode
from rushlight.pipelines.overlay import graphics_white

ROOT = Path(__file__).resolve().parent.parent
HEAD = '[look]\ndisplay = "{display}"\n[[output]]\nname = "hdr"\nmake = "movie"\ncodec = "hevc-10"\n'
SMALL = HEAD + 'container = "{container}"\nsize = "480x270"\nquality = 10\npreset = "superfast"\n'
BURNIN = '[output.burnin]\ntext = [{ at = "bottom", text = "{timecode}", size = 0.1 }]\n'


def night(tmp_path: Path, media: Path, row: str, recipe: str) -> tuple[Path, dict[str, Any]]:
    """One clip rendered; the movie and its entry in the record."""
    clips, text = tmp_path / "day.csv", tmp_path / "hdr.toml"
    clips.write_text("clip,encoding,levels\n" + row + "\n")
    text.write_text(recipe)
    out = tmp_path / "out"
    run = rushlight("render", clips, "--recipe", text, "--media", media, "--out", out, "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    (record,) = latest(read_records(out)).values()
    (entry,) = record["outputs"]
    return out / entry["path"], entry


def codes(path: Path, frame: int) -> np.ndarray:
    """Y', Cb, Cr of one decoded picture at full size, in ten-bit codes."""
    return independent.raw(path, "yuv444p10le", 480, 270, frame).reshape(3, 270, 480).astype(float)


def light(picture: np.ndarray) -> np.ndarray:
    """The largest of R, G and B in cd/m2: BT.2100-2, tables 4, 6 and 9."""
    y, cb, cr = (picture[0] - 64) / 876, (picture[1] - 512) / 896, (picture[2] - 512) / 896
    red, blue = y + 1.4746 * cr, y + 1.8814 * cb
    green = (y - 0.2627 * red - 0.0593 * blue) / 0.678
    return pq_decode(np.clip(np.maximum(np.maximum(red, blue), green), 0, 1))


def held_to_pq(path: Path, entry: dict[str, Any], frames: int) -> None:
    said = independent.said(path)
    assert "hevc (Main 10)" in said and "bt2020nc/bt2020/smpte2084" in said and "(tv" in said
    found = re.search(r"MaxCLL=(\d+), MaxFALL=(\d+)", said)
    assert found, said
    assert "max_luminance=1000" in said
    most, mean = int(found[1]), int(found[2])
    assert entry["light"] == {"max_cll": most, "max_fall": mean}
    pictures = [light(codes(path, n)) for n in range(0, frames, max(1, frames // 8))]
    assert mean == pytest.approx(max(p.mean() for p in pictures), rel=0.03, abs=1)
    assert most == pytest.approx(max(p.max() for p in pictures), rel=0.15)
    assert mean < most


def test_pq_says_how_bright_it_is(tmp_path: Path) -> None:
    recipe = SMALL.format(display="PQ BT.2100", container="mp4")
    path, entry = night(tmp_path, ROOT / "sample_frames", "A001C007.mov,ARRI LogC3,narrow", recipe)
    held_to_pq(path, entry, entry["frames"])


def test_hlg_is_tagged_and_states_no_light(tmp_path: Path) -> None:
    recipe = SMALL.format(display="HLG BT.2100", container="mp4")
    path, entry = night(tmp_path, ROOT / "sample_frames", "A001C007.mov,ARRI LogC3,narrow", recipe)
    said = independent.said(path)
    assert "bt2020nc/bt2020/arib-std-b67" in said and "MaxCLL" not in said and entry["light"] is None


def test_burnin_has_the_white_of_graphics(tmp_path: Path) -> None:
    """203 cd/m2 (BT.2408, table 1), not the 10,000 of code 940."""
    recipe = SMALL.format(display="PQ BT.2100", container="mov") + BURNIN
    path, _ = night(tmp_path, ROOT / "sample_frames", "A001C007.mov,ARRI LogC3,narrow", recipe)
    text = codes(path, 5)[0][225:265, 150:330]
    white = 64 + 876 * graphics_white(16)
    assert np.percentile(text, 99.5) == pytest.approx(white, abs=25)


def test_pq_of_a_real_original(tmp_path: Path) -> None:
    folder, truth = originals()
    fact = next(f for f in truth if f["file"] == "A001_C001.mov")
    recipe = SMALL.format(display="PQ BT.2100", container="mp4")
    path, entry = night(tmp_path, folder, f"{fact['file']},ARRI LogC3,narrow", recipe)
    held_to_pq(path, entry, fact["frames"])
