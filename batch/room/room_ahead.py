"""Warnings before a night: each disk that is likely to be too small, said once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from rushlight.batch.room.room_forecast import RoomForecast, ToMake, forecast_room

__all__ = ["KEEP_FREE", "RoomAhead"]

KEEP_FREE = 500_000_000  # bytes that a night keeps free, where it does not say


class RoomAhead:
    """Looks at what is to be made, with what waits to be made already, and says what will not fit."""

    def __init__(
        self,
        keep_free: int = KEEP_FREE,
        waiting: Callable[[], Iterable[ToMake]] = lambda: (),
        forecast: Callable[..., RoomForecast] = forecast_room,
    ) -> None:
        """`waiting`: what a queue has beside what is looked at; of a clip that is looked at it does not count."""
        self.keep_free, self.waiting, self._forecast = keep_free, waiting, forecast
        self._said: set[str] = set()

    def look(self, items: Sequence[ToMake], *, remove: bool = False) -> list[str]:
        """A sentence on each disk that is too small by now and was not before, and on each output that cannot be delivered."""
        if not items:
            return []
        ours = {(item.out, item.job) for item in items}
        others = [item for item in self.waiting() if (item.out, item.job) not in ours]
        try:
            found = self._forecast([*items, *others], keep_free=self.keep_free, remove=remove)
        except OSError:  # a disk that cannot be looked at now: the night itself says so
            return []
        now = {volume.volume: volume.text for volume in found.volumes if volume.missing}
        now |= {text: text for text in found.apart}
        new = [text for name, text in now.items() if name not in self._said]
        self._said = set(now)
        return new
