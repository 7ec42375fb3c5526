"""The child watched from outside: how long it takes, whether it lives; what failed is kept."""

from __future__ import annotations

import json
import os
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["ALL", "FEW", "FEW_COMMANDS", "Fault", "Supervisor", "held"]

MOST_CPU = 10.0  # seconds; an input that took more is run once more: a kernel may have been compiled
FEW, ALL = 8, 665  # inputs of a kind in every run, and with `-m slow` (over 20,000 beside the few)
FEW_COMMANDS = (
    3  # of kinds whose every input takes whole commands over a rendered folder, up to half a second
)
INPUTS = 2000  # a child's; then another one
ROOT = Path(__file__).resolve().parent.parent


@dataclass(frozen=True, kw_only=True)
class Fault:
    """An input that failed, how, and where it is kept."""

    kind: str
    number: int
    text: str
    kept: Path

    def __str__(self) -> str:
        again = f"PYTHONPATH=tests/support python -m mutator {self.kind} {self.number} --input {self.kept}"
        return f"--- {self.kind} {self.number}\n{self.text}\nagain: {again}"


def held(supervisor: Supervisor, kind: str, first: int, end: int) -> None:
    """Run the inputs of a kind from one number up to another; fails with all that failed."""
    faults = list(supervisor.run((kind, number) for number in range(first, end)))
    assert not faults, f"{len(faults)} of {end - first} inputs failed\n" + "\n".join(map(str, faults[:20]))


@dataclass
class Supervisor:
    """`home` gets the seeds; `kept` the inputs that failed."""

    home: Path
    kept: Path
    ended_at: float = 60.0  # seconds of CPU
    still: float = 60.0  # seconds of the wall without a tick of its CPU's clock
    longest: float = 240.0  # seconds of the wall: what waits may wake now and then
    night: bool = True  # the seeds have an output folder and a queue, which kinds of the group `folders` take
    child: subprocess.Popen[bytes] | None = None
    count: int = 0
    cpu: dict[str, float] = field(default_factory=dict)
    _buffer: bytes = b""

    def run(self, inputs: Iterable[tuple[str, int]]) -> Iterator[Fault]:
        """Run them all; gives those that failed."""
        for kind, number in inputs:
            answer = self.one(kind, number)
            if not answer["fault"] and answer["cpu"] > MOST_CPU:
                answer = self.one(kind, number)
                if not answer["fault"] and answer["cpu"] > MOST_CPU:
                    answer["fault"] = f"took {answer['cpu']:.1f} s of CPU: {answer['calls']}"
            self.cpu[kind] = self.cpu.get(kind, 0.0) + answer["cpu"]
            if answer["fault"]:
                self.kept.mkdir(parents=True, exist_ok=True)
                place = self.kept / f"{kind}-{number}"
                shutil.copyfile(self.home / "input", place)
                yield Fault(kind=kind, number=number, text=answer["fault"], kept=place)

    def one(self, kind: str, number: int, given: Path | None = None) -> dict[str, Any]:
        """One input: what the child said of it, or how it ended."""
        child = self._alive()
        assert child.stdin
        self.count += 1
        start = _cpu(child.pid)
        child.stdin.write(
            json.dumps({"kind": kind, "number": number, "input": str(given or "")}).encode() + b"\n"
        )
        child.stdin.flush()
        answer = self._answer(child, start)
        if isinstance(answer, dict):
            return answer
        calls = (self.home / "calls").read_text() if (self.home / "calls").is_file() else ""
        stderr = (self.home / "stderr").read_bytes()[-3000:].decode(errors="replace")
        self.close(now=True)
        return {"fault": f"{answer}\n{calls}{stderr}", "calls": [], "cpu": 0.0}

    def _answer(self, child: subprocess.Popen[bytes], start: float) -> dict[str, Any] | str:
        """The child's next line; or what ended it."""
        begun = moved = time.monotonic()
        last = start
        assert child.stdout
        while b"\n" not in self._buffer:
            if select.select([child.stdout], [], [], 0.5)[0]:
                data = os.read(child.stdout.fileno(), 1 << 20)
                if not data:
                    return f"the process ended: {child.wait()}"
                self._buffer += data
                continue
            now = _cpu(child.pid)
            if now > last + 0.05:
                moved, last = time.monotonic(), now
            if now - start > self.ended_at and start >= 0:
                return f"over {self.ended_at:.0f} s of CPU"
            if time.monotonic() - begun > self.longest and start >= 0:
                return f"over {self.longest:.0f} s of the wall"
            if time.monotonic() - moved > self.still:
                return f"stood still for {self.still:.0f} s"
        line, _, self._buffer = self._buffer.partition(b"\n")
        return dict(json.loads(line))

    def _alive(self) -> subprocess.Popen[bytes]:
        if self.count >= INPUTS:
            self.close()
        if self.child is None:
            self.home.mkdir(parents=True, exist_ok=True)
            self.count, self._buffer = 0, b""
            code = "import sys, pathlib; from mutator.child import main; main(pathlib.Path(sys.argv[1]), night=sys.argv[2] == 'True')"
            with (self.home / "stderr").open("wb") as stderr:
                self.child = subprocess.Popen(
                    [sys.executable, "-c", code, str(self.home), str(self.night)],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=stderr,
                    env=os.environ | {"PYTHONPATH": str(ROOT), "MALLOC_ARENA_MAX": "2"},
                    start_new_session=True,
                )
            ready = self._answer(self.child, -1.0)
            assert isinstance(ready, dict), (ready, (self.home / "stderr").read_text(errors="replace"))
        return self.child

    def close(self, *, now: bool = False) -> None:
        """End the child."""
        if self.child is not None:
            assert self.child.stdin and self.child.stdout
            if now:
                self.child.kill()
            try:
                self.child.stdin.close()
            except OSError:
                pass
            self.child.wait()
            self.child.stdout.close()
            self.child = None


def _cpu(pid: int) -> float:
    """Seconds of CPU that a process has used; 0 where that is not known."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return time.monotonic()  # taken for busy: the wall decides
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
