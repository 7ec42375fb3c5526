"""The options that say what is to be made, by the command line's names: the same for plan, render, look, grades and queue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Self, TypedDict, TypeVar, cast

from rushlight.batch.day.shooting_day import ShootingDay, is_day, load_day
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.plan.request import Differing, Request
from rushlight.pipelines.errors import OptionError, RushlightError

__all__ = [
    "PartOptions",
    "RequestOptions",
    "Undone",
    "check_source",
    "day_of",
    "differing",
    "known_alone",
    "output_folders",
    "parts_of",
    "paths_of",
    "request_of",
    "request_options",
    "requests_of",
    "texts_of",
]

Place = str | Path
Given = TypeVar("Given")


class PartOptions(TypedDict, total=False):
    """What is to be made of a list in place of all: outputs of the recipe by name, ranges `CLIP=IN-OUT` and stills `CLIP=TIMECODE`."""

    output: str | Sequence[str]
    range: str | Sequence[str]
    still: str | Sequence[str]


class Parts(TypedDict):
    """The same as they are asked for."""

    outputs: tuple[str, ...]
    ranges: tuple[str, ...]
    stills: tuple[str, ...]


class RequestOptions(TypedDict, total=False):
    """As `rushlight plan --help` has them. Those that are repeated on the command line take one value or several."""

    recipe: Place | None
    media: Place | Sequence[Place]
    sound: Place | Sequence[Place]
    manifest: Place | Sequence[Place]
    grades: Place | Sequence[Place]
    defaults: Place | None
    encoding: str
    levels: str | None
    rate: str
    only: str | Sequence[str]


class AgainOptions(RequestOptions, PartOptions, total=False):
    """Options of a command that makes a folder again, or plans it."""

    replaced: str


@dataclass(frozen=True, kw_only=True)
class Undone:
    """A row or clip of which nothing was made, and why: a row that was set aside has a ListError and the like, an
    original that does not open a SourceError."""

    clip: str
    error: RushlightError
    file: str = ""  # the list
    line: int | None = None

    @classmethod
    def of(cls, row: Row, error: RushlightError) -> Self:
        return cls(clip=row.clip, error=error, file=row.file, line=row.line)


def requests_of(
    clip_list: Place,
    options: RequestOptions,
    *,
    out: Place | None = None,
    strict: bool = False,
    hash_originals: bool = False,
    replaced: str = "keep",
) -> tuple[Request, ...]:
    """The request, or of a day document one for each of its recipes, once the folders and files that they name are there.

    OptionError naming the one that is not, RecipeError where a day is wrong; TypeError for an option that there is not. An
    option of None is one that was not given; one that was given overrules the day.
    """
    known_alone(options, RequestOptions)
    defaults = options.get("defaults")
    given = Request(
        clip_list=Path(clip_list),
        recipe=str(_given(options.get("recipe"), "")),
        out=None if out is None else Path(out),
        media=paths_of(options.get("media")),
        sound=paths_of(options.get("sound")),
        manifest=tuple(map(str, paths_of(options.get("manifest")))),
        grades=paths_of(options.get("grades")),
        defaults=None if defaults is None else Path(defaults),
        encoding=_given(options.get("encoding"), ""),
        levels=_given(options.get("levels"), ""),
        rate=_given(options.get("rate"), ""),
        only=texts_of(options.get("only")),
        strict=strict,
        hash_originals=hash_originals,
        replaced=replaced,
    )
    if is_day(given.clip_list):
        found = load_day(given.clip_list).requests(given)
    else:
        found = (replace(given, recipe=given.recipe or "overnight"),)
    return tuple(request.checked() for request in found)


def request_of(clip_list: Place, options: RequestOptions) -> Request:
    """The same for what takes one recipe alone: of a day with several, the first."""
    return requests_of(clip_list, options)[0]


def day_of(clip_list: Place | None) -> ShootingDay | None:
    """The day, where a list is one."""
    return load_day(Path(clip_list)) if clip_list is not None and is_day(Path(clip_list)) else None


def output_folders(place: Place) -> tuple[Path, ...]:
    """An output folder itself; of a day document, those of its recipes. OptionError where it names none."""
    day = day_of(place)
    return day.folders if day else (Path(place),)


def known_alone(options: Mapping[str, object], kind: type) -> None:
    """TypeError for an option that there is not among those of a kind (`RequestOptions` and the like)."""
    if odd := sorted(set(options) - set(kind.__annotations__)):
        raise TypeError(f"there is no option {', '.join(odd)}; there are {', '.join(kind.__annotations__)}")


def check_source(clip_list: Place | None, origin: Place | None, options: Mapping[str, object]) -> None:
    """OptionError where there is neither a list nor a folder to make again, or for what does not go with the latter."""
    if (clip_list is None) == (origin is None):
        raise OptionError("takes LIST, or --from DIR; one of them is needed")
    if origin is None:
        return
    for name in ("grades", "defaults", "encoding", "levels", "rate", "strict", "hash_originals"):
        if name in options:
            raise OptionError(
                f"--{name.replace('_', '-')} does not go with --from, which has all that was given then"
            )


def differing(out: Place | None, options: Mapping[str, object]) -> Differing:
    """The changes that options make to the requests of a folder that is made again."""
    given = cast("AgainOptions", options)
    return Differing(
        out=None if out is None else Path(out),
        recipe=str(given.get("recipe") or ""),
        only=texts_of(given.get("only")),
        media=paths_of(given.get("media")),
        sound=paths_of(given.get("sound")),
        manifest=tuple(map(str, paths_of(given.get("manifest")))),
        replaced=given.get("replaced", "keep"),
        **parts_of(given),
    )


def parts_of(options: PartOptions) -> Parts:
    """Outputs, ranges and stills that options name."""
    return Parts(
        outputs=texts_of(options.get("output")),
        ranges=texts_of(options.get("range")),
        stills=texts_of(options.get("still")),
    )


def request_options(options: Mapping[str, object]) -> RequestOptions:
    """Those of a command's options that say what is to be made."""
    names = RequestOptions.__annotations__
    return cast("RequestOptions", {name: value for name, value in options.items() if name in names})


def paths_of(given: Place | Sequence[Place] | None) -> tuple[Path, ...]:
    """One path or several; none where none was given."""
    if given is None:
        return ()
    return (Path(given),) if isinstance(given, str | Path) else tuple(map(Path, given))


def texts_of(given: str | Sequence[str] | None) -> tuple[str, ...]:
    """The same of texts."""
    if given is None:
        return ()
    return (given,) if isinstance(given, str) else tuple(given)


def _given(value: Given | None, default: Given) -> Given:
    return default if value is None else value
