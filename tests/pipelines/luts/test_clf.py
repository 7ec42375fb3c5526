"""CLF out: read back by OpenColorIO and by us with the numbers that were written."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ocio
from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.clf import format_clf
from rushlight.pipelines.luts.cube_lut import format_cube, parse_cube
from rushlight.pipelines.luts.lattice_lut import Lut, identity_lut
from rushlight.pipelines.luts.lut_file import parse_lut

LUT = Lut(table=np.random.default_rng(3).uniform(-0.2, 1.2, (5, 5, 5, 3)), title="rough")


def text(lut: Lut = LUT, **more: object) -> str:
    return format_clf(lut, **{"ident": "x", "takes": "LogC3", "gives": "Rec.709", **more})


def test_the_same_numbers_by_opencolorio_by_us_and_from_the_cube(tmp_path: Path) -> None:
    (tmp_path / "x.clf").write_text(text())
    values = np.random.default_rng(1).uniform(-0.1, 1.1, (500, 3))
    exact = LUT.apply(values)
    back = parse_lut(text().encode(), file="x.clf")
    assert isinstance(back, Lut) and (back.title, back.interpolation) == ("rough", "tetrahedral")
    assert (back.table == LUT.table.astype(np.float32)).all()
    assert back.apply(values) == pytest.approx(exact, abs=1e-7)
    assert ocio.through_file(values, tmp_path / "x.clf") == pytest.approx(exact, abs=3e-7)
    assert parse_cube(format_cube(LUT)).apply(values) == pytest.approx(exact, abs=1e-9)


@settings(max_examples=30)
@given(st.text(max_size=60))
def test_any_words_keep_the_document_whole(words: str) -> None:
    lut = replace(identity_lut(2), title=words)
    document = text(lut, ident=f"x{words}", takes=words, gives=words, comments=[words])
    assert parse_lut(document.encode("utf-8"), file="x.clf").apply((0.2, 0.4, 0.6)) == pytest.approx(
        (0.2, 0.4, 0.6)
    )


def test_only_plain_luts_are_written() -> None:
    for lut in (replace(LUT, domain_max=(2, 2, 2)), replace(LUT, shaper=np.zeros((2, 3)))):
        with pytest.raises(LutError, match="1D part or another domain"):
            text(lut)
