"""Headers of originals made wrong by number, through parsers and whole commands (see tests/support/mutator)."""

from collections.abc import Iterator

import pytest

from mutator.kinds import KINDS
from mutator.supervise import ALL, FEW, Supervisor, held

NAMES = [name for name, kind in KINDS.items() if kind.group == "originals"]


@pytest.fixture(scope="module")
def supervisor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Supervisor]:
    folder = tmp_path_factory.mktemp("mutated")
    found = Supervisor(home=folder / "home", kept=folder / "failed", night=False)
    yield found
    found.close()


@pytest.mark.parametrize("kind", NAMES)
def test_a_few(kind: str, supervisor: Supervisor) -> None:
    held(supervisor, kind, 0, FEW)


@pytest.mark.slow
@pytest.mark.parametrize("kind", NAMES)
def test_many(kind: str, supervisor: Supervisor) -> None:
    held(supervisor, kind, FEW, ALL)
