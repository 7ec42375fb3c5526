"""What viewers are told: one thread reads the state that the run writes, and makes each message once for all of them."""

from __future__ import annotations

import json
import os
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from rushlight.batch.job_log import LOG
from rushlight.batch.json_lines import plain_json
from rushlight.batch.live.night_folder import NightFolder
from rushlight.batch.live.night_pages import STATE
from rushlight.batch.live.now_page import SILENCE, anchor, clip_part, now_page, top_part
from rushlight.batch.live.run_words import RunWords
from rushlight.batch.records.night_state import ClipReady, NightState
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.inside_folder import is_file, open_file, output_name, stat_of
from rushlight.pipelines.visible_text import json_text

__all__ = ["NightHub"]

PICTURES, REPORT = "report/pictures", "report/index.html"
LOOK, CROWD = (
    1.0,
    100,
)  # seconds between two looks; and as many again for each so many viewers, since each look costs them all
QUIET = 3 * SILENCE  # seconds without a word after which that is said
BEHIND = 60.0  # seconds that a log may be newer than the last state of a night that is over


class NightHub:
    """The state of one output folder and its messages, numbered from 1 on. For several threads."""

    def __init__(self, out: Path) -> None:
        self.out = out
        self.version = 0
        self.boot = secrets.token_hex(4)  # numbers of another server mean nothing here
        self.open = True
        self._waiting = 0  # viewers
        self._changed = threading.Condition()
        self._clips: dict[str, tuple[int, ClipReady, bytes]] = {}  # by anchor: since when, and its message
        self._gone: dict[str, int] = {}
        self._html, self._top = "", b""
        self._page: tuple[int, bytes] = (-1, b"")
        self._batches: dict[int, bytes] = {}
        self._served: frozenset[str] = frozenset()
        self._stamp, self._quiet = self._stamps(), ""
        self.state, age = _read(out)
        self._heard = time.monotonic() - age
        self.look()

    # --- reading

    def keep_looking(self) -> None:
        """Look again and again, until it is closed."""
        while self.open:
            with suppress(Exception):  # a file that is no good now may be with the next look
                self.look()
            time.sleep(LOOK * (1 + self._waiting / CROWD))

    def close(self) -> None:
        """Let everybody go who waits."""
        with self._changed:
            self.open = False
            self._changed.notify_all()

    def look(self) -> None:
        """Read what is new, and wake who waits for it."""
        state, stamp = self.state, self._stamps()
        if stamp != self._stamp:
            state, _ = _read(self.out)
            self._heard, self._stamp = time.monotonic(), stamp
        quiet = ""
        if not state.is_over and time.monotonic() - self._heard > QUIET:
            quiet = _quiet(state)
        if state is not self.state or quiet != self._quiet or not self.version:
            self._tell(state, quiet)

    def _stamps(self) -> tuple[object, object]:
        return _stamp(self.out, STATE), _stamp(self.out, LOG)

    def _tell(self, state: NightState, quiet: str) -> None:
        report = is_file(self.out, REPORT)
        version, html = self.version + 1, top_part(state, quiet=quiet, report=report)
        now = {anchor(clip.job): clip for clip in state.ready}
        clips = {}
        for key, clip in now.items():
            kept = self._clips.get(key)
            if kept is None or kept[1] != clip:
                told = {"key": key, "html": clip_part(clip, _address(clip.thumb))}
                kept = version, clip, _message("clip", told)
            clips[key] = kept
        if (
            html == self._html and clips == self._clips
        ):  # written again, with nothing in it that a viewer sees
            self.state, self._quiet = state, quiet
            return
        top = _message("now", {"top": html}, number=f"{self.boot}-{version}")
        served = frozenset(path for clip in state.ready for path in _files(clip))
        with self._changed:
            self._gone |= {key: version for key in self._clips.keys() - clips.keys()}
            self._clips, self._top, self._served, self._batches = clips, top, served, {}
            self.state, self._quiet, self._html, self.version = state, quiet, html, version
            self._changed.notify_all()

    # --- telling

    @property
    def quiet(self) -> str:
        """Why nothing seems to run any more; empty where something does."""
        return self._quiet

    @property
    def number(self) -> str:
        """The number of the state, as a viewer gives it back."""
        return f"{self.boot}-{self.version}"

    def page(self) -> bytes:
        """The page as it is now, made once for all who ask."""
        with self._changed:
            if self._page[0] != self.version:
                report = is_file(self.out, "report/index.html")
                page = now_page(
                    self.state, picture=_address, live=self.number, report=report, quiet=self._quiet
                )
                self._page = self.version, page.encode("utf-8", "replace")
            return self._page[1]

    def document(self) -> bytes:
        """The state as JSON."""
        return json_text(self.state.plain()).encode("utf-8", "replace")

    def since(self, number: str) -> tuple[int, bytes]:
        """What is new since the state of that number, and the number that it leads to; the page is to be loaded again where this
        server does not know it."""
        with self._changed:
            boot, _, text = number.partition("-")
            known = boot == self.boot and text.isascii() and text.isdigit() and len(text) < 10
            if not known or int(text) > self.version:
                return self.version, _message("again", {})
            return self.version, self._batch(int(text))

    def wait(self, version: int, seconds: float) -> tuple[int, bytes]:
        """Wait for what is new since a version; the same version and nothing where there is none in time."""
        with self._changed:
            self._waiting += 1
            try:
                self._changed.wait_for(lambda: self.version != version or not self.open, seconds)
            finally:
                self._waiting -= 1
            return self.version, self._batch(version)

    def serves(self, path: str) -> bool:
        """True for a file that a clip was delivered as, or its pictures."""
        return path in self._served

    def _batch(self, since: int) -> bytes:
        if since == self.version:
            return b""
        if since not in self._batches:
            gone = [_message("gone", {"key": key}) for key, when in self._gone.items() if when > since]
            # The newest clip stands first in the state: told last, it comes to stand on top.
            new = [message for when, _, message in reversed(self._clips.values()) if when > since]
            self._batches[since] = b"".join([*gone, *new, self._top])
        return self._batches[since]


