"""The mutator itself: the same number is the same input, and every planted fault is found (nights/test_mutated.py has it that
an untouched seed passes)."""

from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from mutator.mutations import FORMS, mutated
from mutator.supervise import Supervisor


@pytest.fixture(scope="module")
def supervisor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Supervisor]:
    folder = tmp_path_factory.mktemp("mutator")
    found = Supervisor(home=folder / "home", kept=folder / "failed", ended_at=3.0, still=15.0, night=False)
    yield found
    found.close()


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(
    "data", [b"", b"\0", b"a", b'{"a": [1, {"b": null}]}', b"<a b='1'><c/></a>", b"a = 1\n", b"\xff" * 99]
)
def test_the_same_number_makes_the_same_input(form: str, data: bytes, tmp_path: Path) -> None:
    made = [mutated(data, form, Random(f"x {n}"), tmp_path) for n in range(60)]
    if form != "sqlite":  # a database has a clock in it
        assert made == [mutated(data, form, Random(f"x {n}"), tmp_path) for n in range(60)]
    assert len(set(made)) > 5


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("_raises", "ZeroDivisionError: planted"),
        ("_dies", "the process ended: -11"),
        ("_eats", "MemoryError"),
        pytest.param("_loops", "over 3 s of CPU", marks=pytest.mark.slow),
        pytest.param("_sleeps", "stood still for 2 s", marks=pytest.mark.slow),
        ("_warns", "RuntimeWarning: planted"),
        ("_touches", "touched outside"),
    ],
)
def test_a_planted_fault_is_found_and_its_input_kept(
    kind: str, said: str, supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        if kind == "_sleeps":
            patch.setattr(supervisor, "still", 2.0)
        (fault,) = supervisor.run([(kind, 0)])
    assert said in fault.text, fault
    assert fault.kept.read_bytes() and f"mutator {kind} 0 --input {fault.kept}" in str(fault)
    assert not supervisor.one("csv", -1)["fault"] or kind == "_touches"  # and it goes on


@pytest.mark.slow
def test_what_waits_for_ever_and_wakes_now_and_then_is_ended(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    supervisor.one("csv", -1)  # its process is there
    monkeypatch.setattr(supervisor, "longest", 5.0)
    (fault,) = supervisor.run([("_wakes", 0)])
    assert "over 5 s of the wall" in fault.text


def test_an_input_that_was_kept_is_given_to_the_same_commands(supervisor: Supervisor, tmp_path: Path) -> None:
    first = supervisor.one("csv", 7)
    (tmp_path / "kept").write_bytes((supervisor.home / "input").read_bytes())
    assert supervisor.one("csv", 7, tmp_path / "kept")["calls"] == first["calls"]
    assert (supervisor.home / "input").read_bytes() == (tmp_path / "kept").read_bytes()
