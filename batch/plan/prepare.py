"""A request read and planned: its recipe, its list, every row's original, grade and place."""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from rushlight.batch.cameras.missing_statements import missing_statements
from rushlight.batch.decisions.decision import Decision, GradeFiles
from rushlight.batch.decisions.grade_change_files import clock_seconds, utc_seconds
from rushlight.batch.decisions.grade_changes import ChangeRecord
from rushlight.batch.decisions.grade_lookup import GradeBook
from rushlight.batch.decisions.lut_files import LutFiles
from rushlight.batch.framing.framing_files import FramingFiles
from rushlight.batch.job_log import latest, read_records
from rushlight.batch.lists.chosen_rows import one_by_one, selected
from rushlight.batch.lists.clip_list import ClipList, Row, read_csv, write_csv
from rushlight.batch.lists.edl import read_edl
from rushlight.batch.lists.excerpt import excerpts_of, rows_of
from rushlight.batch.lists.find_media import MediaIndex, files_of, resolve_clip
from rushlight.batch.lists.folder_list import read_folder, read_folders
from rushlight.batch.lists.otio import read_timeline
from rushlight.batch.plan.apply_defaults import Defaults, read_defaults
from rushlight.batch.plan.away_clips import keep_places, take_out_away, take_out_not_come
from rushlight.batch.plan.clip_sound import drift_notes
from rushlight.batch.plan.deciding_list import leave_to_others
from rushlight.batch.plan.grade_matching import Headers, Matcher, set_aside_shared
from rushlight.batch.plan.in_out import keep_excerpts
from rushlight.batch.plan.model import Plan, Stated
from rushlight.batch.plan.plan_row import RowPlanner
from rushlight.batch.plan.rates import rate_doubts
from rushlight.batch.plan.reconcile_media import Media, hold_to_manifests, reconcile
from rushlight.batch.plan.reels import reel_doubts, runs_on
from rushlight.batch.plan.request import Request, asked_of
from rushlight.batch.plan.request_ledger import Asked, Asking, made_from, read_askings, request_id
from rushlight.batch.plan.twins import check_name_fields, doubt, name_files, set_apart, untwinned
from rushlight.batch.scenes.filled_rows import filled_list
from rushlight.batch.scenes.scene_tables import SceneTables, read_scene_tables
from rushlight.batch.sound.sound_folders import SoundFolders, find_sound
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.errors import GradeError, ListError, RecipeError
from rushlight.pipelines.formats.timecode import FrameRate
from rushlight.pipelines.heartbeat import beating
from rushlight.pipelines.recipe.model import MovieOutput, Recipe
from rushlight.pipelines.recipe.read_recipe import load_recipe
from rushlight.pipelines.text_files import Desk, desk, is_kept, noted, read_text

__all__ = ["Prepared", "is_day", "prepare", "read_list"]


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
    sound: SoundFolders
    fonts: Mapping[str, str]  # given -> the name it is kept under
    inputs: Mapping[str, bytes]  # what was read, by absolute path or another name
    grade_files: tuple[Path, ...]  # those of --grades
    recipe_file: str
    faults: tuple[GradeError, ...] = ()  # of decision files, where they are not raised
    carried: tuple[
        Asked, ...
    ] = ()  # rows of an earlier reading whose media is away, or that another list decides
    not_come: tuple[Row, ...] = ()  # rows of a watched day whose originals are not there yet


def kept_fonts(recipe: Recipe, base: Path = Path(), file: str = "") -> dict[str, str]:
    """Given font files of a recipe -> the name they are kept under. `base` is the recipe's folder, which they are looked for
    in first. RecipeError for one that is absent or no font."""
    from rushlight.pipelines.burnin.text_masks import glyphs_of

    found = {}
    for index, output in enumerate(recipe.output):
        if isinstance(output, MovieOutput) and output.burnin and output.burnin.font:
            font = output.burnin.font
            try:
                data = _font_data(font, base)
                glyphs_of(data, font)
            except RecipeError as error:
                raise error.at(file=file, key=f"output[{index}].burnin") from None
            found[font] = f"{hashlib.sha256(data).hexdigest()[:40]}{Path(font).suffix or '.ttf'}"
    return found


