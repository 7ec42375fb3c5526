"""The pages of a night kept current while it runs: `report/now.json` and `report/now.html` of each of its output folders.

Written by a thread of its own, so that no frame waits for them, and no oftener than costs a hundredth of one core (but for the first
time, when a long log is read). Whatever goes wrong with them costs the night nothing.
"""

from __future__ import annotations

import base64
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from copy import deepcopy
from pathlib import Path
from types import TracebackType

from rushlight.batch.error_log import unexpected
from rushlight.batch.live.night_folder import NightFolder
from rushlight.batch.live.now_page import SILENCE, now_page
from rushlight.batch.live.run_words import RunWords
from rushlight.batch.records.events import EventDocument
from rushlight.batch.records.night_state import NightState
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.inside_folder import is_file, read_bytes, unlink, write
from rushlight.pipelines.visible_text import json_text

__all__ = ["PAGE", "STATE", "NightPages"]

PAGE, STATE = "report/now.html", "report/now.json"
EVERY = 2.0  # seconds at least between two writings
SHARE = 100  # and so many times what the last one cost


class NightPages:
    """Follows a run's events. Give it to `EventStream.followers` and use it as a context manager around the run.

    `on_state` is told each state that was written, with its folder, on the thread that wrote it. What it raises is kept in the
    folder's error log.
    """

    def __init__(self, on_state: Callable[[Path, NightState], object] = lambda out, state: None) -> None:
        self.on_state = on_state
        self.cost = 0.0  # seconds of processor time so far
        self._words = RunWords()
        self._folders: dict[Path, _Pages] = {}
        self._lock = threading.Lock()  # of all of these
        self._writing = threading.Lock()
        self._changed, self._ended = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._keep, name="live page", daemon=True)

    # --- what the run tells

    def follow(self, document: EventDocument) -> None:
        """An event of the run."""
        with self._lock:
            self._words.follow(document)
        self._changed.set()

    def hold(self, out: Path, queue: Path) -> None:
        """An output folder is this run's from now on, its jobs in that queue."""
        with self._lock:
            self._folders.setdefault(out, _Pages(NightFolder(out, queue)))
        self._changed.set()

    def let_go(self, out: Path) -> None:
        """A folder has nothing left to do, and another run may take it: its last page is written before this returns."""
        with self._lock:
            pages = self._folders.pop(out, None)
            words = deepcopy(self._words)
        if pages:
            words.phase, words.text, words.ends = "over", "", ""
            self._write(pages, words, last=True)

    # --- around the run

    def __enter__(self) -> NightPages:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        self._ended.set()
        self._changed.set()
        self._thread.join()
        with self._lock:
            if isinstance(error, KeyboardInterrupt):
                self._words.phase, self._words.ends = "stopped", ""
            self._words.broke_off(str(error) if error else "")
            folders = list(self._folders.values())
        for pages in folders:
            self._write(pages, deepcopy(self._words), last=True)

    def _keep(self) -> None:
        while not self._ended.is_set():
            self._changed.wait(SILENCE / 2)
            self._changed.clear()
            if self._ended.is_set():
                return
            before = self.cost
            with self._lock:
                folders, words = list(self._folders.values()), deepcopy(self._words)
            for pages in folders:
                self._write(pages, words)
            self._ended.wait(min(max(EVERY, SHARE * (self.cost - before)), SILENCE))

    def _write(self, pages: _Pages, words: RunWords, *, last: bool = False) -> None:
        with self._writing:
            if pages.over:
                return  # it was let go, and may be another run's
            begun = time.thread_time()
            pages.over = last
            try:
                with suppress(OSError, RushlightError):  # no room, a share that is away: with the next
                    state = pages.write(words, last=last)
                    if state:
                        self.on_state(pages.folder.out, state)
            except Exception as error:
                if not pages.failed:
                    unexpected(pages.folder.out, "writing the live page", error)
                pages.failed = True
            self.cost += time.thread_time() - begun


class _Pages:
    """State and page of one output folder."""

    def __init__(self, folder: NightFolder) -> None:
        self.folder = folder
        self.over = self.failed = self._tidied = False
        self._pictures: dict[str, str] = {}

    def write(self, words: RunWords, *, last: bool) -> NightState | None:
        """Write both; gives the state. None while nothing stands in the folder."""
        folder = self.folder
        if not folder.begun:
            return None
        self._tidy()
        state = folder.state(words, now=time.time())
        if last:
            folder.look_for_pictures()
            state = folder.state(words, now=time.time())
        page = now_page(state, picture=self._picture, report=is_file(folder.out, "report/index.html"))
        write(folder.out, PAGE, page.encode("utf-8", "replace"))
        write(folder.out, STATE, json_text(state.plain()).encode("utf-8", "replace"))
        return state

    def _picture(self, path: str) -> str:
        """A small picture as it stands in the page."""
        if path not in self._pictures:
            try:
                data = base64.b64encode(read_bytes(self.folder.out, path)).decode("ascii")
            except (OSError, RushlightError):
                return ""
            self._pictures[path] = f"data:image/jpeg;base64,{data}"
        return self._pictures[path]

    def _tidy(self) -> None:
        """Remove what a run that was killed in the middle of writing has left."""
        if self._tidied:
            return
        self._tidied = True
        for name in ("now.html", "now.json"):
            for path in (self.folder.out / "report").glob(f".{name}.*.part"):
                unlink(self.folder.out, f"report/{path.name}")
