"""Defaults of many rows at once, by camera letter, reel or file pattern: `[[default]]` tables in TOML.

They stand in a side file or in the recipe. A row overrules the side file, the side file the recipe's tables, and
those the recipe's own `encoding` and `levels`. Within one document `file` overrules `reel`, and `reel` overrules
`camera`; two tables of one kind that fit a clip and say different things are that row's error.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path

from rushlight.batch.decisions.lut_files import LutFiles
from rushlight.batch.framing.framing_files import FramingFiles
from rushlight.batch.lists.camera_columns import camera_letter
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.looks.show_lut_spaces import check_sides
from rushlight.batch.plan.reels import reel_of
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.errors import FramingError, InputError, ListError, RecipeError
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.recipe.clip_defaults import STATED, Default
from rushlight.pipelines.recipe.read_recipe import parse_defaults
from rushlight.pipelines.text_files import read_text

__all__ = ["Defaults", "read_defaults"]


@dataclass(frozen=True, kw_only=True)
class _Table:
    """One table: its document (0 is the most trusted), where it stands, and what it says."""

    document: int
    place: str
    default: Default

    def fits(self, camera: str, reel: str, path: Path) -> bool:
        wanted = self.default
        if wanted.file:
            whole = "/" in wanted.file
            name = path.absolute().as_posix() if whole else path.name
            pattern = wanted.file if not whole or wanted.file[0] in "/*" else f"*/{wanted.file}"
            return fnmatchcase(name.lower(), pattern.lower())
        if wanted.reel:
            return fnmatchcase(reel.lower(), wanted.reel.lower())
        return bool(camera) and camera.lower() == wanted.camera.lower()


@dataclass(kw_only=True)
class Defaults:
    """All tables of a request, those of the side file first."""

    tables: list[_Table] = field(default_factory=list)
    text: str = ""  # of the side file, to be kept
    used: set[str] = field(default_factory=set)

    def add(
        self, defaults: Iterable[Default], file: str, base: Path, luts: LutFiles, fdls: FramingFiles
    ) -> None:
        """Another document's tables, less trusted than those before. An encoding, LUT or framing decision list that is none is an
        error now."""
        document = len({t.document for t in self.tables})
        for index, default in enumerate(defaults):
            key = f"default[{index}]"
            try:
                if default.encoding:
                    find_encoding(default.encoding, exposure_index=default.exposure_index)
            except InputError as error:
                raise error.at(file=file, key=f"{key}.encoding") from None
            check_sides(default, file, key)
            if default.lut and default.lut.lower() != "none":
                path = luts.find(default.lut, base).absolute()
                luts.read(path)
                default = default.model_copy(update={"lut": str(path)})
            if default.fdl:
                try:
                    said = fdls.stated(default.fdl, base, key)
                    default = default.model_copy(update={"fdl": said.reference if said else "none"})
                except FramingError as error:
                    raise error.at(key=key) from None
            self.tables.append(_Table(document=document, place=f"{file} {key}", default=default))

    def of(self, row: Row, path: Path, facts: Facts) -> Mapping[str, str]:
        """Defaults of a clip by key, and who stated each by `KEY_from`. ListError where two of one rank
        differ.

        The reel is the row's, else the container's, else the one a camera-style name states; the camera letter is
        the row's, else the first letter of such a reel (common practice, no source).
        """
        if not self.tables:
            return {}
        reel = reel_of(row, path, facts)
        camera = camera_letter(row["camera"], reel)
        fitting = [t for t in self.tables if t.fits(camera, reel, path)]
        self.used |= {t.place for t in fitting}
        found: dict[str, str] = {}
        for key in STATED:
            says = [t for t in fitting if key in t.default.says()]
            if not says:
                continue
            best = min((t.document, t.default.rank) for t in says)
            equals = [t for t in says if (t.document, t.default.rank) == best]
            values = {t.default.says()[key] for t in equals}
            if len(values) > 1 and not row[key]:
                places = " and ".join(t.place for t in equals)
                raise ListError(
                    f"{places} fit this clip equally well and differ: {', '.join(sorted(values))}", key=key
                )
            found |= {key: min(values), f"{key}_from": equals[0].place}
        return found

    def unused(self) -> list[str]:
        """A warning for each table that fitted no clip: a slip in a pattern must not pass unnoticed."""
        return [
            f"{t.place} ({t.default.selector}) fits no clip of this list"
            for t in self.tables
            if t.place not in self.used
        ]


def read_defaults(path: Path | None, luts: LutFiles, fdls: FramingFiles) -> Defaults:
    """The side file's tables, or none. RecipeError naming file and key where it is none."""
    defaults = Defaults()
    if path is None:
        return defaults
    defaults.text = read_text(path, RecipeError)
    defaults.add(parse_defaults(defaults.text, file=str(path)), str(path), path.parent, luts, fdls)
    return defaults
