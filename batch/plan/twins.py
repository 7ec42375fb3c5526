"""Twins: clips of one name, in a list or in several lists of an output folder. Each has a place of its own, so that none replaces the
other, and the same clip twice is made once."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from rushlight.batch.lists.clip_list import Row
from rushlight.batch.lists.equal_copies import twin_notes
from rushlight.batch.plan.clip import fields_of_clip, own_fields
from rushlight.batch.plan.jobs import job_id, named, wanted
from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.batch.plan.request_ledger import Asked, Asking, told_apart
from rushlight.batch.records.day_title import DayTitle
from rushlight.batch.records.job_record import JobRecord
from rushlight.pipelines.burnin.text_fields import FIELDS, unknown_field
from rushlight.pipelines.errors import RecipeError, said
from rushlight.pipelines.job.delivered_names import by_template, ways_of
from rushlight.pipelines.job.spec import digest_of
from rushlight.pipelines.portable_name import safe_name
from rushlight.pipelines.recipe.model import Output, Recipe
from rushlight.pipelines.recipe.name_clashes import Claims, Met, Wish, settle
from rushlight.pipelines.recipe.name_template import name_fields

__all__ = ["check_name_fields", "doubt", "fingerprint", "name_files", "set_apart", "untwinned"]


def doubt(plan: Plan, check: Callable[[], list[str]]) -> None:
    """Doubts that a check over all clips raises. One that ends with a fault of our own is left out, and said:
    no clip is worse for it."""
    try:
        plan.warnings += check()
    except Exception as error:
        plan.warnings.append(
            f"a check over all clips was left out: a fault of rushlight's own: {said(error)}"
        )


def _card(clip: PlannedClip, twins: list[PlannedClip]) -> str:
    """The folder that sets a clip's path apart from its twins': the first that is not above all of them."""
    paths = [twin.path.absolute().parts[:-1] for twin in twins]
    shared = next((n for n, parts in enumerate(zip(*paths, strict=False)) if len(set(parts)) > 1), None)
    return clip.path.absolute().parts[shared] if shared is not None else ""


def _folder(clip: PlannedClip, twins: list[PlannedClip]) -> str:
    """A folder of its own for one of several twins, by the first of these names that tells them all apart; else by its row."""
    ways = (
        [t.reel for t in twins],
        [_card(t, twins) for t in twins],
        [f"{t.reel or t.path.parent.name}-{t.timecode.dotted}" for t in twins],
        [f"row-{t.row.line}" for t in twins],
    )
    for names in ways:
        if len({safe_name(n).casefold() for n in names if n}) == len(twins):
            break
    return safe_name(next(name for name, twin in zip(names, twins, strict=True) if twin is clip))


def _others(clip: PlannedClip) -> list[object]:
    """Looks of a clip beside the recipe's, by output: two rows of a clip may differ in these alone."""
    return [[name, clip.look_of(name).identity()] for name in sorted(clip.shows)]


def untwinned(clips: list[PlannedClip], plan: Plan) -> list[PlannedClip]:
    """Every clip a place of its own: the same clip, range and grade twice is made once; twins go to a folder each."""
    distinct: dict[str, PlannedClip] = {}
    for clip in clips:
        framing = clip.fdl.reference if clip.fdl and any(f.record for f in clip.frames.values()) else ""
        own = [clip.look.identity(), framing, *_others(clip)]
        key = digest_of([str(clip.path), clip.first, clip.count, *own])
        if key in distinct:
            plan.alike += 1
            plan.warnings.append(
                f"{clip.row.place}: {clip.row.clip} is in the list twice, with the same settings; it is made once"
            )
        else:
            distinct[key] = clip
    by_stem: dict[str, list[PlannedClip]] = {}
    for clip in distinct.values():
        by_stem.setdefault(safe_name(clip.stem).casefold(), []).append(clip)
    same_name = ({c.path: c.facts.files for c in twins} for twins in by_stem.values())
    twins_of = [tuple(paths.values()) for paths in same_name if len(paths) > 1]
    doubt(plan, lambda: twin_notes(twins_of))
    found: list[PlannedClip] = []
    for clip in distinct.values():
        twins = by_stem[safe_name(clip.stem).casefold()]
        if len(twins) == 1:
            found.append(clip)
            continue
        found.append(replace(clip, folder=_folder(clip, twins)))
    return found


def check_name_fields(recipe: Recipe, columns: Iterable[str], *, file: str) -> None:
    """RecipeError for a field of a template that neither exists nor is a column of the list."""
    fields = (*FIELDS, "number")
    known = {*fields, *(column.lower() for column in columns)}
    for index, output in enumerate(recipe.output):
        for name, text in (("path", output.path), ("file", output.file)):
            unknown = [field for field in (name_fields(text) if text else ()) if field not in known]
            if unknown:
                key = f"output[{index}].{name}"
                raise unknown_field(unknown[0], known, key=key, fields=fields).at(file=file)


