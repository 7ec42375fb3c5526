"""The options that say what is to be made, by the command line's names: the same for plan, render, look, grades and queue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self, TypedDict

from rushlight.batch.lists.clip_list import Row
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import RushlightError

__all__ = ["NAMES", "RequestOptions", "Undone", "request_of"]

Place = str | Path


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


NAMES = tuple(RequestOptions.__annotations__)


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


def request_of(clip_list: Place, options: Mapping[str, Any], **more: Any) -> Request:
    """The request, once the folders and files it names are there. OptionError naming the one that is not; TypeError for
    an option that there is not."""
    if odd := sorted(set(options) - set(NAMES)):
        raise TypeError(f"there is no option {', '.join(odd)}; there are {', '.join(NAMES)}")
    said = {name: value for name, value in {**options, **more}.items() if value is not None}
    for name in ("media", "sound", "grades"):
        if name in said:
            said[name] = tuple(map(Path, _several(said[name])))
    if "only" in said:
        said["only"] = tuple(_several(said["only"]))
    if "recipe" in said:
        said["recipe"] = str(said["recipe"])
    for name in ("defaults", "out"):
        if name in said:
            said[name] = Path(said[name])
    return Request(clip_list=Path(clip_list), **said).checked()


def _several(value: Any) -> Sequence[Any]:
    return (value,) if isinstance(value, str | Path) else value
