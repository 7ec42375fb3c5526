"""A shooting day from its document: its title, its folders by their whole paths, and one request for each of its recipes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from rushlight.batch.check.clip_originals import AUTO
from rushlight.batch.plan.prepare import is_day
from rushlight.batch.plan.request import Request
from rushlight.batch.records.day_title import DayTitle
from rushlight.pipelines.errors import OptionError, RecipeError
from rushlight.pipelines.recipe.day_document import DayDocument
from rushlight.pipelines.recipe.read_recipe import parse_day, shipped_recipes
from rushlight.pipelines.text_files import read_text

__all__ = ["ShootingDay", "is_day", "load_day"]


@dataclass(frozen=True, kw_only=True)
class ShootingDay:
    """A day document and where it lies."""

    path: Path
    document: DayDocument

    def place(self, name: str) -> Path:
        """A path of the document: relative to it, or as it stands. One that leads upwards is given by its real place, since no clip
        is named with `..`."""
        path = self.path.parent / name
        return path.resolve() if ".." in path.parts else path

    def places(self, names: tuple[str, ...]) -> tuple[Path, ...]:
        return tuple(map(self.place, names))

    @property
    def title(self) -> DayTitle:
        said = self.document
        return DayTitle(production=said.production, day=said.day, unit=said.unit)

    @property
    def recipes(self) -> tuple[str, ...]:
        """Names of shipped recipes, or paths."""
        shipped = shipped_recipes()
        return tuple(name if name in shipped else str(self.place(name)) for name in self.document.recipes)

    def out_of(self, recipe: str, out: Path | None = None) -> Path | None:
        """Where a recipe of the day is made: in `out`, or where the document says; one of several in a folder of its own
        name. None where nobody says."""
        whole = out or (self.place(self.document.out) if self.document.out else None)
        return whole / Path(recipe).stem if whole and len(self.document.recipes) > 1 else whole

    @property
    def folders(self) -> tuple[Path, ...]:
        """The output folders, of each recipe in turn. OptionError where the document names none."""
        found = [folder for recipe in self.recipes if (folder := self.out_of(recipe))]
        if not found:
            raise OptionError(
                'does not say where to; it takes `out = "FOLDER"`', file=str(self.path), key="out"
            )
        return tuple(found)

    def requests(self, given: Request) -> tuple[Request, ...]:
        """A request for each recipe. What `given` states overrules the document; its recipe is empty where none was given.

        Sound and grades that are not there yet are left out with a note, and media as long as some is there.
        """
        said, notes = self.document, list[str]()
        media = given.media or self._there("media", said.media, notes)
        if not media and not said.list:
            missing = "none of them is there" if said.media else "is not stated"
            raise OptionError(
                f"{missing}; it takes the folders that hold the originals", file=str(self.path), key="media"
            )
        whole = replace(
            given,
            clip_list=self.place(said.list) if said.list else given.clip_list,
            media=media,
            sound=given.sound or self._there("sound", said.sound, notes),
            grades=given.grades or self._there("grades", said.grades, notes),
            defaults=given.defaults or self.path,
            manifest=given.manifest or self.manifests(notes),
            tables=self._there("tables", said.tables, notes),
            title=self.title,
            day=self.path,
            notes=(*given.notes, *notes),
        )
        if given.recipe:
            named = {Path(recipe).stem: recipe for recipe in self.recipes}
            recipe = named.get(given.recipe, given.recipe)
            return (replace(whole, recipe=recipe, out=given.out or self.out_of(recipe)),)
        return tuple(
            replace(whole, recipe=recipe, out=self.out_of(recipe, given.out)) for recipe in self.recipes
        )

    def manifests(self, notes: list[str]) -> tuple[str, ...]:
        """Hash manifests by their whole paths, `auto` as it stands; those that are not there yet are left out."""
        said = self.document.manifest
        there = {str(path) for path in self._there("manifest", tuple(m for m in said if m != AUTO), notes)}
        return tuple(
            m if m == AUTO else str(self.place(m)) for m in said if m == AUTO or str(self.place(m)) in there
        )

    def _there(self, key: str, names: tuple[str, ...], notes: list[str]) -> tuple[Path, ...]:
        """Those of the paths that are there; a note for each of the others."""
        found = []
        for index, name in enumerate(names):
            path = self.place(name)
            try:
                there = path.exists()
            except OSError as error:
                text = f"{name[:80]!r} cannot be looked at: {error.strerror}"
                raise RecipeError(text, file=str(self.path), key=f"{key}[{index}]") from None
            if there:
                found.append(path)
            else:
                notes.append(
                    f"{self.path}: {key}[{index}]: {name} is not there yet; nothing is taken from it"
                )
        return tuple(found)


def load_day(path: Path) -> ShootingDay:
    """Read a day document. RecipeError naming every wrong key, or the line where it is no TOML; OptionError where it is not
    there."""
    if not path.is_file():
        raise OptionError(
            "there is no such day; `rushlight day new MEDIA --to FILE` writes one to begin with",
            file=str(path),
        )
    text = read_text(path, RecipeError)
    return ShootingDay(path=path, document=parse_day(text, file=str(path)))