def _font_data(font: str, base: Path) -> bytes:
    from rushlight.pipelines.burnin.text_masks import font_file

    return noted(f"font {font}", lambda: font_file(font, base).read_bytes())


def read_list(path: Path, media: Sequence[Path] = (), leave_out: Sequence[Path] = ()) -> tuple[ClipList, str]:
    """A clip list from a CSV file or its relations, an EDL, an .otio timeline, a folder of originals, or of a day the originals
    under `media` but for folders in `leave_out`; and the text that is kept of it.

    ListError where it is unreadable as a whole.
    """
    if is_folder(path):
        name = f"folder {path.absolute()}"
        if is_kept(name) or not (path.is_dir() or is_day(path)):
            text = os.fsdecode(noted(name, lambda: b""))
            return read_csv(text, file=str(path)), text
        if is_day(path):
            found = read_folders(media, base=path.parent, file=path, leave_out=leave_out)
        else:
            found = read_folder(path)
        text = write_csv(("clip",), [row.cells for row in found.rows])
        return found, os.fsdecode(noted(name, lambda: os.fsencode(text)))  # names need not be UTF-8
    text = read_text(path, ListError)
    read = {".edl": read_edl, ".otio": read_timeline}.get(path.suffix.lower(), read_csv)
    return read(text, file=str(path)), text


def is_folder(path: Path) -> bool:
    """True if a list is whatever lies in folders, or did when it was kept: a folder of originals, or a day without a list."""
    return is_day(path) or path.is_dir() or is_kept(f"folder {path.absolute()}")


def is_day(path: Path) -> bool:
    """True of the name of a day document."""
    return path.suffix.lower() == ".toml"


def prepare(
    request: Request, *, all_faults: bool = False, read: Callable[[int], object] = lambda rows: None
) -> Prepared:
    """Read everything a request names and plan every row. InputError where the request is wrong as a whole; with
    `all_faults`, what is wrong with decision files is kept in the result beside all the rest. `read` is told the number of rows
    once all is read and nothing of it is wrong as a whole."""
    with desk(request.kept, sealed=request.origin is not None) as found:
        return _prepared(request, found, [] if all_faults else None, read)


def _filled_list(request: Request, outside: Sequence[Path]) -> tuple[ClipList, str, SceneTables]:
    """The list with what tables and names say of its clips; its text as it was read; and the tables."""
    clip_list, text = read_list(request.clip_list, request.media, outside)
    tables, whole = read_scene_tables(request.tables), is_folder(request.clip_list)
    if whole or request.tables or request.sound:
        clip_list = filled_list(clip_list, tables, names=whole)
    return clip_list, text, tables


