"""A look is built again from what its record says of it: every kind of layer, to the same digest, or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rushlight.batch.decisions.recorded_look import recorded_look
from rushlight.batch.records.look import SomeLook
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look, ShowLut
from rushlight.pipelines.luts.cube_lut import parse_cube

CUBE = "LUT_3D_SIZE 2\n" + "\n".join(
    f"{r * 0.9:g} {g * 0.8 + 0.1:g} {b * 0.7:g}" for b in (0, 1) for g in (0, 1) for r in (0, 1)
)
LOG, SDR = find_encoding("LogC3"), find_display("Rec.709 BT.1886")
GRADE = CDL(slope=(1.1, 1, 0.9), offset=(0.01, 0, -0.01), power=(1, 1.05, 1), saturation=0.85)
LUT = ShowLut(name="show", lut=parse_cube(CUBE))
LOOKS: dict[str, dict[str, Any]] = {
    "ACES": {},
    "grade": {"cdl": GRADE},
    "grade in ACEScct": {"cdl": GRADE, "cdl_space": "ACEScct"},
    "grade after": {"cdl": GRADE, "grade_order": "after"},
    "not clamped": {"cdl": CDL(slope=(2, 2, 2), clamp=False)},
    "corrections": {"exposure": 0.5, "white_balance": (0.34, 0.35), "printer_points": (1.0, -2.0, 0.0)},
    "LUT": {"show_lut": LUT, "cdl": GRADE},
    "LUT of another space": {
        "show_lut": ShowLut(
            name="s", lut=LUT.lut, interpolation="trilinear", input_levels="narrow", output_levels="narrow",
            encoding=find_encoding("LogC3 EI 400"), display=find_display("P3-D65"), contains_grade=True,
        )
    },
    "another exposure index": {"encoding": find_encoding("LogC3", exposure_index=400), "show_lut": LUT},
    "scene-linear": {"encoding": find_encoding("ACEScg"), "cdl": GRADE, "show_lut": LUT},
    "colorimetric": {"transform": "colorimetric", "display": find_display("P3-D65")},
    "none": {"transform": "none"},
}  # fmt: skip


def kept(out: Path, look: Look) -> SomeLook:
    """What the record of a clip says of its look, whose show LUT the output folder keeps."""
    if look.show_lut:
        place = out / "log" / "inputs" / f"{look.show_lut.lut.digest().partition(':')[2]}.cube"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(CUBE)
    return SomeLook.read({"layers": look.layers(), "digest": look.digest(), "description": look.describe()})


@pytest.mark.parametrize("name", LOOKS)
def test_every_layer(name: str, tmp_path: Path) -> None:
    look = Look(**{"encoding": LOG, "display": SDR} | LOOKS[name])
    found = recorded_look(kept(tmp_path, look), tmp_path)
    assert found is not None and found.layers() == look.layers()
    codes = np.random.default_rng(1).uniform(-0.1, 1.1, (50, 3))
    assert np.array_equal(found.evaluate(codes), look.evaluate(codes))


def test_a_look_that_is_not_the_records_is_none(tmp_path: Path) -> None:
    record = kept(tmp_path, Look(encoding=LOG, display=SDR, cdl=GRADE, show_lut=LUT))
    assert recorded_look(record, tmp_path) is not None
    assert recorded_look(record.model_copy(update={"digest": "sha256:0"}), tmp_path) is None
    assert recorded_look(SomeLook(), tmp_path) is None
    for cube in tmp_path.rglob("*.cube"):
        cube.write_text(CUBE.replace("0.9", "0.8"))
    assert recorded_look(record, tmp_path) is None
    assert recorded_look(record, tmp_path / "elsewhere") is None


def test_a_layer_of_a_newer_version_is_not_left_out(tmp_path: Path) -> None:
    record = kept(tmp_path, Look(encoding=LOG, display=SDR))
    layers = [*record.layers, record.layers[0].model_copy(update={"layer": "halation"})]
    assert recorded_look(record.model_copy(update={"layers": layers, "digest": "sha256:1"}), tmp_path) is None
