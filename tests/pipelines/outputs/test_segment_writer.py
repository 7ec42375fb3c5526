"""A segment's bytes, whatever the number of threads."""

from __future__ import annotations

from pathlib import Path

import pytest

from movies import size_of, tags_for
from pictures import numbered
from rushlight.pipelines.formats.codecs import CODECS
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.pixel_formats import planes, whole_rows
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.outputs.segment_writer import MovieWriter, new_picture_stream, open_container


@pytest.mark.parametrize("name", CODECS)
def test_the_same_bytes_on_one_two_and_four_threads(name: str, tmp_path: Path) -> None:
    which = CODECS[name]
    width, height = size_of(which)
    pictures = [numbered(n, width, height, which.pixel_format) for n in range(3)]
    movie = MovieFormat(
        codec=which, container="mov", width=width, height=height, rate=FrameRate.parse(24), tags=tags_for(which)
    )  # fmt: skip
    made = []
    for threads in (1, 2, 4):
        path = tmp_path / f"{threads}.part"
        with MovieWriter(path, movie, threads=threads) as writer:
            for picture in pictures:
                writer.write(picture)
        made.append(path.read_bytes())
    assert made[0] == made[1] == made[2]


@pytest.mark.parametrize("size", [(256, 144), (274, 146)], ids=["whole blocks", "odd"])
@pytest.mark.parametrize("name", CODECS)
def test_a_frame_may_be_written_over_once_it_was_written(
    name: str, size: tuple[int, int], tmp_path: Path
) -> None:
    """No encoder keeps a picture, nor reads the padding of its rows: the graded frame's memory is used again."""
    which = CODECS[name]
    width, height = next(iter(which.bit_rates), size)
    pictures = [numbered(n, width, height, which.pixel_format) for n in range(5)]
    movie = MovieFormat(
        codec=which, container="mov", width=width, height=height, rate=FrameRate.parse(24), tags=tags_for(which)
    )  # fmt: skip
    with MovieWriter(tmp_path / "kept.part", movie) as writer:
        for picture in pictures:
            writer.write(picture)
    one = numbered(0, width, height, which.pixel_format)
    with MovieWriter(tmp_path / "again.part", movie, threads=4) as writer:
        for picture in pictures:
            for whole in whole_rows(planes(one)):
                whole[:] = 201
            for given, taken in zip(planes(one), planes(picture), strict=True):
                given[:] = taken
            writer.write(one)
            for whole in whole_rows(planes(one)):
                whole[:] = 77
    assert (tmp_path / "again.part").read_bytes() == (tmp_path / "kept.part").read_bytes()


@pytest.mark.parametrize("name", CODECS)
def test_threads_are_given_where_a_codec_is_cut_in_slices(name: str, tmp_path: Path) -> None:
    which = CODECS[name]
    width, height = size_of(which)
    movie = MovieFormat(
        codec=which, container="mov", width=width, height=height, rate=FrameRate.parse(24), tags=tags_for(which)
    )  # fmt: skip
    with open_container(tmp_path / "a.part", "mov") as container:
        context = new_picture_stream(container, movie, threads=4).codec_context
        assert context.thread_count == (4 if which.encoder in ("prores_ks", "dnxhd") else 1)
