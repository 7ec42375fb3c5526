"""The command that shows a plan: what would be made, what is wrong, and what of it is ready by a moment."""

from __future__ import annotations

import time
from datetime import datetime
from pathlib import Path

from rushlight.batch.console import say_json
from rushlight.batch.exit_codes import DONE, PARTLY, WRONG
from rushlight.batch.job_log import latest, read_records
from rushlight.batch.plan.jobs import in_turns, job_id, wanted
from rushlight.batch.plan.model import PlannedClip
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request, default_workers
from rushlight.batch.run.forecast import cost_of, forecast
from rushlight.batch.run.jobs_to_make import fields_of_clip
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.recipe.model import MovieOutput

__all__ = ["show_plan"]


def _work(prepared: Prepared) -> list[tuple[str, float]]:
    """What a plan asks for and is not made yet, in the order in which it would be made: clip, seconds of one core."""
    recipe, request = prepared.recipe, prepared.request
    records = latest(read_records(request.out)) if request.out else {}
    parts: list[tuple[int, int, str, float]] = []
    for clip in prepared.plan.clips:
        if records.get(job_id(clip), {}).get("status") == "done":
            continue
        source = clip.facts.width * clip.facts.height
        for rank, part in in_turns(clip, [o for o in recipe.output if wanted(clip, o)], recipe.first):
            sizes = [o.size for o in part if isinstance(o, MovieOutput)]
            made = [size.width * size.height if size else source for size in sizes]
            parts.append((rank, -clip.count, clip.row.clip, cost_of(source, made, clip.count)))
    return [(clip, cost) for _, _, clip, cost in sorted(parts, key=lambda p: p[:2])]


def show_plan(
    request: Request,
    *,
    as_json: bool,
    write: Path | None = None,
    ready_by: datetime | None = None,
    workers: int | None = None,
) -> int:
    """`rushlight plan`: what would be made, each clip's grade and why, and everything that is wrong.

    Gives 0 where all is well, 1 where some rows are wrong, 2 where the request as a whole would be refused.
    `ready_by`: say what of it will be ready then, if so many workers (one a core without) began now. `write`: a new file for the explicit list. OptionError where it is there already.
    """
    from rushlight.batch.cli.plan_page import plan_document, print_plan
    from rushlight.batch.decisions.change_files import together
    from rushlight.batch.plan.explicit_list import plan_list

    prepared = prepare(request, all_faults=True)
    document = plan_document(prepared)
    if ready_by:
        rate = float(workers or default_workers())
        now = time.time()
        found = forecast(_work(prepared), rate=rate, now=now, by=ready_by.timestamp())
        document["forecast"] = found.document() | {
            "text": f"{found.text()}, with {rate:.0f} worker(s) from now"
        }

    def named(clip: PlannedClip) -> str:
        return fields_of_clip(clip, prepared.recipe)["look"]

    if write and prepared.faults:  # a decision that could not be read would be missing from it
        raise together(prepared.faults)
    if write:
        try:
            with write.open("x", encoding="utf-8", newline="") as file:
                file.write(plan_list(prepared, write.parent, named))
        except OSError as error:
            raise OptionError(f"--write: {error.strerror}; a new file is needed", file=str(write)) from None
    if as_json:
        say_json(document)
    else:
        print_plan(document)
    if prepared.faults:  # nothing is rendered until the decision files can be read
        return WRONG
    return PARTLY if prepared.plan.wrong or prepared.plan.broken else DONE
