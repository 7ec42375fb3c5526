"""`rushlight render`: what a recipe says of every clip of a list, made; what is there and unchanged is left alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Unpack

from rushlight.batch.again.render_from import render_again
from rushlight.batch.again.shared_out import shared_out
from rushlight.batch.api.cancel import Cancel
from rushlight.batch.api.nights import (
    NightOptions,
    NotMade,
    OnEvent,
    crew_for,
    events_for,
    held_to,
    take_from,
    terms_for,
)
from rushlight.batch.api.requests import (
    PartOptions,
    RequestOptions,
    check_source,
    day_of,
    differing,
    known_alone,
    parts_of,
    request_options,
    requests_of,
)
from rushlight.batch.exit_codes import STOPPED
from rushlight.batch.plan.model import Plan
from rushlight.batch.run.event_stream import EventStream, summary_sums
from rushlight.batch.run.render import render as run
from rushlight.pipelines.errors import OptionError

__all__ = ["RenderResult", "render"]

Place = str | Path


class RenderOptions(RequestOptions, PartOptions, NightOptions, total=False):
    """All options of `rushlight render` but what is to be made and where to."""

    strict: bool
    hash_originals: bool
    replaced: str


@dataclass(frozen=True, kw_only=True)
class RenderResult:
    """The result of a night: every clip of the list once. `left` clips are not made yet where it was stopped."""

    delivered: tuple[str, ...]
    unchanged: tuple[str, ...]  # they were there already
    set_aside: tuple[NotMade, ...]  # their rows are wrong, or they were put aside after too many failures
    failed: tuple[NotMade, ...]
    left: int
    stopped: bool
    frames: int
    seconds: float
    out: Path
    folders: Mapping[str, Mapping[str, object]]  # all lists of each output folder, by its path
    problems: tuple[str, ...]  # what was wrong with the request, or of a queue that waits for a person
    code: int  # the command's exit code

    @classmethod
    def of(cls, events: EventStream, code: int) -> RenderResult:
        """From the summaries of its lists (`from_` may have several, and a queue that has nothing to run has none)."""
        summaries = events.summaries or [summary_sums(Plan(), None, [], Path(), 0.0)]

        return cls(
            delivered=tuple(clip for summary in summaries for clip in summary.done),
            unchanged=tuple(clip for summary in summaries for clip in summary.unchanged),
            set_aside=tuple(
                NotMade(clip=row.clip, error=row.error) for summary in summaries for row in summary.set_aside
            ),
            failed=tuple(
                NotMade(clip=row.clip, error=row.error) for summary in summaries for row in summary.failed
            ),
            left=sum(summary.left for summary in summaries),
            stopped=any(summary.stopped for summary in summaries),
            frames=sum(summary.frames for summary in summaries),
            seconds=sum(summary.seconds for summary in summaries),
            out=Path(summaries[-1].out),
            folders={path: sums.plain() for path, sums in summaries[-1].folders.items()},
            problems=tuple(events.problems),
            code=code,
        )


def render(
    list: Place | None = None,
    *,
    out: Place | None = None,
    from_: Place | None = None,
    on_event: OnEvent | None = None,
    cancel: Cancel | None = None,
    **options: Unpack[RenderOptions],
) -> RenderResult:
    """Make what `recipe` says of every clip of a list or a day, in `out`; or with `from_` make an output folder again from what
    it keeps. `output` names those of the recipe's outputs that are to be made; with `range` or `still` those excerpts are made, under
    names of their own, and no whole clip. Blocks until it ends; may run in any thread.

    `on_event` gets each event that `--json` prints (docs/reference/events.md) on the thread that met it; what it raises
    stops the night in order and is raised again. One bad clip raises nothing: it is in `set_aside` or `failed`. InputError where the
    request as a whole is wrong or, with `strict`, any row; QueueError where another run has the folder or the farm does
    not answer.
    """
    cancel = cancel or Cancel()
    events = events_for(on_event, cancel)
    known_alone(options, RenderOptions)
    day = day_of(list)
    if day:
        take_from(day, options)
    terms = terms_for(options, events, cancel)
    check_source(list, from_, options)
    if from_ is None and not (out or (day and day.document.out)):
        raise OptionError("--out is needed: the folder for everything that is made")

    def night() -> int:
        crew = crew_for(options)
        if from_ is not None:
            given = differing(out or from_, options)
            return render_again(Path(from_), given=given, crew=crew, events=events, terms=terms)
        requests = requests_of(
            list or Path(),
            request_options(options),
            out=out,
            strict=options.get("strict", False),
            hash_originals=options.get("hash_originals", False),
            replaced=options.get("replaced", "keep"),
        )
        codes = []
        for request in shared_out(requests, **parts_of(options)):
            codes.append(run(request, crew=crew, events=events, terms=terms))
            if codes[-1] == STOPPED:
                break
        return max(codes)

    code = held_to(terms, options, events, night, day=day)
    return RenderResult.of(events, code)
