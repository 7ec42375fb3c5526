"""What will not fit is said before the night, once for each disk."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from pathlib import Path

from room_items import GB, item
from rushlight.batch.room.room_ahead import RoomAhead
from rushlight.batch.room.room_forecast import ToMake, forecast_room

OUT = Path("/nowhere/out")


def ahead(free: list[int], waiting: Iterable[ToMake] = ()) -> RoomAhead:
    return RoomAhead(
        0, lambda: waiting, partial(forecast_room, free=lambda path: free[0], volume_of=lambda path: "/d")
    )


def test_a_disk_is_said_once_until_it_was_large_enough() -> None:
    free, items = [GB], [item(OUT, "A", "editorial", minutes=5)]
    looks = ahead(free)
    assert len(looks.look(items)) == 1 and looks.look(items) == []
    free[0] = 100 * GB
    assert looks.look(items) == []
    free[0] = GB
    assert len(looks.look(items)) == 1


def test_what_waits_in_the_queue_counts_and_the_same_clip_once() -> None:
    free, items = [10 * GB], [item(OUT, "A", "editorial", minutes=4)]
    assert ahead(free).look(items) == []
    assert ahead(free, items).look(items) == [], "planned again, it is the same clip"
    assert len(ahead(free, [item(OUT, "B", "editorial", minutes=4)]).look(items)) == 1
    assert ahead([0], [item(OUT, "B", "editorial")]).look([]) == []


def test_an_output_on_another_disk_is_said_once() -> None:
    looks = RoomAhead(
        0, forecast=partial(forecast_room, free=lambda path: 100 * GB, volume_of=lambda path: f"/{path.name}")
    )
    (text,) = looks.look([item(OUT, "A", "editorial")])
    assert "lies on another disk" in text and looks.look([item(OUT, "A", "editorial")]) == []


def test_a_disk_that_cannot_be_looked_at_costs_the_warning_and_not_the_night() -> None:
    def away(path: Path) -> int:
        raise OSError(116, "Stale file handle")

    looks = RoomAhead(0, forecast=partial(forecast_room, free=away, volume_of=lambda path: "/d"))
    assert looks.look([item(OUT, "A", "editorial")]) == []
