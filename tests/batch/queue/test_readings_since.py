"""Jobs that wait in a queue, held against the readings of their folder as they stand now."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from rushlight.batch.plan.request_ledger import Asked, Asking, keep_asking
from rushlight.batch.queue.readings_since import ReadingsSince
from rushlight.batch.queue.store import QueuedJob
from rushlight.batch.records.queue_row import TurnOrders


def test_a_reading_that_comes_later_is_seen_and_one_of_nothing_known_is_made(tmp_path: Path) -> None:
    row = Asked(job="a", clip="A.mov", line=2, asks="x", range="0+4", look="l", outputs=("stills",))
    one = Asking(list="/l/one.csv", recipe="r", when=1, rows=(row,))
    job = QueuedJob(
        key="a@0/r",
        out=str(tmp_path),
        clip="A.mov",
        state="queued",
        priority=0,
        identity="i",
        frames=4,
        added=0.0,
        orders=TurnOrders(picture=row.picture),
    )
    readings = ReadingsSince()
    assert not readings.text(job)  # the folder keeps nothing
    keep_asking(tmp_path, one)
    assert not readings.text(job)
    other = replace(row, look="m", asks="y")
    keep_asking(tmp_path, replace(one, list="/l/two.csv", when=2, rows=(other,)))
    assert "two.csv, which was read later than one.csv, asks for it with another look" in readings.text(job)
    assert not readings.text(replace(job, orders=TurnOrders()))  # of an older version
    keep_asking(tmp_path, replace(one, when=3))
    assert not readings.text(job)
