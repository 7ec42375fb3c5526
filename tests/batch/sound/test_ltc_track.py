"""LTC on an audio track of an original, read where it is stated."""

from fractions import Fraction

import numpy as np
import pytest

from ltc_signal import ltc
from pictures import texture, write_movie
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.sound.ltc_track import with_ltc
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.probe import probe

FIRST = Timecode.parse("10:20:30:05", FrameRate.parse(25))


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Facts:
    """Silence on its first track, LTC on its second; the timecode of its header is another."""
    path = tmp_path_factory.mktemp("ltc") / "a.mov"
    signal = (ltc(FIRST, 25) * 2**30).astype(np.int32)
    sound = np.stack([np.zeros_like(signal), signal])
    write_movie(
        path,
        [texture("yuvj420p", 64, 36, 1)] * 25,
        codec="mjpeg",
        rate=Fraction(25),
        levels=2,
        timecode="01:00:00:00",
        sound=sound,
    )
    return probe(path)


def row(**cells: str) -> Row:
    return Row(file="day.csv", line=2, clip="a.mov", cells=cells)


@pytest.mark.parametrize(
    ("cells", "said"), [({"timecode_from": "track 2"}, {}), ({}, {"timecode_from": "Track 2"})]
)
def test_it_is_read_where_it_is_stated(cells: dict[str, str], said: dict[str, str], original: Facts) -> None:
    assert with_ltc(row(**cells), said, original)["timecode"] == "10:20:30:05"


def test_else_the_track_is_left(original: Facts) -> None:
    assert with_ltc(row(), {}, original)["timecode"] == ""
    assert (
        with_ltc(row(timecode="02:00:00:00", timecode_from="track 2"), {}, original)["timecode"]
        == "02:00:00:00"
    )


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ("track 1", "no timecode"),
        ("track 3", "no audio track 3: the original has 2"),
        ("the header", "will not do"),
    ],
)
def test_what_will_not_do_names_its_column(stated: str, said: str, original: Facts) -> None:
    with pytest.raises(ListError, match=said) as error:
        with_ltc(row(timecode_from=stated), {}, original)
    assert error.value.key == "timecode_from"
