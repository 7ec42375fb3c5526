"""A request read and planned: its recipe, its list, every row's original, grade and place."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from rushlight.batch.changes import ChangeRecord, Rolled, clock_seconds, utc_seconds
from rushlight.batch.defaults import Defaults, read_defaults
from rushlight.batch.edl import read_edl
from rushlight.batch.folders import read_folder
from rushlight.batch.gradebook import GradeBook, Wanted
from rushlight.batch.grades import NONE, Decision, GradeFiles, Later, row_decision
from rushlight.batch.lists import ClipList, Row, read_csv, write_csv
from rushlight.batch.names import MediaIndex, resolve_clip, safe_name
from rushlight.batch.plan import (
    LutFiles,
    Plan,
    PlannedClip,
    Stated,
    frame_range,
    plan_clip,
    reel_of,
    stated_by,
    stem_of,
)
from rushlight.batch.reconcile import Media, reconcile
from rushlight.batch.reels import reel_doubts
from rushlight.batch.request import Request
from rushlight.batch.timelines import read_timeline
from rushlight.pipelines.encodings import find_encoding
from rushlight.pipelines.errors import (
    GradeError,
    InputError,
    ListError,
    OptionError,
    RushlightError,
    SourceError,
)
from rushlight.pipelines.probe import Facts, probe
from rushlight.pipelines.recipe import MovieOutput, Recipe, load_recipe
from rushlight.pipelines.spans import is_span, span_files
from rushlight.pipelines.spec import digest_of
from rushlight.pipelines.texts import read_text
from rushlight.pipelines.timecode import FrameRate, Timecode

__all__ = ["Prepared", "prepare", "read_list", "selected"]


@dataclass(frozen=True, kw_only=True)
class Prepared:
    """A request, read and planned."""

    request: Request
    recipe: Recipe
    recipe_text: str
    clip_list: ClipList
    list_text: str
    plan: Plan
    luts: LutFiles
    defaults: Defaults
    media: Media | None


def read_list(path: Path) -> tuple[ClipList, str]:
    """A clip list from a CSV file or its relations, an EDL, an .otio timeline, or a folder of originals; and the text that is kept of it.

    ListError where it is unreadable as a whole.
    """
    if path.is_dir():
        found = read_folder(path)
        return found, write_csv(("clip",), [row.cells for row in found.rows])
    text = read_text(path, ListError)
    read = {".edl": read_edl, ".otio": read_timeline}.get(path.suffix.lower(), read_csv)
    return read(text, file=str(path)), text


def prepare(request: Request) -> Prepared:
    """Read everything a request names and plan every row. InputError where the request is wrong as a whole."""
    recipe, recipe_text, recipe_file = load_recipe(request.recipe)
    clip_list, list_text = read_list(request.clip_list)
    _check_recipe(recipe, clip_list, recipe_file or request.recipe)
    if request.rate:
        FrameRate.parse(request.rate)
    if request.encoding:
        find_encoding(request.encoding)
    luts, files = LutFiles(), GradeFiles()
    book = GradeBook(request.grades, files)
    record = ChangeRecord(
        book.changes,
        held_at=recipe.changes.held_at,
        utc_offset=utc_seconds(recipe.changes.utc_offset, "changes.utc_offset")
        if recipe.changes.utc_offset
        else None,
        ahead=recipe.changes.ahead,
        jammed=int(clock_seconds(recipe.changes.jammed, "changes.jammed")) if recipe.changes.jammed else None,
    )
    lut_base = Path(recipe_file).parent if recipe_file else Path()
    if recipe.look.show_lut:
        luts.read(lut_base / recipe.look.show_lut)
    default = None
    if recipe.grade:
        cdl, place = files.named(recipe.grade, lut_base)
        default = Decision(cdl=cdl, source=place, reason="the recipe's default")
    defaults = read_defaults(request.defaults, luts)
    defaults.add(recipe.default, recipe_file or request.recipe, lut_base, luts)
    media = MediaIndex(request.media)
    base = request.clip_list if request.clip_list.is_dir() else request.clip_list.parent
    options = Stated(
        who="--encoding/--levels", encoding=request.encoding, levels=request.levels, rate=request.rate
    )
    plan = Plan(warnings=list(clip_list.warnings))
    facts_of: dict[tuple[Path, str], Facts | RushlightError] = {}
    chosen = selected(clip_list, request.only)
    rows = list(_one_by_one(chosen, recipe, base, media))
    plan.not_chosen, plan.one_by_one = len(clip_list.rows) - len(chosen), len(rows) - len(chosen)
    for row in rows:
        if row.problem:
            plan.wrong.append((row, row.problem))
            continue
        try:
            path = resolve_clip(row.clip, base, media, tell=partial(_told_apart, row, facts_of))
        except RushlightError as error:
            plan.wrong.append(
                (
                    row,
                    error.at(file=row.file, line=row.line, key="clip")
                    if isinstance(error, ListError)
                    else _missing(row, error),
                )
            )
            continue
        try:
            plan.named += _files_of(path)
            stated = stated_by(row, recipe, {}, options)
            rate = next((FrameRate.parse(s.rate) for s in stated if s.rate), None)
            facts = _facts(path, rate, facts_of)
        except SourceError as error:
            plan.broken.append((row, error))
            plan.unopened.append((path, error))
            continue
        except InputError as error:
            plan.wrong.append((row, error.at(file=row.file, line=row.line)))
            continue
        try:
            said = defaults.of(row, path, facts)
            stated = stated_by(row, recipe, said, options)
            row = _with_show_lut(row, said.get("lut", ""), stated)
            decision = row_decision(row, files) or _found(row, path, facts, book, record, default)
            plan.clips.append(
                plan_clip(
                    row,
                    path,
                    facts,
                    recipe=recipe,
                    stated=stated,
                    decision=decision,
                    luts=luts,
                    lut_base=lut_base,
                )
            )
        except SourceError as error:
            plan.broken.append((row, error))
            plan.unopened.append((path, error))
        except InputError as error:
            plan.wrong.append((row, error.at(file=row.file, line=row.line)))
    _shared_decisions(plan)
    if request.clip_list.is_dir():
        plan.clips.sort(key=lambda c: (c.reel, str(c.timecode), str(c.path)))
    plan.warnings += reel_doubts(plan.clips)
    plan.clips = _untwinned(plan.clips, plan)
    if not request.only:
        plan.warnings += defaults.unused()
    chosen_lines = {row.line for row in chosen}
    for row in clip_list.rows:
        if row.line not in chosen_lines:
            with suppress(RushlightError):
                plan.named += _files_of(resolve_clip(row.clip, base, media))
    folders = [*request.media, *([base] if request.clip_list.is_dir() else [])]
    media_found = reconcile(folders, plan, [request.out] if request.out else [])
    return Prepared(
        request=request,
        recipe=recipe,
        recipe_text=recipe_text,
        clip_list=clip_list,
        list_text=list_text,
        plan=plan,
        luts=luts,
        defaults=defaults,
        media=media_found,
    )


def _found(
    row: Row, path: Path, facts: Facts, book: GradeBook, record: ChangeRecord, default: Decision | None
) -> Decision:
    """The decision for a row that states none; where the change record has only later ones, those beside it."""
    later: list[Later] = []

    def held() -> Decision | None:
        clip = _rolled(row, path, facts) if record else None
        decision = record.decision(clip) if clip else None
        if clip and not decision:
            later.extend(record.later(clip))
        return decision

    found = book.decision(_wanted(row, path, facts), held) or default or NONE
    return replace(found, later=tuple(later)) if later else found


def _rolled(row: Row, path: Path, facts: Facts) -> Rolled | None:
    """When a row's original rolled, which needs a date: in column `date` or `day`. None where it has no timecode."""
    if not row["timecode"] and facts.timecode_from == "none":
        return None
    text = row["date"] or row["day"]
    try:
        date = datetime.date.fromisoformat(text)
    except ValueError:
        raise GradeError(
            f"{text!r} is no date; the change record needs each clip's, such as 2026-05-04", key="date"
        ) from None
    start = Timecode.parse(row["timecode"], facts.rate) if row["timecode"] else facts.timecode
    camera = row["camera"] or reel_of(row, path, facts)[:1]
    return Rolled(start=start, date=date, frames=facts.frames, camera=camera)


