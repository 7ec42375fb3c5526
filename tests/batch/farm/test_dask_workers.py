"""Who works on a farm, and what it costs a clip that a machine leaves: each loss of one machine at one time once."""

import itertools
import re

import pytest

from rushlight.batch.farm.dask_workers import (
    Losses,
    Worker,
    fewest,
    frames_in,
    introduced,
    other_versions,
    present_in,
)
from rushlight.batch.farm.tasks import Task
from rushlight.pipelines.errors import OptionError


def worker(machine: str, sent: int) -> Worker:
    """One that has the task of that serial."""
    return Worker(
        address=f"tls://{machine}:{sent}", born="b", machine=machine, process=sent, task=f"clip-0-{sent}"
    )


def test_a_machine_that_leaves_with_many_tasks_costs_their_job_one_loss() -> None:
    losses, serial = Losses(), itertools.count(1)
    task, other = (Task(key=job, function="m:f", arguments=({"job": job},)) for job in ("a", "b"))
    first, second, third = (next(serial) for _ in range(3))  # three tasks are out
    assert not losses.charged_already(task, worker("cart", first), serial)  # this one is charged
    assert losses.charged_already(task, worker("cart", second), serial)  # it was out when that one was lost
    assert not losses.charged_already(task, worker("two", third), serial)  # another machine
    assert not losses.charged_already(other, worker("cart", third), serial)  # another job
    assert not losses.charged_already(task, worker("cart", next(serial)), serial)  # sent after the loss


def test_fewest_workers_are_counted_by_machine() -> None:
    assert fewest([]) == 1
    assert fewest([worker("cart", 1), worker("cart", 2)]) == 2
    assert fewest([worker("cart", 1), worker("two", 2), worker("cart", 3)]) == 1


def test_other_versions_are_named_with_ours() -> None:
    ours = {"av": "1", "numpy": "2"}
    assert other_versions(ours, ours) == ""
    said = other_versions({"av": "1", "numpy": "3", "new": "1"}, ours)
    assert said == "has other versions: numpy 3 (here 2), new 1 (here None); install the same everywhere"


def test_a_worker_that_does_not_fit_gets_no_work_and_why_is_said() -> None:
    ours = {"av": "1"}
    about = {"process": 7, "machine": "cart", "versions": ours}
    assert introduced(about, ours).plain() == about
    for answer, says in (
        (ImportError("no av"), "cannot work for this rushlight: ImportError: no av"),
        ({"process": 7}, "what it says of itself does not read: machine: is damaged"),
        (None, "what it says of itself does not read"),
        (about | {"versions": {"av": "2"}}, "on cart has other versions: av 2"),
    ):
        with pytest.raises(OptionError, match=re.escape(says)):
            introduced(answer, ours)


def test_a_process_that_comes_back_at_one_address_is_another_worker() -> None:
    before, after = ({"tls://a:1": {"local_directory": folder}} for folder in ("x", "y"))
    assert not present_in(before) & present_in(after)


def test_frames_are_those_that_workers_say_whatever_else_they_say() -> None:
    said = (["7-1", 12], ("7-2", 0), None, [], ["x"], ["7-3", "many"], ["", 0])
    there = {
        f"tls://a:{n}": {"local_directory": "x", "metrics": {"rushlight-frames": work}}
        for n, work in enumerate(said)
    }
    found = frames_in(there | {"tls://b:1": {"local_directory": "y", "metrics": {}}})  # type: ignore[arg-type]
    assert found == {"7-1": 12, "7-2": 0, "": 0}
