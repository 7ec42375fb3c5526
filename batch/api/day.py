"""`rushlight day`: a shooting day from one document; run as its cards come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Unpack

from rushlight.batch.api.cancel import Cancel
from rushlight.batch.api.nights import (
    NightOptions,
    OnEvent,
    crew_for,
    events_for,
    held_to,
    take_from,
    terms_for,
)
from rushlight.batch.api.render import RenderResult
from rushlight.batch.api.requests import known_alone
from rushlight.batch.api.tell import Told, tell
from rushlight.batch.day.found_media import FoundMedia, look_into
from rushlight.batch.day.shooting_day import load_day
from rushlight.batch.day.starter import starter_text, still_missing, write_starter
from rushlight.batch.run.forecast import next_time
from rushlight.batch.run.queue_operations import default_queue
from rushlight.batch.watch.completeness import Patience
from rushlight.batch.watch.day_run import Release, release_day, run_day
from rushlight.batch.watch.day_watch import Pace

__all__ = ["FoundCamera", "NewDay", "Release", "Told", "new", "release", "run", "tell"]


@dataclass(frozen=True, kw_only=True)
class FoundCamera:
    """A camera, as far as names and headers tell. `suggested`: the encoding that its headers name, to be checked."""

    name: str
    header: str
    clips: tuple[str, ...]
    formats: str
    suggested: str


@dataclass(frozen=True, kw_only=True)
class NewDay:
    """A day document that was written, what was found, and what a person still has to state."""

    file: Path
    cameras: tuple[FoundCamera, ...]
    sound: tuple[Path, ...]  # folders
    sound_files: int
    rates: Mapping[str, int]  # clips by frame rate
    unreadable: tuple[tuple[Path, str], ...]
    missing: tuple[str, ...]

    @classmethod
    def of(cls, file: Path, found: FoundMedia) -> NewDay:
        return cls(
            file=file.resolve(),
            cameras=tuple(
                FoundCamera(
                    name=group.name,
                    header=group.header,
                    clips=tuple(str(seen.path) for seen in group.clips),
                    formats=group.formats,
                    suggested=group.suggested,
                )
                for group in found.cameras
            ),
            sound=found.sound,
            sound_files=found.sound_files,
            rates=found.rates,
            unreadable=found.unreadable,
            missing=tuple(still_missing(found)),
        )

    def document(self) -> dict[str, object]:
        """The document that the command prints with `--json`."""
        return {
            "schema": "rushlight-day-new-1",
            "file": str(self.file),
            "cameras": [vars(each) | {"clips": list(each.clips)} for each in self.cameras],
            "sound": [str(folder) for folder in self.sound],
            "sound_files": self.sound_files,
            "rates": dict(self.rates),
            "unreadable": [{"path": str(path), "why": why} for path, why in self.unreadable],
            "missing": list(self.missing),
        }


def new(media: str | Path, *, to: str | Path) -> NewDay:
    """Write a day document to begin with, from the headers of the originals under `media`, into the new file `to`.

    OptionError where that is there already or lies among originals, ListError where there is no original.
    """
    found, file = look_into(Path(media)), Path(to)
    write_starter(starter_text(found, file), file, found)
    return NewDay.of(file, found)


def run(
    day: str | Path,
    *,
    queue: str | Path | None = None,
    until: str = "",
    hold: bool = False,
    still: float = 60.0,
    every: float = 2.0,
    on_event: OnEvent | None = None,
    cancel: Cancel | None = None,
    **options: Unpack[NightOptions],
) -> RenderResult:
    """Run a day: take in each card once it is complete, and make what its recipes say, until it is cancelled, or nothing new after
    `until` ("05:30").

    It feeds and runs the same queue as `queue.run`, under the same lock. `hold`: cards are taken in, and nothing of them is rendered
    before `release`. A card without a manifest is complete once it has not changed for `still` seconds; the day is looked at `every`
    few seconds. Events, `cancel` and errors are as for `render`; RecipeError where the document is wrong.
    """
    known_alone(options, NightOptions)
    found, cancel = load_day(Path(day)), cancel or Cancel()
    take_from(found, options)
    events = events_for(on_event, cancel)
    terms = terms_for(options, events, cancel)
    end = next_time(until, datetime.now(UTC)) if until else None
    quiet = Patience()
    patience = Patience(quiet=still, looks=quiet.looks, unfinished=still * quiet.unfinished / quiet.quiet)
    pace = Pace(every=every, cards=patience, inputs=min(Pace().inputs, still))

    def night() -> int:
        crew = crew_for(options)
        return run_day(
            found, _queue(queue), crew=crew, until=end, hold=hold, pace=pace, events=events, terms=terms
        )

    return RenderResult.of(events, held_to(terms, options, events, night, day=found))


def release(day: str | Path, *, queue: str | Path | None = None) -> Release:
    """Let a day that is held be rendered, and what joins it."""
    return release_day(load_day(Path(day)), _queue(queue))


def _queue(given: str | Path | None) -> Path:
    return Path(given) if given else default_queue()
