"""Sound of a delivered movie against what it is from, laid again by the same path and compared: production sound with its sound
files, the camera's own with the original.

Samples that were copied must be the same 24 bits; what was resampled, or coded in the original, is held to our own reading in
decibels; what a lossy codec took is held by level and place. Of an original only the sound is read.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.sound import ClipSound
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.pipelines.errors import RushlightError, SourceError
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.inside_folder import same_time
from rushlight.pipelines.job.production import opened_production
from rushlight.pipelines.job.spec import SoundFileSpec, SoundSpec
from rushlight.pipelines.measure.sound_difference import STRETCH, Difference, difference, lossy_difference
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.originals.sound import SAMPLE_RATE, samples_of
from rushlight.pipelines.originals.spanned_clips import is_span
from rushlight.pipelines.outputs.production_sound import Production, production_under
from rushlight.pipelines.outputs.sound_mixdown import sound_under
from rushlight.pipelines.outputs.sound_tracks import Sound
from rushlight.pipelines.sound.read_recording import read_recording
from rushlight.pipelines.sound.take import Take
from rushlight.pipelines.sound.take_samples import read_take

__all__ = ["sound_check"]

RIGHT_DB = -60.0  # of a difference that resampling may make
LATE = 2  # samples that a lossy codec may move sound by
LOUDER = 1.5  # dB that it may change its level by: AAC takes 1.2 of white noise, what lies above 20 kHz
Block = NDArray[np.int32]


@dataclass(frozen=True, kw_only=True)
class _Wanted:
    """Sound as it should be; `copied` where its samples are the source's own."""

    sound: Sound
    copied: bool


def sound_check(path: Path, record: DeliveredRecord, entry: DeliveredMovie) -> CheckVerdict | None:
    """None where no sound of its own was laid. 'Cannot tell' where what it is from is not as it was."""
    laid, sound = entry.sound_laid, record.sound
    if laid is None or laid.lay == "silent" or not entry.sound:
        return None
    if sound is None or sound.kind != "production":
        return _compared(path, entry, "its original", lambda: _camera(record, entry))
    found = [_compared(path, entry, "its sound files", lambda: _laid_again(sound, record, entry))]
    if laid.camera_sound and laid.lay == "copy" and entry.container != "mp4":
        found.append(
            _compared(path, entry, "its original", lambda: _camera(record, entry, beside=True), last=True)
        )
    told = [check for check in found if check]
    return next(
        (c for verdict in ("fail", "cannot tell", "pass") for c in told if c.verdict == verdict), None
    )


def _compared(
    path: Path, entry: DeliveredMovie, of: str, lay: Callable[[], _Wanted | None], *, last: bool = False
) -> CheckVerdict | None:
    """The movie's first channels, or its `last`, against what `lay` gives; None where that is no sound."""
    try:
        if (wanted := lay()) is None:
            return None
        delivered = Take(parts=((read_recording(path),),))
        sound = wanted.sound
        due = max(sound.channels, sum(track.channels for track in entry.sound))
        if delivered.channels < due:
            text = f"has {delivered.channels} channels of sound, should have {due}"
            return CheckVerdict(verdict="fail", text=text)
        if not entry.sound[0].codec.startswith("pcm"):
            return _lossy(sound, delivered, of)
        if delivered.samples != sound.samples:
            text = f"its sound is {delivered.samples} samples long, should be {sound.samples}"
            return CheckVerdict(verdict="fail", text=text)
        first = delivered.channels - sound.channels if last else 0
        rows = (b[first : first + sound.channels] for b in read_take(delivered, 0, sound.samples))
        return _pcm(difference(sound.blocks, rows), of, copied=wanted.copied)
    except RushlightError as error:
        return CheckVerdict(verdict="cannot tell", text=f"not compared with {of}: {error}")


def _camera(record: DeliveredRecord, entry: DeliveredMovie, *, beside: bool = False) -> _Wanted | None:
    """The original's own sound as it was laid: all of its channels where it is kept beside production sound. SourceError where
    the original is not there as it was."""
    assert entry.sound_laid is not None
    source = record.source
    facts = probe(Path(source.path), files=tuple(map(Path, source.files)))
    if facts.bytes != source.bytes or not same_time(facts.mtime_ns, source.mtime_ns):
        several = " (a clip of several files: are they all there?)" if is_span(Path(source.path)) else ""
        raise SourceError(f"has changed since it was rendered{several}", file=source.path)
    sound, _ = sound_under(
        facts,
        first=record.first_frame,
        count=record.frames,
        rate=FrameRate.parse(record.rate).fraction,
        sound=entry.sound_laid.lay,
        channels=() if beside else tuple(entry.sound_laid.channels),
        container=entry.container,
        card=entry.card,
    )
    copied = all(t.codec.startswith("pcm") and t.sample_rate == SAMPLE_RATE for t in facts.sound)
    return _Wanted(sound=sound, copied=copied) if sound else None


