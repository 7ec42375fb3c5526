"""What rows, defaults and recipes state of sound."""

import pytest

from rushlight.batch.sound.sound_statements import SoundStated, lay_of, sound_stated
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.formats.timecode import FrameRate

F25 = FrameRate.parse(25)


@pytest.mark.parametrize(
    ("cell", "wanted"),
    [
        ("", SoundStated()),
        ("mix", SoundStated()),
        ("None", SoundStated(none=True)),
        ("silent", SoundStated(none=True)),
        ("camera", SoundStated(camera=True)),
        ("T1.wav", SoundStated(files=("T1.wav",))),
        ("T1_1.wav; T1_2.wav", SoundStated(files=("T1_1.wav", "T1_2.wav"))),
    ],
)
def test_a_cell_names_files_or_a_word(cell: str, wanted: SoundStated) -> None:
    assert sound_stated({"sound": cell}, {}, F25) == wanted
    assert lay_of(cell) == (cell.lower() if cell.lower() in ("mix", "none", "silent") else "")


def test_a_row_overrules_a_default_and_a_default_the_recipe() -> None:
    assert (
        sound_stated(
            {"sound_offset": "1 sample"}, {"sound_offset": "2 samples"}, F25, offset="3 samples"
        ).offset
        == 1
    )
    assert (
        sound_stated({}, {"sound_offset": "2 samples", "sound_roll": "SR2*"}, F25, offset="3 samples").offset
        == 2
    )
    assert sound_stated({}, {}, F25, offset="3 samples").offset == 3


@pytest.mark.parametrize(("column", "cell"), [("sound_offset", "two"), ("sound_rate", "fast")])
def test_a_wrong_cell_names_its_column(column: str, cell: str) -> None:
    with pytest.raises(ListError) as error:
        sound_stated({column: cell}, {}, F25)
    assert error.value.key == column
