"""Report, clip tables and hash manifest of an output folder, written once its jobs are made."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.batch.cleared_log import CLEARED_LOG
from rushlight.batch.error_log import unexpected
from rushlight.batch.job_log import Log, latest, log_path, read_log
from rushlight.batch.run.events import PAGES, phase
from rushlight.batch.run.request_accounts import day_in
from rushlight.pipelines.counted import counted

if TYPE_CHECKING:
    from rushlight.batch.report.mhl_manifest import ManifestFile
    from rushlight.batch.run.disk_room import Room
    from rushlight.batch.run.event_stream import EventStream

__all__ = ["pages_are_current", "write_pages"]


def pages_are_current(out: Path) -> bool:
    """True if the report is newer than all that it tells: the log and the requests."""
    try:
        made = (out / "report" / "index.html").stat().st_mtime_ns
        told = [log_path(out), *(out / "log" / "requests").glob("*.json")]
        if (cleared := out / CLEARED_LOG).exists():
            told.append(cleared)
        return all(path.stat().st_mtime_ns <= made for path in told)
    except OSError:
        return False


def write_pages(out: Path, events: EventStream, room: Room) -> Log | None:
    """Report, clip tables and hash manifest of an output folder, once there is something to tell; the log that they tell."""
    if not log_path(out).is_file():
        return None
    log = read_log(out)
    clips = len(day_in(out, log).entries)
    text = f"making the pages of {out.name}: {counted(clips, 'clip')} in all"
    events.event(phase(PAGES, 0, clips, text=text))
    _report(out, log, events, room)
    tables = _clip_tables(out, log, events, room)
    _manifest(out, log, tables, events, room)
    events.event(phase(PAGES, clips, clips))
    return log


def _report(out: Path, log: Log, events: EventStream, room: Room) -> None:
    """Pages from the log. A fault of theirs is said, and costs no delivery."""
    from rushlight.batch.report.pages import write_report

    try:
        events.report(room.to(out, lambda: write_report(out, log)).resolve())
    except Exception as error:
        events.warning(f"the report was not made: {unexpected(out, 'making the report', error)}")


def _clip_tables(out: Path, log: Log, events: EventStream, room: Room) -> list[ManifestFile]:
    """Clip tables beside the movies, as the manifest lists them. A fault of theirs is said, and costs no delivery."""
    from rushlight.batch.report.clip_tables import write_clip_tables

    try:
        return room.to(out, lambda: write_clip_tables(out, log))
    except Exception as error:
        events.warning(f"the clip tables were not written: {unexpected(out, 'writing them', error)}")
        return []


def _manifest(out: Path, log: Log, tables: Sequence[ManifestFile], events: EventStream, room: Room) -> None:
    """The delivery's hashes in ASC MHL form, for whoever copies it. A fault of it is said, and costs no delivery."""
    import platform
    from datetime import UTC, datetime
    from importlib.metadata import version

    from rushlight.batch.report.mhl_manifest import delivered_files, write_manifest

    try:
        write = partial(
            write_manifest,
            out,
            sorted([*delivered_files(latest(log.records).values()), *tables], key=lambda file: file.path),
            when=datetime.now(UTC),
            host=platform.node(),
            version=version("rushlight"),
            retired="log/manifests",
            ignore=("log/", "report/", "revisions/", ".work/"),
        )
        room.to(out, write)
    except Exception as error:
        events.warning(f"the hash manifest was not written: {unexpected(out, 'writing it', error)}")
