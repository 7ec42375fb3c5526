"""Originals that somebody is still writing: they wait until they stand still, and are no errors.

An original is held for growing when it was written to within the last seconds (or in the future, by a clock that
was set back) and either changes between two looks or does not open yet; or when a worker found it changed since it
was planned. It is taken once its sizes and times have stood still for `CALM` seconds, as this process saw them. What
changes without being caught here is caught by the worker, which compares size and time before the file is final.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from rushlight.batch.plan.model import Plan, PlannedClip
from rushlight.pipelines.counted import shortened
from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.inside_folder import same_time
from rushlight.pipelines.originals.probe import probe

__all__ = ["CALM", "Growth", "growing_text", "state_of"]

CALM = 10.0  # seconds
LOOK = 0.25  # seconds between two looks at an original that was just written
State = tuple[int, int, int]


def state_of(path: Path) -> State:
    """Files, bytes and the latest time (ns) of an original: a file, a folder of files, or a pattern of them."""
    found: list[os.stat_result] = []
    with suppress(OSError):
        if path.is_dir():
            files = [entry for entry in os.scandir(path) if entry.is_file()]
        elif "#" in path.name:
            head, tail = path.name.split("#")[0], path.name.rsplit("#", 1)[-1]
            files = [e for e in os.scandir(path.parent) if e.name.startswith(head) and e.name.endswith(tail)]
        else:
            info = path.stat()  # once: its size and time are of one moment
            return 1, info.st_size, info.st_mtime_ns
        for file in files:
            found.append(file.stat())
    return len(found), sum(s.st_size for s in found), max((s.st_mtime_ns for s in found), default=0)


@dataclass
class Growth:
    """Originals that are still growing: their state as last seen, and since when it is so."""

    clock: Callable[[], float] = time.monotonic
    now: Callable[[], float] = time.time
    sleep: Callable[[float], None] = time.sleep
    seen: dict[Path, tuple[State, float]] = field(default_factory=dict)

    def fresh(self, path: Path) -> bool:
        """True if an original was written to a moment ago."""
        return state_of(path)[2] / 1e9 > self.now() - CALM

    def still(self, path: Path) -> bool:
        """True if a growing original has stood still long enough."""
        state = state_of(path)
        known = self.seen.get(path)
        if known is None or known[0] != state:
            self.seen[path] = state, self.clock()
            return False
        return self.clock() - known[1] >= CALM

    def take_out(self, plan: Plan, changed: Iterable[Path] = ()) -> list[Path]:
        """Take the growing out of a plan, also those that a worker found changed; gives their paths."""
        for path in changed:
            self.still(path)  # from now on it is waited for
        doubtful = {c.path for c in plan.clips if self.fresh(c.path)} | self.seen.keys()
        if any(path not in self.seen for path in doubtful):
            self.sleep(LOOK)
        growing = {c.path for c in plan.clips if c.path in doubtful and not self._as_planned(c)}
        for path, _ in plan.unopened:
            if not self.still(path) if path in self.seen else self.fresh(path):
                growing.add(path)
        for path in growing:
            self.still(path)
        errors = {id(error) for path, error in plan.unopened if path in growing}
        plan.growing += [c.row for c in plan.clips if c.path in growing]
        plan.growing += [row for row, error in plan.broken if id(error) in errors]
        plan.clips = [c for c in plan.clips if c.path not in growing]
        plan.broken = [(row, error) for row, error in plan.broken if id(error) not in errors]
        plan.unopened = [(path, error) for path, error in plan.unopened if path not in growing]
        return sorted(growing)

    def _as_planned(self, clip: PlannedClip) -> bool:
        if clip.path in self.seen and not self.still(clip.path):
            return False
        try:
            rate = clip.facts.rate if clip.facts.rate_from != "header" else None
            now = probe(clip.path, rate=rate, files=clip.facts.files if clip.facts.parts else ())
        except RushlightError:
            return False
        planned = clip.facts
        alike = (now.bytes, now.frames) == (planned.bytes, planned.frames)
        return alike and same_time(now.mtime_ns, planned.mtime_ns)

    def wait(self, growing: Iterable[Path], stopped: Callable[[], bool]) -> bool:
        """Until one of them stands still. False where it was stopped before."""
        growing = list(growing)
        while not stopped():
            if any([self.still(path) for path in growing]):
                return True
            self.sleep(0.5)
        return False


def growing_text(paths: Iterable[Path]) -> str:
    """Message about originals that are waited for."""
    names = shortened([path.name for path in paths])
    return f"{names}: still growing; it is taken once it has not changed for {CALM:.0f} s"
