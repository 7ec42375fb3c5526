"""The production sound of a job, opened: its files, once it is sure that they are those that were planned."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from rushlight.pipelines.errors import ChangedError
from rushlight.pipelines.inside_folder import same_time
from rushlight.pipelines.job.spec import SoundFileSpec, SoundSpec
from rushlight.pipelines.outputs.production_sound import Production
from rushlight.pipelines.sound.read_recording import read_recording
from rushlight.pipelines.sound.recording import Recording
from rushlight.pipelines.sound.take import Take

__all__ = ["opened_production"]


def opened_production(spec: SoundSpec) -> Production:
    """A take with its place under the clip. SourceError for a file that does not open, ChangedError for another one."""
    parts = tuple(tuple(map(_opened, part)) for part in spec.parts)
    return Production(take=Take(parts=parts), start=Fraction(spec.start), step=Fraction(spec.step))


def _opened(file: SoundFileSpec) -> Recording:
    recording = read_recording(Path(file.path))
    if recording.bytes != file.bytes or not same_time(recording.mtime_ns, file.mtime_ns):
        raise ChangedError("has changed since it was planned; run again", file=file.path)
    return recording