def name_files(
    plan: Plan,
    recipe: Recipe,
    file: str,
    *,
    title: DayTitle,
    rows: Sequence[Row],
    asked: Sequence[Asked],
    records: Iterable[JobRecord],
) -> None:
    """Give each clip the names of its files in outputs with templates, none of them another's on any system. `asked` are rows of
    other lists and rows that wait, `records` what is delivered: what is not of a clip of this plan keeps its names. A clip that can
    have none is taken out of the plan, with a RecipeError of `file`."""
    templates = [(index, output) for index, output in enumerate(recipe.output) if by_template(output)]
    jobs = {job_id(clip): place for place, clip in enumerate(plan.clips)} if templates else {}
    numbers = {row.line: number for number, row in reversed([*enumerate(rows, 1)])}
    values = [_values(clip, recipe, title, numbers) for clip in plan.clips] if templates else []
    records, wrong = list(records) if templates else [], dict[int, RecipeError]()
    doubted: dict[tuple[str, str], list[str]] = {}
    for index, output in templates:
        claims, held = Claims(), dict[str, set[str]]()
        for record in records:
            paths = [entry.path for entry in record.outputs if entry.output == output.name]
            held[record.job] = set(paths)
            claims.take(paths if record.job not in jobs else (), record.clip)
        for row in asked:
            ours = row.job in jobs or row.dropped
            claims.take((p for p in row.files if not ours and p.startswith(f"{output.name}/")), row.clip)
        takers = [n for n, clip in enumerate(plan.clips) if n not in wrong and wanted(clip, output)]
        found = {
            n: ways_of(
                output, named(plan.clips[n], output, values[n] | own_fields(plan.clips[n], output.name))
            )
            for n in takers
        }
        wishes = [
            Wish(
                who=plan.clips[n].called,
                ways=tuple(way.paths(output.name) for way in found[n][0]),
                twin=bool(plan.clips[n].folder),
                holds=set(found[n][0][0].paths(output.name)) == held.get(job_id(plan.clips[n])),
            )
            for n in takers
        ]
        for n, wish, settled in zip(takers, wishes, settle(wishes, claims), strict=True):
            ways, doubts = found[n]
            for doubt in doubts:
                doubted.setdefault((f"output[{index}]", doubt), []).append(wish.who)
            if settled.way is None:
                wrong[n] = _no_name(f"output[{index}]", output, settled.met).at(file=file)
                continue
            clip = plan.clips[n]
            said = _went(output.name, wish.ways[settled.way][0], settled.met) if settled.met else ()
            names = {**clip.names, output.name: ways[settled.way]}
            plan.clips[n] = replace(clip, names=names, warnings=(*clip.warnings, *said))
    plan.warnings += [f"{key}: {doubt} ({_listed(clips)})" for (key, doubt), clips in doubted.items()]
    plan.wrong += [(plan.clips[n].row, error) for n, error in wrong.items()]
    plan.clips = [clip for n, clip in enumerate(plan.clips) if n not in wrong]


def _values(clip: PlannedClip, recipe: Recipe, title: DayTitle, numbers: Mapping[int, int]) -> dict[str, str]:
    """What a template's fields are of a clip: those of burn-in, and the number of its row in its list."""
    number = numbers.get(clip.row.line, 0)
    return {**fields_of_clip(clip, recipe, title), "timecode": clip.timecode.dotted, "number": str(number)}


def _no_name(key: str, output: Output, met: Met | None) -> RecipeError:
    setting = "file" if output.file else "path"
    text = f"{met.path} is the name of {met.who}'s file already" if met else "gives no name"
    return RecipeError(
        f"{text}; a {{clip}}, {{reel}} or {{timecode}} in the template tells them apart",
        key=f"{key}.{setting}",
    )


def _went(output: str, path: str, met: Met) -> tuple[str, ...]:
    return (
        f"{output}: the template gives {met.path}, which is {met.who}'s as well; this clip's is {path}. A {{clip}}, {{reel}} or"
        " {timecode} in it tells them apart",
    )


def _listed(clips: Sequence[str]) -> str:
    return clips[0] if len(clips) == 1 else f"{clips[0]} and {len(clips) - 1} more"


def fingerprint(clip: PlannedClip) -> str:
    """Fingerprint of an original, wherever it lies: size, length, first timecode and reel."""
    facts = clip.facts
    return digest_of([facts.bytes, facts.frames, str(facts.timecode), facts.reel], 12)


def set_apart(
    plan: Plan,
    clip_list: str,
    others: Iterable[Asking],
    kept: Iterable[Asked] = (),
    left: Collection[str] = (),
) -> None:
    """Give clips of a plan a folder where another list, or a row that this one keeps, has another original in their place. The
    same original, there or moved since, keeps its place: what was read last holds; so do clips (jobs) that are `left` to others,
    whose originals were copied again."""
    taken: dict[str, tuple[str, str]] = {}
    for asking in others:
        if asking.list != clip_list:
            name = told_apart([asking.list, clip_list])[0]
            rows = (r for r in asking.rows if r.asks and not r.dropped and r.job not in left)
            taken |= {r.job: (r.original, name) for r in rows}
    name = Path(clip_list).name
    taken |= {r.job: (r.original, name) for r in kept if r.asks and not r.dropped}
    if not taken:
        return
    used = {job_id(clip) for clip in plan.clips}
    for index, clip in enumerate(plan.clips):
        original, name = taken.get(job_id(clip), ("", ""))
        if not original or original == fingerprint(clip):
            continue
        used.discard(job_id(clip))
        moved = _elsewhere(clip, taken, used)
        used.add(job_id(moved))
        plan.clips[index] = moved
        plan.warnings.append(
            f"{clip.row.place}: {name} has another original called {clip.stem}; this one goes to the folder {moved.folder}"
        )


def _elsewhere(clip: PlannedClip, taken: dict[str, tuple[str, str]], used: set[str]) -> PlannedClip:
    card = clip.reel or clip.path.parent.name
    names: Sequence[str] = (
        clip.reel,
        clip.path.parent.name,
        f"{card}-{clip.timecode.dotted}",
        f"{card}-{fingerprint(clip)}",
    )
    found = clip
    for name in filter(None, names):
        found = replace(clip, folder=safe_name(name))
        job = job_id(found)
        if job not in used and taken.get(job, (fingerprint(clip), ""))[0] == fingerprint(clip):
            break
    return found
