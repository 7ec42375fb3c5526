"""A night made again from what an output folder keeps of its requests, and the originals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rushlight.batch.exit_codes import PARTLY, STOPPED, WRONG
from rushlight.batch.run.events import Terms
from rushlight.batch.run.kept_inputs import kept_requests
from rushlight.batch.run.render import render
from rushlight.pipelines.errors import InputError, OptionError

if TYPE_CHECKING:
    from rushlight.batch.farm.worker_options import Crew
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["render_again"]


def render_again(
    origin: Path, *, given: Mapping[str, Any], crew: Crew, events: EventStream, terms: Terms
) -> int:
    """`rushlight render --from`: make again, from nothing but what an output folder keeps and the originals.

    `given`: out, and of recipe, only and media what is to differ. Gives the exit code, the worst of several lists.
    """
    codes: list[int] = []

    def tell(text: str) -> None:
        events.problem(text)
        codes.append(PARTLY)

    requests = kept_requests(origin, tell)
    refused: OptionError | None = None
    for kept in requests:
        request = replace(
            kept,
            out=given["out"],
            only=(*kept.only, *given["only"]),
            media=(*given["media"], *kept.media),
            replaced=given["replaced"],
        )
        if recipe := given["recipe"]:
            ours = {str(Path(recipe).absolute()), f"recipe {recipe}"}
            still = {key: place for key, place in kept.kept.items() if key not in ours}
            request = replace(request, recipe=recipe, kept=still, own_recipe=True)
        try:
            codes.append(render(request.checked(), crew=crew, events=events, terms=terms))
        except InputError as error:
            if isinstance(error, OptionError) and "--only" in error.text:
                refused = error  # that list has no such column
            elif len(requests) == 1:
                raise
            else:
                events.problem(f"{kept.clip_list} was not made again: {error}")
                codes.append(WRONG)
        if STOPPED in codes:
            return STOPPED
    if refused and not codes:
        raise refused
    return max(codes)
