"""The door for LUT files: which kinds are read, and how those that are not are refused."""

import numpy as np
import pytest

from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.cube_lut import format_cube
from rushlight.pipelines.luts.lattice_lut import Lut, identity_lut
from rushlight.pipelines.luts.lut_file import (
    LUT_SUFFIXES,
    input_described,
    is_lut_file,
    parse_lut,
    says_narrow_range,
)

CUBE = format_cube(identity_lut(2)).encode()
CLF = b"""<?xml version="1.0" encoding="UTF-8"?>
<ProcessList id="x" compCLFversion="3">
<Matrix inBitDepth="32f" outBitDepth="32f"><Array dim="3 3">2 0 0 0 1 0 0 0 1</Array></Matrix>
</ProcessList>
"""


@pytest.mark.parametrize("name", ["a.CUBE", "dir/b.clf", "c.spi3d"])
def test_kinds_go_by_the_suffix_in_any_case(name: str) -> None:
    assert is_lut_file(name)


def test_a_cube_may_be_marked_utf_16_or_have_comments_in_any_encoding() -> None:
    for data in (CUBE, b"\xef\xbb\xbf" + CUBE, CUBE.decode().encode("utf-16"), b"# caf\xe9\n" + CUBE):
        lut = parse_lut(data, file="x.Cube")
        assert isinstance(lut, Lut) and lut.digest() == identity_lut(2).digest()


def test_a_byte_order_mark_does_no_harm_to_a_clf() -> None:
    for data in (CLF, b"\xef\xbb\xbf" + CLF, CLF.replace(b"\n", b"\r\n")):
        assert parse_lut(data, file="x.clf").apply((0.5, 0.5, 0.5)).tolist() == [1, 0.5, 0.5]


@pytest.mark.parametrize("name", ["x.3dl", "x.look", "x.lut", "x", "x.icc", "x.m3d", "x.cub"])
def test_other_kinds_are_refused_with_what_would_do(name: str) -> None:
    with pytest.raises(LutError, match=r"\.clf.*written as \.clf or \.cube") as caught:
        parse_lut(CUBE, file=name)
    assert caught.value.file == name


@pytest.mark.parametrize("suffix", LUT_SUFFIXES)
def test_a_nul_byte_is_no_text(suffix: str) -> None:
    with pytest.raises(LutError, match="NUL") as caught:
        parse_lut(b"first\nsecond\0", file=f"x{suffix}")
    assert caught.value.line == 2


@pytest.mark.parametrize("suffix", LUT_SUFFIXES)
def test_an_empty_file_is_an_error_that_names_it(suffix: str) -> None:
    for data in (b"", b"\n\n", b"\xff\xfe"):
        with pytest.raises(LutError) as caught:
            parse_lut(data, file=f"x{suffix}")
        assert caught.value.file == f"x{suffix}"


def test_a_clf_in_utf_16_is_refused() -> None:
    with pytest.raises(LutError, match="save it as UTF-8"):
        parse_lut(CLF.decode().encode("utf-16"), file="x.clf")


def test_a_cube_that_says_narrow_range_says_it_with_its_line() -> None:
    assert says_narrow_range(b"# note\nLUT_IN_NARROW_RANGE\n" + CUBE, file="x.cube") == [
        (2, "LUT_IN_NARROW_RANGE")
    ]
    assert says_narrow_range(CUBE, file="x.cube") == says_narrow_range(CLF, file="x.clf") == []


POINTS = [f"{k // 4} {k // 2 % 2} {k % 2}" for k in range(8)]
SEEDS = {
    ".spi1d": b"Version 1\nFrom 0 1\nLength 3\nComponents 1\n{\n0\n0.4\n1\n}\n",
    ".spi3d": f"SPILUT 1.0\n3 3\n2 2 2\n{''.join(f'{p} {p}' + chr(10) for p in POINTS)}".encode(),
    ".csp": b"CSPLUTV100\n1D\n\n" + b"2\n0 1\n0 1\n" * 3 + b"\n3\n0 0 0\n.2 .3 .4\n1 1 1\n",
}


@pytest.mark.parametrize("suffix", LUT_SUFFIXES)
def test_junk_is_a_lut_error(suffix: str) -> None:
    random = np.random.default_rng(4)
    seed = SEEDS.get(suffix, CLF if suffix in (".clf", ".ctf") else CUBE)
    for _ in range(150):
        data = bytearray(seed)
        for place in random.integers(0, len(data), 4):
            data[place] = random.integers(1, 256)
        try:
            parse_lut(bytes(data[: random.integers(1, len(data))]), file=f"x{suffix}")
        except LutError as error:
            assert error.file == f"x{suffix}"


def test_what_a_clf_says_in_words_that_it_takes() -> None:
    words = b"<InputDescriptor>A &amp; B\n  log</InputDescriptor>\n<Matrix"
    assert input_described(CLF.replace(b"<Matrix", words), file="x.clf") == "A & B log"
    assert input_described(CLF, file="x.clf") == input_described(words, file="x.cube") == ""