def _prepared(
    request: Request, read: Desk, faults: list[GradeError] | None, told: Callable[[int], object]
) -> Prepared:
    with read.unsealed(request.own_recipe):
        recipe, recipe_text, recipe_file = load_recipe(request.recipe)
    outside = [*([request.out] if request.out else []), *(request.away or ())]
    clip_list, list_text, tables = _filled_list(request, outside)
    _check_recipe(recipe, clip_list, recipe_file or request.recipe)
    recipe, outputs, of_stills = asked_of(recipe, request)
    if request.rate:
        FrameRate.parse(request.rate)
    if request.encoding:
        find_encoding(request.encoding)
    grades = _read_grades(request, recipe, recipe_file, read, faults)
    with read.unsealed(request.own_recipe):
        fonts = kept_fonts(recipe, grades.lut_base, recipe_file or request.recipe)
    media = MediaIndex(request.media, leave_out=outside)
    whole = is_folder(request.clip_list) and not is_day(request.clip_list)
    base = request.clip_list if whole else request.clip_list.parent
    plan = Plan(
        title=request.title,
        warnings=[*request.notes, *clip_list.warnings, *grades.book.warnings, *tables.warnings],
    )
    chosen = selected(clip_list, request.only)
    if excerpts := excerpts_of(request.ranges, request.stills):
        chosen = rows_of(excerpts, chosen)
    plan.not_chosen = len(clip_list.rows) - len(chosen)
    sound = find_sound(request.sound, leave_out=[request.out] if request.out else [])
    told(len(chosen))
    _plan_rows(plan, chosen, request, recipe, grades, base, media, sound)
    carried, elsewhere = _placed(plan, request, recipe, recipe_file, clip_list, base)
    carried += leave_to_others(plan, recipe, request.left, outputs, of_stills)
    not_come = () if request.away is None else take_out_not_come(plan)
    if not (request.only or excerpts) and request.away is None:  # of a watched day more clips may come
        plan.warnings += [*grades.defaults.unused(), *tables.unused()]
    plan.named += _not_chosen(clip_list, chosen, base, media)
    inputs = dict(read.read)
    folders = [*request.media, *([base] if whole else [])]
    with read.unsealed():  # the media's own manifests
        hold_to_manifests(plan, request.manifest, recipe, [*request.media, base])
        media_found = reconcile(folders, plan, outside, elsewhere)
    return Prepared(
        request=request,
        recipe=recipe,
        recipe_text=recipe_text,
        clip_list=clip_list,
        list_text=list_text,
        plan=plan,
        luts=grades.luts,
        defaults=grades.defaults,
        media=media_found,
        sound=sound,
        fonts=fonts,
        inputs=inputs,
        grade_files=(*grades.read, *(p.absolute() for p in (*grades.luts.named, *grades.fdls.named))),
        recipe_file=recipe_file,
        faults=tuple(faults or ()),
        carried=carried,
        not_come=not_come,
    )


def _not_chosen(clip_list: ClipList, chosen: Sequence[Row], base: Path, media: MediaIndex) -> Iterable[Path]:
    """Originals of the rows that were not chosen, as far as they are found."""
    chosen_lines = {row.line for row in chosen}
    for row in beating(clip_list.rows):
        if row.line not in chosen_lines:
            with suppress(Exception):
                yield from files_of(resolve_clip(row.clip, base, media), row.clip, base, media)


@dataclass(frozen=True, kw_only=True)
class _Grades:
    """The decisions, LUTs and defaults that a request names, read."""

    luts: LutFiles
    fdls: FramingFiles
    files: GradeFiles
    book: GradeBook
    record: ChangeRecord
    utc_offset: int | None  # seconds
    default: Decision | None  # the recipe's
    defaults: Defaults
    lut_base: Path
    read: tuple[Path, ...]  # the decision files of --grades


def _read_grades(
    request: Request, recipe: Recipe, recipe_file: str, read: Desk, faults: list[GradeError] | None
) -> _Grades:
    luts, files, fdls = LutFiles(request.grades), GradeFiles(request.grades), FramingFiles(request.grades)
    before = set(read.read)
    book = GradeBook(request.grades, files, faults)
    grade_files = tuple(Path(name) for name in read.read if name not in before)
    settings = recipe.changes
    utc_offset = utc_seconds(settings.utc_offset, "changes.utc_offset") if settings.utc_offset else None
    record = ChangeRecord(
        book.changes,
        held_at=settings.held_at,
        utc_offset=utc_offset,
        ahead=settings.ahead,
        jammed=int(clock_seconds(settings.jammed, "changes.jammed")) if settings.jammed else None,
    )
    lut_base = Path(recipe_file).parent if recipe_file else Path()
    default = None
    defaults = read_defaults(request.defaults, luts, fdls)
    with read.unsealed(request.own_recipe):
        others = [look.settings for output in recipe.output if (look := recipe.look_of(output))]
        for name in {settings.lut_named: None for settings in (recipe.look, *others) if settings.lut_named}:
            luts.read(luts.find(name, lut_base))
        fdls.stated(recipe.fdl, lut_base, "the recipe")
        if recipe.grade:
            default = files.named(recipe.grade, lut_base, "the recipe's default")
        defaults.add(recipe.default, recipe_file or request.recipe, lut_base, luts, fdls)
    return _Grades(
        luts=luts,
        fdls=fdls,
        files=files,
        book=book,
        record=record,
        utc_offset=utc_offset,
        default=default,
        defaults=defaults,
        lut_base=lut_base,
        read=grade_files,
    )


