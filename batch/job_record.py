"""The job record: its keys and their types, in one place.

What reads a record may rely on this and need not look again. A field that is not named here is a newer version's, or a
person's: it is kept. A record of a newer version is read as far as it has what this one knows.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Annotated, Any, Literal

from annotated_types import Ge, Gt, Le, Len
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from rushlight.pipelines.errors import OptionError, OutsideError, RushlightError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import file_name, output_name, parts_of
from rushlight.pipelines.recipe.validation_messages import key_and_words

__all__ = [
    "SCHEMA",
    "Count",
    "FrameLine",
    "Number",
    "Shape",
    "Whole",
    "check_record",
    "check_shape",
    "is_newer",
]

SCHEMA = "rushlight-job-1"
_VERSION = re.compile(r"rushlight-job-(\d{1,6})")


def _stated(text: str) -> str:
    if not text:  # a length asked of pydantic would refuse names that are not UTF-8
        raise ValueError("is empty; it must be stated")
    return text


Whole = Annotated[int, Ge(0), Le(2**63 - 1)]
Count = Annotated[int, Ge(0), Le(2**31 - 1)]
Side = Annotated[int, Gt(0), Le(2**16)]  # pixels of a raster
Name = Annotated[str, AfterValidator(_stated)]
Number = Annotated[float, Ge(-1e12), Le(1e12)]
Triple = Annotated[list[Number], Len(3, 3)]
Tile = Annotated[
    list[Number | None], Len(3, 3)
]  # L*a*b*, or ten-bit codes in state `log`; null under burn-in
Tiles = Annotated[list[Annotated[list[Tile], Len(16, 16)]], Len(9, 9)]
Box = Annotated[list[Count], Len(4, 4)]  # x, y, width, height in pixels
Run = Annotated[list[Count], Len(2, 2)]  # first and last frame, from 0
State = Literal["log", "show", "graded"]


class Shape(BaseModel):
    """A table of a record: types as they stand in JSON, nothing converted, unknown fields left alone."""

    model_config = ConfigDict(extra="allow", strict=True, allow_inf_nan=False)


class _Grade(Shape):
    slope: Triple
    offset: Triple
    power: Triple
    saturation: Number
    source: str = ""
    reason: str = ""


class _Layer(Shape):
    layer: str
    name: str = ""


class _Look(Shape):
    digest: str
    description: str
    grade: _Grade | None = None
    layers: list[_Layer] = []


class _Source(Shape):
    path: str = ""
    bytes: Whole = 0
    mtime_ns: Whole = 0
    hash: str = ""
    sampled: str = ""


class _Recipe(Shape):
    name: str = ""
    digest: str = ""


class _Tags(Shape):
    primaries: Count
    transfer: Count
    matrix: Count
    levels: str


class _File(Shape):
    """What every delivered file has. `path` is relative, with `/`; `identity` changes with what changes the file."""

    output: str
    path: Name
    state: State
    identity: str
    frames: Count
    first_timecode: str
    bytes: Whole
    mtime_ns: Whole
    hash: Annotated[str, Field(pattern=r"^xxh3_128:[0-9a-f]{32}$")]
    width: Side
    height: Side
    picture: Box
    covered: list[Box]
    display: str | None
    revision: Annotated[int, Ge(1), Le(10**6)] = 1


class _Movie(_File):
    kind: Literal["movie"]
    codec: str
    rate: str
    card: Count = 0
    pixel_format: str
    reel: str
    tags: _Tags
    picture_tags: _Tags


class _Still(_File):
    kind: Literal["still"]
    still_kind: str
    frame: Count
    digest: str
    tiles: Tiles | None = None


KINDS = ("movie", "still")  # what tells them apart, which is no part of a key
Output = Annotated[_Movie | _Still, Field(discriminator="kind")]


class _Picture(Shape):
    """One distinct graded picture, and the side file of its frames."""

    digest: str
    outputs: list[str]
    index: Count = 0
    frames: str = ""


class _Sample(Shape):
    frame: Count
    values: Tiles


class _Moved(Shape):
    """By how much known faults would move the tiles of one frame."""

    outputs: list[str]
    frame: Count
    moved: Mapping[str, Tiles]


class _Patch(Shape):
    lab: Triple
    xyz: Triple


class _Colour(Shape):
    digest: str
    pictures: list[_Picture]
    patches: Mapping[str, _Patch] = {}
    tiles: Mapping[str, list[_Sample]]
    sensitivity: Mapping[str, Number]
    faults: list[_Moved] = []


class _Original(Shape):
    black: list[Run]
    repeated: list[Run]
    held: list[Run]
    clipped: Number | None = None


class _Counts(Shape):
    over: Whole = 0
    under: Whole = 0
    pixels: Whole = 0


class _Replaced(Shape):
    output: str
    path: str
    revision: Count
    kept: str
    why: str


class _Any(Shape):
    """What every record has, delivered or not; whatever else it has is of these types."""

    job: Name
    clip: str
    status: Literal["done", "failed", "set aside", "withdrawn"]
    error: str = ""
    finished: str = ""
    reel: str = ""
    rate: str = ""
    first_timecode: str = ""
    last_timecode: str = ""
    frames: Count = 0
    warnings: list[str] = []
    row: Mapping[str, str] | None = None
    revision: Annotated[int, Ge(1), Le(10**6)] = 1
    replaced: list[_Replaced] = []
    outputs: list[Output] = []


class _SomeColour(_Colour):
    digest: str = ""
    pictures: list[_Picture] = []
    tiles: Mapping[str, list[_Sample]] = {}
    sensitivity: Mapping[str, Number] = {}


class _SomeLook(_Look):
    digest: str = ""
    description: str = ""


class _Undone(_Any):
    """A clip that was not delivered; `outputs` are what an earlier night delivered of it."""

    look: _SomeLook | None = None
    source: _Source | None = None
    recipe: _Recipe | None = None
    colour: _SomeColour


class _Done(_Any):
    """A clip that was delivered."""

    reel: str
    rate: str
    frames: Count
    first_frame: Count
    first_timecode: str
    last_timecode: str
    warnings: list[str]
    source: _Source
    look: _Look
    recipe: _Recipe
    outputs: list[Output]
    colour: _Colour
    original: Annotated[_Original | None, BeforeValidator(lambda value: None if value == {} else value)] = (
        None
    )
    counts: _Counts | None = None


class FrameLine(Shape):
    """A line of the side file of frames: mean luma codes of a picture's sixteen cells."""

    picture: Count
    frame: Count
    digest: str = ""
    luma: Annotated[list[Number], Len(16, 16)]


