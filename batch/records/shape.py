"""The base of all models of JSON that we write and read again, and the types of numbers and names that they share.

A model reads a document as it stands: nothing is converted, and a field that it does not name is kept and written again.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal, Self, TypeVar

from annotated_types import Ge, Gt, Le, Len
from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError, WithJsonSchema

from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.recipe.validation_messages import key_and_words

__all__ = [
    "LATER",
    "Box",
    "Count",
    "FrameRun",
    "Name",
    "Number",
    "Plain",
    "Shape",
    "Side",
    "State",
    "TileValues",
    "Tiles",
    "Triple",
    "Whole",
    "box_of",
    "shaped",
]


def _stated(text: str) -> str:
    if not text:  # a length asked of pydantic would refuse names that are not UTF-8
        raise ValueError("is empty; it must be stated")
    return text


Plain = dict[str, object]  # a JSON object in plain values
Whole = Annotated[int, Ge(0), Le(2**63 - 1)]
Count = Annotated[int, Ge(0), Le(2**31 - 1)]
Side = Annotated[int, Gt(0), Le(2**16)]  # pixels of a raster
Name = Annotated[str, AfterValidator(_stated), WithJsonSchema({"type": "string", "minLength": 1})]
Number = Annotated[float, Ge(-1e12), Le(1e12)]
Triple = Annotated[list[Number], Len(3, 3)]
Tile = Annotated[
    list[Number | None], Len(3, 3)
]  # L*a*b*, or ten-bit codes in state `log`; null under burn-in
Tiles = Annotated[list[Annotated[list[Tile], Len(16, 16)]], Len(9, 9)]
Box = Annotated[list[Count], Len(4, 4)]  # x, y, width, height in pixels
TileValues = Sequence[Sequence[Sequence[float | None]]]  # what Tiles hold, for who reads them
FrameRun = Annotated[list[Count], Len(2, 2)]  # first and last frame, from 0
State = Literal["log", "show", "graded"]
KINDS = ("movie", "still")  # what tells alternatives apart, which is no part of a key
LATER = ConfigDict(defer_build=True)  # a validator is made where it is first used: no process needs them all
Model = TypeVar("Model", bound=BaseModel)


class Shape(BaseModel):
    """A JSON object: types as they stand, nothing converted, unknown fields kept."""

    model_config = ConfigDict(extra="allow", strict=True, allow_inf_nan=False, frozen=True, **LATER)

    @classmethod
    def read(cls, value: object) -> Self:
        """A JSON value as this model. OptionError with its key where it is none."""
        return shaped(cls, value)

    def plain(self) -> Plain:
        """The JSON object: what was stated, in the model's order, then what it does not name."""
        return self.model_dump(by_alias=True, exclude_unset=True)


def box_of(values: Sequence[int]) -> tuple[int, int, int, int]:
    """A record's box as the measuring wants it: x, y, width, height in pixels."""
    x, y, width, height = values
    return x, y, width, height


def shaped(model: type[Model], value: object) -> Model:
    """A JSON value as that model. OptionError with its key where it is none."""
    try:
        return model.model_validate(value)
    except ValidationError as error:
        details = error.errors(include_url=False)
        loc = details[0]["loc"]
        tagged = [k for k, part in enumerate(loc) if part in KINDS and k and isinstance(loc[k - 1], int)]
        plain = details[0].copy()
        plain["loc"] = tuple(part for k, part in enumerate(loc) if k not in tagged)
        key, words = key_and_words(plain, value, {"": model})
        more = f" ({len(details) - 1} more)" if len(details) > 1 else ""
        raise OptionError(f"is damaged: {_short(words)}{more}", key=key or None) from None
    except RecursionError:
        raise OptionError("is damaged: it nests too deep") from None


def _short(text: str) -> str:
    return text if len(text) <= 160 else f"{text[:120]} … {text[-36:]}"
