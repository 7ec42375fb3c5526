"""`rushlight recipes --new`, `--check` and `--test-clip`: a recipe begun from a few answers; one read, and made of one frame of a chart, so
that people see what it draws; and a clip of known values as it delivers, for who receives its movies."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from rushlight.batch.api.nights import OnEvent
from rushlight.batch.api.render import render
from rushlight.batch.doctor.chart_original import write_chart
from rushlight.batch.exit_codes import DONE
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.lists.list_columns import COLUMNS
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill
from rushlight.pipelines.burnin.text_fields import check_fields, fields_of
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.errors import DeliveryError, OptionError, RecipeError, from_os
from rushlight.pipelines.job.spec import JobSpec, MovieSpec
from rushlight.pipelines.originals.frame_sources import open_source
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.outputs.stills import write_still
from rushlight.pipelines.recipe.model import MovieOutput, Recipe
from rushlight.pipelines.recipe.read_recipe import load_recipe
from rushlight.pipelines.recipe.starter import Answers, starter_recipe

__all__ = [
    "Answers",
    "DrawnFrame",
    "RecipeTrial",
    "TestClips",
    "TrialOutput",
    "make_test_clips",
    "new_recipe",
    "try_recipe",
]

ENCODING = "S-Log3/S-Gamut3.Cine"  # of the chart, where the recipe states none
CLIP = "chart"
ROW = {
    **{"scene": "12A", "take": "3", "camera": "A", "reel": "A001", "circled": "yes", "day": "2026-05-04"},
    **{"note": "a note of some length, as they are", "production": "The Lamp Room", "unit": "main"},
}


@dataclass(frozen=True, kw_only=True)
class TrialOutput:
    """An output of the recipe, in words."""

    name: str
    what: str
    size: str
    state: str


@dataclass(frozen=True, kw_only=True)
class DrawnFrame:
    """A picture that the recipe made: of an output, its frame of the chart or its slate card."""

    output: str
    path: Path


@dataclass(frozen=True, kw_only=True)
class RecipeTrial:
    """A recipe that holds, and what was drawn of it."""

    recipe: str
    outputs: tuple[TrialOutput, ...]
    frames: tuple[DrawnFrame, ...]
    notes: tuple[str, ...] = ()  # what would be refused with a list that has no column for it

    def document(self) -> dict[str, object]:
        return {
            "recipe": self.recipe,
            "outputs": [asdict(each) for each in self.outputs],
            "notes": list(self.notes),
            "frames": [{"output": each.output, "path": str(each.path)} for each in self.frames],
        }


@dataclass(frozen=True, kw_only=True)
class TestClips:
    """Test clips of a recipe's movies: of each output its file and tags as they were read back; the tables and the page beside them."""

    __test__ = False  # no test, whatever its name

    recipe: str
    page: Path
    movies: tuple[tuple[str, Path, str], ...]  # output, file, tags
    tables: tuple[Path, ...]

    def document(self) -> dict[str, object]:
        return {
            "recipe": self.recipe,
            "page": str(self.page),
            "movies": [{"output": name, "path": str(path), "tags": tags} for name, path, tags in self.movies],
            "tables": [str(path) for path in self.tables],
        }


def new_recipe(file: str | Path, answers: Answers | None = None) -> str:
    """Write the recipe, and give its text. RecipeError naming an answer that will not do; OptionError where the file is there already."""
    path = Path(file)
    text = starter_recipe(answers or Answers(), file=str(path))
    try:
        with path.open("x", encoding="utf-8") as new:
            new.write(text)
    except FileExistsError:
        raise OptionError("is there already; name another file", file=str(path)) from None
    except OSError as error:
        raise from_os(error, path) from None
    return text


def try_recipe(
    name: str | Path, *, to: str | Path | None = None, on_event: OnEvent | None = None
) -> RecipeTrial:
    """Read a recipe, shipped or a file; with `to`, make it of one frame of a chart, and write what it gave into that folder as PNG:
    a frame of each movie, its slate card, and the stills. RecipeError naming every wrong key; OptionError where a file is in
    the way: none is replaced.
    """
    recipe, _, _ = load_recipe(str(name))
    outputs = tuple(
        TrialOutput(
            name=each.name,
            what=f"{each.codec} {each.container}".strip()
            if isinstance(each, MovieOutput)
            else f"stills: {', '.join(each.kinds)}",
            size=str(each.size or "the original's"),
            state=each.state,
        )
        for each in recipe.output
    )
    frames = () if to is None else _drawn(str(name), recipe.encoding, Path(to), on_event)
    return RecipeTrial(recipe=recipe.name, outputs=outputs, frames=frames, notes=_notes(recipe))


def _notes(recipe: Recipe) -> tuple[str, ...]:
    """Fields of burn-in that are none of ours and no usual column. RecipeError for what no list could mend."""
    found = []
    for index, output in enumerate(recipe.output):
        if isinstance(output, MovieOutput) and output.burnin:
            key = f"output[{index}].burnin.text"
            check_fields(output.burnin, fields_of(output.burnin), key=key)
            try:
                check_fields(output.burnin, COLUMNS, key=key)
            except RecipeError as error:
                found.append(f"{key}: {error.text}; only a list with a column of that name will do")
    return tuple(found)


