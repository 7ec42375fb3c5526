"""One job in plain values: everything a worker is told, and nothing else. JSON both ways.

The runner writes it, workers read it. Paths are the runner's; a worker that mounts the media elsewhere has
them rewritten before it parses this. `None` in a grade, LUT or sound means there is none.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.inside_folder import file_name, parts_of
from rushlight.pipelines.recipe.model import Burnin, Frame, Guides
from rushlight.pipelines.recipe.validation_messages import key_and_words

__all__ = [
    "FrameLine",
    "GradeSpec",
    "JobSpec",
    "LookSpec",
    "LutSpec",
    "MovieSpec",
    "OutputSpec",
    "SegmentSpec",
    "SoundFileSpec",
    "SoundSpec",
    "SourceSpec",
    "StillsSpec",
    "digest_of",
]

State = Literal["log", "show", "graded"]
Levels = Literal["narrow", "full"]
Triple = tuple[float, float, float]
# What becomes a path is checked wherever a job is read, since a queue may be tampered with: OutsideError.
Name = Annotated[str, AfterValidator(file_name)]
Place = Annotated[str, AfterValidator(lambda name: "/".join(parts_of(name)))]


def _patches(value: Mapping[str, object]) -> Mapping[str, object]:
    """Patches by name, each with three numbers as `xyz` and as `lab`. ValueError for anything else."""
    for name, patch in value.items():
        for key in ("xyz", "lab"):
            triple = patch.get(key) if isinstance(patch, dict) else None
            if (
                not isinstance(triple, list | tuple)
                or len(triple) != 3
                or not all(type(v) in (int, float) and abs(v) <= 1e12 for v in triple)
            ):
                raise ValueError(f"{name}: its {key} is not three numbers")
    return value


def digest_of(value: object, length: int = 32) -> str:
    """Hex of sha256 over the canonical JSON of `value`."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:length]


