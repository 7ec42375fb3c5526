"""What stands in an output folder while a night writes it: its log read on from where it was left, its requests, its queue's rows."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from rushlight.batch.job_log import LOG
from rushlight.batch.json_lines import parse_lines, plain_json
from rushlight.batch.live.run_words import RunWords
from rushlight.batch.live.state import NightState, night_state, ready_clip
from rushlight.batch.plan.request_ledger import FOLDER, Day, day_of, read_askings
from rushlight.batch.queue.glance import QueueGlance, glance_at
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord, read_record
from rushlight.batch.records.night_state import CardNow, ClipReady
from rushlight.batch.records.watched_day import WATCHED_FILE, WatchedDay
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.inside_folder import is_file, open_file, read_bytes

__all__ = ["NightFolder"]


class NightFolder:
    """One output folder, looked at again and again. What has not changed since is not read again. Not for several threads."""

    def __init__(self, out: Path, queue: Path | None = None) -> None:
        self.out, self.queue = out, queue
        self.records: dict[str, JobRecord] = {}  # without what no page shows
        self.ready: dict[str, ClipReady] = {}
        self.errors: dict[str, str] = {}
        self.day = Day(entries=(), media=None)
        self.rows: tuple[QueueGlance, ...] = ()
        self._read_to = 0  # bytes of the log
        self._inode = 0
        self._asked: object = None  # as the requests' files stood
        self._queued: object = None  # as the queue's file stood
        self._watched: object = None  # as the day's file stood
        self._cards: list[CardNow] = []
        self._no_grade: frozenset[str] = frozenset()
        self._not_come: frozenset[str] = frozenset()
        self._listed = False  # a list says what is made
        self._ours: dict[str, bool] = {}
        self._bare: dict[str, DeliveredRecord] = {}  # delivered, and without a picture so far

    @property
    def begun(self) -> bool:
        """True if there is anything to show: a log, a request, or a day that is watched."""
        return (
            is_file(self.out, LOG)
            or is_file(self.out, WATCHED_FILE)
            or any((self.out / FOLDER).glob("*.json"))
        )

    def state(self, words: RunWords, *, now: float) -> NightState:
        """Its state now; what does not read at this moment stands as it did."""
        self._read_queue()  # ahead of the log: a clip that ends meanwhile is still running, never nowhere
        with suppress(OSError, RushlightError):
            self._read_log_and_requests()
            self._read_watched()
        return night_state(
            title=self.day.title.text or self.out.name,
            day=self.day,
            errors=self.errors,
            ready=self.ready,
            rows=self.rows,
            words=words,
            now=now,
            cards=self._cards,
            no_grade=self._no_grade,
            not_come=self._not_come,
            listed=self._listed,
        )

    def look_for_pictures(self) -> None:
        """Look again for the pictures of clips that had none when their records were read."""
        for record in list(self._bare.values()):
            self._show(record)

    def _read_queue(self) -> None:
        if self.queue is None:
            return
        stamp = _stamp(self.queue)
        if stamp == self._queued:
            return
        rows = glance_at(self.queue) if stamp else ()
        if rows is not None:
            self.rows, self._queued = tuple(row for row in rows if self._is_ours(row.out)), stamp

    def _is_ours(self, out: str) -> bool:
        if out not in self._ours:
            self._ours[out] = Path(out).resolve() == self.out.resolve()
        return self._ours[out]

    def _read_watched(self) -> None:
        """The cards of a day that is watched, and what waits for a grade."""
        stamp = _stamp(self.out / WATCHED_FILE)
        if stamp == self._watched:
            return
        self._watched, self._cards, self._no_grade = stamp, [], frozenset()
        self._not_come, self._listed = frozenset(), False
        if stamp:
            with suppress(ValueError):
                day = WatchedDay.read(plain_json(read_bytes(self.out, WATCHED_FILE)))
                self._no_grade = frozenset(clip.job for clip in day.no_grade)
                self._not_come = frozenset(clip.job for clip in day.not_come)
                self._listed = day.listed
                self._cards = [
                    CardNow(name=card.name, state=card.state, how=card.how, clips=card.clips, text=card.text)
                    for card in day.cards
                ]

    def _read_log_and_requests(self) -> None:
        new = self._read_log()
        asked = tuple(sorted((path.name, _stamp(path)) for path in (self.out / FOLDER).glob("*.json")))
        if new or asked != self._asked:
            self.day, self._asked = day_of(read_askings(self.out)[0], self.records), asked

    def _read_log(self) -> bool:
        """Read on to the log's last whole line. Gives whether there was any."""
        try:
            stream = open_file(self.out, LOG)
        except FileNotFoundError:
            return False
        with stream:
            info = os.fstat(stream.fileno())
            if info.st_ino != self._inode or info.st_size < self._read_to:  # another file than before
                self._inode, self._read_to = info.st_ino, 0
                for known in (self.records, self.ready, self.errors, self._bare):
                    known.clear()
            stream.seek(self._read_to)
            data = stream.read()
        end = data.rfind(b"\n") + 1
        self._read_to += end
        for _, record in parse_lines(data[:end], read_record, file=LOG)[0]:
            self._take(record)
        return end > 0

    def _take(self, record: JobRecord) -> None:
        """A clip's newest record."""
        job = record.job
        for known in (self.ready, self.errors, self._bare):
            known.pop(job, None)
        if isinstance(record, DeliveredRecord):
            self._show(record)
        else:
            self.errors[job] = record.error
        self.records[job] = record.model_copy(
            update={"outputs": [], "colour": None}
        )  # most of it, and not needed

    def _show(self, record: DeliveredRecord) -> None:
        from rushlight.batch.report.page_pictures import PICTURES, pictures_there  # loads the media libraries

        names = pictures_there(self.out, record)
        thumb, still = (names[kind] and f"{PICTURES}/{names[kind]}" for kind in ("small", "still"))
        clip = ready_clip(record, thumb=thumb, still=still)
        if clip:
            self.ready[record.job] = clip
        if not thumb:
            self._bare[record.job] = record
        else:
            self._bare.pop(record.job, None)


def _stamp(path: Path) -> tuple[int, int, int] | None:
    """Tells a file from what it was; None where it is not there."""
    try:
        info = path.stat()
    except OSError:
        return None
    return info.st_ino, info.st_size, info.st_mtime_ns
