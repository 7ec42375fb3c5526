"""Delivered production sound against its files: copied, resampled, and through AAC, whose encoder runs ahead."""

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from movies import made
from pictures import numbered, write_movie
from recordings import bext, chunk, ixml, talk, write_wav
from rushlight.batch.records.files import DeliveredMovie, SoundLaid, SoundTrack
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.sound import ClipSound, SoundFile
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.batch.verify.sound_check import sound_check
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.formats.timecode import Timecode
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
    assert found.verdict == "fail" and "when they are resampled" in found.text and "dB" in found.text


def test_a_clip_without_production_sound_has_no_such_check(tmp_path: Path) -> None:
    entry = DeliveredMovie.model_construct(sound=[], sound_laid=None)
    for sound in (None, ClipSound(kind="camera")):
        assert sound_check(tmp_path, DeliveredRecord.model_construct(sound=sound), entry) is None
