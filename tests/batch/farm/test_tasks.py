"""Tasks, and the cores that each of them may use."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.farm.tasks import MOST, Task, farm_is_gone, threads_each
from rushlight.pipelines.errors import QueueError


@pytest.mark.parametrize(
    ("tasks", "workers", "cores", "each"),
    [
        (1, 1, 4, 4),  # one short clip on an idle machine
        (3, 3, 8, 2),
        (4, 16, 16, 4),
        (16, 16, 16, 1),
        (500, 16, 16, 1),  # a night: a core for each worker
        (500, 2, 8, 4),  # fewer workers than the cores that are theirs
        (1, 1, 64, MOST),
        (0, 0, 0, 1),
    ],
)
def test_idle_cores_go_to_the_few_tasks_there_are(tasks: int, workers: int, cores: int, each: int) -> None:
    assert threads_each(tasks, workers=workers, cores=cores) == each


@given(st.integers(1, 1000), st.integers(1, 64), st.integers(1, 64))
def test_no_core_is_given_twice(tasks: int, workers: int, cores: int) -> None:
    each = threads_each(tasks, workers=workers, cores=max(workers, cores))
    assert 1 <= each <= MOST and each * min(tasks, workers) <= max(workers, cores)


def test_a_payload_is_the_jobs_alone() -> None:
    job = {"job": "a"}
    assert Task(key="k", function="m:f", arguments=(job, 0, "t", 4)).payload is job
    assert Task(key="k", function="m:f", arguments=()).payload == {}


def test_a_farm_that_is_gone_ends_the_run() -> None:
    with pytest.raises(QueueError, match="went"):
        farm_is_gone("it went")
