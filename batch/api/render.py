"""`rushlight render`: what a recipe says of every clip of a list, made; what is there and unchanged is left alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Unpack

from rushlight.batch.api.cancel import Cancel
from rushlight.batch.api.nights import (
    NightOptions,
    NotMade,
    OnEvent,
    crew_for,
    events_for,
    held_to,
    not_made,
    terms_for,
)
from rushlight.batch.api.requests import NAMES, RequestOptions, request_of
from rushlight.batch.plan.model import Plan
from rushlight.batch.run.event_stream import EventStream, summary_sums
from rushlight.batch.run.render import render as run
from rushlight.batch.run.render_from import render_again
from rushlight.pipelines.errors import OptionError

__all__ = ["RenderResult", "render"]

Place = str | Path


class RenderOptions(RequestOptions, NightOptions, total=False):
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
    folders: Mapping[str, Mapping[str, Any]]  # all lists of each output folder, by its path
    problems: tuple[str, ...]  # what was wrong with the request, or of a queue that waits for a person
    code: int  # the command's exit code

    @classmethod
    def of(cls, events: EventStream, code: int) -> RenderResult:
        """From the summaries of its lists (`from_` may have several, and a queue that has nothing to run has none)."""
        summaries = events.summaries or [summary_sums(Plan(), None, [], Path(), 0.0).plain()]

        def all_of(name: str) -> list[Any]:
            return [each for summary in summaries for each in summary[name]]

        return cls(
            delivered=tuple(all_of("done")),
            unchanged=tuple(all_of("unchanged")),
            set_aside=not_made(all_of("set_aside")),
            failed=not_made(all_of("failed")),
            left=sum(summary["left"] for summary in summaries),
            stopped=any(summary["stopped"] for summary in summaries),
            frames=sum(summary["frames"] for summary in summaries),
            seconds=sum(summary["seconds"] for summary in summaries),
            out=Path(summaries[-1]["out"]),
            folders=summaries[-1]["folders"],
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
    """Make what `recipe` says of every clip of a list, in `out`; or with `from_` make an output folder again from what it
    keeps. Blocks until it ends; may run in any thread.

    `on_event` gets each event that `--json` prints (docs/reference/events.md) on the thread that met it; what it raises
    stops the night in order and is raised again. One bad clip raises nothing: it is in `set_aside` or `failed`. InputError where the
    request as a whole is wrong or, with `strict`, any row; QueueError where another run has the folder or the farm does
    not answer.
    """
    cancel = cancel or Cancel()
    events = events_for(on_event, cancel)
    given: dict[str, Any] = dict(options)
    night_options = {name: given.pop(name) for name in NightOptions.__annotations__ if name in given}
    terms = terms_for(night_options, events, cancel)
    again = _again(list, out, from_, given)

    def night() -> int:
        crew = crew_for(night_options)
        if from_ is not None:
            return render_again(Path(from_), given=again, crew=crew, events=events, terms=terms)
        more = {name: given[name] for name in ("strict", "hash_originals", "replaced") if name in given}
        asked = {name: value for name, value in given.items() if name not in more}
        request = request_of(list or Path(), asked, out=out, **more)
        return run(request, crew=crew, events=events, terms=terms)

    code = held_to(terms, night_options, events, night)
    return RenderResult.of(events, code)


def _again(
    clip_list: Place | None, out: Place | None, origin: Place | None, given: Mapping[str, Any]
) -> dict[str, Any]:
    """The changes that `--from` may make to the kept request. OptionError for what does not go with it."""
    if (clip_list is None) == (origin is None):
        raise OptionError("takes LIST, or --from DIR; one of them is needed")
    if origin is None:
        if out is None:
            raise OptionError("--out is needed: the folder for everything that is made")
        return {}
    for name in ("grades", "defaults", "encoding", "levels", "rate", "strict", "hash_originals"):
        if name in given:
            raise OptionError(
                f"--{name.replace('_', '-')} does not go with --from, which has all that was given then"
            )
    if odd := sorted(set(given) - {*NAMES, "replaced"}):
        raise TypeError(f"there is no option {', '.join(odd)}")

    def several(name: str) -> tuple[Any, ...]:
        value = given.get(name, ())
        return (value,) if isinstance(value, str | Path) else tuple(value)

    return {
        "out": Path(out) if out else Path(origin),
        "recipe": str(given.get("recipe", "")),
        "only": several("only"),
        "media": tuple(map(Path, several("media"))),
        "sound": tuple(map(Path, several("sound"))),
        "replaced": given.get("replaced", "keep"),
    }
