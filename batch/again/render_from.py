"""A night made again from what an output folder keeps of its requests, and the originals."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.again.same_colour import same_colour
from rushlight.batch.again.shared_out import shared_out
from rushlight.batch.exit_codes import PARTLY, STOPPED, WRONG
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.plan.deciding_list import in_order, not_named_any_more
from rushlight.batch.plan.request import Differing, Request
from rushlight.batch.plan.request_ledger import Asking, Day, day_of, read_askings, request_id
from rushlight.batch.records.job_record import JobRecord
from rushlight.batch.report.made_with import made_by, now_text
from rushlight.batch.run.events import Terms
from rushlight.batch.run.kept_inputs import kept_requests
from rushlight.batch.run.render import render
from rushlight.batch.run.request_accounts import disagreements
from rushlight.batch.what_is_there import still_there
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import InputError, OptionError
from rushlight.pipelines.library_versions import made_with

if TYPE_CHECKING:
    from rushlight.batch.farm.worker_options import Crew
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["render_again", "requests_again"]


def requests_again(
    origin: Path, given: Differing, tell: Callable[[str], None], warn: Callable[[str], None]
) -> list[Request]:
    """What was asked of an output folder, with what is to differ now. `tell` gets what cannot be asked again, `warn` what is left
    out. OptionError where nothing is left, or the folder knows nothing of what is given."""
    kept = kept_requests(origin, tell)
    askings, records = read_askings(origin)[0], latest(read_log(origin).records)
    day = day_of(askings, records)
    if given.ranges or given.stills:
        kept = _of_whole_clips(kept)
    else:
        kept = _still_asked(origin, kept, askings, day, warn)
    kept = _as_read(origin, kept, given, askings, records, day, tell, warn)
    found = []
    for request in kept:
        request = replace(
            request,
            out=given.out,
            only=(*request.only, *given.only),
            media=(*given.media, *request.media),
            sound=(*given.sound, *request.sound),
            manifest=tuple(dict.fromkeys((*given.manifest, *request.manifest))),
            notes=() if given.manifest else request.notes,
            replaced=given.replaced,
        )
        if recipe := given.recipe:
            ours = {str(Path(recipe).absolute()), f"recipe {recipe}"}
            still = {key: place for key, place in request.kept.items() if key not in ours}
            request = replace(request, recipe=recipe, kept=still, own_recipe=True)
        found.append(request)
    return shared_out(found, outputs=given.outputs, ranges=given.ranges, stills=given.stills)


def _as_read(
    origin: Path,
    requests: Sequence[Request],
    given: Differing,
    askings: Sequence[Asking],
    records: Mapping[str, JobRecord],
    day: Day,
    tell: Callable[[str], None],
    warn: Callable[[str], None],
) -> list[Request]:
    """The requests in the order in which they were read last, each clip left to the one that decided it. It is said where they do not
    agree; `tell` gets what nobody makes again, though it is not there."""
    for text in disagreements(day.entries):
        warn(text)
    in_place = given.out is not None and given.out.absolute() == origin.absolute()
    for row, text in not_named_any_more(askings):
        record = records.get(row.job)
        there = in_place and record and all(still_there(origin, entry) for entry in record.outputs)
        (warn if there else tell)(text)
    later = 0.0
    if askings and (given.recipe or not in_place):  # read now, in the same order
        later = time.time() - askings[-1].when
    return in_order(requests, askings, later=later, whole=bool(given.recipe))


def _of_whole_clips(kept: Sequence[Request]) -> list[Request]:
    """The requests that ask for whole clips; of those that ask for excerpts alone, their lists. No media is waited for."""
    found: dict[str, Request] = {}
    for request in sorted(kept, key=lambda request: bool(request.excerpts)):
        found.setdefault(request_id(str(request.clip_list), request.recipe, request.only), request)
    return [
        replace(request, outputs=() if request.excerpts else request.outputs, away=None)
        for request in found.values()
    ]


def render_again(origin: Path, *, given: Differing, crew: Crew, events: EventStream, terms: Terms) -> int:
    """`rushlight render --from`: make again, from nothing but what an output folder keeps and the originals.

    `given`: out, and what is to differ. Gives the exit code, the worst of several lists.
    """
    codes: list[int] = []

    def tell(text: str) -> None:
        events.problem(text)
        codes.append(PARTLY)

    requests = requests_again(origin, given, tell, events.warning)
    before = latest(read_log(origin).records)
    for text in now_text(made_by(before.values()), made_with()):
        events.note(text)
    refused: OptionError | None = None
    colour = _Colour(origin, before, None if given.recipe else given.out, events)
    for request in requests:
        try:
            codes.append(render(request.checked(), crew=crew, events=events, terms=terms, made=colour.tell))
        except InputError as error:
            if isinstance(error, OptionError) and "--only" in error.text:
                refused = error  # that list has no such column
            elif len(requests) == 1:
                raise
            else:
                events.problem(f"{request.clip_list} was not made again: {error}")
                codes.append(WRONG)
        if STOPPED in codes:
            return STOPPED
    if refused and not codes:
        raise refused
    return max(codes)


class _Colour:
    """Tells of what was made whether its colour is what it was; of each record once."""

    def __init__(
        self, origin: Path, before: Mapping[str, JobRecord], out: Path | None, events: EventStream
    ) -> None:
        self.origin, self.before, self.out, self.events = origin, before, out, events
        self.known = {(record.job, record.finished) for record in before.values()}

    def tell(self) -> None:
        """Say it of the records that are new; of none where another recipe made them (`out` is None)."""
        if self.out is None:
            return
        made = [r for r in latest(read_log(self.out).records).values() if r.status == "done"]
        new = [r for r in made if (r.job, r.finished) not in self.known]
        self.known |= {(record.job, record.finished) for record in new}
        for wrong, text in same_colour(self.origin, self.before, self.out, new).sentences(
            self.origin, self.out
        ):
            (self.events.warning if wrong else self.events.note)(text)


def _still_asked(
    origin: Path,
    requests: Sequence[Request],
    askings: Sequence[Asking],
    day: Day,
    warn: Callable[[str], None],
) -> list[Request]:
    """The requests without what a person took out of the queue, and was not made: it is said, not made again."""
    known = {asking.id: asking for asking in askings}
    dropped = frozenset(day.dropped)
    found = []
    for kept in requests:
        asking = known.get(request_id(str(kept.clip_list), kept.recipe, kept.only, kept.excerpts))
        rows = asking.rows if asking else ()
        out = {row.job for row in rows} & dropped
        if out:
            text = f"{kept.clip_list}: {counted(len(out), 'clip')} left out, since taken out of the queue by hand; "
            warn(text + "give the list itself to have it made")
        if not rows or len(out) < len({row.job for row in rows}):
            found.append(replace(kept, dropped=dropped))
    if not found:
        text = "all that was asked for here was taken out of the queue by hand; give the list itself to have it made"
        raise OptionError(text, file=str(origin))
    return found
