"""Sound files counted once each, with the reason of those that no clip uses."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from recordings import made_take
from rushlight.batch.sound.sound_folders import SoundFolders
from rushlight.batch.sound.sound_sums import Sounded, sound_sums
from rushlight.batch.sound.take_matching import Chosen
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.sound.placing import Shown
from rushlight.pipelines.sound.take import Take

RATE = FrameRate.parse(25)
H = 3600 * 48000


def clip(
    name: str, label: str, take: Take | None = None, reason: str = "timecode", shot: int = 25
) -> Sounded:
    shown = Shown(
        timecode=Timecode.parse(label, RATE),
        first=0,
        frames=250,
        shot=Fraction(shot),
        delivered=RATE.fraction,
    )
    return Sounded(clip=name, shown=shown, sound=Chosen(take=take, reason=reason))


def test_every_file_is_counted_once_with_its_reason() -> None:
    first, second = made_take("a.wav", 10 * H, 48_000 * 60), made_take("b.wav", 10 * H + 4800, 48_000 * 60)
    takes = [
        first,
        second,
        made_take("fast.wav", 11 * H, 48_000 * 60),
        made_take("late.wav", 24 * H - 48_000, 96_000),
        made_take("lone.wav", 20 * H, 48_000),
        made_take("none.wav", None),
        made_take("wild.wav", 10 * H, 48_000 * 60, wild=True),
    ]
    media = SoundFolders(
        folders=(Path("s"),),
        takes=tuple(takes),
        copies=((Path("t/a.wav"), Path("a.wav")),),
        unreadable=((Path("x.wav"), "is empty"),),
    )
    clips = [
        clip("one.mov", "10:00:05:00", first),
        clip("fast.mov", "11:00:05:00", reason="shot at 50 and shown at 25: none by rule", shot=50),
        clip("midnight.mov", "00:00:00:00", reason="the row wants none"),
    ]
    sums = sound_sums(media, clips)
    assert sums and {str(path): why for path, why in sums.not_used} == {
        "b.wav": "one.mov, which is of its time: has a.wav",
        "fast.wav": "fast.mov, which is of its time: shot at 50 and shown at 25: none by rule",
        "late.wav": "midnight.mov, which is of its time: the row wants none",
        "lone.wav": "no planned clip is of its time",
        "none.wav": "no time reference",
        "wild.wav": "wild track",
        "t/a.wav": "a copy of a.wav",
    }
    assert sums.found == 9 == sums.used + len(sums.not_used) + len(sums.unreadable)


def test_without_folders_there_are_no_sums_and_without_clips_nothing_is_used() -> None:
    assert sound_sums(SoundFolders(), []) is None
    sums = sound_sums(SoundFolders(folders=(Path("s"),), takes=(made_take("a.wav"),)), [])
    assert sums and (sums.used, sums.not_used) == (0, ((Path("a.wav"), "no planned clip is of its time"),))
