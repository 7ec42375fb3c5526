"""Recipes: what to make of each clip. One table of settings, one `[look]` and one `[[output]]` a product.

Read by read_recipe.py. A fault names its key (`output[2].size`), what stands there and what would do.
"""

from __future__ import annotations

import hashlib
import json
import re
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema, model_validator

from rushlight.pipelines.errors import InputError
from rushlight.pipelines.formats.codecs import CODECS
from rushlight.pipelines.recipe.clip_defaults import Changes, Default, Model
from rushlight.pipelines.recipe.look_settings import LookSettings, OtherLook, other_look
from rushlight.pipelines.recipe.name_template import parse_file, parse_path

__all__ = [
    "Area",
    "Burnin",
    "Default",
    "Frame",
    "Guides",
    "LookSettings",
    "MovieOutput",
    "Output",
    "Recipe",
    "Size",
    "StillsOutput",
    "TextLine",
]

State = Literal["log", "show", "graded"]
Anchor = Literal[
    "top-left", "top", "top-right", "left", "centre", "right", "bottom-left", "bottom", "bottom-right"
]
_SIZE = re.compile(r"(\d{2,5})\s*[x×]\s*(\d{2,5})")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _.-]{0,63}")
_RESERVED = {"log", "report", "revisions", "ascmhl"}
CARD_RULE = (
    "a slate card moves the first timecode and breaks relinking, so an output with no burn-in or watermark, or with"
    " `editorial` in its name, takes none"
)


def _unsaid(value: object) -> bool:
    """True of a key that says nothing. One that recipes did not always have is then in no digest, so that those stay."""
    return value in ("", (), False)


class Size(Model):
    """A raster in pixels."""

    width: int = Field(ge=16, le=16384)
    height: int = Field(ge=16, le=16384)

    def __str__(self) -> str:
        return f"{self.width}x{self.height}"


def _size(value: object) -> object:
    if isinstance(value, str):
        match = _SIZE.fullmatch(value.strip())
        if not match:
            raise ValueError('takes WIDTHxHEIGHT, such as "1920x1080"')
        width, height = int(match[1]), int(match[2])
        if width % 2 or height % 2:
            raise ValueError("takes an even width and height")
        return {"width": width, "height": height}
    if isinstance(value, Size | dict):
        return value
    raise ValueError('takes WIDTHxHEIGHT in quotes, such as "1920x1080"')


def _rate(value: object) -> object:
    from rushlight.pipelines.formats.timecode import FrameRate

    try:
        return str(FrameRate.parse(value))  # type: ignore[arg-type]
    except Exception:
        raise ValueError("takes a frame rate, such as 24, 23.976 or 24000/1001") from None


def _sound_offset(value: object) -> object:
    from rushlight.pipelines.sound.sound_offset import parse_offset

    if isinstance(value, str):
        try:
            parse_offset(value, Fraction(24))
        except InputError as error:
            raise ValueError(error.text) from None
    return value


def _path(text: str) -> str:
    _ = text and parse_path(text)
    return text


def _file(text: str) -> str:
    _ = text and parse_file(text)
    return text


SoundOffset = Annotated[str, BeforeValidator(_sound_offset)]
RasterSize = Annotated[
    Size,
    BeforeValidator(_size),
    WithJsonSchema({"type": "string", "pattern": _SIZE.pattern, "examples": ["1920x1080"]}),
]
CodecName = Annotated[str, WithJsonSchema({"type": "string", "enum": list(CODECS)})]
Rate = Annotated[str, BeforeValidator(_rate)]


class Area(Model):
    """An extraction area, and the raster it is drawn for."""

    x: int = Field(ge=0)
    y: int = Field(ge=0)
    width: int = Field(ge=16)
    height: int = Field(ge=16)
    raster: RasterSize

    @model_validator(mode="after")
    def _inside(self) -> Area:
        if self.x + self.width > self.raster.width or self.y + self.height > self.raster.height:
            raise ValueError(
                f"{self.width}x{self.height} at {self.x}, {self.y} reaches outside its raster {self.raster}"
            )
        return self


