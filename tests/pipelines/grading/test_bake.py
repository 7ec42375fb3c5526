"""The baked form: held to the exact look, the same after saving, one lattice for a show."""

from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest

from mutator.mutations import mutated
from real import photographs
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.errors import DeliveryError
from rushlight.pipelines.grading.bake import _digest, _kept, bake, lattice_digest, load_baked, same_look
from rushlight.pipelines.measure.colour_difference import delta_e, lab

REC709 = find_display("Rec.709 BT.1886")
GRADE = CDL(slope=(1.35, 1.1, 0.9), offset=(0.05, -0.1, 0.02), power=(0.93, 1.1, 1.2), saturation=1.23)
LOOK = Look(encoding=find_encoding("LogC3"), display=REC709, cdl=GRADE)


def test_saved_and_loaded(tmp_path: Path) -> None:
    baked = bake(LOOK, size=17)
    again = load_baked(tmp_path / baked.save(tmp_path))
    code = np.random.default_rng(0).uniform(-0.1, 1.1, (500, 3))
    assert (again.apply(code) == baked.apply(code)).all()
    assert again.digest == baked.digest == bake(LOOK, size=17).digest
    assert not list(tmp_path.glob(".*"))


def test_damage_is_found(tmp_path: Path) -> None:
    path = tmp_path / bake(LOOK, size=17).save(tmp_path)
    (lattice,) = tmp_path.glob("*.npy")
    data = bytearray(lattice.read_bytes())
    data[-500] ^= 0x40
    lattice.write_bytes(data)
    with pytest.raises(DeliveryError, match="damaged"):
        load_baked(path)
    path.write_bytes(b"PK nothing")
    with pytest.raises(DeliveryError):
        load_baked(path)


def test_whatever_is_wrong_with_its_files_is_one_error(tmp_path: Path) -> None:
    """Headers of zip and npy files and the lattice's numbers changed, as the mutator does it; and a table of 10 TB."""
    path = tmp_path / bake(LOOK, size=17).save(tmp_path)
    (lattice,) = tmp_path.glob("*.npy")
    refused = 0
    for file in (path, lattice):
        whole = file.read_bytes()
        claims = whole.replace(b"(17, 17, 17, 4)", b"(9999999,99999,)", 1)
        assert file is path or claims != whole
        for n in range(150):
            file.write_bytes(mutated(whole, "binary", Random(n), tmp_path) if n else claims)
            try:
                load_baked(path)
            except DeliveryError as error:
                assert str(path) in str(error)
                refused += 1
        file.write_bytes(whole)
    assert refused > 200 and load_baked(path)


def test_direct_evaluation_is_kept_beside_its_lattice(tmp_path: Path) -> None:
    """Once for all grades of a show; a kept lattice gives the same look; one of another lattice is refused."""
    baked = bake(LOOK)
    assert baked.direct is not None and baked.lattice[..., 3].any()
    other = bake(replace(LOOK, cdl=CDL(slope=(0.9, 1, 1))))
    again = load_baked(tmp_path / baked.save(tmp_path))
    other.save(tmp_path)
    assert sorted(p.suffixes[0] for p in tmp_path.glob("*.npy")) == [".direct", ".lattice"]
    code = np.random.default_rng(0).uniform(-0.1, 1.1, (5000, 3))
    assert (again.apply(code) == baked.apply(code)).all()
    assert again.digest == baked.digest == bake(LOOK).digest
    _kept.clear()
    assert bake(LOOK).digest == baked.digest  # made once more
    for wrong in (baked.direct[:-48], None):
        made = replace(baked, direct=wrong)
        made = replace(made, digest=_digest(made))
        with pytest.raises(DeliveryError, match="not of its lattice"):
            load_baked(tmp_path / made.save(tmp_path))