def make_test_clips(name: str | Path, *, to: str | Path) -> TestClips:
    """Write into a folder, of each movie of a recipe but log ones, a clip of patches, greys, bars and a ramp, encoded and tagged as the recipe
    delivers; a table of the values that each area must have (CSV), and a page of all. RecipeError naming a wrong key, or where the recipe
    has no such movie; OptionError where a file is in the way: none is replaced.
    """
    from rushlight.batch.doctor.receiver_clip import write_clip
    from rushlight.batch.doctor.receiver_table import page, table, tags_text

    recipe, _, _ = load_recipe(str(name))
    folder, page_file = Path(to), Path(to) / "test-clips.html"
    with TemporaryDirectory(prefix="rushlight-recipe-") as scratch:
        found = [
            write_clip(Path(scratch), job, output)
            for job in _chart_jobs(str(name), recipe.encoding, Path(scratch))
            for output in job.outputs
            if isinstance(output, MovieSpec) and output.state != "log"
        ]
        if not found:
            raise RecipeError(
                "makes no movie for a display, so there is none to test players with", file=str(name)
            )
        _folder(folder)
        for clip in found:
            _put(folder / clip.path.name, lambda path, c=clip: shutil.copyfile(c.path, path))  # type: ignore[misc]
            _put(folder / f"{clip.output}.csv", lambda path, c=clip: path.write_text(table(c), "utf-8"))  # type: ignore[misc]
        _put(page_file, lambda path: path.write_text(page(recipe.name, found), "utf-8"))
    return TestClips(
        recipe=recipe.name,
        page=page_file,
        movies=tuple((clip.output, folder / clip.path.name, tags_text(clip)) for clip in found),
        tables=tuple(folder / f"{clip.output}.csv" for clip in found),
    )


def _chart_jobs(name: str, encoding: str, scratch: Path) -> list[JobSpec]:
    """The jobs that `render` would make of the chart."""
    from rushlight.batch.plan.prepare import prepare
    from rushlight.batch.plan.request import Request
    from rushlight.batch.run.event_stream import EventStream
    from rushlight.batch.run.jobs_to_make import baked, jobs_of

    out = scratch / "out"
    listed = _chart_list(scratch, encoding)
    prepared = prepare(Request(clip_list=listed, recipe=name, out=out, media=(listed.parent,)).checked())
    turns, _, _ = jobs_of(prepared, out, EventStream())
    specs = [turn.spec for turn in baked(prepared, out, turns)]
    for _, error in (*prepared.plan.wrong, *prepared.plan.broken):
        raise DeliveryError(f"the chart could not be made by it: {error.text}", file=name)
    return specs


def _chart_list(scratch: Path, encoding: str) -> Path:
    """A list of one clip, the chart, in a folder of its own; the recipe may state the `encoding`."""
    media = scratch / "media" / CLIP
    media.mkdir(parents=True)
    chosen = find_encoding(encoding or ENCODING)
    write_chart(media / f"{CLIP}.0001.dpx", chosen)
    listed = media.parent / "chart.csv"
    columns = ["clip", *([] if encoding else ["encoding"]), "levels", "rate", *ROW]
    cells = [CLIP, *([] if encoding else [chosen.name]), "full", "24", *ROW.values()]
    listed.write_text(",".join(columns) + "\n" + ",".join(f'"{cell}"' for cell in cells) + "\n")
    return listed


def _drawn(name: str, encoding: str, to: Path, on_event: OnEvent | None) -> tuple[DrawnFrame, ...]:
    with TemporaryDirectory(prefix="rushlight-recipe-") as scratch:
        listed, out = _chart_list(Path(scratch), encoding), Path(scratch) / "out"
        made = render(listed, out=out, recipe=name, media=[listed.parent], workers=1, on_event=on_event)
        if made.code != DONE:
            told = [each.error for each in (*made.failed, *made.set_aside)] + list(made.problems)
            raise DeliveryError(
                f"the chart could not be made by it: {'; '.join(told) or 'stopped'}", file=name
            )
        return _taken(out, to)


def _taken(out: Path, to: Path) -> tuple[DrawnFrame, ...]:
    """What was delivered, as pictures under `to`."""
    (record,) = latest(read_log(out).records).values()
    frames: list[DrawnFrame] = []
    _folder(to)
    for entry in record.outputs:
        if isinstance(entry, DeliveredMovie):
            numbers = {
                f"{entry.output}.png": entry.card,
                **({f"{entry.output}-card.png": 0} if entry.card else {}),
            }
            for file, number in numbers.items():
                _put(to / file, lambda path, n=number, e=entry: _frame(out / e.path, n, path))  # type: ignore[misc]
                frames.append(DrawnFrame(output=entry.output, path=to / file))
        elif isinstance(entry, DeliveredStill):
            file = f"{entry.output}{Path(entry.path).suffix}"
            if to / file in {each.path for each in frames}:
                file = f"{entry.output}-{len(frames)}{Path(entry.path).suffix}"
            _put(to / file, lambda path, e=entry: path.write_bytes((out / e.path).read_bytes()))  # type: ignore[misc]
            frames.append(DrawnFrame(output=entry.output, path=to / file))
    return tuple(frames)


def _folder(path: Path) -> None:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise from_os(error, path) from None


def _put(path: Path, write: Callable[[Path], object]) -> None:
    """Under its name once it is whole, and never over another."""
    if path.exists():
        raise OptionError("is there already; name another folder", file=str(path))
    part = path.with_name(f".part-{path.name}")
    try:
        write(part)
        part.rename(path)
    except OSError as error:
        raise from_os(error, path) from None
    finally:
        part.unlink(missing_ok=True)


def _frame(movie: Path, number: int, path: Path) -> None:
    """A frame of a delivered movie, decoded, as its codes have it."""
    from rushlight.pipelines.formats.pixel_formats import planes
    from rushlight.pipelines.measure.colour_tiles import display_rgb

    facts = probe(movie)
    with open_source(facts) as source:
        views = planes(next(iter(source.frames(number, 1))).image)
        rgb = display_rgb(views, facts.pixel_format, facts.levels_tag or "narrow", facts.matrix)
    write_still(path, rgb, "png8")
