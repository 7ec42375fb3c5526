"""Property tests have no deadline: a loaded machine is no fault of the code. Other machines end with their test.

Files that take longest go first, so that no core waits for the last of them.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("rushlight", deadline=None)
settings.load_profile("rushlight")


LONGEST = (
    *("verify", "render", "originals", "faults", "queueing", "report", "night_faults", "proof", "farm_night"),
    *(
        "hdr_night",
        "farm",
        "kills",
        "engine",
        "spans",
        "head",
        "hooks",
        "queue",
        "damage",
        "reading",
        "forecast",
    ),
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    place = {f"test_{name}": k for k, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path.stem, len(LONGEST)))


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
