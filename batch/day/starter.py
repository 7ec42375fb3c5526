"""The day document to begin with: what headers say stands in it, what they suggest is a comment, and what a person has to state is
said. Nothing is guessed."""

from __future__ import annotations

import os
from itertools import chain, count
from pathlib import Path

from rushlight.batch.cameras.camera_groups import CameraGroup
from rushlight.batch.cameras.missing_statements import DIFFER, encoding_line
from rushlight.batch.day.found_media import FoundMedia
from rushlight.batch.disks import size_text
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.errors import OptionError, from_os
from rushlight.pipelines.toml_files import toml_text

__all__ = ["starter_text", "still_missing", "write_starter"]

MOST_NAMED = 6  # tables for one kind of clips
HEAD = """\
# A shooting day, written by `rushlight day new` from the headers of its originals. A # is before what is only a proposal and
# what a person has to state: look at it, write what is true, and take the # away. `rushlight plan {name}` says what is missing.

# production = "The working title"  # for pages, slates and mail
# day = "1"
# unit = "main"
"""
TAIL = """\
# tables = ["scenes.csv"]  # scene, take, circled and note by clip, from the script supervisor; they may come later
# grades = ["grades"]  # files or folders of colour decisions; they may come later
# manifest = ["auto"]  # hash manifests (ASC MHL 2.0) of the cards, compared before a clip is rendered
{rates}
recipes = ["overnight"]  # `rushlight recipes` lists what ships; a file will do as well
out = {out}  # the folder for everything that is made{there}
# ready_by = "05:30"
"""


def starter_text(found: FoundMedia, file: Path) -> str:
    """The document for `file`, as TOML that reads as it stands. OptionError where a folder's name is not UTF-8."""
    media = f"{_list([_named(found.folder, file)])}  # {_originals(found)}"
    if found.sound:
        folders = [_named(folder, file) for folder in found.sound]
        sound = f"sound = {_list(folders)}  # {counted(found.sound_files, 'sound file')}"
    else:
        sound = '# sound = ["sound"]  # no sound recordist\'s file was found; they may come later'
    rates = ", ".join(f"{rate} ({counted(count, 'clip')})" for rate, count in found.rates.items())
    text = HEAD.format(name=file.name) + f"\nmedia = {media}\n{sound}\n"
    text += TAIL.format(
        rates=f"# frame rates: {rates or 'no header states one'}",
        out=toml_text(out := _out(file)),
        there="" if out == "out" else "; `out` is there already",
    )
    return "\n".join([text, *(_camera(group) for group in found.cameras)])


def still_missing(found: FoundMedia) -> list[str]:
    """What a person has to state, a sentence each, in the order of the document."""
    missing = ["production, day and unit: for pages, slates and mail"]
    for group in found.cameras:
        hint = (
            f"the header suggests {group.suggested}: check it" if group.suggested else "no header names one"
        )
        text = f"the encoding of {group.name} ({counted(len(group.clips), 'clip')}): {hint}"
        missing.append(text + (DIFFER if group.kinds else ""))
    if found.unreadable:
        files = shortened([path.name for path, _ in found.unreadable])
        missing.append(f"{counted(len(found.unreadable), 'original')} do not read: {files}; `plan` says why")
    if not found.sound:
        missing.append("the sound recordist's folder, if there is one: none was found")
    return missing


def write_starter(text: str, file: Path, found: FoundMedia) -> None:
    """Write the document as a new file. OptionError where there is one already, where it would lie among originals, or where it
    cannot be written."""
    if file.suffix.lower() != ".toml":
        raise OptionError("takes a name that ends in .toml", file=str(file), key="--to")
    folder = file.absolute().parent
    if any(folder in (seen.path.absolute(), seen.path.absolute().parent) for seen in found.clips):
        raise OptionError(
            "would lie among originals, where nothing is written; name a file beside their folder",
            file=str(file),
        )
    try:
        with file.open("x", encoding="utf-8") as stream:  # never over another
            try:
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
            except BaseException:
                file.unlink(missing_ok=True)
                raise
    except FileExistsError:
        raise OptionError("is there already, and is left as it is; name a new file", file=str(file)) from None
    except OSError as error:
        raise OptionError(f"cannot be written: {from_os(error, file).text}", file=str(file)) from None


def _camera(group: CameraGroup) -> str:
    """The lines of a camera: what was found, then the proposal, all of it a comment."""
    names = shortened([seen.path.name for seen in group.clips])
    says = f"its header says {group.header}" if group.header else "its header names no camera"
    hint = f"and suggests {group.suggested}" if group.suggested else "and no encoding"
    lines = [
        f"{group.name}, {counted(len(group.clips), 'clip')}: {names}",
        f"  {group.formats}; {says} {hint}",
    ]
    lines += group.tables([encoding_line(group)]).splitlines()
    if group.kinds:
        lines.append(
            "  Its clips are of several kinds: where one encoding is not true of all, a table for each kind:"
        )
    for kind in group.kinds:
        if len(kind.selectors) <= MOST_NAMED:
            lines += [f"  {kind.formats}", *kind.tables([encoding_line(kind)]).splitlines()]
        else:
            lines.append(f"  {kind.formats}: {shortened([seen.path.name for seen in kind.clips])}")
    return "\n".join(f"# {_one_line(line)}" for line in lines) + "\n"


def _one_line(text: str) -> str:
    """Words from a header without what would end a comment or may not stand in one."""
    return "".join(c if c.isprintable() else "?" for c in text)


def _originals(found: FoundMedia) -> str:
    size = size_text(sum(seen.facts.bytes for seen in found.clips))
    return f"{counted(len(found.clips), 'original')}, {size}, {counted(len(found.cameras), 'camera')}"


def _named(folder: Path, file: Path) -> str:
    """A folder as the document names it: from its own folder where it lies inside, else in full."""
    whole, base = folder.absolute(), file.absolute().parent
    name = whole.relative_to(base).as_posix() if whole.is_relative_to(base) else str(whole)
    try:
        name.encode()
    except UnicodeError:
        raise OptionError(
            "has a name that is not UTF-8, which no document can hold; rename it", file=str(folder)
        ) from None
    return name


def _out(file: Path) -> str:
    """A folder beside the document that is not there yet, so that two days are not made into one: `out`, else `out-STEM`,
    `out-STEM-2` and so on."""
    names = chain(("out", f"out-{file.stem}"), (f"out-{file.stem}-{n}" for n in count(2)))
    return next(name for name in names if not (file.absolute().parent / name).exists())


def _list(names: list[str]) -> str:
    return f"[{', '.join(map(toml_text, names))}]"
