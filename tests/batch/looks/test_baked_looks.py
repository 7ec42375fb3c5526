"""A look that an output folder keeps is taken where it is the very look that is asked for, and never by its name alone."""

from dataclasses import replace
from pathlib import Path

from rushlight.batch.looks.baked_looks import LOOKS, _bake, kept_look
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.colour.look import Look
from rushlight.pipelines.grading.bake import bake
from rushlight.pipelines.inside_folder import write

LOOK = Look(encoding=find_encoding("LogC3"), display=find_display("Rec.709 BT.1886"), cdl=CDL(saturation=1.2))


def test_it_is_kept_with_what_it_is_of(tmp_path: Path) -> None:
    found = _bake(tmp_path, {"key": (LOOK, "graded", 17)}, None)
    made = bake(LOOK, size=17)
    kept = kept_look(tmp_path, "key", made)
    assert kept is not None and kept.digest == made.digest
    assert found == {"key": f"{LOOKS}/{(tmp_path / LOOKS / 'key.of').read_text()}"}
    assert kept_look(tmp_path, "other", made) is None


def test_another_look_under_its_name_is_not_taken_nor_one_elsewhere(tmp_path: Path) -> None:
    _bake(tmp_path, {"key": (LOOK, "graded", 17)}, None)
    made = bake(replace(LOOK, cdl=CDL(saturation=0.8)), size=17)
    assert kept_look(tmp_path, "key", made) is None
    for name in (b"../../elsewhere.npz", b"", b"\xff"):
        write(tmp_path, f"{LOOKS}/key.of", name)
        assert kept_look(tmp_path, "key", bake(LOOK, size=17)) is None
