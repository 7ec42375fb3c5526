"""Names of the files that an output has of a clip: the clip's own, or those of its templates; and what else they could be called.

Stills end in their frame's number, counted from the clip's first, where there are several and the template tells them apart neither by
frame nor by timecode.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rushlight.pipelines.outputs.stills import EXTENSIONS
from rushlight.pipelines.portable_name import MOST_BYTES, safe_name
from rushlight.pipelines.recipe.model import MovieOutput, StillsOutput
from rushlight.pipelines.recipe.name_template import (
    filled,
    filled_path,
    name_fields,
    parse_file,
    parse_path,
)

__all__ = ["OF_A_STILL", "Named", "Names", "StillFrame", "by_template", "own_names", "ways_of"]

LONGEST = 200  # characters of a path from the output folder
OF_A_STILL = ("frame", "source_frame", "timecode")  # a still's own; a movie's timecode is its clip's


@dataclass(frozen=True, kw_only=True)
class StillFrame:
    """The frame of a still: counted from the clip's first, as the original counts, and its timecode with dots for colons."""

    frame: int
    source_frame: int
    timecode: str


@dataclass(frozen=True, kw_only=True)
class Named:
    """What a clip's names are made of: its own, its folder where another clip has that name too, values by field, and the frames that
    stills are taken of; `single` where that is the middle frame alone. `extension` is a movie's. `tail` ends the names of a part of the clip,
    which never has the whole clip's."""

    stem: str
    folder: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    frames: tuple[StillFrame, ...] = ()
    single: bool = True
    extension: str = ""
    tail: str = ""


@dataclass(frozen=True, kw_only=True)
class Names:
    """Names of a clip's files in an output: the folder inside the output's, and each file; stills by frame, then by kind."""

    folder: str
    files: tuple[str, ...]

    def paths(self, output: str) -> tuple[str, ...]:
        """Paths of the files from the output folder."""
        above = f"{output}/{self.folder}" if self.folder else output
        return tuple(f"{above}/{file}" for file in self.files)


def by_template(output: MovieOutput | StillsOutput) -> bool:
    """True if an output's recipe says how its files or folders are named."""
    return bool(output.path or output.file)


def own_names(output: MovieOutput | StillsOutput, clip: Named) -> Names:
    """The names that a clip's files have without templates."""
    return Names(
        folder=clip.folder, files=_files(output, clip, [safe_name(clip.stem)] * _count(clip), tails=True)
    )


def ways_of(output: MovieOutput | StillsOutput, clip: Named) -> tuple[tuple[Names, ...], tuple[str, ...]]:
    """The names that an output's templates give, the best first, and doubts about them. After the first: in the folder that a clip has
    whose name another has too; with the clip's name behind, where the template has it not; and both."""
    path = filled_path(parse_path(output.path), clip.values) if output.path else None
    folder, doubts = (path.name, list(path.doubts)) if path else ("", [])
    own, stems = safe_name(clip.stem), list[str]()
    named = name_fields(output.file) if output.file else ()
    if output.file:
        pieces = parse_file(output.file)
        for values in _values(clip):
            made = filled(pieces, values)
            stems.append(made.name or own)
            doubts += made.doubts
    else:
        stems = [own] * _count(clip)
    tails = not set(OF_A_STILL) & set(named)
    files = _files(output, clip, stems, tails=tails)
    if (longest := max((len(f"{output.name}/{folder}/{file}") for file in files), default=0)) > LONGEST:
        doubts.append(
            f"a path of {longest} characters: Windows programs open 260 with all that stands before it"
        )
    further = f"{folder}/{clip.folder}" if folder else clip.folder
    ways = [Names(folder=folder, files=files)]
    if clip.folder:
        ways.append(Names(folder=further, files=files))
    if output.file and "clip" not in named:
        behind = _files(output, clip, [_with(stem, own) for stem in stems], tails=tails)
        ways.append(Names(folder=folder, files=behind))
        if clip.folder:
            ways.append(Names(folder=further, files=behind))
    return tuple(ways), tuple(dict.fromkeys(doubts))


def _count(clip: Named) -> int:
    return 1 if clip.extension else len(clip.frames)


def _values(clip: Named) -> list[Mapping[str, str]]:
    """The values of each file of a clip."""
    if clip.extension:
        return [clip.values]
    return [
        {
            **clip.values,
            "frame": f"{still.frame:06d}",
            "source_frame": f"{still.source_frame:06d}",
            "timecode": still.timecode,
        }
        for still in clip.frames
    ]


def _files(
    output: MovieOutput | StillsOutput, clip: Named, stems: list[str], *, tails: bool
) -> tuple[str, ...]:
    """Files of these stems, one a movie or a frame of stills; `tails` adds a frame's number where there are several."""
    if clip.tail:
        stems = [stem if stem.endswith(clip.tail) else f"{stem}_{clip.tail}" for stem in stems]
    if isinstance(output, MovieOutput):
        return (f"{stems[0]}.{clip.extension}",)
    extensions = [EXTENSIONS[kind] for kind in output.kinds]
    files = []
    for still, stem in zip(clip.frames, stems, strict=True):
        tail = f".{still.frame:06d}" if tails and not clip.single else ""
        for kind in output.kinds:
            extension = EXTENSIONS[kind]
            kind_tail = f".{kind}" if extensions.count(extension) > 1 else ""
            files.append(f"{stem}{tail}{kind_tail}{extension}")
    return tuple(files)


def _with(stem: str, own: str) -> str:
    """A name with another behind it, of at most MOST_BYTES: the first is cut for it."""
    tail = f"_{own}" if stem != own else ""
    while len(f"{stem}{tail}".encode()) > MOST_BYTES and len(stem) > 1:
        stem = stem[:-1]
    return f"{stem}{tail}"
