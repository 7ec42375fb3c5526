"""Delivered sound against what it is from, sound files or the original: copied, resampled, and through AAC, whose encoder runs
ahead."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from movies import made
from pictures import numbered, write_movie
from recordings import bext, chunk, ixml, talk, write_wav
from rushlight.batch.records.files import DeliveredMovie, SoundLaid, SoundTrack
from rushlight.batch.records.finished import laid_of
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.original import Source
from rushlight.batch.records.sound import ClipSound, SoundFile
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.batch.verify.sound_check import sound_check
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.job.spec import JobSpec, MovieSpec
from rushlight.pipelines.originals.probe import Facts, probe
from rushlight.pipelines.outputs.production_sound import Production
from rushlight.pipelines.outputs.readback import read_back
from rushlight.pipelines.outputs.sound_mixdown import sound_under
from rushlight.pipelines.sound.read_recording import read_recording
from rushlight.pipelines.sound.take import take_of

FRAMES, START = 72, 30_000


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> Facts:
    path = tmp_path_factory.mktemp("picture") / "a.mov"
    return probe(write_movie(path, [numbered(n) for n in range(FRAMES)]))


def verdict(
    tmp: Path,
    facts: Facts,
    container: str,
    *,
    step: Fraction = Fraction(1),
    late: int = 0,
    lay: Any = "copy",
    said: str = "1",
) -> CheckVerdict:
    """The check of a movie whose sound was laid `late` samples late; its record says `said` for the step."""
    before = [chunk(b"bext", bext(5)), chunk(b"iXML", ixml(names=["MIX", "BOOM"]))]
    path = write_wav(tmp / "T1.wav", 300_000, fill=talk(2), channels=2, before=before)
    recording = read_recording(path)
    take = take_of([recording])
    assert take
    sound, _ = sound_under(
        facts, first=0, count=FRAMES, rate=Fraction(24), sound=lay, container=container,
        production=Production(take=take, start=Fraction(START - late), step=step),
    )  # fmt: skip
    which = codec("h264" if container == "mp4" else "dnxhr-lb")
    movie = made(
        tmp, which, container, facts.rate, Timecode(frames=0, rate=facts.rate), [FRAMES], sound=sound
    )
    tracks = [SoundTrack(codec=c, channels=n, sample_rate=r) for c, n, r in read_back(movie).sound]
    file = SoundFile(path=str(path), bytes=recording.bytes, mtime_ns=recording.mtime_ns)
    record = DeliveredRecord.model_construct(
        rate="24",
        first_frame=0,
        frames=FRAMES,
        sound=ClipSound(kind="production", files=[[file]], start=str(START), step=said),
    )
    entry = DeliveredMovie.model_construct(
        sound=tracks, sound_laid=SoundLaid(lay=lay), container=container, card=0
    )
    found = sound_check(movie, record, entry)
    assert found
    return found


@pytest.mark.parametrize("container", ["mov", "mxf", "mp4"])
@pytest.mark.parametrize("lay", ["copy", "mix"])
def test_what_is_right_passes(container: str, lay: str, facts: Facts, tmp_path: Path) -> None:
    """Of AAC the encoder's delay is in the edit list: it is no offset."""
    assert verdict(tmp_path, facts, container, lay=lay).model_dump(include={"verdict", "text"}) == {
        "verdict": "pass",
        "text": "",
    }


@pytest.mark.parametrize(
    ("container", "late", "said"),
    [
        ("mov", 1, "is not what"),
        ("mxf", -1, "is not what"),
        ("mp4", 40, "40 samples late"),
        ("mp4", -1024, "1024 samples early"),
    ],
)
def test_what_is_not_where_it_belongs_fails(
    container: str, late: int, said: str, facts: Facts, tmp_path: Path
) -> None:
    found = verdict(tmp_path, facts, container, late=late)
    assert found.verdict == "fail" and said in found.text


def test_resampled_sound_is_held_to_our_own(facts: Facts, tmp_path: Path) -> None:
    slowed = Fraction(1000, 1001)
    assert verdict(tmp_path, facts, "mov", step=slowed, said=str(slowed)).verdict == "pass"
    found = verdict(tmp_path, facts, "mov", said=str(slowed))
    assert found.verdict == "fail" and "when it is read again" in found.text and "dB" in found.text


def original(path: Path, *, late: int = 0, swapped: bool = False, rate: int = 48000) -> Facts:
    """An original of two seconds, its two channels unlike; `late` samples late, or the two changed over."""
    said = talk()(0, 200_000)[0] << 8
    sound = np.stack([said[k - late : k - late + 2 * rate] for k in (1000, 90_000)])
    sound = sound[::-1] if swapped else sound
    return probe(write_movie(path, [numbered(n) for n in range(48)], sound=sound, sound_rate=rate))


def camera_verdict(
    tmp: Path,
    right: Facts,
    laid: Facts,
    container: str = "mov",
    *,
    lay: Any = "copy",
    channels: tuple[int, ...] = (),
    gone: bool = False,
) -> CheckVerdict:
    """The check of a movie of frames 10 to 34 with the sound of `laid`, whose record names `right` as its original."""
    sound, _ = sound_under(
        laid, first=10, count=24, rate=Fraction(24), sound=lay, channels=channels, container=container, card=2
    )
    which = codec("h264" if container == "mp4" else "dnxhr-lb")
    movie = made(tmp, which, container, laid.rate, Timecode(frames=0, rate=laid.rate), [26], sound=sound)
    entry = DeliveredMovie.model_construct(
        sound=[SoundTrack(codec=c, channels=n, sample_rate=r) for c, n, r in read_back(movie).sound],
        sound_laid=SoundLaid(lay=lay, channels=list(channels)),
        container=container,
        card=2,
    )
    source = Source(path=str(right.path), bytes=right.bytes, mtime_ns=right.mtime_ns)
    record = DeliveredRecord.model_construct(rate="24", first_frame=10, frames=24, sound=None, source=source)
    if gone:
        right.path.unlink()
    found = sound_check(movie, record, entry)
    assert found
    return found


