"""Exposure, white balance and printer points, from the list or recipe to the look, and to the pixel."""

from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio
import pytest
from hypothesis import given
from hypothesis import strategies as st

import colour
import independent
from here import rushlight
from pictures import write_movie
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.looks.corrections import corrections, daylight
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.formats.pixel_formats import find_pixel_format, new_frame, planes
from rushlight.pipelines.recipe.model import LookSettings
from rushlight.pipelines.recipe.read_recipe import parse_recipe


def said(recipe: LookSettings | None = None, **cells: str) -> dict:
    return corrections(Row(file="a.csv", line=2, clip="a", cells=cells), recipe or LookSettings())


def test_the_row_speaks_before_the_recipe() -> None:
    assert said() == {"exposure": 0.0, "white_balance": None, "printer_points": None}
    recipe = LookSettings(exposure=1.0, white_balance="0.45 0.41", printer_points="1 0 -1")
    assert said(recipe) == {"exposure": 1.0, "white_balance": (0.45, 0.41), "printer_points": (1, 0, -1)}
    row = said(recipe, exposure="-0.5", white_balance="0.4476,0.4074", printer_points="0 0 0")
    assert row == {"exposure": -0.5, "white_balance": (0.4476, 0.4074), "printer_points": None}


def test_daylight_is_where_cie_puts_it() -> None:
    # CIE 15:2004, table T.3: D50, D55, D65 and D75, with their temperatures on the scale of 1968
    for kelvin, x, y in (
        (5003, 0.3457, 0.3585),
        (5503, 0.3324, 0.3474),
        (6504, 0.3127, 0.3290),
        (7504, 0.2990, 0.3149),
    ):
        assert daylight(kelvin) == pytest.approx((x, y), abs=1.5e-4)
    assert said(white_balance="6504 K")["white_balance"] == daylight(6504)


def test_daylight_back_to_its_temperature_over_all_its_range() -> None:
    """The locus falls in x and rises again nowhere, its two branches meet at 7000 K, and x gives the temperature back."""
    kelvin = np.linspace(4000, 25000, 2000)
    found = np.array([daylight(float(k)) for k in kelvin])
    assert (np.diff(found, axis=0) < 0).all()
    assert np.interp(found[::50, 0], found[::-1, 0], kelvin[::-1]) == pytest.approx(kelvin[::50], rel=1e-9)
    assert daylight(7000.0001) == pytest.approx(daylight(7000), abs=1e-4)
    for one in kelvin[::200]:
        assert daylight(float(one)) == pytest.approx(colour.temperature.CCT_to_xy_CIE_D(one), abs=1e-12)


@pytest.mark.parametrize("kelvin", [float("nan"), float("inf"), -5600, 0, 3999.9, 25000.1])
def test_daylight_outside_its_range_is_an_error(kelvin: float) -> None:
    with pytest.raises(ListError, match="4000K to 25000K") as caught:
        daylight(kelvin)
    assert caught.value.key == "white_balance"


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("exposure", "x"),
        ("exposure", "nan"),
        ("exposure", "1 2"),
        ("exposure", "17"),
        ("white_balance", "3200K"),
        ("white_balance", "K"),
        ("white_balance", "0.9 0.2"),
        ("white_balance", "0.3"),
        ("printer_points", "1 2"),
        ("printer_points", "1 2 inf"),
        ("printer_points", "1 2 101"),
    ],
)
def test_a_wrong_cell_names_its_column(key: str, text: str) -> None:
    with pytest.raises(ListError) as caught:
        said(**{key: text})
    assert caught.value.key == key


@given(st.sampled_from(["exposure", "white_balance", "printer_points"]), st.text(max_size=30))
def test_junk_is_a_list_error(key: str, text: str) -> None:
    try:
        said(**{key: text})
    except ListError as error:
        assert error.key == key


def test_a_recipe_takes_them() -> None:
    text = '[look]\nexposure = 0.5\nwhite_balance = "5600K"\nprinter_points = "1 0 0"\n[[output]]\n'
    look = parse_recipe(text + 'name = "a"\nmake = "movie"\ncodec = "dnxhr-lb"\n').look
    assert said(look)["exposure"] == 0.5 and said(look)["white_balance"] == daylight(5600)


def flat() -> av.VideoFrame:
    """One colour near grey: no codec moves it, so the figures below are the look's alone."""
    pixel_format = find_pixel_format("yuv422p10le")
    assert pixel_format is not None
    frame = new_frame(pixel_format, 128, 72)
    for plane, code in zip(planes(frame), (400, 500, 530), strict=True):
        plane[:] = code
    return frame


def test_the_pixel_has_them(tmp_path: Path) -> None:
    """A still of each clip against the look's own definition over the untouched clip's codes."""
    rows = {
        "A": ("", "", ""),
        "B": ("1", "", ""),
        "C": ("", "0.4476 0.4074", ""),
        "D": ("", "", "6 0 -6"),
        "E": ("-0.5", "5000K", "0 3 0"),
    }
    lines = ["clip,encoding,levels,exposure,white_balance,printer_points"]
    for name, cells in rows.items():
        write_movie(tmp_path / f"{name}.mov", [flat()])
        lines.append(",".join([f"{name}.mov", "LogC3", "narrow", *cells]))
    lines.append("A.mov,LogC3,narrow,much,,")
    (tmp_path / "day.csv").write_text("\n".join(lines) + "\n")
    outputs = [
        f'[[output]]\nname = "{n}"\nmake = "stills"\nkinds = ["tiff16"]\nat = ["first"]\nsize = "64x36"\nstate = "{s}"\n'
        for n, s in (("camera", "log"), ("seen", "graded"))
    ]
    outputs.append('[[output]]\nname = "movie"\nmake = "movie"\ncodec = "prores-422"\nsize = "64x36"\n')
    (tmp_path / "r.toml").write_text("\n".join(outputs))
    out = tmp_path / "out"
    run = rushlight(
        "render", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml", "--out", out, "--workers", 1
    )
    assert "'much'" in run.stdout + run.stderr and "exposure" in run.stdout + run.stderr
    pictures = {}
    for name in rows:
        (log,) = (out / "camera").glob(f"{name}*.tif")
        (seen,) = (out / "seen").glob(f"{name}*.tif")
        camera, shown = (oiio.ImageBuf(str(p)).get_pixels(oiio.FLOAT).astype(float) for p in (log, seen))
        found = said(**dict(zip(("exposure", "white_balance", "printer_points"), rows[name], strict=True)))
        look = Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886"), **found)
        assert np.abs(shown - look.evaluate(camera)).max() < 0.5 / 1023, name
        (movie,) = (out / "movie").glob(f"{name}*.mov")  # by the kernel, where the still is by the definition
        luma = independent.raw(movie, "yuv422p10le", 64, 36)[: 64 * 36].astype(float)
        wanted = 64 + 876 * (shown @ [0.2126, 0.7152, 0.0722])
        assert luma == pytest.approx(wanted.ravel(), abs=0.6), name
        pictures[name] = shown.mean((0, 1))
    assert (pictures["B"] > pictures["A"]).all()
    assert pictures["C"][2] - pictures["C"][0] > pictures["A"][2] - pictures["A"][0]
    assert pictures["D"][0] > pictures["A"][0] and pictures["D"][2] < pictures["A"][2]
