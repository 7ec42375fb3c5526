"""`rushlight recipes`, `encodings` and `schema`: what ships, as values."""

from __future__ import annotations

import tomllib
from dataclasses import asdict, dataclass

from rushlight.batch.schemas import SCHEMAS, find_schema, json_schema
from rushlight.pipelines.errors import RecipeError
from rushlight.pipelines.recipe.read_recipe import parse_recipe, shipped_recipes

__all__ = [
    "ShippedEncoding",
    "ShippedRecipe",
    "ShippedSchema",
    "encodings",
    "recipe",
    "recipes",
    "schema",
    "schemas",
]


@dataclass(frozen=True, kw_only=True)
class ShippedRecipe:
    """A recipe that ships: `text` is TOML, to copy from."""

    name: str
    outputs: tuple[str, ...]
    description: str
    text: str

    def settings(self) -> dict[str, object]:
        """The text as values: what `recipes NAME --json` says."""
        return tomllib.loads(self.text)

    def document(self) -> dict[str, object]:
        """Its entry in what `recipes --json` says."""
        return {"name": self.name, "outputs": list(self.outputs), "description": self.description}


@dataclass(frozen=True, kw_only=True)
class ShippedEncoding:
    """A camera encoding: a log curve and a gamut, with the 10-bit codes of black, grey and white on the curve's own scale."""

    name: str
    curve: str
    gamut: str
    kind: str  # log or linear
    black: float  # of 1023, of no light
    grey: float  # of 18 % reflectance
    white: float  # of 90 % reflectance
    levels: str | None  # how the maker puts the curve into YCbCr files; None where the file's tag says
    levels_source: str
    adaptation: str
    source: str  # who publishes it

    def document(self) -> dict[str, object]:
        """Its entry in what `encodings --json` says."""
        return asdict(self)


@dataclass(frozen=True, kw_only=True)
class ShippedSchema:
    """A published JSON Schema by its name with version, and where documents of it stand."""

    name: str
    description: str

    def document(self) -> dict[str, str]:
        """Its entry in what `schema --json` says."""
        return asdict(self)


def recipes() -> tuple[ShippedRecipe, ...]:
    """The recipes that ship."""
    return tuple(_recipe(name, text) for name, text in shipped_recipes().items())


def recipe(name: str) -> ShippedRecipe:
    """One of them. RecipeError where none of that name ships."""
    texts = shipped_recipes()
    if name not in texts:
        raise RecipeError(f"no recipe {name!r} ships; there are {', '.join(texts)}")
    return _recipe(name, texts[name])


def _recipe(name: str, text: str) -> ShippedRecipe:
    read = parse_recipe(text, file=name)
    return ShippedRecipe(
        name=name, outputs=tuple(o.name for o in read.output), description=read.description, text=text
    )


def encodings() -> tuple[ShippedEncoding, ...]:
    """The camera encodings that are known."""
    from rushlight.pipelines.colour.camera_encodings import encodings as known

    found = []
    for each in known():
        black, grey, white = (round(float(v) * 1023, 2) for v in each.encode([0.0, 0.18, 0.9]))
        found.append(
            ShippedEncoding(
                name=each.name,
                curve=each.curve,
                gamut=each.gamut.name,
                kind=each.kind,
                black=black,
                grey=grey,
                white=white,
                levels=each.levels,
                levels_source=each.levels_source,
                adaptation=each.gamut.cat,
                source=each.source,
            )
        )
    return tuple(found)


def schemas() -> tuple[ShippedSchema, ...]:
    """The JSON Schemas (draft 2020-12) of records, events and summaries."""
    return tuple(ShippedSchema(name=each.name, description=each.description) for each in SCHEMAS.values())


def schema(name: str) -> dict[str, object]:
    """One of them as a document, by its name with or without `rushlight-` and version. OptionError where there is none."""
    return json_schema(find_schema(name))
