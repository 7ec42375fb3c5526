"""What is stated of a camera: read, overruled, and done to the picture."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from here import rushlight
from pictures import frame_of, write_movie
from rushlight.batch.lists.camera_columns import Camera, camera_letter, camera_of, framed
from rushlight.batch.lists.clip_list import read_csv
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.recipe.model import Frame


def test_a_row_overrules_a_default() -> None:
    said = {"rotation": "180", "desqueeze": "1.33", "clock_offset": "-2.5"}
    assert camera_of({}, said) == Camera(
        rotation=180, desqueeze=Fraction("1.33"), clock_offset=Fraction("-2.5")
    )
    assert camera_of({"rotation": "0", "desqueeze": "2"}, said) == Camera(
        rotation=0, desqueeze=Fraction(2), clock_offset=Fraction("-2.5")
    )
    assert camera_of({}, {}) == Camera()


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("rotation", "90"),
        ("rotation", "up"),
        ("desqueeze", "0"),
        ("desqueeze", "9"),
        ("desqueeze", "nan"),
        ("desqueeze", "1/0"),
        ("clock_offset", "late"),
        ("clock_offset", "1e999999999"),
        ("clock_offset", "inf"),
    ],
)
def test_a_wrong_cell_is_its_rows_problem(column: str, cell: str) -> None:
    with pytest.raises(ListError) as caught:
        camera_of({column: cell}, {})
    assert caught.value.key == column
    (row,) = read_csv(f"clip,{column}\nA001C001,{cell}\n").rows
    assert row.problem and row.problem.key == column


@given(st.text(max_size=12), st.sampled_from(["rotation", "desqueeze", "clock_offset"]))
def test_any_cell_is_a_number_or_a_clear_error(text: str, column: str) -> None:
    try:
        camera_of({column: text}, {})
    except ListError as error:
        assert error.key == column


@pytest.mark.parametrize(
    ("stated", "reel", "letter"), [("", "A001", "A"), ("b", "A001", "b"), ("", "card1", ""), ("", "", "")]
)
def test_letters(stated: str, reel: str, letter: str) -> None:
    assert camera_letter(stated, reel) == letter


def corners(path: Path, aspect: Fraction = Fraction(1)) -> Path:
    """A movie whose top left quarter is bright, of pixels of that aspect."""
    luma, chroma = np.full((72, 128), 200, np.uint16), np.full((72, 64), 512, np.uint16)
    luma[:36, :64] = 700
    frame = frame_of("yuv422p10le", luma, chroma, chroma)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("prores_ks", rate=24)
        stream.width, stream.height, stream.pix_fmt = 128, 72, "yuv422p10le"
        stream.codec_context.sample_aspect_ratio = aspect
        frame.pts, frame.time_base = 0, Fraction(1, 24)
        out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


RECIPE = """
encoding = "LogC3"
[look]
transform = "colorimetric"
size = 17
[[default]]
camera = "A"
rotation = 180
[[default]]
reel = "B*"
desqueeze = 2
[[output]]
name = "stills"
make = "stills"
kinds = ["png8"]
size = "128x72"
[output.frame]
mode = "pad"
"""


def test_it_reaches_the_pixels(tmp_path: Path) -> None:
    """A is turned, but where its row says 0; B is widened to twice, whatever its header says, so that bands are black."""
    (tmp_path / "first").mkdir()
    for name in ("A001C001", "A001C002", "first/B001C001"):
        corners(tmp_path / f"{name}.mov")
    (
        tmp_path / "reloaded"
    ).mkdir()  # a card whose clips have the same names: its reel is a folder of each output
    corners(tmp_path / "reloaded" / "B001C001.mov", Fraction(4, 3))
    (tmp_path / "r.toml").write_text(RECIPE)
    (tmp_path / "day.csv").write_text(
        "clip,reel,rotation,desqueeze\nA001C001,A001,,\nA001C002,A001,0,\nfirst/B001C001,B001,,\nreloaded/B001C001,B002,,\n"
    )
    run = rushlight(
        "render",
        tmp_path / "day.csv",
        "--media",
        tmp_path,
        "--recipe",
        tmp_path / "r.toml",
        "--out",
        tmp_path / "out",
        "--workers",
        1,
    )
    assert run.returncode == 0, run.stdout + run.stderr

    def at(name: str, x: int, y: int) -> int:
        return int(
            oiio.ImageBuf(str(tmp_path / "out" / "stills" / f"{name}.png")).get_pixels(oiio.UINT8)[y, x, 1]
        )

    turned, plain, wide, other = "A001C001", "A001C002", "B001/B001C001", "B002/B001C001"
    assert at(turned, 120, 68) > at(turned, 4, 4) + 50 and at(plain, 4, 4) > at(plain, 120, 68) + 50
    for name in (wide, other):  # 128x72 twice as wide is 128x36: bands of 18 above and below
        assert at(name, 4, 8) == at(name, 4, 64) == 0
        assert at(name, 4, 24) > at(name, 4, 48) + 50 and at(name, 4, 48) > 0


def test_a_header_that_is_turned_is_overruled(tmp_path: Path) -> None:
    facts = probe(corners(tmp_path / "a.mov"))
    from dataclasses import replace

    upside, sideways = replace(facts, rotation=180), replace(facts, rotation=90)
    for header, stated, wanted in (
        (upside, 0, 180),
        (upside, 180, 0),
        (facts, 180, 180),
        (facts, 0, 0),
        (sideways, 180, 180),
    ):
        assert framed(Frame(rotate=180), Camera(rotation=stated), header).rotate == wanted
    assert framed(Frame(rotate=180), Camera(), upside).rotate == 180
    assert framed(Frame(desqueeze=1.5), Camera(), facts).desqueeze == 1.5


def test_a_clock_offset_decides_which_change_held(tmp_path: Path) -> None:
    write_movie(
        tmp_path / "A001C001.mov",
        [frame_of("yuv422p10le", *(np.zeros(s, np.uint16) for s in ((8, 16), (8, 8), (8, 8))))] * 24,
        timecode="10:00:00:00",
    )
    (tmp_path / "r.csv").write_text(
        "date,timecode,rate,saturation\n2026-05-04,09:00:00:00,24,0.1\n2026-05-04,10:00:03:00,24,0.2\n"
    )
    (tmp_path / "d.toml").write_text('[[default]]\ncamera = "A"\nclock_offset = -5\n')
    for cell, wanted in (("", 0.2), ("0", 0.1), ("-1.9", 0.1), ("-2.1", 0.2)):
        (tmp_path / "day.csv").write_text(
            f"clip,encoding,date,clock_offset\nA001C001.mov,LogC3,2026-05-04,{cell}\n"
        )
        request = Request(
            clip_list=tmp_path / "day.csv", grades=(tmp_path / "r.csv",), defaults=tmp_path / "d.toml"
        )
        (clip,) = prepare(request).plan.clips
        assert clip.decision.cdl and clip.decision.cdl.saturation == wanted, cell