def _wanted(row: Row, path: Path, facts: Facts) -> Wanted:
    start = Timecode.parse(row["timecode"], facts.rate) if row["timecode"] else facts.timecode
    first, count, _ = frame_range(row["in"], row["out"], start=start, frames=facts.frames)
    return Wanted(
        names=(row.clip, stem_of(path, facts)),
        reel=reel_of(row, path, facts),
        start=start if row["timecode"] or facts.timecode_from != "none" else None,
        frames=facts.frames,
        first=first,
        count=count,
        scene=row["scene"],
        take=row["take"],
    )


def _told_apart(
    row: Row, facts_of: dict[tuple[Path, str], Facts | RushlightError], found: list[Path]
) -> list[Path]:
    """Of originals of one name, those whose reel, folder or timecode the row states; all of them where it states none."""
    kept = []
    for path in found:
        try:
            facts = _facts(path, FrameRate.parse(row["rate"]) if row["rate"] else None, facts_of)
            reel, first = row["reel"].lower(), row["timecode"] or row["in"]
            reels = {facts.reel.lower(), *(p.lower() for p in path.parts[:-1])}
            if reel and reel not in reels:
                continue
            if ":" in first:
                into = facts.timecode.until(Timecode.parse(first, facts.rate))
                if into >= (1 if row["timecode"] else facts.frames):
                    continue
        except InputError:
            continue  # it does not open, or counts otherwise
        kept.append(path)
    return kept


