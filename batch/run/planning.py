"""A list planned, with a word as it begins and as it ends."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.run.events import PLANNING, phase
from rushlight.pipelines.counted import counted

if TYPE_CHECKING:
    from rushlight.batch.plan.request import Request
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["planned"]


def planned(
    request: Request, events: EventStream, begun: Callable[[int], object] = lambda rows: None
) -> Prepared:
    """`prepare` of a request. `begun` is told the number of rows once all is read, before they are planned."""

    def told(rows: int) -> None:
        begun(rows)
        events.event(phase(PLANNING, 0, rows, text=f"planning {counted(rows, 'clip')}"))

    prepared = prepare(request, read=told)
    rows = len(prepared.clip_list.rows) - prepared.plan.not_chosen
    events.event(phase(PLANNING, rows, rows))
    return prepared