def _plan_rows(
    plan: Plan,
    chosen: Sequence[Row],
    request: Request,
    recipe: Recipe,
    grades: _Grades,
    base: Path,
    media: MediaIndex,
    sound: SoundFolders,
) -> None:
    """Every chosen row into the plan; then what can be said of all clips together."""
    headers = Headers()
    planner = RowPlanner(
        recipe=recipe,
        options=Stated(
            who="the command line", encoding=request.encoding, levels=request.levels, rate=request.rate
        ),
        base=base,
        media=media,
        headers=headers,
        matcher=Matcher(
            headers=headers,
            book=grades.book,
            record=grades.record,
            default=grades.default,
            utc_offset=grades.utc_offset,
        ),
        defaults=grades.defaults,
        files=grades.files,
        luts=grades.luts,
        fdls=grades.fdls,
        lut_base=grades.lut_base,
        sound=sound,
    )
    rows = list(one_by_one(chosen, base, media) if recipe.several_files == "each" else chosen)
    plan.one_by_one = len(rows) - len(chosen)
    for row in beating(rows):
        planner.into(plan, row)
    set_aside_shared(plan, grades.utc_offset)
    if is_folder(request.clip_list):
        plan.clips.sort(key=lambda c: (c.reel, str(c.timecode), str(c.path)))
        doubt(plan, lambda: runs_on(plan.clips))
    doubt(plan, lambda: reel_doubts(plan.clips) + rate_doubts(plan.clips, recipe))
    plan.clips = untwinned(plan.clips, plan)
    doubt(plan, lambda: drift_notes(plan.clips))
    alone = Counter(seen.clip for seen, alone in plan.unstated if alone)
    alone -= Counter(
        {clip: n for clip, n in Counter(r.clip for r, _ in plan.wrong).items() if n > alone[clip]}
    )
    plan.missing = missing_statements([seen for seen, _ in plan.unstated], alone, request.defaults)


def _placed(
    plan: Plan, request: Request, recipe: Recipe, recipe_file: str, clip_list: ClipList, base: Path
) -> tuple[tuple[Asked, ...], set[str]]:
    """Give every clip a place and names of its own in the output folder. Gives the rows of an earlier reading that wait for their
    media, and the keys of the originals that other requests of the folder name, or clips there were made from."""
    ours, others = _askings(request, recipe_file)
    whole = request.away is not None or is_day(request.clip_list) or bool(request.excerpts or request.placed)
    placed = keep_places(plan, ours) if whole else ()
    carried = () if request.away is None else take_out_away(plan, ours, request.away, base)
    set_apart(plan, str(request.clip_list.absolute()), others, (*placed, *carried), request.left)
    if excerpts := excerpts_of(request.ranges, request.stills):
        keep_excerpts(plan, excerpts)
    records = list(latest(read_records(request.out)).values()) if request.out else []
    asked = [*carried, *(row for other in others for row in other.rows)]
    file = recipe_file or request.recipe
    name_files(plan, recipe, file, title=request.title, rows=clip_list.rows, asked=asked, records=records)
    made = made_from(r for r in records if r.status == "done")
    return carried, made.union(*(asking.named for asking in others))


def _askings(request: Request, recipe_file: str) -> tuple[tuple[Asked, ...], list[Asking]]:
    """The rows of this request as it stood when it was read last, of excerpts those of the whole clips; and the other requests of
    the output folder."""
    if request.out is None:
        return (), []
    recipe = str(Path(recipe_file).absolute()) if recipe_file else request.recipe
    ours = request_id(str(request.clip_list.absolute()), recipe, request.only)
    known = read_askings(request.out)[0]
    before = next((asking.rows for asking in known if asking.id == ours), request.placed)
    ours = request_id(str(request.clip_list.absolute()), recipe, request.only, request.excerpts)
    return before, [asking for asking in known if asking.id != ours]


def _check_recipe(recipe: Recipe, clip_list: ClipList, file: str) -> None:
    from rushlight.pipelines.burnin.text_fields import check_fields

    check_name_fields(recipe, clip_list.columns, file=file)
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