class Frame(Model):
    """Framing: how an original's picture sits in the output's raster."""

    mode: Literal["pad", "fill", "stretch"] = "pad"
    desqueeze: float = Field(default=1.0, ge=0.25, le=4)
    rotate: Literal[0, 180] = 0
    flip: bool = False
    flop: bool = False
    area: Area | None = None
    framing: str = Field(default="", exclude_if=_unsaid)
    crop: Literal["framing", "protection", "effective", "canvas"] = Field(
        default="framing", exclude_if=lambda crop: crop == "framing"
    )

    @model_validator(mode="after")
    def _one_framing(self) -> Frame:
        if self.crop != "framing" and not self.framing:
            raise ValueError(f'crop = "{self.crop}" is of a framing decision; `framing` says of which intent')
        if self.framing and self.area:
            raise ValueError("takes `framing` or `area`, not both")
        if self.framing and self.desqueeze != 1:
            raise ValueError(
                "takes `framing` or `desqueeze`, not both: the decision's canvas states its squeeze; for a clip that it is"
                " wrong of, a column `desqueeze` overrules it"
            )
        return self


class Guides(Model):
    """Lines and shaded masks over the picture."""

    aspect: float | None = Field(default=None, gt=0.2, lt=10)
    shade: float = Field(default=0.0, ge=0, le=1)
    action_safe: float | None = Field(default=None, gt=0.5, le=1)
    title_safe: float | None = Field(default=None, gt=0.5, le=1)
    centre: bool = False
    opacity: float = Field(default=0.6, gt=0, le=1)
    framing: tuple[str, ...] = Field(default=(), exclude_if=_unsaid)
    protection: bool = Field(default=False, exclude_if=_unsaid)

    @model_validator(mode="after")
    def _lines(self) -> Guides:
        if self.protection and not self.framing:
            raise ValueError("protection is that of a framing decision; `framing` says of which intents")
        return self


class TextLine(Model):
    """One line of burn-in: fields in braces, an anchor, a height as a share of the raster's."""

    text: str = Field(min_length=1, max_length=300)
    at: Anchor
    size: float = Field(default=0.035, ge=0.01, le=0.25)
    backing: Literal["outline", "box"] = "outline"
    opacity: float = Field(default=1.0, gt=0, le=1)


class Burnin(Model):
    """Burn-in: what is drawn over the picture."""

    text: tuple[TextLine, ...] = ()
    watermark: str = ""
    watermark_opacity: float = Field(default=0.3, gt=0, le=1)
    font: str = ""


class _Output(Model):
    name: str
    state: State = "graded"
    look: str = ""  # a table `looks.NAME`; else the recipe's `look`
    lut: str = ""  # another show LUT than that look's, or "none"; a row's `lut` does not overrule it
    display: str = ""  # another display than that look's
    size: RasterSize | None = None
    frame: Frame = Frame()
    guides: Guides | None = None
    only: dict[str, str] = Field(default_factory=dict)
    path: Annotated[str, AfterValidator(_path)] = (
        ""  # folders inside the output's, by template: "{day}/{camera}/{reel}"
    )
    file: Annotated[str, AfterValidator(_file)] = (
        ""  # the name without its extension, by template: "{scene}_{take}_{clip}"; else the clip's own
    )

    @model_validator(mode="after")
    def _named(self) -> _Output:
        if not _NAME.fullmatch(self.name) or self.name.lower() in _RESERVED or self.name.endswith((".", " ")):
            raise ValueError(
                f"name {self.name!r} will not do for a folder; letters, digits, space, - and _ will"
            )
        return self


class MovieOutput(_Output):
    """A movie of each clip."""

    make: Literal["movie"]
    codec: CodecName
    container: Literal["", "mov", "mp4", "mxf"] = ""
    quality: float | None = Field(default=None, ge=0, le=51)
    preset: str = ""
    peak: float | None = Field(default=None, gt=0.05, le=1000)  # Mbit/s over any second
    sound: Literal["copy", "mix", "silent", "none"] = "copy"
    channels: tuple[
        Annotated[int, Field(ge=1, le=64)], ...
    ] = ()  # the original's or the take's, in this order; all of them
    tracks: tuple[
        str, ...
    ] = ()  # of production sound: names in this order, `*` and `?` stand for characters; all of them
    camera_sound: bool = False  # keep the camera's sound as further tracks beside production sound
    burnin: Burnin | None = None
    dither: bool = True
    transfer_tag: Literal[1, 2, 4, 13] | None = Field(
        default=None, exclude_if=lambda tag: tag is None
    )  # H.273's TransferCharacteristics in the file's tags in place of the display's: 1 BT.709, 2 unspecified, 4 gamma 2.2, 13 sRGB; no pixel changes
    card: int = Field(default=0, ge=0, le=1000)  # frames of a slate card before the first of the clip

    @property
    def relinked(self) -> bool:
        """True if an editor will relink it to the originals: nothing is drawn over it, or its name says so."""
        drawn = self.burnin and (self.burnin.text or self.burnin.watermark)
        return not drawn or "editorial" in self.name.casefold()


