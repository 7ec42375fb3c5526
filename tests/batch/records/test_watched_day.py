"""The file of a watched day reads as it was written, and says by key what is damaged."""

from __future__ import annotations

import pytest

from rushlight.batch.records.watched_day import WATCHED, WaitingClip, WatchedCard, WatchedDay
from rushlight.pipelines.errors import OptionError


def test_it_reads_as_it_was_written() -> None:
    card = WatchedCard(
        folder="/media/A001", name="A001", state="complete", how="by manifest", taken=True, clips=3
    )
    day = WatchedDay(
        schema=WATCHED, day="/day.toml", cards=[card], no_grade=[WaitingClip(job="a-1", clip="a.mov")]
    )
    assert WatchedDay.read(day.plain()) == day


def test_a_state_that_there_is_not_is_refused_by_its_key() -> None:
    with pytest.raises(OptionError, match=r"cards\[0\]\.state"):
        WatchedDay.read(
            {"schema": WATCHED, "day": "d", "cards": [{"folder": "/a", "name": "a", "state": "lost"}]}
        )
