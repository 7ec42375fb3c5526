"""10,000 jobs: adding, listing and running stay cheap; and the model of how many workers one runner feeds."""

import json
import os
import time
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from here import rushlight
from rushlight.batch.queue.store import open_store
from saturation import Cost, busy, farm_of_two, measured, saturation, toy

MANY = 10_000


def test_the_model_is_what_queueing_theory_says_at_both_ends() -> None:
    """One worker: segment / (segment + cost). Very many: the runner's 1 / cost segments a second, whoever renders."""
    cost = Cost(computing=0.01, waiting=0.0)
    assert busy(1, segment=1.0, cost=cost) == pytest.approx(1 / 1.01, rel=1e-3)
    assert busy(1000, segment=1.0, cost=cost) == pytest.approx(1 / (1000 * 0.01), rel=0.02)
    assert busy(50, segment=1.0, cost=Cost(computing=0.0, waiting=0.0)) == pytest.approx(1.0, rel=0.01)
    assert saturation(1.0, cost, 0.5) == pytest.approx(200, rel=0.03)
    disk = Cost(
        computing=0.001, waiting=0.05
    )  # a slow disk holds up few, since all that wait share a transaction
    assert busy(2, segment=1.0, cost=disk) > 0.98 and busy(400, segment=1.0, cost=disk) > 0.9


@given(st.integers(1, 100), st.floats(0.2, 10), st.floats(0, 0.1), st.floats(0, 0.1))
def test_no_worker_is_busier_than_always(workers: int, segment: float, computing: float, disk: float) -> None:
    share = busy(workers, segment=segment, cost=Cost(computing=computing, waiting=disk), rounds=40)
    assert 0 < share <= 1.05
    assert share <= 1.05 * segment / (workers * computing) if computing else True


def test_ten_thousand_jobs_are_added_and_listed_in_two_seconds(tmp_path: Path) -> None:
    """In seconds of a processor: other work on the machine is no fault of the queue."""
    filler = "x" * 6000  # as much as a job of two outputs
    with open_store(tmp_path / "q.sqlite") as store:
        begun = time.process_time()
        store.add(toy(tmp_path, f"c{n}", 8, filler=filler) for n in range(MANY))
        assert time.process_time() - begun < 2
        begun = time.process_time()
        for part in range(10):  # again, in ten lists: as if revised
            names = range(part * MANY // 10, (part + 1) * MANY // 10)
            store.add(toy(tmp_path, f"c{n}", 8, filler=filler) for n in names)
        assert time.process_time() - begun < 2
        begun = time.process_time()
        store.add([toy(tmp_path, "one more", 8)])
        assert len(store.rows()) == MANY + 1 and time.process_time() - begun < 1
    begun = time.process_time()
    listed = rushlight("queue", "list", "--json", "--queue", tmp_path / "q.sqlite")
    assert time.process_time() - begun < 2
    assert len(json.loads(listed.stdout)) == MANY + 1


def test_a_task_costs_the_runner_little_beside_ten_thousand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside none, in one run: so that a slow machine is no fault of ours. What it is in milliseconds stands in docs/decisions."""
    here = [str(Path(__file__).parents[2] / "support"), os.environ.get("PYTHONPATH", "")]
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, here)))
    costs = []
    with closing(farm_of_two()) as farm:
        for name, jobs, queued in (("warm", 1, 0), ("alone", 5, 0), ("beside", 5, MANY)):
            (tmp_path / name).mkdir()
            costs.append(measured(tmp_path / name, farm, jobs=jobs, segments=8, queued=queued))
    _, alone, beside = costs
    assert beside.computing < 2 * alone.computing, costs
