"""Recordings that a row names together: one after another, side by side, and those that will not do."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from recordings import made_take
from rushlight.batch.sound.several_recordings import together
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.sound.ixml import Track
from rushlight.pipelines.sound.placing import Fit, Shown, fit
from rushlight.pipelines.sound.take import Take

TEN = 1_728_000_000
DAY = 86400 * 48000
RATE = FrameRate.parse(25)


def placed(take: Take, label: str = "10:00:00:00") -> tuple[Take, Fit]:
    shown = Shown(
        timecode=Timecode.parse(label, RATE),
        first=0,
        frames=25 * 600,
        shot=RATE.fraction,
        delivered=RATE.fraction,
    )
    found = fit(take, shown)
    assert found
    return take, found


def tracks(take: Take, *names: str) -> Take:
    found = tuple(Track(place=k, channel=k, name=name) for k, name in enumerate(names, 1))
    return Take(parts=((replace(take.first, channels=len(names), tracks=found),),))


def test_in_the_order_of_their_time_whatever_was_named_first() -> None:
    takes = [made_take(f"{n}.wav", TEN + n * 96_000, 48_000) for n in (2, 0, 1)]
    take, notes = together([placed(t) for t in takes])
    assert [part[0].path.name for part in take.parts] == ["0.wav", "1.wav", "2.wav"]
    assert (take.gaps, take.samples, notes) == ((0, 48_000, 48_000), 240_000, ())


def test_over_midnight() -> None:
    late, early = made_take("b.wav", DAY - 96_000, 48_000), made_take("a.wav", 1000, 48_000)
    take, _ = together([placed(t, "23:59:50:00") for t in (early, late)])
    assert [part[0].path.name for part in take.parts] == ["b.wav", "a.wav"] and take.gaps == (0, 49_000)


def test_what_begins_together_lies_side_by_side_in_the_order_named() -> None:
    boom, lav = tracks(made_take("z.wav", TEN), "BOOM"), tracks(made_take("a.wav", TEN), "LAV")
    take, _ = together([placed(t) for t in (boom, lav)])
    assert len(take.parts) == 1 and [t.name for t in take.tracks] == ["BOOM", "LAV"]
    later = tracks(made_take("n.wav", TEN + 48000 * 700), "BOOM", "LAV 2")
    take, notes = together([placed(t) for t in (boom, lav, later)])
    assert (len(take.parts), take.gaps) == (2, (0, 48000 * 100))
    assert notes == ("the tracks of n.wav (BOOM, LAV 2) follow those of z.wav (BOOM, LAV)",)


@pytest.mark.parametrize(
    ("other", "said"),
    [
        (made_take("b.wav", TEN + 48_024), "run at the same time and begin 1.000 s apart.*name one of them"),
        (made_take("b.wav", TEN + 48000 * 599), "run at the same time"),
        (
            made_take("b.wav", TEN + 48000 * 700, rate=Fraction(24)),
            "timecode at 25; 48000 Hz, timecode at 24",
        ),
        (made_take("b.wav", (TEN + 48000 * 700) * 2, hertz=96000), "48000 Hz, timecode at 25; 96000 Hz"),
        (
            tracks(made_take("b.wav", TEN + 48000 * 700), "A", "B"),
            "a.wav with 1 track and b.wav with 2 tracks",
        ),
    ],
)
def test_what_cannot_be_laid_together_is_one_clear_error(other: Any, said: str) -> None:
    with pytest.raises(ListError, match=said) as error:
        together([placed(made_take("a.wav", TEN)), placed(other)])
    assert error.value.key == "sound" and "a.wav" in error.value.text and "b.wav" in error.value.text


def test_two_split_recordings_that_begin_together_are_not_guessed_at() -> None:
    one, more = made_take("a.wav", TEN, 48_000), made_take("a2.wav", TEN + 48_000, 48_000)
    split = Take(parts=(*one.parts, *more.parts))
    with pytest.raises(ListError, match="begin together and go on in further files"):
        together([placed(split), placed(made_take("b.wav", TEN))])
