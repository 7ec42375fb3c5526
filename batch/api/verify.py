"""`rushlight verify`: deliveries measured against the log, and the verdicts kept beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from rushlight.batch.api.requests import output_folders
from rushlight.batch.error_log import unexpected
from rushlight.batch.job_log import read_log
from rushlight.batch.records.verdicts import (
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
from rushlight.batch.verify.deliveries import ORDER
from rushlight.batch.verify.deliveries import verify as measure
from rushlight.pipelines.errors import OptionError
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
    these verdicts; empty where it has them.
    """

    measured: str  # when, as ISO 8601 in UTC
    clips: tuple[ClipVerdicts, ...]
    notes: tuple[str, ...] = ()
    against: tuple[ComparedClip | AloneClip, ...] | None = None
    references: tuple[ReferenceVerdict, ...] | None = None
    not_reported: str = ""

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
    """Measure the deliveries of an output folder: frames, timecode, tags, colour.

    The verdicts are kept beside its log, and its report shows them. `against`: another render of the list, whose colour is
    compared. `reference`: a folder of frames taken from a monitor. `workers`:
    processes that measure; one a core if None, as far as there is enough to measure. `on_clip` is told each clip before it is measured.
    OptionError where a folder has no log, or where a day has several folders.
    """
    folder = _one(dir)
    clips = tuple(measure(folder, hashes=not no_hash, workers=workers, on_clip=on_clip))
    measured = datetime.now(UTC).isoformat(timespec="seconds")
    notes = tuple(read_log(folder).notes)
    compared = tuple(compare(folder, Path(against))) if against else None
    looked_at = tuple(against_references(folder, Path(reference))) if reference else None
    return VerifyResult(
        measured=measured,
        clips=clips,
        notes=notes,
        against=compared,
        references=looked_at,
        not_reported=_keep(folder, VerifyResult(measured=measured, clips=clips)),
    )


def _one(place: str | Path) -> Path:
    """The output folder; of a day the only one. OptionError naming them where there are several."""
    folders = output_folders(place)
    if len(folders) > 1:
        listed = ", ".join(map(str, folders))
        raise OptionError(f"has several recipes, each with a folder; give one of {listed}", file=str(place))
    return folders[0]


def _keep(folder: Path, result: VerifyResult) -> str:
    """Keep the verdicts and bring the report up to date. Gives why that could not be done: it costs no verdict."""
    try:
        keep_verdicts(result.verdicts(), folder)
        if is_file(folder, "report/index.html"):
            write_report(folder)
    except Exception as error:
        return unexpected(folder, "making the report", error)
    return ""
