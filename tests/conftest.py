"""Property tests have no deadline: a loaded machine is no fault of the code. Other machines end with their test.

Files that take longest go first, so that no core waits for the last of them; of those that wait much for others (a farm, a
disk, a clock) there are enough that a small machine runs one process more than it has cores.
"""

import gc
import os
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("rushlight", deadline=None)
settings.load_profile("rushlight")


# `grader` first of all: it compiles the kernel, which everything that renders would else do once more at the same time;
# `dask_farm` and `displays` beside it need none. (.ci/run has it compiled before.)
LONGEST = (
    *("grader", "dask_farm", "displays", "mutated", "render", "kills", "docs", "deliveries"),
    *("damaged_records", "render_from", "movies", "outside", "farm_night", "interrupts", "night_faults"),
    *("originals", "day_run", "queue_commands", "slate_head", "watched_day", "day_watch", "telling"),
    *("benchmarks", "spanned_clips", "strangers", "forecast", "queue", "pages", "faults", "verify_command"),
    *("growing_originals", "join_segments", "revisions", "spread", "lattice", "compiled", "live_night"),
    *("sound_night", "movie_decoder", "versions", "hdr_night", "fdl_night", "hostile_text"),
    *("queue_operations", "hooks", "foreign", "progress", "saturation", "damage", "names", "look_command"),
    *("show_lut_spaces", "hand_over", "serve_command"),
)  # by seconds of the wall


def pytest_configure(config: pytest.Config) -> None:
    from budget import Budget

    config.pluginmanager.register(Budget(config), "budget")


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """Of the millions of objects that collecting makes none goes before the end: they are not looked through again and again."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_unconfigure() -> None:
    gc.unfreeze()


def pytest_xdist_auto_num_workers() -> int | None:
    """One process more than cores on a small machine: a third of the tests' time there is waiting. None: as xdist has it."""
    cores = len(os.sched_getaffinity(0))
    return cores + 1 if cores <= 4 else None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    place = {f"test_{name}": k for k, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path.stem, len(LONGEST)))


@pytest.fixture(scope="session", autouse=True)
def _state(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Nothing is written into the state folder of whoever runs the tests."""
    os.environ["XDG_STATE_HOME"] = str(tmp_path_factory.mktemp("state"))


@pytest.fixture()
def machines(tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """`machines(name, …)` is a new machine (machines.py), switched off at the end of the test."""
    from machines import Machine

    made: list[Machine] = []

    def new(name: str, **options: Any) -> Machine:
        made.append(Machine(tmp_path / name, **options))
        return made[-1]

    yield new
    for machine in made:
        machine.off()