class StillsOutput(_Output):
    """Stills of each clip, from the exact evaluation of its look."""

    make: Literal["stills"]
    kinds: tuple[Literal["jpeg", "png8", "png16", "tiff8", "tiff16", "exr"], ...] = Field(min_length=1)
    at: tuple[Literal["first", "middle", "last", "list"], ...] = ("middle",)
    every: float | None = Field(default=None, ge=0.5)  # seconds

    @model_validator(mode="after")
    def _no_lines(self) -> StillsOutput:
        if self.guides and self.guides.framing:
            raise ValueError("guides.framing is for movies: stills have no burn-in")
        return self


Output = Annotated[MovieOutput | StillsOutput, Field(discriminator="make")]


class Recipe(Model):
    """A whole recipe. Defaults are stated here and nowhere else."""

    name: str = ""
    description: str = ""
    encoding: str = ""
    levels: Literal["", "narrow", "full"] = ""
    rate: Rate | None = None  # for sequences whose headers state none
    show_rate: Rate | None = None
    off_speed: Literal["keep", "frame for frame", "refuse"] = "keep"
    variable_rate: Literal["refuse", "conform"] = "refuse"
    interlaced: Literal["refuse", "as it is"] = "refuse"
    several_files: Literal["join", "each"] = "join"  # a clip named as `name_###.mov`
    missing_frames: Literal["fail", "hold", "slate"] = "fail"
    damaged_frames: Literal["deliver", "fail"] = "deliver"
    deliver_differing: bool = False  # clips whose originals are not as their hash manifest has them
    ungraded: Literal["warn", "refuse"] = "warn"
    fdl: str = Field(default="", exclude_if=_unsaid)
    unframed: Literal["warn", "refuse"] = Field(default="warn", exclude_if=lambda word: word == "warn")
    grade: str = ""  # a decision file, or file#id, beside the recipe: for clips that nothing else grades
    handles: int = Field(default=0, ge=0, le=10000)
    sound: Literal["production", "camera"] = (
        "production"  # where --sound has a take that fits; else the camera's
    )
    sound_offset: SoundOffset = (
        ""  # "480 samples" or "-2 frames": moves production sound later; of clips that state none
    )
    first: tuple[
        str, ...
    ] = ()  # what is made first: "circled" takes, names of outputs; the first named counts most
    look: LookSettings = LookSettings()
    looks: dict[str, LookSettings] = Field(
        default_factory=dict
    )  # further looks by name, for outputs that state one; a key is that of `look` where it is not stated
    default: tuple[Default, ...] = ()
    changes: Changes = Changes()
    output: tuple[Output, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _distinct(self) -> Recipe:
        seen: set[str] = set()
        for output in self.output:
            if output.name.casefold() in seen:
                raise ValueError(f"two outputs are named {output.name!r}; their files would collide")
            seen.add(output.name.casefold())
        for word in self.first:
            if word != "circled" and word not in {output.name for output in self.output}:
                raise ValueError(f'first takes "circled" and names of outputs, not {word!r}')
        return self

    def look_of(self, output: MovieOutput | StillsOutput) -> OtherLook | None:
        """The look of an output that does not show the recipe's `look`."""
        said = {"look": output.look, "lut": output.lut, "display": output.display}
        return other_look(self.look, self.looks, **said)

    def digest(self) -> str:
        """sha256 over the settings that change a result; name, description, order and the names of files are no part of it."""
        names = {"output": {"__all__": {"path", "file", "look", "lut", "display"}}}
        left_out = ("name", "description", "first", "deliver_differing", "looks")
        data = self.model_dump(mode="json", exclude={**dict.fromkeys(left_out, True), **names})
        for output, settings in zip(self.output, data["output"], strict=True):
            if look := self.look_of(output):
                settings["look"] = [look.settings.model_dump(mode="json"), look.own_lut]
        return "sha256:" + hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()