def _check_there(sound: ClipSound) -> None:
    """SourceError for the first sound file that is not there as it was."""
    for file in (file for part in sound.files for file in part):
        try:
            info = Path(file.path).stat()
        except OSError:
            raise SourceError("is not there", file=file.path) from None
        if info.st_size != file.bytes or not same_time(info.st_mtime_ns, file.mtime_ns):
            raise SourceError("has changed since it was rendered", file=file.path)


def _production(sound: ClipSound) -> Production:
    parts = tuple(
        tuple(SoundFileSpec(path=f.path, bytes=f.bytes, mtime_ns=f.mtime_ns) for f in part)
        for part in sound.files
    )
    return opened_production(SoundSpec(parts=parts, start=sound.start, step=sound.step))


def _laid_again(take: ClipSound, record: DeliveredRecord, entry: DeliveredMovie) -> _Wanted:
    """The production sound of the movie, as it was laid; without the camera's beside it."""
    assert entry.sound_laid is not None
    _check_there(take)
    production = _production(take)
    rate = FrameRate.parse(record.rate).fraction
    first = record.first_frame
    sound, _ = production_under(
        production,
        total=samples_of(first + record.frames, rate) - samples_of(first, rate),
        before=samples_of(entry.card, rate),
        lay="mix" if entry.sound_laid.lay == "mix" else "copy",
        channels=entry.sound_laid.channels,
        tracks=entry.sound_laid.tracks,
        container=entry.container,
    )
    return _Wanted(sound=sound, copied=production.step == 1)


def _pcm(found: Difference, of: str, *, copied: bool) -> CheckVerdict:
    if found.changed == 0:
        return CheckVerdict(verdict="pass", text="")
    if not copied and found.error_db is not None and found.error_db <= RIGHT_DB:
        return CheckVerdict(verdict="pass", text="")
    where = f"{found.changed} samples differ, the first at {found.first}"
    level = "" if found.error_db is None else f" ({found.error_db:.0f} dB)"
    what = f"what was copied from {of}" if copied else f"what comes from {of} when it is read again"
    return CheckVerdict(verdict="fail", text=f"is not {what}: {where}{level}")


def _lossy(wanted: Sound, delivered: Take, of: str) -> CheckVerdict:
    """Stretches at the start, the middle and the end, of each channel: the codec's own delay is in the file's edit list."""
    count = min(STRETCH, wanted.samples)
    places = list(dict.fromkeys((0, (wanted.samples - count) // 2, wanted.samples - count)))
    stretches = _stretches(wanted, places, count)
    told = 0
    for place, ours in zip(places, stretches, strict=True):
        theirs = np.concatenate(list(read_take(delivered, place, count)), axis=1)
        for channel in range(wanted.channels):
            if (found := lossy_difference(ours[channel], theirs[channel])) is None:
                continue
            late, level = found
            told += 1
            if abs(late) > LATE:
                side = "late" if late > 0 else "early"
                return CheckVerdict(
                    verdict="fail", text=f"its sound is {abs(late)} samples {side} at sample {place}"
                )
            if abs(level) > LOUDER:
                return CheckVerdict(
                    verdict="fail", text=f"its sound is {level:+.1f} dB against {of} at sample {place}"
                )
    text = "" if told else "its sound is too quiet to be compared"
    return CheckVerdict(verdict="pass" if told else "cannot tell", text=text)


def _stretches(wanted: Sound, places: list[int], count: int) -> list[Block]:
    """Stretches of the sound as it should be, from one way through it."""
    found = [np.zeros((wanted.channels, count), np.int32) for _ in places]
    done = 0
    for block in wanted.blocks:
        for place, stretch in zip(places, found, strict=True):
            low, high = max(place, done), min(place + count, done + block.shape[1])
            if low < high:
                stretch[:, low - place : high - place] = block[:, low - done : high - done]
        done += block.shape[1]
    return found
