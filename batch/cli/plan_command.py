"""`rushlight plan`: the page of a plan, or its document; and the exit code."""

from __future__ import annotations

from pathlib import Path
from typing import Unpack

from rushlight.batch.api.plan import PlanOptions, plan
from rushlight.batch.exit_codes import DONE, PARTLY, WRONG
from rushlight.batch.printed.plan_page import print_plan
from rushlight.batch.terminal.console import say, say_json

__all__ = ["show_plan"]


def show_plan(
    clip_list: Path | None,
    origin: Path | None,
    *,
    as_json: bool,
    all_clips: bool,
    **options: Unpack[PlanOptions],
) -> int:
    """The command. Gives 0 where all is well, 1 where some rows are wrong, 2 where the request would be refused."""
    result = plan(clip_list, from_=origin, **options)
    plans = (result, *result.further)
    if as_json:
        say_json(result.document())
    else:
        for each in plans:
            if result.further:
                say(f"recipe {each.document()['recipe']}:")
            print_plan(each.document(), all_clips=all_clips)
    if any(each.refused for each in plans):
        return WRONG
    return PARTLY if any(each.wrong or each.failed for each in plans) else DONE
