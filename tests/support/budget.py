"""Processor time that tests take, a folder of them, against what each may take: said at the end of every run.

User and system time of this process and of all that it started and saw the end of: no clock, so that a busy machine
is no excuse. Nothing fails by it; a folder over its budget is the next one to be made shorter.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest

# Seconds for a whole run. On two cores all of it, and what collecting takes, is over in some eight minutes.
BUDGET = {
    ".": 55,
    "batch/again": 22,
    "batch/cli": 36,
    "batch/farm": 28,
    "batch/plan": 16,
    "batch/queue": 15,
    "batch/report": 18,
    "batch/run": 75,
    "batch/verify": 40,
    "nights": 240,
    "pipelines/grading": 28,
    "pipelines/originals": 32,
    "pipelines/outputs": 40,
    "pipelines/render": 25,
}
OTHERS = 12  # a folder that is not named
ALL = 820


def seconds() -> float:
    """Processor time of this process and of all that it started and that have ended."""
    return sum(os.times()[:4])


class Budget:
    """Counts in the processes that run tests, and says it in the one that was started."""

    def __init__(self, config: pytest.Config) -> None:
        self.config = config
        self.spent: Counter[str] = Counter()
        self.run: Counter[str] = Counter()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, Any, Any]:
        before = seconds()
        result = yield
        used = seconds() - before
        place = item.path.parent.relative_to(Path(__file__).parents[1]).as_posix()
        self.spent[place] += used
        self.run[place] += 1
        return result

    def pytest_sessionfinish(self) -> None:
        if hasattr(self.config, "workeroutput"):
            self.config.workeroutput["budget"] = (dict(self.spent), dict(self.run))

    @pytest.hookimpl(optionalhook=True)
    def pytest_testnodedown(self, node: Any) -> None:
        spent, run = getattr(node, "workeroutput", {}).get("budget", ({}, {}))
        self.spent.update(spent)
        self.run.update(run)

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        terminalreporter.section("processor time, of its budget")
        for place, used in sorted(self.spent.items(), key=lambda one: -one[1]):
            may = BUDGET.get(place, OTHERS)
            over = "  over" if used > may else ""
            terminalreporter.line(f"{used:7.1f} of {may:4} s  {place} ({self.run[place]} tests){over}")
        terminalreporter.line(f"{sum(self.spent.values()):7.1f} of {ALL:4} s  in all")