def check_shape(model: type[BaseModel], value: object) -> None:
    """OptionError with its key where a value is not of that shape."""
    try:
        model.model_validate(value)
    except ValidationError as error:
        details = error.errors(include_url=False)
        loc = details[0]["loc"]
        tagged = [k for k, part in enumerate(loc) if part in KINDS and k and isinstance(loc[k - 1], int)]
        plain = {**details[0], "loc": tuple(part for k, part in enumerate(loc) if k not in tagged)}
        key, words = key_and_words(plain, value, {"": model})
        more = f" ({len(details) - 1} more)" if len(details) > 1 else ""
        raise OptionError(f"is damaged: {_short(words)}{more}", key=key or None) from None
    except RecursionError:
        raise OptionError("is damaged: it nests too deep") from None


def _short(text: str) -> str:
    return text if len(text) <= 160 else f"{text[:120]} … {text[-36:]}"


def check_record(record: Mapping[str, Any]) -> None:
    """OptionError with its key for what is no job record. One of a newer version passes if it has what this one knows."""
    schema = record.get("schema")
    if schema != SCHEMA and not is_newer(record):
        raise OptionError(f"is a record of schema {schema!r}; this reads {SCHEMA}", key="schema")
    check_shape(_Done if record.get("status") == "done" else _Undone, record)
    _check_names(record)
    if record["status"] != "done":
        return
    for number, entry in enumerate(record["outputs"]):
        try:
            if "rate" in entry:
                Timecode.parse(entry["first_timecode"], FrameRate.parse(entry["rate"]))
        except RushlightError as error:
            raise OptionError(f"is damaged: {error.text}", key=f"outputs[{number}].first_timecode") from None


def _check_names(record: Mapping[str, Any]) -> None:
    """OutsideError with its key for the first name of a record that is none inside an output folder."""
    names: list[tuple[str, Callable[[object], object], str]] = [("job", file_name, record["job"])]
    for n, entry in enumerate(record.get("outputs", ())):
        names.append((f"outputs[{n}].path", output_name, entry["path"]))
    for n, picture in enumerate(record["colour"].get("pictures", ())):
        if picture.get("frames"):
            names.append((f"colour.pictures[{n}].frames", parts_of, picture["frames"]))
    for key, check, name in names:
        try:
            check(name)
        except OutsideError as error:
            raise error.at(key=key) from None


def is_newer(record: Mapping[str, Any]) -> bool:
    """Whether a record is of a version after this one's."""
    match = _VERSION.fullmatch(str(record.get("schema")))
    return match is not None and int(match[1]) > int(SCHEMA.rpartition("-")[2])
