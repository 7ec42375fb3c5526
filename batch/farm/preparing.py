"""This machine prepared before there is work: what workers run is compiled by one of them, while the others wait."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from importlib.util import find_spec
from typing import TYPE_CHECKING

from rushlight.batch.farm.tasks import Farm, Task
from rushlight.pipelines.errors import OptionError, RushlightError
from rushlight.pipelines.job.from_spec import opened_facts
from rushlight.pipelines.job.spec import JobSpec
from rushlight.pipelines.render.kinds import Kind, kinds_of, with_cards_test

if TYPE_CHECKING:
    from rushlight.pipelines.originals.probe import Facts


__all__ = ["prepare_machine", "require_card", "seconds_to_prepare"]

# Seconds of one core for the first kind of picture, and for each further one: measured (docs/performance.md).
FIRST, FURTHER = 10.0, 3.0
MISSING = "rushlight.pipelines.render.compiled:missing_kinds"
NO_CARD = "rushlight.pipelines.render.who_grades:why_no_card"
COMPILE = "rushlight.pipelines.render.compiled:compile_kinds"


def seconds_to_prepare(kinds: int) -> float:
    """About how long one core takes to compile what so many kinds of pictures need."""
    return FIRST + FURTHER * (kinds - 1) if kinds else 0.0


def prepare_machine(
    farm: Farm,
    jobs: Iterable[tuple[JobSpec, Facts | None]],
    *,
    tell: Callable[[int, int], object],
    stopped: Callable[[], bool],
    graphics: str = "off",
) -> None:
    """Have one worker compile what the movies of these jobs need, where this machine has not done so before.

    Where a card may grade (`graphics` is not off, and CuPy is installed), what its test of itself runs on the processor is compiled
    too: each worker makes that test with its first frame.

    `tell` gets how many kinds of pictures are done, and of how many, where any is missing; facts of an original that are not
    given are read. The workers of other machines see to that themselves, one at a time on each. What goes wrong here is met
    again by whoever needs it, and told there.
    """
    if not farm.here:
        return
    kinds = _kinds(jobs)
    if graphics != "off" and find_spec("cupy") is not None:
        kinds = sorted(with_cards_test(kinds))
    # All are asked: who is, loads what is there, and is ready for the first frame at the same time as the others.
    missing = _done(farm, MISSING, (kinds,), stopped, times=max(1, farm.slots)) if kinds else []
    if missing:
        tell(0, len(missing))
        if _done(farm, COMPILE, (missing,), stopped) is not None:
            tell(len(missing), len(missing))


def require_card(farm: Farm, *, stopped: Callable[[], bool]) -> None:
    """Make sure that workers of this machine can use its graphics card. OptionError where they cannot. Those of other machines
    see to that themselves."""
    if not farm.here:
        return
    found = _done(farm, NO_CARD, (), stopped)
    if found == [] or stopped():
        return
    why = found[0] if found else "the worker that was asked for it gave no answer"
    raise OptionError(
        f"--graphics require: {why}; nothing was made. Without it the processor grades, with the same colour"
    )


def _kinds(jobs: Iterable[tuple[JobSpec, Facts | None]]) -> list[Kind]:
    """The kinds of pictures of these jobs, the same for any order of them."""
    found = set()
    for job, facts in jobs:
        try:
            shown = [(output, job.look_of(output)) for output in job.outputs]
            found |= kinds_of(shown, facts or opened_facts(job.source))
        except (RushlightError, OSError):
            continue  # the clip fails where it is made
    return sorted(found)


def _done(
    farm: Farm, function: str, arguments: tuple[object, ...], stopped: Callable[[], bool], *, times: int = 1
) -> list[object] | None:
    """Result of so many idle workers for these arguments; None where all failed, or a stop was asked for."""
    name = f"{function.rpartition(':')[2]}-{time.monotonic_ns()}"
    asked, found = {f"{name}-{n}" for n in range(times)}, None
    for key in sorted(asked):
        farm.submit(Task(key=key, function=function, arguments=arguments))
    while asked and not stopped():
        for result in farm.results(0.1):
            if result.key in asked and isinstance(result.value, list):
                found = list(result.value)
            asked.discard(result.key)
    return None if asked else found
