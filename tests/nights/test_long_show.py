"""A show of sixty days: what is asked of one day costs what a day costs, and the whole queue is listed in seconds of processor, not minutes."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from here import HereFarm, farm_here, run  # noqa: F401
from long_show import Show, simulated

MOST = 2.0  # seconds of processor, in a process that has loaded what it needs

_heard: list[set[str]] = []


def _hear(event: str, arguments: tuple[object, ...]) -> None:
    if _heard and event in ("open", "os.listdir", "os.scandir") and isinstance(arguments[0], str):
        _heard[-1].add(arguments[0])


@contextmanager
def opened() -> Iterator[set[str]]:
    """Files and folders that Python opens in here."""
    if not getattr(_hear, "added", False):
        sys.addaudithook(_hear)  # for good: hooks cannot be taken away
        _hear.added = True  # type: ignore[attr-defined]
    found: set[str] = set()
    _heard.append(found)
    try:
        yield found
    finally:
        _heard.remove(found)


def asked(show: Show) -> dict[str, Callable[[], tuple[int, str]]]:
    """What is asked on the last day."""
    last = show.day(show.days)
    return {
        "plan": lambda: run("plan", *show.request(show.days)),
        "plan --out": lambda: run("plan", *show.request(show.days), "--out", last / "out"),
        "report": lambda: run("report", last / "out"),
        "queue list": lambda: run("queue", "list", "--json", "--queue", show.queue),
    }


def test_what_is_asked_of_a_day_opens_no_other_day(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    show = simulated(tmp_path, days=4, clips=2)
    others = tuple(f"{show.day(number)}/" for number in range(1, show.days))
    for name, ask in asked(show).items():
        with opened() as places:
            code, said = ask()
        assert code == 0, (name, said)
        if name != "queue list":
            assert any(place.startswith(str(show.day(show.days))) for place in places), name
        assert not [p for p in places if p.startswith(others)], name
    assert len(json.loads(said)) == 4 * 2
    with opened() as places:  # the whole show as --media: there it does
        run("plan", show.request(4)[0], "--recipe", show.recipe, "--media", show.folder)
    assert any(p.startswith(others) for p in places)


@pytest.mark.slow
def test_sixty_days_of_forty_clips_cost_seconds_of_processor(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    show = simulated(tmp_path, days=60, clips=40)
    everything = ("plan", show.request(60)[0], "--recipe", show.recipe, "--media", show.folder)
    cost = {}
    for name, ask in {**asked(show), "plan --media SHOW": lambda: run(*everything)}.items():
        begun = time.process_time()
        code, said = ask()
        cost[name] = round(time.process_time() - begun, 2)
        assert code == 0, (name, said)
    print(cost)
    assert all(seconds < MOST for seconds in cost.values()), cost
