"""A job's plain values resolved."""

from pathlib import Path

import pytest

from rushlight.pipelines.errors import LutError
from rushlight.pipelines.job import from_spec
from rushlight.pipelines.job.from_spec import build_look, drawn_fields
from rushlight.pipelines.job.spec import LookSpec, LutSpec
from rushlight.pipelines.luts.cube_lut import format_cube
from rushlight.pipelines.luts.lattice_lut import identity_lut


def look(path: str) -> LookSpec:
    return LookSpec(
        encoding="ARRI LogC3",
        display="Rec.709 BT.1886",
        transform="none",
        lut=LutSpec(name="show", path=path, digest="sha256:0"),
    )


def test_clips_of_one_show_lut_have_it_read_once_and_another_text_is_another_lut(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[str] = []
    parse = from_spec.parse_lut

    def counted(data: bytes, *, file: str) -> object:
        read.append(file)
        return parse(data, file=file)

    monkeypatch.setattr(from_spec, "parse_lut", counted)
    from_spec._lut.cache_clear()
    (tmp_path / "a.cube").write_text(format_cube(identity_lut(3)))
    first, second = (build_look(look("a.cube"), tmp_path) for _ in range(2))
    assert first.show_lut and second.show_lut and first.show_lut.lut is second.show_lut.lut
    assert read == [str(tmp_path / "a.cube")] and first.digest() == second.digest()
    (tmp_path / "a.cube").write_text(format_cube(identity_lut(4)))
    other = build_look(look("a.cube"), tmp_path)
    assert other.show_lut and other.show_lut.lut.size == 4 and other.digest() != first.digest()
    (tmp_path / "a.cube").write_text("nothing")
    for _ in range(2):
        with pytest.raises(LutError, match=r"a\.cube"):
            build_look(look("a.cube"), tmp_path)


@pytest.mark.parametrize(
    ("lay", "shown"), [("copy", "T1.wav"), ("mix", "T1.wav"), ("none", "no sound"), ("silent", "no sound")]
)
def test_an_output_that_carries_no_sound_says_so_in_burn_in(lay: str, shown: str) -> None:
    assert drawn_fields({"clip": "a", "sound": "T1.wav"}, lay) == {"clip": "a", "sound": shown}