def test_one_lattice_serves_every_grade_of_a_show() -> None:
    other = replace(LOOK, cdl=CDL(slope=(0.9, 1, 1)), exposure=0.5)
    assert lattice_digest(LOOK, "graded") == lattice_digest(other, "graded") == lattice_digest(LOOK, "show")
    assert lattice_digest(replace(LOOK, grade_order="after"), "graded") != lattice_digest(LOOK, "graded")
    _kept.clear()
    first, second = bake(LOOK, size=17), bake(other, size=17)
    assert len(_kept) == 1 and (first.lattice == second.lattice).all()


def test_only_the_latest_lattices_are_kept() -> None:
    _kept.clear()
    made = {size: bake(LOOK, size=size) for size in range(9, 14)}
    assert [kept.values.shape[0] for kept in _kept.values()] == [11, 12, 13]
    assert bake(LOOK, size=11).digest == made[11].digest
    assert [kept.values.shape[0] for kept in _kept.values()] == [12, 13, 11]
    assert bake(LOOK, size=9).digest == made[9].digest != made[13].digest


def test_tables_are_quantised_and_nan_is_the_low_end() -> None:
    baked = bake(LOOK, size=17)
    assert baked.grade is not None
    for table in (baked.grade, baked.lattice):
        scaled = table.astype(np.float64) * 2**20
        assert (scaled == np.round(scaled)).all()
    assert (baked.apply([[np.nan] * 3]) == baked.apply([[baked.lo] * 3])).all()


@pytest.mark.parametrize("cdl", [None, GRADE])
def test_baked_against_exact_on_photographs(cdl: CDL | None) -> None:
    """Mean CIEDE2000 at most 0.06 and 99th percentile at most 0.35, over real pictures at four exposures."""
    import OpenImageIO as oiio

    look = replace(LOOK, cdl=cdl)
    baked = bake(look)
    rec709 = find_encoding("Linear Rec.709")
    differences = []
    for path in photographs():
        pixels = oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT)[::9, ::9, :3].reshape(-1, 3)
        pixels = np.clip(np.nan_to_num(pixels, nan=0, posinf=65504, neginf=0), 0, 65504)
        for stops in (-3, -1, 0, 2):
            code = np.clip(look.encoding.from_ap0(rec709.to_ap0(pixels * 2.0**stops)), 0, 1)
            pair = [lab(REC709.to_xyz(rgb)) for rgb in (look.evaluate(code), baked.apply(code))]
            differences.append(delta_e(*pair))
    found = np.concatenate(differences)
    assert found.mean() <= 0.06
    assert np.quantile(found, 0.99) <= 0.35


def test_files_that_are_there_by_name_and_damaged_are_written_again(tmp_path: Path) -> None:
    baked = bake(LOOK, size=17)
    path = tmp_path / baked.save(tmp_path)
    before = path.stat().st_ino
    assert baked.save(tmp_path) == path.name and path.stat().st_ino == before  # whole: left as it is
    for file in (path, *tmp_path.glob("*.npy")):
        file.write_bytes(file.read_bytes()[:-7] + b"damaged")
        with pytest.raises(DeliveryError):
            load_baked(path)
        baked.save(tmp_path)
        assert load_baked(path).digest == baked.digest


def test_a_look_is_told_from_others_and_known_again_from_other_versions() -> None:
    baked = bake(LOOK, size=17)
    drifted = replace(baked, lattice=baked.lattice + np.float32(1e-4), digest="of another library")
    assert same_look(drifted, baked) and same_look(baked, baked)
    for other in (
        replace(LOOK, cdl=replace(GRADE, slope=(1.001, *GRADE.slope[1:]))),
        replace(LOOK, cdl=replace(GRADE, saturation=GRADE.saturation + 0.001)),
        replace(LOOK, cdl=None),
        replace(LOOK, exposure=LOOK.exposure + 0.01),
        replace(LOOK, encoding=find_encoding("S-Log3/S-Gamut3.Cine")),
        replace(LOOK, grade_order="after"),
    ):
        assert not same_look(bake(other, size=17), baked)
    inside = replace(LOOK, grade_order="after")  # a grade inside the lattice
    other = replace(inside, cdl=replace(GRADE, slope=tuple(1.01 * s for s in GRADE.slope)))
    assert not same_look(bake(other, size=17), bake(inside, size=17))
