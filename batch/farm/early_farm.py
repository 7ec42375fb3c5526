"""Workers that start while a list is planned: nothing is theirs to do yet, and where nothing comes they are ended."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from types import TracebackType
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from rushlight.batch.farm.dask_farm import DaskFarm

__all__ = ["EarlyFarm"]


class EarlyFarm:
    """A farm that `opened` starts, of so many workers, on a thread of its own. Whoever takes it ends it; leaving ends one that
    nobody took."""

    def __init__(self, opened: Callable[[int], DaskFarm]) -> None:
        self._opened = opened
        self._pool = ThreadPoolExecutor(1, "early farm")
        self._farm: Future[DaskFarm] | None = None

    def start(self, workers: int) -> None:
        """Start so many workers, once; the caller goes on."""
        if self._farm is None and workers > 0:
            self._farm = self._pool.submit(self._opened, workers)

    def there(self) -> DaskFarm:
        """The farm, once it is there, started now with one worker where it was not; it is still there to be taken. QueueError where
        it does not start."""
        self.start(1)
        assert self._farm is not None
        return self._farm.result()

    def take(self, workers: int) -> DaskFarm:
        """The farm, with so many workers or on its way to them, once it is there; started now where it was not. QueueError where
        it does not start."""
        if self._farm is None:
            return self._opened(workers)
        farm = self._farm.result()
        self._farm = None
        farm.grow(workers)
        return farm

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._farm is not None:
            with suppress(Exception):  # one that did not start
                self._farm.result().close(now=True)
        self._pool.shutdown()
