"""`rushlight verify`: deliveries measured against the log, and the verdicts kept beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from rushlight.batch.api.requests import output_folders
from rushlight.batch.closed_delivery import closed_delivery
from rushlight.batch.error_log import unexpected
from rushlight.batch.job_log import latest, read_log
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.shape import Shape
from rushlight.batch.records.verdicts import (
    ORDER,
    VERDICTS,
    AloneClip,
    CheckVerdict,
    ClipVerdicts,
    ComparedClip,
    Difference,
    ReferenceVerdict,
    Verdicts,
)
from rushlight.batch.report.kept_results import keep_verdicts
from rushlight.batch.report.pages import write_report
from rushlight.batch.verify.compare import against_references, compare
from rushlight.batch.verify.deliveries import verify as measure
from rushlight.pipelines.inside_folder import is_file

__all__ = [
    "AloneClip",
    "CheckVerdict",
    "ClipVerdicts",
    "ComparedClip",
    "Difference",
    "ReferenceVerdict",
    "VerifyResult",
    "verify",
]


@dataclass(frozen=True, kw_only=True)
class VerifyResult:
    """Verdicts on every delivered clip: "pass", "cannot tell", "warn" or "fail".

    `against` and `references` are None unless they were asked for. `not_reported` says why the report does not have
    these verdicts; empty where it has them. `damaged` has what is said of the damaged frames that clips were delivered
    with, by the `folder` and `job` of their verdicts: a clip may match its record and be one of these.
    """

    measured: str  # when, as ISO 8601 in UTC
    clips: tuple[ClipVerdicts, ...]
    notes: tuple[str, ...] = ()
    against: tuple[ComparedClip | AloneClip, ...] | None = None
    references: tuple[ReferenceVerdict, ...] | None = None
    not_reported: str = ""
    damaged: Mapping[tuple[str, str], Sequence[str]] = field(default_factory=dict)

    @property
    def failed(self) -> tuple[ClipVerdicts, ...]:
        return tuple(clip for clip in self.clips if clip.verdict == "fail")

    @property
    def counts(self) -> dict[str, int]:
        """Clips of each verdict, the best verdict first."""
        return {name: sum(clip.verdict == name for clip in self.clips) for name in ORDER}

    def verdicts(self) -> Verdicts:
        """The verdicts as they are kept beside the log."""
        return Verdicts(schema=VERDICTS, measured=self.measured, clips=list(self.clips), counts=self.counts)

    def document(self) -> dict[str, object]:
        """The document that the command prints with `--json`."""
        more: dict[str, object] = {}
        if self.notes:
            more["notes"] = list(self.notes)
        if self.against is not None:
            more["against"] = list(self.against)
        if self.references is not None:
            more["references"] = list(self.references)
        return self.verdicts().model_copy(update=more).plain()


def verify(
    dir: str | Path,
    *,
    no_hash: bool = False,
    against: str | Path | None = None,
    reference: str | Path | None = None,
    workers: int | None = None,
    on_clip: Callable[[str], None] = lambda clip: None,
) -> VerifyResult:
    """Measure the deliveries of an output folder, or of all of a day's: frames, timecode, tags, colour.

    The verdicts are kept beside its log, and its report shows them (into a closed delivery nothing is written); of several folders each clip says its own (`folder`). `against`: another render of the list, whose colour is
    compared. `reference`: a folder of frames taken from a monitor. `workers`:
    processes that measure; one a core if None, as far as there is enough to measure. `on_clip` is told each clip before it is measured.
    OptionError where a folder has no log.
    """
    folders, results = tuple(dict.fromkeys(output_folders(dir))), []
    for folder in folders:
        results.append(_verify(folder, no_hash, against, reference, workers, on_clip))
    return results[0] if len(results) == 1 else _together(folders, results)


def _verify(
    folder: Path,
    no_hash: bool,
    against: str | Path | None,
    reference: str | Path | None,
    workers: int | None,
    on_clip: Callable[[str], None],
) -> VerifyResult:
    clips = tuple(measure(folder, hashes=not no_hash, workers=workers, on_clip=on_clip))
    measured = datetime.now(UTC).isoformat(timespec="seconds")
    log = read_log(folder)
    delivered = [r for r in latest(log.records).values() if isinstance(r, DeliveredRecord)]
    compared = tuple(compare(folder, Path(against))) if against else None
    looked_at = tuple(against_references(folder, Path(reference))) if reference else None
    return VerifyResult(
        measured=measured,
        clips=clips,
        notes=tuple(log.notes),
        against=compared,
        references=looked_at,
        not_reported=_keep(folder, VerifyResult(measured=measured, clips=clips)),
        damaged={("", r.job): texts for r in delivered if (texts := r.damage_texts())},
    )


def _together(folders: Sequence[Path], results: Sequence[VerifyResult]) -> VerifyResult:
    """Verdicts on several output folders as one result."""
    each = [(str(folder), result) for folder, result in zip(folders, results, strict=True)]
    whole = VerifyResult(
        measured=results[0].measured,
        clips=tuple(_in(folder, clip) for folder, result in each for clip in result.clips),
        notes=tuple(f"{folder}: {note}" for folder, result in each for note in result.notes),
        not_reported="; ".join(f"{folder}: {r.not_reported}" for folder, r in each if r.not_reported),
        damaged={(folder, job): texts for folder, r in each for (_, job), texts in r.damaged.items()},
    )
    if results[0].against is not None:
        rows = tuple(_in(folder, row) for folder, result in each for row in result.against or ())
        whole = replace(whole, against=rows)
    if results[0].references is not None:
        frames = tuple(_in(folder, row) for folder, result in each for row in result.references or ())
        whole = replace(whole, references=frames)
    return whole


Told = TypeVar("Told", bound=Shape)


def _in(folder: str, told: Told) -> Told:
    """A verdict with the folder that it is of."""
    return told.model_copy(update={"folder": folder})


def _keep(folder: Path, result: VerifyResult) -> str:
    """Keep the verdicts and bring the report up to date, but of a closed delivery. Gives why that could not be done: it costs no verdict."""
    if closed_delivery(folder):
        return ""  # it stays as it was handed over
    try:
        keep_verdicts(result.verdicts(), folder)
        if is_file(folder, "report/index.html"):
            write_report(folder)
    except Exception as error:
        return unexpected(folder, "making the report", error)
    return ""
