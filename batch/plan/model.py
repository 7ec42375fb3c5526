"""The plan's records: a clip with everything resolved, what its signal is and who says so, and a whole list."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from rushlight.batch.cameras.camera_facts import camera_facts
from rushlight.batch.cameras.camera_groups import Seen
from rushlight.batch.check.clip_originals import ClipCheck
from rushlight.batch.decisions.decision import Decision
from rushlight.batch.framing.framing_files import ClipFdl
from rushlight.batch.framing.output_framing import OutputFrame, frame_output
from rushlight.batch.lists.camera_columns import NOTHING, Camera
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.records.day_title import NO_TITLE, DayTitle
from rushlight.batch.records.original import CameraFact
from rushlight.batch.records.summary import Missing
from rushlight.batch.sound.take_matching import Chosen
from rushlight.pipelines.colour.camera_encodings import Encoding
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.job.delivered_names import Names
from rushlight.pipelines.job.spec import LookSpec
from rushlight.pipelines.originals.probe import Facts
from rushlight.pipelines.recipe.model import MovieOutput, StillsOutput

__all__ = ["Plan", "PlannedClip", "Signal", "Stated", "stem_of"]


@dataclass(frozen=True, kw_only=True)
class Stated:
    """Statement of one authority (a row, a side file, the recipe, an option) about a clip's signal; empty
    where it is silent."""

    who: str
    encoding: str = ""
    levels: str = ""
    exposure_index: int | None = None
    rate: str = ""


@dataclass(frozen=True, kw_only=True)
class Signal:
    """Encoding and levels of an original's code values, and who stated them."""

    encoding: Encoding
    encoding_from: str
    levels: str
    levels_from: str
    chroma: str
    levels_stated: bool = False  # by a person, not by the header or a maker's rule
    exposure_index_from: str = ""  # empty where nobody states it, and the encoding implies one or has none


@dataclass(frozen=True, kw_only=True)
class PlannedClip:
    """One clip with everything resolved."""

    row: Row
    path: Path
    facts: Facts
    stem: str
    first: int  # frame number in the original
    count: int
    rate: FrameRate  # it is played at
    capture_rate: FrameRate | None = None  # it was exposed at, where header or list say it
    timecode: Timecode  # of `first`
    reel: str
    retimed: bool
    signal: Signal
    decision: Decision
    look: LookSpec  # the recipe's
    looks: Mapping[str, LookSpec] = field(default_factory=dict)  # those of outputs that have another, by name
    shows: Mapping[str, str] = field(default_factory=dict)  # names of these outputs -> name in `looks`
    warnings: tuple[str, ...] = ()
    camera: Camera = NOTHING
    sound: Chosen | None = None  # None where no sound folder was given
    manifest: ClipCheck | None = None  # None where no manifest was given
    folder: str = ""  # inside each output's folder, where twins need one
    fdl: ClipFdl | None = None  # its framing decision list
    frames: Mapping[str, OutputFrame] = field(default_factory=dict)  # of its outputs, by their names
    names: Mapping[str, Names] = field(
        default_factory=dict
    )  # of outputs with templates, by the output's name
    outputs: tuple[str, ...] = ()  # that are to be made now; all of the recipe's where none is named
    excerpt: str = ""  # of a part that was asked for alone: `IN-OUT`, or a still's timecode
    still: bool = False  # that part is one frame, for stills alone

    @property
    def called(self) -> str:
        """The clip as the list names it, with the part of it that this is."""
        return f"{self.row.clip} {self.excerpt}" if self.excerpt else self.row.clip

    def look_of(self, output: str) -> LookSpec:
        """The look that the output of this name shows."""
        return self.looks[self.shows[output]] if output in self.shows else self.look

    @cached_property
    def camera_facts(self) -> dict[str, CameraFact]:
        """Lens, exposure index and the like, by the row, else by defaults, else by the header."""
        index, who = self.signal.encoding.exposure_index, self.signal.exposure_index_from
        stated = CameraFact(value=str(index), said_by=who) if who and index else None
        return camera_facts(self.row.cells, self.row.filled, self.facts.metadata, index=stated)

    def frame_of(self, output: MovieOutput | StillsOutput) -> OutputFrame:
        """The frame of an output as it was planned; of one that was not, as it is without a framing decision."""
        return self.frames.get(output.name) or frame_output(output, self.camera, self.facts, None)


def stem_of(path: Path, facts: Facts) -> str:
    """The delivered file's stem: the original's, exactly; of a sequence its folder's or pattern's, of a movie
    in several files its pattern's."""
    if facts.kind == "movie" and not facts.parts:
        return path.stem
    if path.is_dir():
        return path.name
    return path.name.split("#")[0].rstrip("._-") or path.parent.name


@dataclass
class Plan:
    """A whole list, planned. `wrong` are rows that cannot be made, `broken` originals that are there and do not open."""

    clips: list[PlannedClip] = field(default_factory=list)
    wrong: list[tuple[Row, RushlightError]] = field(default_factory=list)
    broken: list[tuple[Row, RushlightError]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    named: list[Path] = field(default_factory=list)  # originals that rows name, chosen or not
    unopened: list[tuple[Path, RushlightError]] = field(default_factory=list)  # those of `broken`
    unstated: list[tuple[Seen, bool]] = field(
        default_factory=list
    )  # rows of `wrong` that state no encoding; with True where nothing else is wrong
    title: DayTitle = NO_TITLE
    missing: list[Missing] = field(default_factory=list)  # the same by camera
    growing: list[Row] = field(default_factory=list)  # rows whose originals are waited for
    not_chosen: int = 0  # rows
    one_by_one: int = 0  # rows more than the list has, where files of a clip are taken each for itself
    alike: int = 0  # rows that say the same as another
