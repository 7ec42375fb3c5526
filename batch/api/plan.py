"""`rushlight plan`: what would be made of a list, each clip's grade and why, and everything that is wrong with it."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, MutableSequence, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Unpack

from rushlight.batch.again.shared_out import shared_out
from rushlight.batch.api.cancel import Cancel, reading
from rushlight.batch.api.plan_document import Counts, PlanDocument, plan_document
from rushlight.batch.api.requests import (
    PartOptions,
    RequestOptions,
    Undone,
    check_source,
    day_of,
    differing,
    known_alone,
    parts_of,
    request_options,
    requests_of,
)
from rushlight.batch.closed_delivery import closed_delivery
from rushlight.batch.decisions.grade_change_files import together
from rushlight.batch.farm.preparing import seconds_to_prepare
from rushlight.batch.job_log import latest, read_records
from rushlight.batch.plan.clip import fields_of_clip
from rushlight.batch.plan.explicit_list import plan_list
from rushlight.batch.plan.jobs import asked_outputs, in_turns, job_id
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request, default_workers
from rushlight.batch.records.summary import Missing
from rushlight.batch.report.made_with import made_by, now_text
from rushlight.batch.room.room_ahead import KEEP_FREE
from rushlight.batch.room.room_forecast import ToMake, forecast_room, kept_bytes
from rushlight.batch.run.forecast import cost_of_outputs, forecast, next_time
from rushlight.pipelines import inside_folder
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OptionError, RushlightError, from_os
from rushlight.pipelines.library_versions import made_with
from rushlight.pipelines.render.kinds import kinds_of

__all__ = ["PlanOptions", "PlanResult", "plan"]


@dataclass(frozen=True, kw_only=True)
class PlanResult:
    """A planned list. Nothing is rendered while `refused` has something: files of decisions that cannot be read."""

    clips: tuple[PlannedClip, ...]
    wrong: tuple[Undone, ...]  # rows that are set aside
    failed: tuple[Undone, ...]  # originals that are there and do not open
    refused: tuple[RushlightError, ...]
    warnings: tuple[str, ...]
    plain: PlanDocument
    missing: tuple[Missing, ...] = ()  # what nobody states of clips in `wrong`, once a camera
    further: tuple[PlanResult, ...] = ()  # of a day with several recipes: the plans of all but the first

    @property
    def counts(self) -> Counts:
        """rows + one_by_one = planned + set_aside + failed + alike + not_chosen; and how many are ungraded, and frames."""
        return self.plain["counts"]

    def document(self) -> PlanDocument:
        """The document that the command prints with `--json`; `further` has the documents of a day's further recipes."""
        plain = self.plain.copy()
        if self.further:
            plain["further"] = [each.document() for each in self.further]
        return plain


class _Options(RequestOptions, PartOptions, total=False):
    """What is to be made."""


class PlanOptions(RequestOptions, PartOptions, total=False):
    """All options of `rushlight plan`."""

    out: str | Path | None
    write: str | Path | None
    ready_by: str
    workers: int | None


def plan(
    list: str | Path | None = None,
    *,
    out: str | Path | None = None,
    from_: str | Path | None = None,
    write: str | Path | None = None,
    ready_by: str = "",
    workers: int | None = None,
    cancel: Cancel | None = None,
    **options: Unpack[_Options],
) -> PlanResult:
    """Read a list and everything that it names, or with `from_` what an output folder keeps of them, and make nothing.

    `ready_by` ("05:30"): the document says what would be ready then, if so many `workers` (one a core without) began now.
    With `out` the document says what each output is likely to take on which disk, and what of older revisions stays there.
    `write`: a new file for the list with everything stated; GradeError where a file of decisions could not be read, which
    would be missing from it. InputError where the request is wrong as a whole; CancelledError where it was cancelled.
    """
    day = day_of(list)
    ready_by = ready_by or (day.document.ready_by if day else "")
    by = next_time(ready_by, datetime.now(UTC)) if ready_by else None
    check_source(list, from_, options)
    if write and (options.get("range") or options.get("still")):
        raise OptionError(
            "--write takes whole clips: a list says parts of clips by its columns `in` and `out`"
        )
    told: MutableSequence[str] = []
    first, *rest = _requests(list, from_, out, options, told.append)
    if write and rest:
        recipes = ", ".join(request.recipe for request in (first, *rest))
        raise OptionError(f"--write needs one recipe, with --recipe; the day has {recipes}", file=str(list))
    items: MutableSequence[ToMake] = []  # of the whole day, since its recipes share their disks
    made = _planned(first, by, workers, Path(write) if write else None, cancel, items)
    if from_ is not None:
        then = made_by(latest(read_records(Path(from_))).values())
        told.extend(now_text(then, made_with()))
        made.plain["versions"] = [each.document(made_with()) for each in then]
    made.plain["warnings"][:0] = told
    made = replace(made, warnings=(*told, *made.warnings))
    further = tuple(_planned(request, by, workers, None, cancel, items) for request in rest)
    if first.out:
        room = forecast_room(items, keep_free=KEEP_FREE, kept=kept_bytes)
        made.plain["room"] = room.document()
        made.plain["warnings"] += room.warnings
        made = replace(made, warnings=(*made.warnings, *room.warnings))
    return replace(made, further=further)


