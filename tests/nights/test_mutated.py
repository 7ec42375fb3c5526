"""Inputs of every kind made wrong by number, through parsers and whole commands (see tests/support/mutator): texts, originals,
sound, and files of an output folder and queues. One process takes them all, and the seeds are made once."""

from collections.abc import Iterator

import pytest

from mutator.kinds import KINDS
from mutator.supervise import ALL, FEW, FEW_COMMANDS, Supervisor, held


def few(kind: str) -> int:
    """How many inputs of a kind are taken in every run."""
    return FEW_COMMANDS if KINDS[kind].group == "folders" else FEW


@pytest.fixture(scope="module")
def supervisor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Supervisor]:
    folder = tmp_path_factory.mktemp("mutated")
    found = Supervisor(home=folder / "home", kept=folder / "failed")
    yield found
    found.close()


@pytest.fixture
def quick(supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is sound is held to less than what is not: seconds of CPU, and of standing still."""
    monkeypatch.setattr(supervisor, "ended_at", 3.0)
    monkeypatch.setattr(supervisor, "still", 15.0)


@pytest.mark.parametrize("kind", KINDS)
def test_an_untouched_seed_passes(kind: str, supervisor: Supervisor, quick: None) -> None:
    answer = supervisor.one(kind, -2)
    assert not answer["fault"] and answer["codes"], answer
    assert KINDS[kind].group != "originals" or set(answer["codes"]) == {0}, answer


@pytest.mark.parametrize("kind", KINDS)
def test_a_few(kind: str, supervisor: Supervisor) -> None:
    held(supervisor, kind, 0, few(kind))


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_many(kind: str, supervisor: Supervisor) -> None:
    held(supervisor, kind, few(kind), ALL)


@pytest.mark.parametrize("kind", ["_waits", pytest.param("_waits_silently", marks=pytest.mark.slow)])
def test_a_night_that_waits_for_a_person_is_stopped_and_must_say_what_for(
    kind: str, supervisor: Supervisor, quick: None
) -> None:
    """The mutator itself, with the queue among the seeds."""
    answer = supervisor.one(kind, -1)
    if kind == "_waits_silently":
        supervisor.close(now=True)  # the silence was put into that process
    assert answer["codes"] == [3], answer
    assert ("did not say what for" in answer["fault"]) == (kind == "_waits_silently"), answer
