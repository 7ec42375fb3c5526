"""`rushlight check`: originals held against their hash manifests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from rushlight.batch.api.cancel import Cancel, reading
from rushlight.batch.api.requests import day_of
from rushlight.batch.check.check_day import check_day
from rushlight.batch.check.check_media import Checked, Progress, check_media
from rushlight.batch.check.clip_originals import AUTO
from rushlight.batch.closed_delivery import closed_delivery
from rushlight.batch.day.shooting_day import ShootingDay
from rushlight.batch.exit_codes import DONE, PARTLY
from rushlight.batch.records.handover import Handover
from rushlight.batch.records.verdicts import CHECK, CheckDocument, CheckedFile, CheckedManifest
from rushlight.pipelines.counted import counted
from rushlight.pipelines.errors import OptionError

__all__ = ["CheckProgress", "CheckResult", "CheckedFile", "CheckedManifest", "check"]

CheckProgress = Progress


@dataclass(frozen=True, kw_only=True)
class CheckResult:
    """Verdicts on a folder of originals or a closed delivery, or on a day's originals: `verdict` on all of it, `text` what to do."""

    checked: str  # when it began, as ISO 8601 in UTC
    media: Path
    verdict: str
    text: str
    manifests: tuple[CheckedManifest, ...]
    files: tuple[CheckedFile, ...]  # the worst first
    counts: dict[str, int]  # files by verdict
    notes: tuple[str, ...] = ()
    delivery: str = ""  # the folder's name where it is a closed delivery

    @property
    def code(self) -> int:
        """The command's exit code: 0 only where every file matches a manifest that is intact."""
        return DONE if self.verdict == "all match" else PARTLY

    def document(self) -> dict[str, object]:
        """The document that the command prints with `--json`."""
        return CheckDocument.read(
            {
                "schema": CHECK,
                "checked": self.checked,
                "media": str(self.media),
                "verdict": self.verdict,
                "text": self.text,
                "counts": self.counts,
                "manifests": list(self.manifests),
                "files": list(self.files),
                "notes": list(self.notes),
            }
        ).plain()


def check(
    media: str | Path,
    *,
    manifest: str | Path | None = None,
    cancel: Cancel | None = None,
    on_progress: Callable[[CheckProgress], None] = lambda progress: None,
) -> CheckResult:
    """Hold the originals in a folder, or in all media folders of a day, against their hash manifests (ASC MHL 2.0). Nothing is written.

    `manifest`: the one to hold them against, a file or a folder `ascmhl`; if None all that lie in `media`, of a day those that it
    names. `on_progress` is told
    which file is read, and how many bytes of all. It proves that the files are what the maker of the manifest saw, not that
    the card was complete. OptionError where `media` is no folder, ManifestError where `manifest` is none.
    """
    began = datetime.now(UTC).isoformat(timespec="seconds")
    place, day = Path(manifest) if manifest is not None else None, day_of(media)
    with reading(cancel, "all files were checked"):
        if day:
            found = _of_day(day, place, on_progress)
        else:
            found = check_media(Path(media), place, on_progress=on_progress)
    closed = None if day else closed_delivery(Path(media))
    return _result(began, found, closed)


def _of_day(day: ShootingDay, manifest: Path | None, on_progress: Callable[[CheckProgress], None]) -> Checked:
    """A day's media with the manifest that was given, else with those that it names, else with those that lie in the media."""
    notes = list[str]()
    given = (str(manifest),) if manifest else day.manifests(notes)
    if not given and not day.document.manifest:
        given = (AUTO,)
    if not day.document.media:
        raise OptionError(
            "is not stated; it takes the folders that hold the originals", file=str(day.path), key="media"
        )
    media = day.places(day.document.media)
    return check_day(day.path, media, given, notes=notes, on_progress=on_progress)


def _of_delivery(closed: Handover) -> str:
    """A closed delivery in a sentence: what it is, and whether it was whole when it was closed."""
    title = f" of {closed.title}" if closed.title else ""
    lacks = counted(len(closed.missing), "thing") if closed.missing else "nothing"
    was = "were" if len(closed.missing) > 1 else "was"
    return (
        f"this is the delivery {closed.folder}{title}, closed {closed.closed[:16].replace('T', ' ')} UTC; {lacks} {was} missing from it"
        " then, as its letter.txt says"
    )


def _result(began: str, found: Checked, closed: Handover | None) -> CheckResult:
    return CheckResult(
        checked=began,
        media=found.media,
        verdict=found.verdict,
        text=found.text,
        manifests=tuple(
            CheckedManifest(
                path=m.path, verdict=m.verdict, text=m.text, files=m.files, made=m.made, maker=m.maker
            )
            for m in found.manifests
        ),
        files=tuple(
            CheckedFile(
                path=f.path,
                verdict=f.verdict,
                text=f.text,
                size=f.size,
                kind=f.kind,
                stated=f.stated,
                found=f.found,
                manifest=f.manifest,
            )
            for f in found.files
        ),
        counts={word: count for word, count in found.counts.items()},
        notes=((_of_delivery(closed),) if closed else ()) + found.notes,
        delivery=closed.folder if closed else "",
    )
