"""Movies that end before they should: how much of them is there, as their containers say."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

import independent
from pictures import numbered, write_movie
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.originals.cut_short import cut_short
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.originals.unfinished import unfinished

FRAMES = [numbered(n) for n in range(6)]
MXF = ("-c:v", "mpeg2video", "-pix_fmt", "yuv422p")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Movies that are whole: with their index at the end, at the beginning, and an MXF."""
    folder = tmp_path_factory.mktemp("whole")
    late = write_movie(folder / "late.mov", FRAMES, timecode="01:00:00:00")
    early, mxf = folder / "early.mov", folder / "a.mxf"
    independent.ffmpeg("-i", late, "-c", "copy", "-movflags", "+faststart", early)
    return {"late": late, "early": early, "mxf": independent.write(mxf, FRAMES, *MXF)}


def cut(source: Path, folder: Path, size: int) -> Path:
    path = folder / source.name
    path.write_bytes(source.read_bytes()[:size])
    return path


@pytest.mark.parametrize("kind", ["late", "early", "mxf"])
def test_a_whole_movie_is_not(kind: str, whole: dict[str, Path]) -> None:
    assert cut_short(whole[kind]) == ""
    assert not any("cut short" in text for text in probe(whole[kind]).warnings)


@pytest.mark.parametrize("share", [0.02, 0.5, 0.9])
def test_one_that_does_not_open_says_how_much_of_it_is_there(
    share: float, whole: dict[str, Path], tmp_path: Path
) -> None:
    size = whole["late"].stat().st_size
    path = cut(whole["late"], tmp_path, have := int(size * share))
    with pytest.raises(SourceError) as caught:
        probe(path)
    text = caught.value.text
    assert text.startswith(f"does not open as a movie: it was cut short: {have:,} of at least ")
    least = int(text.partition("at least ")[2].partition(" ")[0].replace(",", ""))
    assert have < least <= size
    assert text.endswith(" bytes are there; copy it again")


@pytest.mark.parametrize("kind", ["early", "mxf"])
def test_one_that_opens_all_the_same_says_it_too(kind: str, whole: dict[str, Path], tmp_path: Path) -> None:
    size = whole[kind].stat().st_size
    path = cut(whole[kind], tmp_path, size // 2)
    (said,) = [text for text in probe(path).warnings if "cut short" in text]
    assert said.startswith(f"was cut short: {size // 2:,} of at least ")


def test_one_without_a_byte(tmp_path: Path) -> None:
    (tmp_path / "a.mov").touch()
    with pytest.raises(SourceError, match="does not open as a movie: it is empty; copy it again"):
        probe(tmp_path / "a.mov")


def test_one_without_an_index_may_never_have_been_closed(tmp_path: Path) -> None:
    path = tmp_path / "a.mov"
    path.write_bytes(struct.pack(">I4s", 8, b"wide") + struct.pack(">I4s", 1008, b"mdat") + b"\1" * 1000)
    assert (
        cut_short(path) == "was cut short, or its recording was never closed: it has no index; copy it again"
    )


@pytest.mark.parametrize("data", [b"no movie at all", b"\0" * 64, b"RIFF" + b"\1" * 60, b"\1"])
def test_what_is_no_such_file_is_not_called_cut_short(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "a.mov"
    path.write_bytes(data)
    assert cut_short(path) == ""
    with pytest.raises(SourceError, match="does not open as a movie: Invalid data"):
        probe(path)


def test_what_stands_behind_a_whole_movie_does_no_harm(whole: dict[str, Path], tmp_path: Path) -> None:
    """Some copies and tools add words of their own to the end of a file."""
    path = tmp_path / "a.mov"
    path.write_bytes(whole["late"].read_bytes() + b"Written by a stranger, with love.")
    assert cut_short(path) == "" == unfinished(path)
    assert not any("cut short" in text for text in probe(path).warnings)


@pytest.mark.parametrize("length", [2**63, 2**64 - 1])
def test_a_length_that_no_file_has_is_no_number_of_bytes_to_wait_for(length: int, tmp_path: Path) -> None:
    path = tmp_path / "a.mov"
    path.write_bytes(struct.pack(">I4s", 8, b"wide") + struct.pack(">I4sQ", 1, b"mdat", length) + b"\1" * 100)
    assert cut_short(path).startswith("was cut short, or its boxes are damaged: one of them claims more than")
    with pytest.raises(SourceError, match="does not open as a movie: it was cut short, or its boxes"):
        probe(path)