class _Spec(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class SourceSpec(_Spec):
    """The original, as planned: `hash` is the sampled or full one, `files` only for spans over several cards."""

    path: str
    files: tuple[str, ...] = ()
    hash: str = ""
    bytes: int
    mtime_ns: int
    rate: str | None = None  # stated for sequences whose headers have none
    missing: Literal["fail", "hold", "slate"] = "fail"
    damaged: Literal["deliver", "fail"] = "deliver"
    conform: bool = False  # take a variable-rate original frame for frame
    levels: Levels  # how the curve's 0..1 sits in luma or RGB codes
    chroma: Levels  # and how chroma was scaled; differs where the maker's table states file codes
    matrix: int  # H.273; of a YCbCr original


class SoundFileSpec(_Spec):
    """One sound file, as planned."""

    path: str
    bytes: int
    mtime_ns: int


class SoundSpec(_Spec):
    """Production sound: delivered sample k of the clip is sample `start` + k x `step` of the take (fractions as text).

    `parts` follow one another, and the files of each lie beside one another.
    """

    parts: tuple[tuple[SoundFileSpec, ...], ...]
    start: str
    step: str


class GradeSpec(_Spec):
    """An ASC CDL in numbers."""

    slope: Triple = (1.0, 1.0, 1.0)
    offset: Triple = (0.0, 0.0, 0.0)
    power: Triple = (1.0, 1.0, 1.0)
    saturation: float = 1.0
    clamp: bool = True
    id: str = ""


class LutSpec(_Spec):
    """A show LUT: the file that the output folder keeps, and how to read it."""

    path: Place
    name: str
    digest: str
    interpolation: Literal["tetrahedral", "trilinear"] = "tetrahedral"
    input: Levels = "full"
    output: Levels = "full"
    input_space: str = ""  # the encoding that it takes; empty: the clip's own
    output_space: str = ""  # the display that it is for, or the scene's encoding; empty: the look's display
    contains_grade: bool = False

    @property
    def gives_scene(self) -> bool:
        """True if its output is for no display: the look's transform shows it."""
        from rushlight.pipelines.colour.camera_encodings import Encoding
        from rushlight.pipelines.luts.lut_spaces import lut_output

        return bool(self.output_space) and isinstance(lut_output(self.output_space), Encoding)


class LookSpec(_Spec):
    """A look in numbers and names; `identity` leaves out what is only a path or a name."""

    encoding: str
    exposure_index: int | None = None
    exposure: float = 0.0
    white_balance: tuple[float, float] | None = None
    printer_points: Triple | None = None
    grade: GradeSpec | None = None
    grade_space: Literal["log", "ACEScct"] = "log"
    grade_order: Literal["before", "after"] = "before"
    lut: LutSpec | None = None
    transform: Literal["aces2", "colorimetric", "none"] = "aces2"
    display: str = "Rec.709 BT.1886"
    size: int = 65

    def identity(self) -> dict[str, object]:
        data = self.model_dump(mode="json")
        if data["grade"]:
            del data["grade"]["id"]
        if data["lut"]:
            del data["lut"]["path"], data["lut"]["name"]
        return data

    @property
    def shown_by(self) -> tuple[str, ...]:
        """What leads from the graded signal to the display, in words: the show LUT by its name, the transform, or one after the other."""
        transform = {"aces2": "ACES 2.0"}.get(self.transform, self.transform)
        if self.lut is None:
            return (transform,)
        return (f'"{self.lut.name}"', *([transform] if self.lut.gives_scene else []))


class FrameLine(_Spec):
    """A frame line in pixels of the output's raster; parts of it may lie outside. `dashed`: of what a framing protects."""

    x: int
    y: int
    width: int
    height: int
    label: str = ""
    dashed: bool = False


class _OutputSpec(_Spec):
    output: str
    identity: Name
    folder: Place  # relative to the output folder: "editorial", "editorial/A002" for twins, or by template
    by_template: bool = False  # its folder or files are named by template: a new name is no new identity
    state: State
    look: str = ""  # name of one of the job's `looks`; empty: the recipe's
    width: int
    height: int
    frame: Frame = Frame()
    guides: Guides | None = None
    lines: tuple[FrameLine, ...] = ()

    @property
    def look_key(self) -> str:
        """Key of its baked look in `JobSpec.baked`: the state, and the look where it is not the recipe's."""
        return f"{self.state} {self.look}" if self.look else self.state


class MovieSpec(_OutputSpec):
    """One movie of the clip. `picture_identity` is that of its pictures alone: with another identity, only its sound is new."""

    make: Literal["movie"] = "movie"
    picture_identity: str = ""
    file: Name  # with its extension
    codec: str
    container: str
    quality: float | None = None
    preset: str = ""
    peak: float | None = None
    sound: Literal["copy", "mix", "silent", "none"] = "copy"
    channels: tuple[int, ...] = ()
    tracks: tuple[str, ...] = ()  # of production sound, by name
    camera_sound: bool = False  # kept as further tracks beside production sound
    burnin: Burnin | None = None
    font: Annotated[str, AfterValidator(lambda name: "/".join(parts_of(name)) if name else "")] = ""
    dither: bool = True
    transfer_tag: int | None = None  # in the file's tags in place of the display's
    card: int = 0  # frames of a slate card before the first of the clip
    fields: dict[str, str] = {}  # of burn-in and card, where they are not the clip's


class StillSpec(_Spec):
    """One still: `frame` is the original's frame number."""

    frame: int
    kind: str
    file: Name


class StillsSpec(_OutputSpec):
    """The stills of the clip."""

    make: Literal["stills"] = "stills"
    stills: tuple[StillSpec, ...]


OutputSpec = Annotated[MovieSpec | StillsSpec, Field(discriminator="make")]


class SegmentSpec(_Spec):
    """A run of the original's frames. `movies` is false where only stills are missing."""

    index: int
    first: int
    count: int
    movies: bool = True


class JobSpec(_Spec):
    """One clip, and what is still to be made of it."""

    job: Name
    clip: str
    stem: str
    out: str  # the output folder
    source: SourceSpec
    first: int  # the original's frame number of the first delivered frame
    count: int
    rate: str
    timecode: str  # of the first delivered frame
    reel: str
    production: SoundSpec | None = None  # None: the camera's own sound
    retimed: bool = False  # taken frame for frame at another rate: silent
    look: LookSpec  # the recipe's
    looks: dict[str, LookSpec] = {}  # those of outputs that have another, by name
    baked: dict[str, Place]  # `look_key` of an output -> .npz relative to `out`
    no_light: float = 0.0  # its signal in the encoding that grades work in
    patches: Annotated[
        Mapping[str, object], AfterValidator(_patches)
    ] = {}  # black, grey, white and the chart through the exact look
    look_patches: Mapping[str, Annotated[Mapping[str, object], AfterValidator(_patches)]] = {}  # of `looks`
    outputs: tuple[OutputSpec, ...]
    segments: tuple[SegmentSpec, ...]
    fields: dict[str, str]  # what burn-in may show, beside the running values
    metadata: dict[str, str]  # written into containers that can hold it
    record: dict[str, object]  # what the job record says that rendering does not find out

    def look_of(self, output: OutputSpec) -> LookSpec:
        """The look that an output shows. OptionError where the job has none of that name, as in a queue that was damaged."""
        if not output.look:
            return self.look
        if output.look not in self.looks:
            raise OptionError(f"the job has no look {output.look!r}; add its list again", key="looks")
        return self.looks[output.look]

    @classmethod
    def parse(cls, payload: Mapping[str, object]) -> JobSpec:
        """A job from plain values. OptionError with its key for what is none, as in a queue that was damaged; OutsideError for
        a name that leads out of its folder."""
        try:
            return cls.model_validate(payload)
        except ValidationError as error:
            key, words = key_and_words(error.errors(include_url=False)[0], payload, {"": cls})
            text = f"the queue holds this job damaged: {words[:200]}; add its list again"
            raise OptionError(text, key=key or None) from None
