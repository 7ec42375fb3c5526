"""A request: what a user asked for, before anything is read."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from rushlight.batch.check.clip_originals import AUTO
from rushlight.batch.closed_delivery import refuse_closed
from rushlight.batch.plan.request_ledger import Asked
from rushlight.batch.records.day_title import NO_TITLE, DayTitle
from rushlight.batch.records.request import PlainRequest
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.recipe.model import Output, Recipe, StillsOutput
from rushlight.pipelines.recipe.read_recipe import parse_recipe, shipped_recipes
from rushlight.pipelines.text_files import Kept

__all__ = ["Differing", "Left", "Request", "asked_of", "default_workers"]

Left = frozenset[str] | None  # names of a clip's outputs that another list decides; None: all of them


@dataclass(frozen=True, kw_only=True)
class Request:
    """The options of `render`, `plan`, `look` and `queue add`, as given or as a day document has them."""

    clip_list: Path  # a list, a folder of originals, or a day document: then every original of `media`
    recipe: str = "overnight"
    out: Path | None = None
    media: tuple[Path, ...] = ()
    sound: tuple[Path, ...] = ()
    grades: tuple[Path, ...] = ()
    tables: tuple[Path, ...] = ()  # of scene, take, circled and note, by a clip's name
    defaults: Path | None = None
    encoding: str = ""
    levels: str = ""
    rate: str = ""
    only: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()  # names of the recipe's; all of them where none is named
    ranges: tuple[str, ...] = ()  # `CLIP=IN-OUT` and
    stills: tuple[str, ...] = ()  # `CLIP=TIMECODE`: where there are any, they are made and no whole clip
    strict: bool = False
    hash_originals: bool = False
    manifest: tuple[str, ...] = ()  # hash manifests of originals: paths, or "auto"
    kept: Mapping[str, Kept] = field(
        default_factory=dict
    )  # files that stand in for those named, by absolute path
    origin: Path | None = None  # the output folder they are kept in: nothing else is read but originals
    asked_at: float = 0.0  # when that folder read it last, as time.time,
    placed: tuple[Asked, ...] = ()  # with its rows as they were then,
    left: Mapping[str, Left] = field(default_factory=dict)  # and its clips (jobs) that another list decided
    own_recipe: bool = False  # and the recipe with what it names, which the user gave
    dropped: frozenset[str] = frozenset()  # jobs that a person took out of that folder's queue: not made
    replaced: str = "keep"  # or "remove": what becomes of outputs that newer ones replace
    title: DayTitle = NO_TITLE
    day: Path | None = None  # the day document that it is made of
    away: tuple[Path, ...] | None = (
        None  # of a day that is watched: folders that are not to be looked into now
    )
    wait_for_grade: bool = False  # what has no grade is not queued, and said to wait for one
    notes: tuple[str, ...] = ()  # what the plan is to warn of: files and folders that are not there yet

    @property
    def excerpts(self) -> tuple[str, ...]:
        """What is asked for of single clips, as this request is told by it."""
        return tuple(sorted({*(f"range {r}" for r in self.ranges), *(f"still {s}" for s in self.stills)}))

    def plain(self) -> PlainRequest:
        """The request in plain values, to be asked for again: paths absolute, and no stand-ins for files."""
        return PlainRequest(
            clip_list=str(self.clip_list.absolute()),
            recipe=str(Path(self.recipe).absolute()) if Path(self.recipe).is_file() else self.recipe,
            out=str(self.out.absolute()) if self.out else None,
            media=[str(path.absolute()) for path in self.media],
            sound=[str(path.absolute()) for path in self.sound],
            grades=[str(path.absolute()) for path in self.grades],
            defaults=str(self.defaults.absolute()) if self.defaults else None,
            only=list(self.only),
            encoding=self.encoding,
            levels=self.levels,
            rate=self.rate,
            replaced=self.replaced,
            hash_originals=self.hash_originals,
            manifest=[m if m == AUTO else str(Path(m).absolute()) for m in self.manifest],
            title=self.title,
            day=str(self.day.absolute()) if self.day else "",
            wait_for_grade=self.wait_for_grade,
            away=None if self.away is None else [str(path.absolute()) for path in self.away],
            tables=[str(path.absolute()) for path in self.tables],
        )

    @classmethod
    def of_plain(cls, said: PlainRequest) -> Request:
        """The request that `plain` has said."""
        return cls(
            clip_list=Path(said.clip_list),
            recipe=said.recipe,
            out=Path(said.out) if said.out else None,
            media=tuple(map(Path, said.media)),
            sound=tuple(map(Path, said.sound)),
            grades=tuple(map(Path, said.grades)),
            defaults=Path(said.defaults) if said.defaults else None,
            only=tuple(said.only),
            encoding=said.encoding,
            levels=said.levels,
            rate=said.rate,
            replaced=said.replaced,
            hash_originals=said.hash_originals,
            manifest=tuple(said.manifest),
            title=said.title,
            day=Path(said.day) if said.day else None,
            wait_for_grade=said.wait_for_grade,
            away=None if said.away is None else tuple(map(Path, said.away)),
            tables=tuple(map(Path, said.tables)),
        )

    def checked(self) -> Request:
        """The same, once the folders and files it names are there. OptionError naming the one that is not."""
        if not self.kept and not self.clip_list.exists():
            raise OptionError(
                "there is no such list (a CSV, TSV, EDL or .otio file, or a folder)", file=str(self.clip_list)
            )
        for folder in self.media:
            if not folder.is_dir():
                raise OptionError(
                    "is not a folder; --media takes the folder that holds the originals", file=str(folder)
                )
        for folder in self.sound:
            if not folder.is_dir():
                raise OptionError(
                    "is not a folder; --sound takes the folder that holds the sound recordist's files",
                    file=str(folder),
                )
        for path in self.grades:
            if not self.kept and not path.exists():
                raise OptionError(
                    "there is no such file or folder; --grades takes colour decisions", file=str(path)
                )
            if not self.kept and not (path.is_file() or path.is_dir()):
                raise OptionError("is a pipe or a device; a file is needed", file=str(path))
        if not self.kept and self.defaults is not None and not self.defaults.is_file():
            raise OptionError(
                "there is no such file; --defaults takes a TOML file of [[default]] tables",
                file=str(self.defaults),
            )
        for manifest in self.manifest:
            if not self.kept and manifest != AUTO and not Path(manifest).exists():
                raise OptionError(
                    f"there is no such file; --manifest takes an ASC MHL manifest, a folder `ascmhl`, or {AUTO}",
                    file=manifest,
                )
        if self.out is not None:
            if self.out.exists() and not self.out.is_dir():
                raise OptionError("is a file; --out takes a folder", file=str(self.out))
            refuse_closed(self.out, "give --out another folder")
            parent = next(p for p in (self.out, *self.out.absolute().parents) if p.exists())
            if not os.access(parent, os.W_OK | os.X_OK):
                raise OptionError(
                    "cannot be written to; --out takes a folder you may write", file=str(self.out)
                )
        return self


@dataclass(frozen=True, kw_only=True)
class Differing:
    """Changes to what was asked for then; `recipe` is empty where it is to be the same."""

    out: Path | None  # None where nothing is to be made
    recipe: str = ""
    only: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    ranges: tuple[str, ...] = ()  # these and
    stills: tuple[str, ...] = ()  # these of the whole clips that were asked for then, and nothing else
    media: tuple[Path, ...] = ()
    sound: tuple[Path, ...] = ()
    manifest: tuple[str, ...] = ()
    replaced: str = "keep"


def asked_of(recipe: Recipe, request: Request) -> tuple[Recipe, tuple[str, ...], tuple[str, ...]]:
    """The recipe that a request is made by; and which of its outputs are to be made of clips, and which of single frames (all, where
    none is named). OptionError for an output that the recipe does not have.

    Stills that are asked for of a recipe without any are those of the recipe `overnight`, framed as its first output.
    """
    known = {output.name.casefold(): output for output in recipe.output}
    for name in request.outputs:
        if name.casefold() not in known:
            raise OptionError(
                f"--output {name!r}: the recipe {recipe.name} has no such output; it has {', '.join(o.name for o in recipe.output)}"
            )
    asked = [known[name.casefold()] for name in request.outputs] or list(recipe.output)
    names = tuple(dict.fromkeys(output.name for output in asked)) if request.outputs else ()
    if not request.stills or any(isinstance(output, StillsOutput) for output in asked):
        return recipe, names, names
    if request.outputs:
        raise OptionError(
            f"--still takes an output of stills; --output names {', '.join(names)}, which makes movies"
        )
    added = _plain_stills("still frames" if "stills" in known else "stills", recipe.output[0])
    whole = recipe.model_copy(update={"output": (*recipe.output, added)})
    return whole, tuple(output.name for output in recipe.output), (added.name,)


def _plain_stills(name: str, framed: Output) -> StillsOutput:
    """The output of stills that the recipe `overnight` has, in the raster and framing of another output."""
    shipped = parse_recipe(shipped_recipes()["overnight"], file="overnight")
    found = next(output for output in shipped.output if isinstance(output, StillsOutput))
    return found.model_copy(update={"name": name, "size": framed.size, "frame": framed.frame})


def default_workers() -> int:
    """As many workers as this process may use cores."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
