"""Property tests have no deadline: a loaded machine is no fault of the code. Other machines end with their test."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

settings.register_profile("rushlight", deadline=None)
settings.load_profile("rushlight")


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
