"""Show LUTs by path and by name: one name, one LUT."""

from pathlib import Path

import numpy as np
import pytest

from rushlight.batch.decisions.lut_files import LutFiles
from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.clf import format_clf
from rushlight.pipelines.luts.cube_lut import format_cube
from rushlight.pipelines.luts.lattice_lut import Lut

LUT = Lut(table=np.random.default_rng(7).random((5, 5, 5, 3)))


def written(folder: Path, name: str, lut: Lut = LUT) -> Path:
    path = folder / name
    if path.suffix == ".cube":
        path.write_text(format_cube(lut))
    else:
        path.write_text(format_clf(lut, ident="x", takes="a", gives="b"))
    return path


def test_one_lut_as_clf_and_as_cube_is_no_doubt_and_the_cube_is_taken(tmp_path: Path) -> None:
    cube = [written(tmp_path, name) for name in ("day.clf", "day.cube")][1]
    luts = LutFiles([tmp_path])
    assert luts.find("Day", tmp_path / "elsewhere") == cube
    assert luts.find("day.clf", tmp_path / "elsewhere").suffix == ".clf"


def test_two_luts_of_one_name_are_a_doubt_whatever_their_kinds(tmp_path: Path) -> None:
    written(tmp_path, "day.cube")
    written(tmp_path, "day.clf", Lut(table=LUT.table + 1e-4))
    with pytest.raises(LutError, match=r"2 different LUTs are called 'day'.*day\.cube.*day\.clf"):
        LutFiles([tmp_path]).find("day", tmp_path / "elsewhere")


def test_a_file_is_kept_as_it_is_under_its_numbers_digest(tmp_path: Path) -> None:
    path = written(tmp_path, "day.cube")
    path.write_bytes(b"\xef\xbb\xbf# caf\xe9\r\n" + path.read_bytes())
    luts = LutFiles()
    read = luts.read(path)
    assert read.digest == digest_of(path) and read.kept == f"{read.digest[7:]}.cube"
    assert luts.kept == {read.kept: path.read_bytes()} and luts.places == {str(path): read.kept}


def digest_of(path: Path) -> str:
    from rushlight.pipelines.luts.lut_file import parse_lut

    return parse_lut(path.read_bytes(), file=str(path)).digest()
