"""HDR from list to delivery: tags, measured light and burn-in, as an FFmpeg that is not ours reads them."""

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import independent
import ocio
from here import rushlight
from logged import latest, read_records
from pictures import write_sequence
from real import originals
from rushlight.pipelines.burnin.canvas import graphics_white
from rushlight.pipelines.colour.displays import pq_decode

ROOT = Path(__file__).resolve().parents[2]
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


def held_to_pq(path: Path, entry: dict[str, Any], frames: int) -> int:
    said = independent.said(path)
    assert "hevc (Main 10)" in said and "bt2020nc/bt2020/smpte2084" in said and "(tv" in said
    found = re.search(r"MaxCLL=(\d+), MaxFALL=(\d+)", said)
    assert found, said
    assert "max_luminance=1000" in said
    most, mean = int(found[1]), int(found[2])
    assert entry["light"] == {"max_cll": most, "max_fall": mean}
    pictures = [light(codes(path, n)) for n in range(0, frames, max(1, frames // 8))]
    assert mean == pytest.approx(max(p.mean() for p in pictures), rel=0.03, abs=1)
    # What 4:2:0 decodes to at edges may be brighter than the grade, see below: most pixels of the brightest are not.
    assert max(np.quantile(p, 0.99) for p in pictures) * 0.95 <= most <= max(p.max() for p in pictures) * 1.1
    assert mean < most
    return most


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
    """203 cd/m2 (BT.2408, table 1), not the 10,000 of code 940; the brightest there is where the picture is dark."""
    recipe = (
        SMALL.format(display="PQ BT.2100", container="mov").replace("[look]", "[look]\nexposure = -5")
        + BURNIN
    )
    path, entry = night(tmp_path, ROOT / "sample_frames", "A001C007.mov,ARRI LogC3,narrow", recipe)
    text = codes(path, 5)[0][225:265, 150:330]
    white = 64 + 876 * graphics_white(16)
    assert np.percentile(text, 99.5) == pytest.approx(white, abs=25)
    assert entry["light"]["max_cll"] == pytest.approx(203, abs=3)


def test_pq_of_a_real_original(tmp_path: Path) -> None:
    folder, truth = originals(0.25)
    fact = next(f for f in truth if f["file"] == "A001_C001.mov")
    recipe = SMALL.format(display="PQ BT.2100", container="mp4")
    path, entry = night(tmp_path, folder, f"{fact['file']},ARRI LogC3,narrow", recipe)
    assert held_to_pq(path, entry, fact["frames"]) <= 1001  # the transform ends at 1000


def test_light_is_the_grade_s_also_at_sharp_edges_and_padding_is_no_picture(tmp_path: Path) -> None:
    """Stripes of a pixel, red on bright grey: MaxCLL is the transform's own, though 4:2:0 decodes to more (CTA-861.3-A)."""
    picture = np.full((216, 480, 3), (800, 800, 800), np.uint16)
    picture[:, ::2] = (640, 120, 120)
    write_sequence(tmp_path / "A001C001", [picture])
    recipe = SMALL.format(display="PQ BT.2100", container="mp4")
    path, entry = night(tmp_path, tmp_path, "A001C001,ARRI LogC3,full", recipe)
    shown = ocio.displayed(
        np.unique(picture.reshape(-1, 3), axis=0) / 1023,
        "ARRI LogC3 (EI800)",
        "Rec.2100-PQ - Display",
        "ACES 2.0 - HDR 1000 nits (Rec.2020)",
    )
    peaks = pq_decode(shown.max(-1))  # of each colour; half the picture has either
    assert entry["light"]["max_cll"] == pytest.approx(peaks.max(), rel=0.01)
    assert entry["light"]["max_fall"] == pytest.approx(peaks.mean(), rel=0.01)  # without the bars of 480x270
    assert light(codes(path, 0)).max() > 1.1 * peaks.max()