def _shared_decisions(plan: Plan) -> None:
    """Set aside the clips that one decision fits by name or place: it was made for one of them, and which is not known."""
    by_source: dict[str, list[PlannedClip]] = {}
    for clip in plan.clips:
        if clip.decision.for_one_clip:
            by_source.setdefault(clip.decision.source, []).append(clip)
    for source, clips in by_source.items():
        if len({c.path for c in clips}) < 2:
            continue
        for clip in clips:
            others = ", ".join(str(c.path) for c in clips if c.path != clip.path)
            text = f"the decision {source} fits this clip and {others}; say reel and timecode, or name it in the row"
            plan.wrong.append((clip.row, GradeError(text, file=clip.row.file, line=clip.row.line, key="cdl")))
            plan.clips.remove(clip)


def _with_show_lut(row: Row, lut: str, stated: Iterable[Stated]) -> Row:
    """The row with a default's show LUT, unless it has its own, or its original is finished video."""
    encoding = next((s.encoding for s in stated if s.encoding), "")
    if not lut or row["lut"] or not encoding or find_encoding(encoding).kind == "video":
        return row
    return replace(row, cells={**row.cells, "lut": lut})


def _missing(row: Row, error: RushlightError) -> ListError:
    return ListError(f"{row.clip!r}: {error.text}", file=row.file, line=row.line, key="clip")


def _check_recipe(recipe: Recipe, clip_list: ClipList, file: str) -> None:
    from rushlight.pipelines.errors import RecipeError
    from rushlight.pipelines.slate import check_fields

    for index, output in enumerate(recipe.output):
        for column in output.only:
            if column.lower() not in clip_list.columns:
                raise RecipeError(
                    f"the list has no column {column!r} to choose clips by",
                    file=file,
                    key=f"output[{index}].only",
                )
        if isinstance(output, MovieOutput) and output.burnin:
            try:
                check_fields(output.burnin, clip_list.columns, key=f"output[{index}].burnin.text")
            except RecipeError as error:
                raise error.at(file=file) from None


def selected(clip_list: ClipList, only: Iterable[str]) -> list[Row]:
    """The rows that every COLUMN=VALUE takes. OptionError for a column the list does not have."""
    rows = list(clip_list.rows)
    for choice in only:
        column, equals, value = choice.partition("=")
        column = column.strip().lower()
        if not equals or column not in clip_list.columns:
            raise OptionError(
                f"--only {choice!r}: takes COLUMN=VALUE; the list has {', '.join(clip_list.columns)}"
            )
        rows = [r for r in rows if r[column].lower() == value.strip().lower()]
    return rows


def _files_of(path: Path) -> tuple[Path, ...]:
    """The originals that a row's path names: one, or the files of a clip in several."""
    return span_files(path) if is_span(path) else (path,)


def _one_by_one(rows: Iterable[Row], recipe: Recipe, base: Path, media: MediaIndex) -> Iterable[Row]:
    """The rows; where the recipe takes each file of a clip in several for itself, a row for each file."""
    for row in rows:
        files: tuple[Path, ...] = ()
        if recipe.several_files == "each" and "#" in row.clip and not row.problem:
            with suppress(RushlightError):  # said once, where the row itself is resolved
                path = resolve_clip(row.clip, base, media)
                files = _files_of(path) if is_span(path) else ()
        if not files:
            yield row
        for file in files:
            folder = row.clip[: max(row.clip.rfind("/"), row.clip.rfind("\\")) + 1]
            yield replace(row, clip=folder + file.name)


def _facts(
    path: Path, rate: FrameRate | None, known: dict[tuple[Path, str], Facts | RushlightError]
) -> Facts:
    key = (path, str(rate or ""))
    if key not in known:
        try:
            known[key] = probe(path, rate=rate)
        except SourceError as error:
            known[key] = error
    found = known[key]
    if isinstance(found, RushlightError):
        raise found
    return found


def _untwinned(clips: list[PlannedClip], plan: Plan) -> list[PlannedClip]:
    """Every clip a place of its own: the same clip, range and grade twice is made once; twins go to a folder each."""
    distinct: dict[str, PlannedClip] = {}
    for clip in clips:
        key = digest_of([str(clip.path), clip.first, clip.count, clip.look.identity()])
        if key in distinct:
            plan.alike += 1
            plan.warnings.append(
                f"{clip.row.place}: {clip.row.clip} stands in the list twice alike; it is made once"
            )
        else:
            distinct[key] = clip
    by_stem: dict[str, list[PlannedClip]] = {}
    for clip in distinct.values():
        by_stem.setdefault(safe_name(clip.stem).casefold(), []).append(clip)
    found: list[PlannedClip] = []
    for clip in distinct.values():
        twins = by_stem[safe_name(clip.stem).casefold()]
        if len(twins) == 1:
            found.append(clip)
            continue
        for name in (
            lambda c: c.reel,
            lambda c: c.path.parent.name,
            lambda c: f"{c.reel or c.path.parent.name}-{str(c.timecode).replace(':', '.').replace(';', '.')}",
            lambda c: f"row-{c.row.line}",
        ):
            names = [safe_name(name(t)) for t in twins if name(t)]
            if len({n.casefold() for n in names}) == len(twins):
                break
        found.append(replace(clip, folder=safe_name(name(clip))))
    return found
