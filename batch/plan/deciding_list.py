"""The list that decides a clip: of all lists of an output folder that ask for it, the one that was read last.

A folder that is made again makes each clip by that list alone, so that what an earlier one said of it is not brought back. Lists that
ask for the same picture stand beside each other, each with its recipe's outputs; an output that two recipes have is the later one's.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from rushlight.batch.plan.jobs import asked_outputs, job_id
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.plan.request import Left, Request
from rushlight.batch.plan.request_ledger import Asked, Asking, differing, request_id, told_apart
from rushlight.batch.plan.twins import fingerprint
from rushlight.pipelines.job.spec import digest_of
from rushlight.pipelines.recipe.model import Recipe

__all__ = [
    "asked_row",
    "decided_since",
    "in_order",
    "leave_to_others",
    "left_to_others",
    "not_named_any_more",
    "picture_of",
]

ALL = None  # of a clip: no output of it is the list's to make


def asked_row(clip: PlannedClip, recipe: Recipe) -> Asked:
    """A clip of a plan as its output folder keeps it."""
    look = clip.look.identity()
    graded = [look[name] for name in ("grade", "exposure", "white_balance", "printer_points")]
    return Asked(
        job=job_id(clip),
        clip=clip.called,
        line=clip.row.line,
        asks=digest_of([str(clip.path.absolute()), clip.first, clip.count, look], 12),
        original=fingerprint(clip),
        folder=clip.folder,
        files=tuple(path for name, names in clip.names.items() for path in names.paths(name)),
        range=f"{clip.first}+{clip.count}",
        grade=digest_of(graded, 12),
        look=digest_of(look, 12),
        outputs=tuple(output.name for output in asked_outputs(clip, recipe)),
    )


def picture_of(clip: PlannedClip) -> str:
    """The picture that a planned clip asks for, as `Asked` has it."""
    return f"{clip.first}+{clip.count} {digest_of(clip.look.identity(), 12)}"


def _by_job(askings: Sequence[Asking]) -> dict[str, list[tuple[float, Asking, Asked]]]:
    """Of each clip (job) the rows that ask or asked for it, in the order in which they were read last."""
    found: dict[str, list[tuple[float, Asking, Asked]]] = {}
    for asking in askings:
        for row in asking.rows:
            if row.asks and not row.dropped:
                found.setdefault(row.job, []).append((asking.when, asking, row))
        for row in asking.gone:
            found.setdefault(row.job, []).append((row.when, asking, row))
    for rows in found.values():
        rows.sort(key=lambda each: each[0])
    return found


def decided_since(askings: Sequence[Asking], job: str, picture: str) -> str:
    """Sentence on a clip that waits in a queue with this picture, where a list that was read later asks for another; else empty. So it is
    where nothing is known of either."""
    rows = _by_job(askings).get(job, [])
    if not rows or not picture or rows[-1][2].picture in ("", picture):
        return ""
    _, last, latest = rows[-1]
    ours = next(((asking, row) for _, asking, row in reversed(rows) if row.picture == picture), None)
    if ours is None or ours[0].list == last.list:
        return (
            f"not made as it waits here: {last.name} was read again since, and asks for it otherwise. Add the list again, as it is to"
            " be made; or take this out of the queue (rushlight queue drop)"
        )
    first, second = told_apart([ours[0].list, last.list])
    what = " and ".join(differing([ours[1], latest]))
    return (
        f"not made as it waits here: {second}, which was read later than {first}, asks for it with another {what}. To have it as"
        f" {first} says, add that list again; else take this out of the queue (rushlight queue drop)"
    )


def left_to_others(askings: Sequence[Asking], *, whole: bool = False) -> dict[str, dict[str, Left]]:
    """Per request (its id) the clips (jobs) that another one decides, each with the names of the outputs that are not to be made by this
    one: all (None) where the other asks for another picture or, with `whole`, in any case. `askings` in the order of reading."""
    found: dict[str, dict[str, Left]] = {}
    for job, rows in _by_job(askings).items():
        last, taken = rows[-1], set[str]()
        for _, asking, row in reversed(rows):
            alike = _alike(row, last[2])
            if asking.id != last[1].id:
                found.setdefault(asking.id, {})[job] = frozenset(taken) if alike and not whole else ALL
            if alike:
                taken.update(row.outputs)
    return found


def _alike(row: Asked, other: Asked) -> bool:
    """True if two rows ask for the same picture, wherever its original lies."""
    if row.picture and other.picture:
        return row.picture == other.picture
    return row.asks == other.asks


def in_order(
    requests: Iterable[Request], askings: Sequence[Asking], *, later: float = 0.0, whole: bool = False
) -> list[Request]:
    """Kept requests of a folder in the order in which they were read last, each with the clips that it leaves to another.

    `later`: seconds by which the folder that they are made in is to take them for read later than they were; `whole` as above.
    """
    left, by_id = left_to_others(askings, whole=whole), {asking.id: asking for asking in askings}
    found = []
    for request in requests:
        told_by = str(request.clip_list), request.recipe, request.only
        name, whole_name = request_id(*told_by, request.excerpts), request_id(*told_by)
        asking, clips = by_id.get(name), by_id.get(whole_name) or by_id.get(name)
        rows = clips.rows if clips else ()
        gone = [replace(row, when=row.when + later) for row in clips.gone] if clips else []
        when = asking.when + later if asking else 0.0
        parts = {row.job: frozenset[str]() for row in asking.rows} if asking and request.excerpts else {}
        ours = left.get(whole_name, {}) | parts | left.get(name, {})  # parts that it has made are its own
        found.append(replace(request, asked_at=when, placed=(*rows, *gone), left=ours))
    return sorted(found, key=lambda request: request.asked_at)


def leave_to_others(
    plan: Plan,
    recipe: Recipe,
    left: Mapping[str, Left],
    outputs: tuple[str, ...] = (),
    of_stills: tuple[str, ...] = (),
) -> tuple[Asked, ...]:
    """Give each clip of a plan its `outputs` (a single frame: `of_stills`), and take out what another list decides: outputs of clips, and
    clips, whose rows are given. A part of a clip follows its clip, and is the other list's alone."""
    clips, rows = [], list[Asked]()
    for each in plan.clips:
        clip = replace(each, outputs=of_stills if each.still else outputs)
        job = job_id(clip) if job_id(clip) in left else job_id(replace(clip, excerpt=""))
        names = left.get(job, frozenset())
        asked = [output.name for output in asked_outputs(clip, recipe)]
        ours = [] if names is ALL else [name for name in asked if name not in names]
        if ours == asked:
            clips.append(clip)
        elif ours:
            clips.append(replace(clip, outputs=tuple(ours)))
        else:
            plan.not_chosen += 1
            plan.named += clip.facts.files or (clip.path,)
            rows += [] if clip.excerpt else [asked_row(clip, recipe)]
    plan.clips = clips
    return tuple(rows)


def not_named_any_more(askings: Sequence[Asking]) -> list[tuple[Asked, str]]:
    """Clips that the list which decided them last does not name any more, while another one asks for them otherwise: each with a
    sentence. Nobody makes them again. `askings` in the order of reading."""
    found = []
    for asking in askings:
        for gone in asking.gone:
            asked = [
                (a, r) for a in askings for r in a.rows if r.job == gone.job and r.asks and not r.dropped
            ]
            earlier = [(a, r) for a, r in asked if a.when <= gone.when and a.list != asking.list]
            if not earlier or len(earlier) < len(asked) or _alike(earlier[-1][1], gone):
                continue
            first, last = told_apart([earlier[-1][0].list, asking.list])
            text = (
                f"{gone.clip} is not made again: {last}, which was read later than {first}, asked for it otherwise and does not"
                f" name it any more. To have it as {first} says, render that list itself"
            )
            found.append((gone, text))
    return found