@pytest.mark.parametrize("container", ["mov", "mxf", "mp4"])
@pytest.mark.parametrize(("lay", "channels"), [("copy", ()), ("copy", (2, 1)), ("mix", ())])
def test_the_cameras_sound_that_is_right_passes(
    container: str, lay: str, channels: tuple[int, ...], tmp_path: Path
) -> None:
    facts = original(tmp_path / "a.mov")
    found = camera_verdict(tmp_path, facts, facts, container, lay=lay, channels=channels)
    assert (found.verdict, found.text) == ("pass", "")


@pytest.mark.parametrize(
    ("container", "fault", "said"),
    [
        ("mov", {"late": 1}, "is not what was copied from its original: 9"),
        ("mxf", {"swapped": True}, "is not what was copied from its original: 9"),
        ("mp4", {"late": 40}, "40 samples late"),
        ("mp4", {"swapped": True}, "its sound is "),
    ],
)
def test_the_cameras_sound_that_is_late_or_changed_over_fails(
    container: str, fault: dict[str, Any], said: str, tmp_path: Path
) -> None:
    right, laid = original(tmp_path / "a.mov"), original(tmp_path / "b.mov", **fault)
    found = camera_verdict(tmp_path, right, laid, container)
    assert found.verdict == "fail" and said in found.text


def test_the_cameras_sound_of_another_rate_is_held_in_decibels(tmp_path: Path) -> None:
    right = original(tmp_path / "a.mov", rate=44100)
    assert camera_verdict(tmp_path, right, right).verdict == "pass"
    found = camera_verdict(tmp_path, right, original(tmp_path / "b.mov", rate=44100, late=1))
    assert found.verdict == "fail" and "when it is read again" in found.text and "dB" in found.text


def test_an_original_that_is_gone_or_another_cannot_tell(tmp_path: Path) -> None:
    right, other = original(tmp_path / "a.mov"), original(tmp_path / "b.mov", late=1)
    changed = replace(right, mtime_ns=right.mtime_ns + 10**10)
    found = camera_verdict(tmp_path, changed, other)
    assert found.verdict == "cannot tell" and "has changed since it was rendered" in found.text
    found = camera_verdict(tmp_path, right, other, gone=True)
    assert found.verdict == "cannot tell"
    assert found.text == f"not compared with its original: {right.path}: there is no such original"


@pytest.mark.parametrize(
    ("late", "gone", "told"),
    [(0, False, "pass"), (1, False, "fail"), (0, True, "cannot tell")],
)
def test_the_cameras_tracks_beside_production_sound_are_compared_too(
    late: int, gone: bool, told: str, tmp_path: Path
) -> None:
    right, laid = original(tmp_path / "a.mov"), original(tmp_path / "b.mov", late=late)
    recording = read_recording(write_wav(tmp_path / "T1.wav", 100_000, fill=talk(2), channels=2))
    take = take_of([recording])
    assert take
    sound, _ = sound_under(
        laid, first=0, count=24, rate=Fraction(24), sound="copy", container="mov", camera_sound=True,
        production=Production(take=take, start=Fraction(500), step=Fraction(1)),
    )  # fmt: skip
    movie = made(
        tmp_path, codec("dnxhr-lb"), "mov", laid.rate, Timecode(frames=0, rate=laid.rate), [24], sound=sound
    )
    entry = DeliveredMovie.model_construct(
        sound=[SoundTrack(codec=c, channels=n, sample_rate=r) for c, n, r in read_back(movie).sound],
        sound_laid=SoundLaid(lay="copy", camera_sound=True),
        container="mov",
        card=0,
    )
    file = SoundFile(path=str(recording.path), bytes=recording.bytes, mtime_ns=recording.mtime_ns)
    record = DeliveredRecord.model_construct(
        rate="24",
        first_frame=0,
        frames=24,
        sound=ClipSound(kind="production", files=[[file]], start="500", step="1"),
        source=Source(path=str(right.path), bytes=right.bytes, mtime_ns=right.mtime_ns),
    )
    if gone:
        right.path.unlink()
    found = sound_check(movie, record, entry)
    assert found and found.verdict == told and ("its original" in found.text or told == "pass")


@pytest.mark.parametrize(
    ("retimed", "production", "lay"),
    [(False, None, "copy"), (True, None, "silent"), (True, "a take", "copy")],
)
def test_a_clip_played_at_another_rate_is_recorded_as_silent(
    retimed: bool, production: Any, lay: str
) -> None:
    """Its movie has two silent channels, which are not its original's."""
    job = JobSpec.model_construct(retimed=retimed, production=production)
    output = MovieSpec.model_construct(sound="copy", channels=(), tracks=(), camera_sound=True)
    laid = laid_of(job, output)
    assert laid and laid.lay == lay and laid.camera_sound is not retimed


def test_a_clip_that_has_no_sound_or_silence_by_rule_has_no_such_check(tmp_path: Path) -> None:
    track = SoundTrack(codec="pcm_s24le", channels=2, sample_rate=48000)
    for tracks, laid in (([], None), ([track], None), ([track], SoundLaid(lay="silent"))):
        entry = DeliveredMovie.model_construct(sound=tracks, sound_laid=laid)
        for sound in (None, ClipSound(kind="camera")):
            assert sound_check(tmp_path, DeliveredRecord.model_construct(sound=sound), entry) is None
