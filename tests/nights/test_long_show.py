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


def test_space_adds_up_to_the_byte(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    _adds_up(simulated(tmp_path, days=4, clips=2))


def _adds_up(show: Show) -> None:
    """What `space` says of all days is what another walk over their files says, and kinds, days and total agree."""
    outs = [show.day(number) / "out" for number in range(1, show.days + 1)]
    code, said = run("space", *outs, "--json")
    assert code == 0, said
    told = json.loads(said)
    sizes = [[p.lstat().st_size for p in out.rglob("*") if p.is_file()] for out in outs]
    assert [folder["bytes"] for folder in told["folders"]] == [sum(each) for each in sizes]
    assert [folder["files"] for folder in told["folders"]] == [len(each) for each in sizes]
    assert told["bytes"] == sum(map(sum, sizes))
    assert told["bytes"] == sum(kind["bytes"] for folder in told["folders"] for kind in folder["holds"])
    outputs = sum(k["bytes"] for f in told["folders"] for k in f["holds"] if k["kind"] == "output")
    assert outputs == sum(p.lstat().st_size for out in outs for p in out.glob("*/*.mov")) + sum(
        p.lstat().st_size for out in outs for p in out.glob("*/*.mp4")
    )
    assert not any(kind["kind"] == "other" for folder in told["folders"] for kind in folder["holds"])


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
    begun = time.process_time()
    _adds_up(show)
    cost["space of all days"] = round(time.process_time() - begun, 2)
    print(cost)
    del cost["space of all days"]  # not held to what one day costs
    assert all(seconds < MOST for seconds in cost.values()), cost
