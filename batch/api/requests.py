"""The options that say what is to be made, by the command line's names: the same for plan, render, look, grades and queue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self, TypedDict, TypeVar

from rushlight.batch.lists.clip_list import Row
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import RushlightError

__all__ = ["RequestOptions", "Undone", "known_alone", "paths_of", "request_of", "texts_of"]

Place = str | Path
Given = TypeVar("Given")


class RequestOptions(TypedDict, total=False):
    """As `rushlight plan --help` has them. Those that are repeated on the command line take one value or several."""

    recipe: Place
    media: Place | Sequence[Place]
    sound: Place | Sequence[Place]
    grades: Place | Sequence[Place]
    defaults: Place | None
    encoding: str
    levels: str | None
    rate: str
    only: str | Sequence[str]


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


def request_of(
    clip_list: Place,
    options: RequestOptions,
    *,
    out: Place | None = None,
    strict: bool = False,
    hash_originals: bool = False,
    replaced: str = "keep",
) -> Request:
    """The request, once the folders and files it names are there. OptionError naming the one that is not; TypeError for
    an option that there is not. An option of None is one that was not given."""
    known_alone(options, RequestOptions)
    defaults = options.get("defaults")
    return Request(
        clip_list=Path(clip_list),
        recipe=str(_given(options.get("recipe"), "overnight")),
        out=None if out is None else Path(out),
        media=paths_of(options.get("media")),
        sound=paths_of(options.get("sound")),
        grades=paths_of(options.get("grades")),
        defaults=None if defaults is None else Path(defaults),
        encoding=_given(options.get("encoding"), ""),
        levels=_given(options.get("levels"), ""),
        rate=_given(options.get("rate"), ""),
        only=texts_of(options.get("only")),
        strict=strict,
        hash_originals=hash_originals,
        replaced=replaced,
    ).checked()


def known_alone(options: Mapping[str, object], kind: type) -> None:
    """TypeError for an option that there is not among those of a kind (`RequestOptions` and the like)."""
    if odd := sorted(set(options) - set(kind.__annotations__)):
        raise TypeError(f"there is no option {', '.join(odd)}; there are {', '.join(kind.__annotations__)}")


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
