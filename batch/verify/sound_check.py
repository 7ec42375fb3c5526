"""Production sound of a delivered movie against the sound files that it is from, laid again and compared.

Samples that were copied must be the same 24 bits; what was resampled is held to our own resampling in decibels; what a lossy codec
took is held by level and place. The camera's own sound is not compared: that would mean to read every original again.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.sound import ClipSound
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.inside_folder import same_time
from rushlight.pipelines.job.production import opened_production
from rushlight.pipelines.job.spec import SoundFileSpec, SoundSpec
from rushlight.pipelines.measure.sound_difference import STRETCH, Difference, difference, lossy_difference
from rushlight.pipelines.originals.sound import samples_of
from rushlight.pipelines.outputs.production_sound import Production, production_under
from rushlight.pipelines.outputs.sound_tracks import Sound
from rushlight.pipelines.sound.read_recording import read_recording
from rushlight.pipelines.sound.take import Take
from rushlight.pipelines.sound.take_samples import read_take

__all__ = ["sound_check"]

RIGHT_DB = -60.0  # of a difference that resampling may make
LATE = 2  # samples that a lossy codec may move sound by
LOUDER = 1.0  # dB that it may change its level by
Block = NDArray[np.int32]


def sound_check(path: Path, record: DeliveredRecord, entry: DeliveredMovie) -> CheckVerdict | None:
    """None where the clip has no production sound. 'Cannot tell' where its files are not as they were."""
    sound, laid = record.sound, entry.sound_laid
    if sound is None or sound.kind != "production" or laid is None or laid.lay == "silent" or not entry.sound:
        return None
    try:
        if away := _away(sound):
            return CheckVerdict(verdict="cannot tell", text=f"not compared with its sound files: {away}")
        production = _production(sound)
        wanted = _laid_again(production, record, entry)
        delivered = Take(parts=((read_recording(path),),))
    except RushlightError as error:
        return CheckVerdict(verdict="cannot tell", text=f"not compared with its sound files: {error}")
    if delivered.channels < wanted.channels:
        text = f"has {delivered.channels} channels of sound, should have {wanted.channels}"
        return CheckVerdict(verdict="fail", text=text)
    if entry.sound[0].codec.startswith("pcm"):
        found = difference(wanted.blocks, _first(read_take(delivered, 0, wanted.samples), wanted.channels))
        if delivered.samples != wanted.samples:
            text = f"its sound is {delivered.samples} samples long, should be {wanted.samples}"
            return CheckVerdict(verdict="fail", text=text)
        return _pcm(found, copied=production.step == 1)
    return _lossy(wanted, delivered)


def _away(sound: ClipSound) -> str:
    """The first sound file that is not there as it was; empty where all are."""
    for file in (file for part in sound.files for file in part):
        try:
            info = Path(file.path).stat()
        except OSError:
            return f"{file.path} is not there"
        if info.st_size != file.bytes or not same_time(info.st_mtime_ns, file.mtime_ns):
            return f"{file.path} has changed"
    return ""


def _production(sound: ClipSound) -> Production:
    parts = tuple(
        tuple(SoundFileSpec(path=f.path, bytes=f.bytes, mtime_ns=f.mtime_ns) for f in part)
        for part in sound.files
    )
    return opened_production(SoundSpec(parts=parts, start=sound.start, step=sound.step))


def _laid_again(production: Production, record: DeliveredRecord, entry: DeliveredMovie) -> Sound:
    """The production sound of the movie, as it was laid; without the camera's beside it."""
    assert entry.sound_laid is not None
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
    return sound


def _first(blocks: Iterator[Block], channels: int) -> Iterator[Block]:
    return (block[:channels] for block in blocks)


def _pcm(found: Difference, *, copied: bool) -> CheckVerdict:
    if found.changed == 0:
        return CheckVerdict(verdict="pass", text="")
    where = f"{found.changed} samples differ, the first at {found.first}"
    level = "" if found.error_db is None else f" ({found.error_db:.0f} dB)"
    if copied:
        return CheckVerdict(verdict="fail", text=f"is not what its sound files hold: {where}{level}")
    if found.error_db is not None and found.error_db <= RIGHT_DB:
        return CheckVerdict(verdict="pass", text="")
    return CheckVerdict(
        verdict="fail", text=f"is not what its sound files give when they are resampled: {where}{level}"
    )


def _lossy(wanted: Sound, delivered: Take) -> CheckVerdict:
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
                    verdict="fail", text=f"its sound is {level:+.1f} dB of its files' at sample {place}"
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