def _requests(
    clip_list: str | Path | None,
    origin: str | Path | None,
    out: str | Path | None,
    options: _Options,
    tell: Callable[[str], None],
) -> Sequence[Request]:
    """What is asked for: of a list, or of a folder again."""
    known_alone(options, _Options)
    if origin is not None:
        from rushlight.batch.again.render_from import requests_again

        place = out or (None if closed_delivery(Path(origin)) else origin)
        again = requests_again(Path(origin), differing(place, options), tell, tell)
        return [request.checked() for request in again]
    requests = requests_of(clip_list or Path(), request_options(options), out=out)
    return shared_out(requests, **parts_of(options))


def _planned(
    request: Request,
    by: datetime | None,
    workers: int | None,
    write: Path | None,
    cancel: Cancel | None,
    items: MutableSequence[ToMake],
) -> PlanResult:
    """The plan of a request; `items` gets what it would make."""
    to_make: int | None = None  # clips
    with reading(cancel):
        prepared = prepare(request, all_faults=True)
        if request.out:
            from rushlight.batch.due.news_of_folder import damage_news, room_to_make, sound_news  # as a run

            prepared.plan.warnings.extend(sound_news(prepared, request.out))
            prepared.plan.warnings.extend(damage_news(prepared, request.out))
            found, to_make = room_to_make(prepared, request.out.absolute())
            items.extend(found)
        if request.origin:
            from rushlight.batch.again.looks_then import looks_then

            text = looks_then(prepared, request.origin)
            prepared.plan.warnings += [text] if text else []
    document = plan_document(prepared)
    if to_make is not None:
        document["to_make"] = to_make
    if by:
        rate = float(workers or default_workers())
        work = _work(prepared)
        now = time.time() + (_seconds_to_prepare(prepared) if work else 0.0)
        ends = forecast(work, rate=rate, now=now, by=by.timestamp())
        document["forecast"] = ends.document() | {
            "text": f"{ends.text()}, with {counted(round(rate), 'worker')} from now"
        }
    if write:
        _write(prepared, write)
    return PlanResult(
        clips=tuple(prepared.plan.clips),
        wrong=tuple(Undone.of(*each) for each in prepared.plan.wrong),
        failed=tuple(Undone.of(*each) for each in prepared.plan.broken),
        refused=prepared.faults,
        warnings=tuple(prepared.plan.warnings),
        plain=document,
        missing=tuple(prepared.plan.missing),
    )


def _write(prepared: Prepared, path: Path) -> None:
    """The explicit list, in a new file, which has its name only once it is whole."""
    if prepared.faults:
        raise together(prepared.faults)

    def named(clip: PlannedClip) -> str:
        return fields_of_clip(clip, prepared.recipe)["look"]

    data = plan_list(prepared, path.parent, named).encode("utf-8", "surrogateescape")
    if os.path.lexists(path) or not path.parent.is_dir():
        text = "is there already" if os.path.lexists(path) else "its folder is not there"
        raise OptionError(f"--write: {text}; a new file is needed", file=str(path))
    try:
        inside_folder.write(path.parent, path.name, data)
    except OSError as error:
        text = f"--write: {from_os(error, path).text}; nothing was written: make room, or name a new file elsewhere"
        raise OptionError(text, file=str(path)) from None


def _seconds_to_prepare(prepared: Prepared) -> float:
    """Seconds that this machine would take first, where it has not compiled yet what these clips need."""
    from rushlight.pipelines.render.compiled import (
        missing_kinds,  # loads the compiler, which others need not wait for
    )

    kinds = set()
    for clip in prepared.plan.clips:
        kinds |= kinds_of(
            [(o, clip.look_of(o.name)) for o in asked_outputs(clip, prepared.recipe)], clip.facts
        )
    return seconds_to_prepare(len(missing_kinds(sorted(kinds))))


def _work(prepared: Prepared) -> list[tuple[str, float]]:
    """Work that a plan asks for and that is not made yet, in the order in which it would be made: clip,
    seconds of one core."""
    recipe, request = prepared.recipe, prepared.request
    records = latest(read_records(request.out)).values() if request.out else ()
    done = {record.job for record in records if record.status == "done"}
    parts: list[tuple[int, int, str, float]] = []
    for clip in prepared.plan.clips:
        if job_id(clip) in done:
            continue
        for rank, part in in_turns(clip, asked_outputs(clip, recipe), recipe.first):
            parts.append((rank, -clip.count, clip.row.clip, cost_of_outputs(clip, part)))
    return [(clip, cost) for _, _, clip, cost in sorted(parts, key=lambda p: p[:2])]