def _files(clip: ClipReady) -> Iterator[str]:
    """The files of a clip that may be served: whatever a state says, they are its pictures and what lies in an output's folder."""
    yield from (path for path in (clip.thumb, clip.still) if path.startswith(f"{PICTURES}/"))
    for path in (*clip.stills, *(movie.path for movie in clip.movies)):
        with suppress(RushlightError):
            yield output_name(path)


def _message(event: str, data: object, *, number: str = "") -> bytes:
    """A message of server-sent events (WHATWG HTML, 9.2.5); JSON has no line feeds."""
    head = f"id: {number}\n" if number else ""
    return f"{head}event: {event}\ndata: {json.dumps(data)}\n\n".encode()


def _address(path: str) -> str:
    """Address of a small picture from the page, both in `report`."""
    return path.removeprefix("report/")


def _quiet(state: NightState) -> str:
    try:
        when = f" since {datetime.fromisoformat(state.written).astimezone():%H:%M %Z}"
    except ValueError:
        when = ""
    return f"Nothing was heard of the night{when}: it may have been ended or the machine be off. Look at the machine."


def _stamp(out: Path, name: str) -> tuple[int, int, int] | None:
    try:
        info = stat_of(out, name)
    except (OSError, RushlightError):
        return None
    return info.st_ino, info.st_size, info.st_mtime_ns


def _read(out: Path) -> tuple[NightState, float]:
    """The state that the run wrote last, and its age in seconds; made from the log where there is none, or it is older than that."""
    try:
        with open_file(out, STATE) as stream:
            state, written = NightState.read(plain_json(stream.read())), os.fstat(stream.fileno()).st_mtime
        log = _stamp(out, LOG)
        if not (state.is_over and log and log[2] / 1e9 > written + BEHIND):
            return state, max(0.0, time.time() - written)
    except (OSError, ValueError, RushlightError):
        pass
    return _from_log(out), 0.0


def _from_log(out: Path) -> NightState:
    folder = NightFolder(out)
    return folder.state(RunWords(phase="over" if folder.begun else "waiting"), now=time.time())
