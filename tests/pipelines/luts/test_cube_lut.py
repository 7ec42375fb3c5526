"""3D LUTs. Detectors and reader behaviour: measured on OpenColorIO and FFmpeg; Cube LUT Specification 1.0."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ocio
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.cube_lut import format_cube, lut_side, parse_cube
from rushlight.pipelines.luts.lattice_lut import Lut

CUBE2 = "LUT_3D_SIZE 2\n" + "\n".join(f"{r} {g} {b}" for b in (0, 1) for g in (0, 1) for r in (0, 1)) + "\n"


def test_a_1d_lut_is_a_curve_a_channel_over_its_range() -> None:
    lut = parse_cube("LUT_1D_SIZE 3\nLUT_1D_INPUT_RANGE -1 1\n0 0 0\n0.5 0.25 -0.5\n1 2 1.5\n")
    assert lut.apply([(0, 0.5, -0.5), (9, -9, np.nan)]) == pytest.approx(
        np.array([(0.5, 1.125, -0.25), (1, 0, 0)])
    )
    assert lut.size == 3


def test_red_is_fastest() -> None:
    rows = "\n".join(f"{r} {g / 2} {b / 4}" for b in (0, 1) for g in (0, 1) for r in (0, 1))
    lut = parse_cube(f"LUT_3D_SIZE 2\n{rows}\n")
    assert lut.apply((0.25, 0.5, 0.75)) == pytest.approx((0.25, 0.25, 0.1875))


def test_domain() -> None:
    lut = parse_cube("DOMAIN_MIN 0 0 0\nDOMAIN_MAX 2 2 2\n" + CUBE2)
    assert lut.apply((0.25, 0.5, 0.75)) == pytest.approx((0.125, 0.25, 0.375))
    assert lut.apply((3, -1, 2)) == pytest.approx((1, 0, 1))


def test_shaper_ahead_of_the_lattice() -> None:
    text = "LUT_1D_SIZE 3\nLUT_3D_SIZE 2\n0 0 0\n0.25 0.25 0.25\n1 1 1\n" + CUBE2.split("\n", 1)[1]
    lut = parse_cube(text)
    assert lut.apply((0.5, 0.25, 1)) == pytest.approx((0.25, 0.125, 1))
    with pytest.raises(LutError, match="1D part"):
        format_cube(lut)


ONE = "\n".join(f"{x**2:.8f} {x**1.5:.8f} {x**0.5:.8f}" for x in np.linspace(0, 1, 17)) + "\n"


@pytest.mark.parametrize(
    "head",
    [
        "LUT_3D_SIZE 5\n",
        "DOMAIN_MIN -0.1 0 0.1\nDOMAIN_MAX 1.2 1 0.9\nLUT_3D_SIZE 5\n",
        "LUT_1D_SIZE 17\nLUT_3D_SIZE 5\n" + ONE,
        "LUT_1D_SIZE 17\nLUT_1D_INPUT_RANGE 0.0 1.5\nLUT_3D_SIZE 5\nLUT_3D_INPUT_RANGE 0.0 1.0\n" + ONE,
    ],
)
def test_files_read_as_opencolorio_reads_them(head: str, tmp_path: Path) -> None:
    """Plain, with a domain, and with a 1D part ahead of the 3D one."""
    table = np.random.default_rng(1).uniform(0, 1, (125, 3))
    text = head + "\n".join(" ".join(f"{v:.8f}" for v in row) for row in table) + "\n"
    (tmp_path / "x.cube").write_text(text)
    values = np.random.default_rng(2).uniform(0, 1, (200, 3))
    theirs = ocio.through_file(values, tmp_path / "x.cube")
    assert parse_cube(text).apply(values) == pytest.approx(theirs, abs=2e-6)


@pytest.mark.parametrize("change", ["\r\n", "comments", "commas", "bom", "keyword", "exponent"])
def test_spellings_that_are_taken(change: str) -> None:
    text = {
        "\r\n": CUBE2.replace("\n", "\r\n"),
        "comments": "# a\n\n" + CUBE2.replace("1 1 0", "1 1 0 # here"),
        "commas": CUBE2.replace("1 0 0", "1,0,0"),
        "bom": "\ufeff" + CUBE2,
        "keyword": "SOMETHING else 3\n" + CUBE2,
        "exponent": CUBE2.replace("1 1 1", "1e0 10E-1 +1.0"),
    }[change]
    assert parse_cube(text).apply((0.3, 0.6, 0.9)) == pytest.approx((0.3, 0.6, 0.9))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "LUT_3D_SIZE"),
        ("LUT_1D_SIZE 3\n0 0 0\n1 1 1\n", "2 rows; its size says 3"),
        ("LUT_3D_SIZE 2\n" + "0,0 0,0 0,0\n" * 8, "decimal point"),
        ("LUT_3D_SIZE 1\n0 0 0\n", "size from 2"),
        ("LUT_3D_SIZE 999\n", "size from 2"),
        ("LUT_3D_SIZE two\n", "size from 2"),
        (CUBE2 + "0 0 0\n", "more rows"),
        (CUBE2.rsplit("\n", 2)[0], "7 rows"),
        ("LUT_3D_SIZE 2\n" + "0 0 nan\n" * 8, "finite"),
        ("LUT_3D_SIZE 2\n" + "0 0\n" * 8, "finite"),
        (CUBE2 + "DOMAIN_MIN 0 0 0\n", "after the table"),
        ("DOMAIN_MIN 1 0 0\nDOMAIN_MAX 0 1 1\n" + CUBE2, "empty domain"),
        ("0 0 0\n" + CUBE2, "ahead of its size"),
    ],
)
def test_wrong_files_are_one_clear_error(text: str, words: str) -> None:
    with pytest.raises(LutError, match=words) as caught:
        parse_cube(text, file="x.cube")
    assert caught.value.file == "x.cube"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("", ("", "full")),
        ("narrow", ("", "narrow")),
        (" FULL ", ("", "full")),
        ("ARRI LogC3", ("ARRI LogC3", "full")),
        ("ARRI  LogC3 EI 400 Narrow", ("ARRI LogC3 EI 400", "narrow")),
        ("narrowband", ("narrowband", "full")),
    ],
)
def test_what_a_lut_is_said_to_take(text: str, wanted: tuple) -> None:
    assert lut_side(text) == wanted


@settings(max_examples=20)
@given(st.integers(2, 5), st.integers(0, 10**6))
def test_written_and_read_back(size: int, seed: int) -> None:
    table = np.round(np.random.default_rng(seed).uniform(-1, 2, (size, size, size, 3)), 8)
    lut = Lut(table=table, title='a "quoted"\nname', domain_min=(-0.5, 0, 0), domain_max=(1, 2, 1))
    back = parse_cube(format_cube(lut, ["made by a test\nin two lines"]))
    assert back.table == pytest.approx(table)
    assert (back.domain_min, back.domain_max) == (lut.domain_min, lut.domain_max)


@given(st.text(max_size=200))
def test_junk_is_a_lut_error(text: str) -> None:
    try:
        parse_cube(text)
    except LutError:
        pass


PLAIN = "LUT_3D_SIZE 2\n" + "".join(f"{r * 0.5} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
SHAPED = "LUT_1D_SIZE 3\nLUT_3D_SIZE 2\n0 0 0\n0.25 0.25 0.25\n1 1 1\n" + PLAIN.split("\n", 1)[1]


@pytest.mark.parametrize(
    ("text", "look"),
    [
        (PLAIN, "78f87b8077fdb501b4bcce3098c9d1687ace42b01834b25ae64767df546f8c84"),
        (SHAPED, "2d43e518d959832bdd346e51d5392f0b9d1038a588b3c2193a9f2d5f1eb9466f"),
    ],
)
def test_looks_of_a_cube_have_the_digests_that_were_recorded_before_other_kinds_were_read(
    text: str, look: str
) -> None:
    exact = Look(
        encoding=find_encoding("LogC3"),
        display=find_display("Rec.709 BT.1886"),
        show_lut=ShowLut(name="x", lut=parse_cube(text)),
    )
    assert exact.digest() == f"sha256:{look}"
    assert exact.describe() == 'ARRI LogC3/Wide Gamut 3 EI 800 -> show LUT "x" -> Rec.709 BT.1886'
