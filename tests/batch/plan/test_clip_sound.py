"""The sound of planned clips: what is said of a long day, and of each clip in burn-in."""

from types import SimpleNamespace
from typing import Any

import pytest

from recordings import made_take
from rushlight.batch.plan.clip_sound import drift_notes, sound_text
from rushlight.batch.sound.take_matching import Chosen
from rushlight.pipelines.formats.timecode import FrameRate, Timecode


def clip(
    label: str,
    *,
    take: bool = True,
    cell: str = "",
    own: bool = True,
    retimed: bool = False,
    name: str = "T1.wav",
) -> Any:
    rate = FrameRate.parse(24)
    return SimpleNamespace(
        rate=rate,
        timecode=Timecode.parse(label, rate),
        sound=Chosen(take=made_take(name) if take else None, reason="timecode"),
        row={"sound": cell},
        retimed=retimed,
        facts=SimpleNamespace(sound=("a track",) if own else ()),
    )


@pytest.mark.parametrize(
    ("labels", "said"),
    [
        (["09:00:00:00", "11:50:00:00"], ""),  # 170 minutes
        (["09:00:00:00", "12:00:00:00"], "3.0 hours apart"),
        (["22:00:00:00", "01:00:00:00", "02:00:00:00"], "4.0 hours apart"),  # over midnight
        (["12:00:00:00"], ""),
        ([], ""),
    ],
)
def test_a_day_that_is_long_for_free_clocks_is_said(labels: list[str], said: str) -> None:
    """Two clocks of 2 ppm drift half a frame at 24 in 174 minutes."""
    notes = drift_notes([clip(label) for label in labels])
    assert bool(notes) == bool(said) and said in "".join(notes)


def test_clips_without_a_take_do_not_count() -> None:
    assert drift_notes([clip("09:00:00:00"), clip("20:00:00:00", take=False)]) == []


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ({}, "T1.wav"),
        ({"take": False}, "camera sound"),
        ({"take": False, "own": False}, "no sound"),
        ({"take": False, "cell": "none"}, "no sound"),
        ({"take": False, "cell": "mix"}, "camera sound"),
        ({"take": False, "retimed": True}, "no sound"),  # what the camera recorded is not in step
        ({"retimed": True}, "T1.wav"),
        ({"name": "SR0012-SC104A-T004_mixdown_3.wav"}, "SR0012-SC104A-T004_mixdown_3.wav"),
        ({"name": "SR0012-SC104A-T004_mixdown_main_03.wav"}, "SR0012-SC104A-...own_main_03.wav"),
    ],
)
def test_a_burn_in_field_says_which_sound_it_is(said: dict[str, Any], shown: str) -> None:
    assert sound_text(clip("10:00:00:00", **said)) == shown
