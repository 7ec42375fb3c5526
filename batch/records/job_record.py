"""The job record: what an output folder's log says of one clip, a JSON line each; the latest of a clip holds.

What reads a record may rely on this and need not look again. A field that is not named here is a newer version's, or a
person's: it is kept, and written again. A record of a newer version is read as far as it has what this one knows.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Annotated, ClassVar, Literal

from pydantic import Field, TypeAdapter

from rushlight.batch.records.colour import Chart, Colour, Graded, SomeColour
from rushlight.batch.records.files import (
    ClipFraming,
    DeliveredMovie,
    Output,
    OutputFile,
    OutputName,
    Revision,
)
from rushlight.batch.records.look import Look, OtherLook, SomeLook
from rushlight.batch.records.original import (
    DAMAGED,
    CameraFacts,
    Counts,
    Damage,
    Original,
    Signal,
    Source,
    damage_said,
)
from rushlight.batch.records.shape import LATER, Count, Name, Number, Plain, Shape, Whole, shaped
from rushlight.batch.records.sound import ClipSound
from rushlight.pipelines.errors import OptionError, OutsideError, RushlightError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.inside_folder import file_name, output_name, parts_of

__all__ = [
    "RECORDS",
    "SCHEMA",
    "ClipRecord",
    "DeliveredRecord",
    "JobRecord",
    "MadeWith",
    "NotYetRecord",
    "RecipeName",
    "Replaced",
    "UndeliveredRecord",
    "is_newer",
    "read_record",
]

SCHEMA = "rushlight-job-1"
_VERSION = re.compile(r"rushlight-job-(\d{1,6})")


class RecipeName(Shape):
    """Recipe that a clip was made by."""

    name: str = Field(default="", description="Name of the recipe.")
    digest: str = Field(default="", description="SHA-256 of what it says, `sha256:HEX`.")


class Replaced(Shape):
    """A file that a revision replaced."""

    output: OutputName
    path: str = Field(description="Path that it had, from the output folder.")
    revision: Count = Field(description="Revision that it was made in.")
    kept: str = Field(
        description="Path where it is kept now, from the output folder; empty where it is removed."
    )
    hash: str = Field(default="", description="XXH3 of the file, 128 bits.")
    why: str = Field(description="What differs in the new one, or how else the file came to stand there.")
    bytes: Whole = Field(default=0, description="Size of the file, in bytes; 0 of older versions.")
    mtime_ns: Whole = Field(
        default=0,
        description="Time of last change of the file, in nanoseconds since 1970; 0 of older versions.",
    )


class MadeWith(Shape):
    """Versions that made the pictures of some outputs, and who graded these."""

    outputs: list[str] = Field(description="Names of the outputs.")
    versions: Mapping[str, str] = Field(
        description="Versions of rushlight and of the libraries that it decodes, grades and encodes with; and the kind of processor."
    )
    graded_by: list[Graded] = Field(
        default=[],
        description="Who graded which frames of their movies, the processor or a graphics card: the bytes are the same. Empty where none was graded, and of older versions.",
    )


ReelName = Annotated[str, Field(description="Reel of the clip.")]
Rate = Annotated[str, Field(description="Frames a second: a whole number or a fraction.")]
ClipFrames = Annotated[
    Count, Field(description="Number of frames of the clip; 0 where it was not delivered.")
]
First = Annotated[str, Field(description="Timecode of the clip's first frame, `HH:MM:SS:FF`.")]
Last = Annotated[str, Field(description="Timecode of the clip's last frame, `HH:MM:SS:FF`.")]
Warnings = Annotated[list[str], Field(description="Things to know of the clip, a sentence each.")]
Outputs = Annotated[list[Output], Field(description="Delivered files: movies and stills.")]
AboutSource = Annotated[Source, Field(description="Original of the clip.")]
AboutLook = Annotated[Look, Field(description="Look that the clip was made with.")]
ByRecipe = Annotated[RecipeName, Field(description="Recipe that the clip was made by.")]


_TILES: Mapping[str, set[str] | dict[str, set[str]]] = {
    "colour": {"tiles", "faults"},
    "outputs": {"__all__": {"tiles"}},
}


class ClipRecord(Shape):
    """Fields of every record of a clip, made or not; whatever else it has is of these types."""

    _ORDER: ClassVar[tuple[str, ...]] = ()  # of its first keys, where that is not the model's

    schema_: str = Field(alias="schema", description="Schema and version of the record.")
    job: Name = Field(description="Name of the job: the clip, and what tells it from others of its name.")
    clip: str = Field(description="Clip as the list names it.")
    status: str = Field(description="done, failed, set aside, withdrawn; on pages, also not yet.")
    reel: ReelName = ""
    rate: Rate = ""
    capture_rate: str | None = Field(
        default=None,
        description="Frames a second in the camera, where it is stated: a whole number or a fraction.",
    )
    frames: ClipFrames = 0
    first_frame: Count = Field(
        default=0, description="Frame number in the original of the clip's first frame."
    )
    first_timecode: First = ""
    last_timecode: Last = ""
    source: Source | None = Field(default=None, description="Original of the clip.")
    signal: Signal | None = Field(default=None, description="How the original's code values were read.")
    look: SomeLook | None = Field(default=None, description="Look of the clip: its recipe's.")
    looks: Mapping[str, OtherLook] = Field(
        default={}, description="Looks of outputs that do not show that one, by name."
    )
    recipe: RecipeName | None = Field(default=None, description="Recipe that the clip was made by.")
    excerpt: str = Field(
        default="",
        description="Part of the clip that was asked for alone: `IN-OUT` (out exclusive), or a still's timecode; empty of a whole clip.",
    )
    row: Mapping[str, str] | None = Field(default=None, description="Row of the list: its cells by column.")
    row_from: Mapping[str, str] = Field(
        default={},
        description="Of cells that the list does not state, who does: a table, a name, or the sound.",
    )
    camera_facts: CameraFacts = Field(default={})
    sound: ClipSound | None = Field(
        default=None, description="Sound of the clip; null where no sound folder was given."
    )
    framing: list[ClipFraming] = Field(
        default=[], description="What framing decisions (ASC FDL) make of its outputs."
    )
    outputs: Outputs = Field(default=[])
    colour: SomeColour = Field(default=SomeColour(), description="Colour of the clip.")
    chart: Chart | None = Field(
        default=None, description="A chart in the picture; null where the row names none."
    )
    original: Original | None = Field(default=None, description="What was seen in the original's pictures.")
    made_with: list[MadeWith] = Field(
        default=[], description="Versions that made the pictures of the outputs; empty of older versions."
    )
    counts: Counts | None = Field(default=None, description="Pixels outside 0..1 of the camera's signal.")
    warnings: Warnings = Field(default=[])
    damage: list[Damage] = Field(
        default=[], description="Frames of the original that did not decode cleanly."
    )
    revision: Revision = 1
    replaced: list[Replaced] = Field(default=[], description="Files that this revision replaced.")
    attempts: Count = Field(default=0, description="How often the job was started.")
    seconds: Number = Field(default=0.0, description="Time that the job took, in seconds of the clock.")
    started: str = Field(default="", description="When the job was started (ISO 8601).")
    finished: str = Field(default="", description="When the record was written (ISO 8601).")
    error: str = Field(default="", description="Why the clip, or a part of it, was not delivered.")

    def look_of(self, entry: OutputFile) -> SomeLook:
        """The look that a file of this record shows; empty where the record does not say."""
        return self.looks.get(entry.look) or self.look or SomeLook()

    def damage_texts(self) -> list[str]:
        """What is said of its damaged frames: its warnings on them, or else a sentence of its own; empty without any."""
        said = [text for text in self.warnings if text.startswith(DAMAGED)]
        if said or not self.damage:
            return said
        return damage_said(self.damage)

    def plain(self) -> Plain:
        return self._in_order(super().plain())

    def without_tiles(self) -> Plain:
        """The JSON object without its tiles, which are most of it: `verify` alone needs them, and reads them in the log."""
        return self._in_order(self.model_dump(by_alias=True, exclude_unset=True, exclude=_TILES))

    def _in_order(self, found: Plain) -> Plain:
        return {key: found[key] for key in (*self._ORDER, *found) if key in found}


_ERROR_FIRST = (
    *("schema", "job", "clip", "status", "error", "frames", "source", "look", "outputs", "colour"),
    *("warnings", "seconds", "finished", "row", "recipe", "signal", "attempts", "revision", "reel"),
    *("first_timecode", "rate"),
)


class NotYetRecord(ClipRecord):
    """A clip that a list asks for and that is not made yet, as the pages show it: no log has it."""

    _ORDER = _ERROR_FIRST
    status: Literal["not yet"] = Field(description="not yet.")


class JobRecord(ClipRecord):
    """A record of the log, of a clip delivered or not."""

    status: Literal["done", "failed", "set aside", "withdrawn"] = Field(
        description="done: delivered; failed; set aside: refused before it was made; withdrawn."
    )


class UndeliveredRecord(JobRecord):
    """A clip that was not delivered; `outputs` are what an earlier night delivered of it."""

    _ORDER = _ERROR_FIRST
    status: Literal["failed", "set aside", "withdrawn"] = Field(
        description="failed; set aside: refused before it was made; withdrawn."
    )
    colour: SomeColour = Field(description="Colour of what an earlier night delivered.")


class DeliveredRecord(JobRecord):
    """A clip that was delivered. With an `error` in it, a later part of the clip failed."""

    status: Literal["done"] = Field(description="done: delivered.")
    reel: ReelName
    rate: Rate
    frames: ClipFrames
    first_frame: Count = Field(description="Frame number in the original of the clip's first frame.")
    first_timecode: First
    last_timecode: Last
    source: AboutSource
    look: AboutLook
    recipe: ByRecipe
    outputs: Outputs
    colour: Colour = Field(description="Colour of the clip as it was made.")
    warnings: Warnings


RECORDS: TypeAdapter[DeliveredRecord | UndeliveredRecord] = TypeAdapter(
    Annotated[DeliveredRecord | UndeliveredRecord, Field(discriminator="status")], config=LATER
)


def read_record(value: Mapping[str, object]) -> DeliveredRecord | UndeliveredRecord:
    """A JSON object as a job record. OptionError with its key for what is none. One of a newer version passes if it has
    what this one knows."""
    schema = value.get("schema")
    if schema != SCHEMA and not is_newer(schema):
        raise OptionError(f"is a record of schema {schema!r}; this reads {SCHEMA}", key="schema")
    if value.get("status") == "done":
        record: DeliveredRecord | UndeliveredRecord = shaped(DeliveredRecord, value)
    else:
        record = shaped(UndeliveredRecord, value)
    _check_names(record)
    if record.status == "done":
        _check_timecodes(record)
    return record


def _check_timecodes(record: JobRecord) -> None:
    for number, entry in enumerate(record.outputs):
        try:
            if isinstance(entry, DeliveredMovie):
                Timecode.parse(entry.first_timecode, FrameRate.parse(entry.rate))
        except RushlightError as error:
            raise OptionError(f"is damaged: {error.text}", key=f"outputs[{number}].first_timecode") from None


def _check_names(record: JobRecord) -> None:
    """OutsideError with its key for the first name of a record that is none inside an output folder."""
    names: list[tuple[str, Callable[[str], object], str]] = [("job", file_name, record.job)]
    for n, entry in enumerate(record.outputs):
        names.append((f"outputs[{n}].path", output_name, entry.path))
    for n, picture in enumerate(record.colour.pictures):
        if picture.frames:
            names.append((f"colour.pictures[{n}].frames", parts_of, picture.frames))
    for key, check, name in names:
        try:
            check(name)
        except OutsideError as error:
            raise error.at(key=key) from None


def is_newer(schema: object) -> bool:
    """True if a record's schema is of a version after this one's."""
    match = _VERSION.fullmatch(str(schema))
    return match is not None and int(match[1]) > int(SCHEMA.rpartition("-")[2])
