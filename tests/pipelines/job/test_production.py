"""The production sound of a job opened: its files as they were planned, in their places, or an error that names the one that is not."""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from recordings import bext, chunk, counting, ixml, write_wav
from rushlight.pipelines.errors import ChangedError, SourceError
from rushlight.pipelines.job.production import opened_production
from rushlight.pipelines.job.spec import SoundFileSpec, SoundSpec
from rushlight.pipelines.sound.take_samples import played


def file(path: Path, first: int, *names: str) -> SoundFileSpec:
    """A file of 1000 samples, as a plan has it."""
    before = [chunk(b"bext", bext(first)), chunk(b"iXML", ixml(names=names, reference=first))]
    write_wav(path, 1000, fill=counting(len(names)), first=first, channels=len(names), before=before)
    info = path.stat()
    return SoundFileSpec(path=str(path), bytes=info.st_size, mtime_ns=info.st_mtime_ns)


def spec(folder: Path) -> SoundSpec:
    """Two mono files side by side, and 500 samples later a file of two tracks."""
    boom, lav = file(folder / "b.wav", 5000, "BOOM"), file(folder / "a.wav", 5000, "LAV")
    return SoundSpec(
        parts=((boom, lav), (file(folder / "c.wav", 6500, "BOOM", "LAV"),)), start="-5/2", step="1001/1000"
    )


def test_files_stand_as_they_were_planned_whatever_they_are_called(tmp_path: Path) -> None:
    found = opened_production(spec(tmp_path))
    assert [[r.path.name for r in part] for part in found.take.parts] == [["b.wav", "a.wav"], ["c.wav"]]
    assert (found.start, found.step, found.names) == (Fraction(-5, 2), Fraction(1001, 1000), ("BOOM", "LAV"))
    assert (found.take.gaps, found.take.samples) == ((0, 500), 2500)


def test_its_samples_are_the_files_with_silence_between(tmp_path: Path) -> None:
    take = opened_production(spec(tmp_path)).take
    heard = np.concatenate(list(played(take, Fraction(990), Fraction(1), 520)), axis=1) >> 8
    for channel, first in ((0, counting()(5990, 10)[0]), (1, counting()(5990, 10)[0])):
        assert np.array_equal(heard[channel], [*first, *np.zeros(500, int), *counting(2)(6500, 10)[channel]])


@pytest.mark.parametrize("what", ["size", "time"])
def test_a_file_that_was_changed_since_is_planned_again(what: str, tmp_path: Path) -> None:
    planned = spec(tmp_path)
    path = tmp_path / "c.wav"
    if what == "size":
        with path.open("ab") as stream:
            stream.write(b"LIST\4\0\0\0more")
    else:
        os.utime(path, ns=(0, path.stat().st_mtime_ns + 10**10))
    with pytest.raises(ChangedError, match="has changed since it was planned; run again") as error:
        opened_production(planned)
    assert error.value.file == str(path)


def test_a_file_that_is_gone_or_is_no_sound_is_named(tmp_path: Path) -> None:
    planned = spec(tmp_path)
    (tmp_path / "a.wav").write_bytes(b"no sound")
    with pytest.raises(SourceError, match=r"a\.wav"):
        opened_production(planned)
    (tmp_path / "a.wav").unlink()
    with pytest.raises(SourceError, match=r"a\.wav"):
        opened_production(planned)
