"""Outputs, ranges and stills that a command names, shared out among several requests: each gets what its recipe and its list have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rushlight.batch.lists.chosen_rows import selected
from rushlight.batch.lists.excerpt import excerpts_of, unknown_clips
from rushlight.batch.plan.prepare import read_list
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import InputError, OptionError
from rushlight.pipelines.recipe.model import StillsOutput
from rushlight.pipelines.recipe.read_recipe import load_recipe
from rushlight.pipelines.text_files import desk

__all__ = ["shared_out"]


def shared_out(
    requests: Sequence[Request],
    *,
    outputs: tuple[str, ...] = (),
    ranges: tuple[str, ...] = (),
    stills: tuple[str, ...] = (),
) -> list[Request]:
    """The requests, each with what its recipe and list know of the names given; those that know nothing of them are left out. Of one
    request alone, `prepare` says what it does not know. OptionError for a name that no request knows, and
    where none has both the outputs and the clips."""
    asked = [replace(request, outputs=outputs or request.outputs) for request in requests]
    if ranges or stills:
        asked = [replace(request, ranges=ranges, stills=stills) for request in asked]
    if len(asked) < 2 or not (outputs or ranges or stills):
        return asked
    found, known = list[Request](), set[str]()
    for request in asked:
        try:
            ours = _of_one(request)
        except InputError:
            found.append(request)  # what is wrong with it is said where it is made
            known |= {*outputs, *ranges, *stills}
            continue
        known |= {*ours.outputs, *ours.ranges, *ours.stills}
        if bool(ours.outputs) == bool(request.outputs) and bool(ours.excerpts) == bool(request.excerpts):
            found.append(ours)
    for option, names in (("output", outputs), ("range", ranges), ("still", stills)):
        for name in names:
            if name not in known:
                lacks = (
                    "recipe has an output of that name"
                    if option == "output"
                    else "list has a clip of that name"
                )
                raise OptionError(
                    f"--{option} {name!r}: no {lacks}, among {len(asked)} that were asked for here"
                )
    if not found:
        raise OptionError(
            f"none of {len(asked)} lists that were asked for here has both: the outputs that --output names are of other lists than the"
            " clips of --range and --still. Name outputs and clips of one list"
        )
    return found


def _of_one(request: Request) -> Request:
    """A request with what its own recipe and list have of what is named."""
    with desk(request.kept, sealed=request.origin is not None) as read:
        with read.unsealed(request.own_recipe):
            recipe = load_recipe(request.recipe)[0]
        rows = []
        if request.excerpts:
            clip_list = read_list(request.clip_list, request.media, request.away or ())[0]
            rows = selected(clip_list, request.only)
    makes = {output.name.casefold(): output for output in recipe.output}
    outputs = tuple(name for name in request.outputs if name.casefold() in makes)
    takes_stills = not outputs or any(isinstance(makes[name.casefold()], StillsOutput) for name in outputs)
    return replace(
        request,
        outputs=outputs,
        ranges=tuple(r for r in request.ranges if not unknown_clips(excerpts_of((r,), ()), rows)),
        stills=tuple(
            s for s in request.stills if takes_stills and not unknown_clips(excerpts_of((), (s,)), rows)
        ),
    )
