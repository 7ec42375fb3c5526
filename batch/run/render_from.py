"""A night made again from what an output folder keeps of its requests, and the originals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.exit_codes import PARTLY, STOPPED, WRONG
from rushlight.batch.plan.request import Request
from rushlight.batch.plan.request_ledger import read_askings, request_id
from rushlight.batch.run.events import Terms
from rushlight.batch.run.kept_inputs import kept_requests
from rushlight.batch.run.render import render
from rushlight.batch.run.request_accounts import day_in
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import InputError, OptionError

if TYPE_CHECKING:
    from rushlight.batch.farm.worker_options import Crew
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["Differing", "render_again"]


@dataclass(frozen=True, kw_only=True)
class Differing:
    """Changes to what was asked for then; `recipe` is empty where it is to be the same."""

    out: Path
    recipe: str
    only: tuple[str, ...]
    media: tuple[Path, ...]
    sound: tuple[Path, ...]
    manifest: tuple[str, ...]
    replaced: str


def render_again(origin: Path, *, given: Differing, crew: Crew, events: EventStream, terms: Terms) -> int:
    """`rushlight render --from`: make again, from nothing but what an output folder keeps and the originals.

    `given`: out, and of recipe, only, media, sound and manifests what is to differ. Gives the exit code, the worst of several lists.
    """
    codes: list[int] = []

    def tell(text: str) -> None:
        events.problem(text)
        codes.append(PARTLY)

    requests = _still_asked(origin, kept_requests(origin, tell), events)
    refused: OptionError | None = None
    for kept in requests:
        request = replace(
            kept,
            out=given.out,
            only=(*kept.only, *given.only),
            media=(*given.media, *kept.media),
            sound=(*given.sound, *kept.sound),
            manifest=tuple(dict.fromkeys((*given.manifest, *kept.manifest))),
            notes=() if given.manifest else kept.notes,
            replaced=given.replaced,
        )
        if recipe := given.recipe:
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


def _still_asked(origin: Path, requests: Sequence[Request], events: EventStream) -> list[Request]:
    """The requests without what a person took out of the queue, and was not made: it is said, not made again."""
    askings = {asking.id: asking for asking in read_askings(origin)[0]}
    dropped = frozenset(day_in(origin).dropped)
    found = []
    for kept in requests:
        asking = askings.get(request_id(str(kept.clip_list), kept.recipe, kept.only))
        rows = asking.rows if asking else ()
        out = {row.job for row in rows} & dropped
        if out:
            text = f"{kept.clip_list}: {counted(len(out), 'clip')} left out, since taken out of the queue by hand; "
            events.warning(text + "give the list itself to have it made")
        if not rows or len(out) < len({row.job for row in rows}):
            found.append(replace(kept, dropped=dropped))
    if not found:
        text = "all that was asked for here was taken out of the queue by hand; give the list itself to have it made"
        raise OptionError(text, file=str(origin))
    return found
