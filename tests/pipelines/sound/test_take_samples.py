"""Samples of takes: copied as they stand, at any place; resampled without moving."""

import resource
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from recordings import bext, chunk, counted, counting, encoded, ixml, tone, write_wav
from rushlight.pipelines.errors import SourceError
from rushlight.pipelines.sound.read_recording import read_recording
from rushlight.pipelines.sound.take import Take, take_of
from rushlight.pipelines.sound.take_samples import played, read_take

FIRST = 5_000_000


def take(*paths: Path) -> Take:
    found = take_of(map(read_recording, paths))
    assert found
    return found


def whole(blocks: Any) -> NDArray[np.int32]:
    return np.concatenate(list(blocks), axis=1)


@pytest.mark.parametrize("bits", [16, 24, 32, -32])
def test_every_width_is_read_as_it_stands(bits: int, tmp_path: Path) -> None:
    path = write_wav(tmp_path / "a.wav", 1000, fill=counting(2), first=FIRST, channels=2, bits=bits)
    found = whole(read_take(take(path), 0, 1000))
    wanted = counting(2)(FIRST, 1000)
    assert np.array_equal(found >> 16 if bits == 16 else found >> 8, wanted >> 8 if bits == 16 else wanted)


@settings(max_examples=60, deadline=None)
@given(start=st.integers(-300, 700), count=st.integers(1, 900))
def test_any_place_of_a_split_set_gives_its_samples_and_silence_outside(
    start: int, count: int, tmp_path_factory: Any
) -> None:
    folder = tmp_path_factory.getbasetemp() / "split"
    if not folder.exists():
        folder.mkdir()
        for part, (first, length) in enumerate(((0, 200), (200, 150))):
            for channel in (1, 2):
                marks = [
                    chunk(b"bext", bext(first)),
                    chunk(b"iXML", ixml(family="F", channels=[channel], names=["X"])),
                ]
                write_wav(
                    folder / f"T{part}_{channel}.wav",
                    length,
                    fill=lambda f, n, c=channel: counting(2)(f, n)[c - 1 : c],
                    first=first,
                    before=marks,
                )
    found = whole(read_take(take(*folder.iterdir()), start, count))
    inside = np.array([0 <= n < 350 for n in range(start, start + count)])
    assert found.shape == (2, count) and not found[:, ~inside].any()
    for channel in (0, 1):
        assert np.array_equal(
            counted(found[channel] >> 8, channel)[inside], np.arange(start, start + count)[inside]
        )


def test_a_file_of_a_set_that_is_shorter_ends_in_silence(tmp_path: Path) -> None:
    for channel, length in ((1, 100), (2, 97)):
        marks = [chunk(b"bext", bext(5)), chunk(b"iXML", ixml(family="F", channels=[channel], names=["X"]))]
        write_wav(tmp_path / f"T_{channel}.wav", length, fill=counting(), first=FIRST, before=marks)
    found = whole(read_take(take(*tmp_path.iterdir()), 0, 100))
    assert found[1, 96] and not found[1, 97:].any() and found[0, 99]


def test_a_copy_is_exact_and_begins_at_the_nearest_sample(tmp_path: Path) -> None:
    found = take(write_wav(tmp_path / "a.wav", 100_000, fill=counting(), first=FIRST))
    got = whole(played(found, Fraction(12345), Fraction(1), 60_000))
    assert np.array_equal(counted(got[0] >> 8), np.arange(FIRST + 12345, FIRST + 72345) % (1 << 24))
    assert counted(whole(played(found, Fraction(3, 5), Fraction(1), 1))[0] >> 8)[0] == FIRST + 1


@pytest.mark.parametrize(
    ("hertz", "step"),
    [
        (48000, Fraction(1000, 1001)),
        (48000, Fraction(1001, 1000)),
        (96000, Fraction(2)),
        (96000, Fraction(2000, 1001)),
        (44100, Fraction(147, 160)),
    ],
)
@pytest.mark.parametrize("start", [Fraction(-2000), Fraction(0), Fraction(30_001), Fraction(70_003, 2)])
def test_resampling_moves_nothing(hertz: int, step: Fraction, start: Fraction, tmp_path: Path) -> None:
    """A sine of 997 Hz by the file's clock is found at every place with the phase that the place gives it, at the start and
    the end of what was asked for."""
    count, samples = 150_000, 400_000
    path = write_wav(tmp_path / "a.wav", samples, fill=tone(997, hertz), hertz=hertz)
    got = whole(played(take(path), start, step, count))[0] / 2.0**30
    assert len(got) == count
    places = float(start) + np.arange(count) * float(step)
    wanted = np.where(places >= 0, np.sin(2 * np.pi * (places * 997 / hertz)), 0)
    for part in (slice(4000, 8000), slice(count - 4000, count)):
        error = got[part] - wanted[part]
        assert 20 * np.log10(np.sqrt(np.mean(error**2)) / 0.7071) < (
            -60 if start.denominator == 1 else -20
        ), part


@pytest.mark.parametrize(("codec", "ending"), [("flac", "flac"), ("pcm_s24le", "mov")])
def test_other_files_give_the_same_samples(codec: str, ending: str, tmp_path: Path) -> None:
    path = encoded(tmp_path / f"a.{ending}", codec, {"time_reference": "5"})
    found = whole(read_take(take(path), 20_000, 30_000))[0] >> 8
    assert np.abs(found[:28_000] - tone()(0, 48_000)[0, 20_000:]).max() <= 256  # FLAC was given 16 bits
    assert not found[28_000:].any()


def test_memory_is_a_block_however_long_the_take(tmp_path: Path) -> None:
    path = write_wav(tmp_path / "big.wav", 187_500_000, channels=8, form="RF64", sparse=True)
    found = take(path)
    for _ in read_take(found, 0, 48_000):
        pass
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    read = sum(block.shape[1] for block in read_take(found, 187_000_000, 480_000))
    assert read == 480_000 and resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 30_000
    assert sys.maxsize > 2**32


def test_a_file_that_became_shorter_is_an_error_with_its_name(tmp_path: Path) -> None:
    path = write_wav(tmp_path / "a.wav", 1000)
    found = take(path)
    with path.open("r+b") as file:
        file.truncate(500)
    with pytest.raises(SourceError, match="ends before"):
        whole(read_take(found, 0, 1000))
