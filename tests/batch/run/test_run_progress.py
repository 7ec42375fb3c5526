"""How far a run is: phases in order, frames as they are made, each clip's share, and the moment of the end."""

import json
from itertools import pairwise
from pathlib import Path

import pytest

from here import HereFarm, farm_here, run, small_day  # noqa: F401
from rushlight.batch.farm.tasks import Task
from rushlight.batch.records.events import EVENTS
from rushlight.batch.run import request_accounts, runner
from rushlight.pipelines.heartbeat import frame_made, frames_made

PHASES = ["planning", "rendering", "checking", "pages"]


class Half(HereFarm):
    """A farm whose tasks in hand have made one frame each, while they wait."""

    def frames(self) -> dict[str, int]:
        return {"-".join(task.key.rsplit("-", 2)[1:]): 1 for task in self.waiting}


@pytest.fixture
def told(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    farm_here: HereFarm,  # noqa: F811
) -> list[dict]:  # type: ignore[type-arg]
    """The events of a night of two clips that tells its progress whenever it can."""
    monkeypatch.setattr(runner, "EVERY", 0.0)
    monkeypatch.setattr(HereFarm, "frames", Half.frames)
    day = small_day(tmp_path / "day", {"A001C001": 60, "A001C002": 6})
    code, said = run(
        "render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", tmp_path / "out", "--json"
    )
    assert code == 0, said
    events = [json.loads(line) for line in said.splitlines()]
    for event in events:
        EVENTS.validate_python(event)
    return events


def test_phases_come_in_order_and_end_whole(told: list[dict]) -> None:  # type: ignore[type-arg]
    phases = [event for event in told if event["event"] == "phase"]
    names = [event["phase"] for event in phases]
    assert sorted(set(names), key=names.index) == PHASES
    assert names == sorted(names, key=PHASES.index)  # none comes back
    for name in ("planning", "pages"):
        first, *_, last = [event for event in phases if event["phase"] == name]
        assert (
            (first["done"], last["done"], last["total"]) == (0, 2, 2)
            and first["text"]
            and not last.get("text")
        )
    assert [e["text"] for e in phases if e["phase"] == "checking" and e.get("text")] == [
        "checking what was made"
    ]


def test_frames_are_told_as_they_are_made_and_never_fewer(told: list[dict]) -> None:  # type: ignore[type-arg]
    rendering = [event for event in told if event.get("phase") == "rendering"]
    done = [event["done"] for event in rendering]
    assert done[0] in (1, 2)  # of segments of 48: before one of them ended
    assert all(a <= b for a, b in pairwise(done)) and done[-1] <= 66
    assert {event["total"] for event in rendering} == {66}
    shares = {(c["clip"], c["total"]) for event in rendering for c in event["clips"]}
    assert shares == {("A001C001.mov", 60), ("A001C002.mov", 6)}
    assert all(event["ends"] >= event["time"][:19] for event in rendering)
    assert {e["clip"]: e["of"] for e in told if e["event"] == "started"} == {c: n for c, n in shares}


def test_a_segment_counts_its_frames_under_its_token(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    made: list[tuple[str, int]] = []

    def before(task: Task) -> None:
        made.append(frames_made())
        frame_made("another")

    farm_here.before = before
    day = small_day(tmp_path / "day", {"A001C001": 5})
    assert run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", tmp_path / "out")[0] == 0
    segment, finish = farm_here.calls
    assert finish.function.endswith("finish_job") and made[1] == (segment.arguments[2], 5)
    assert segment.key.endswith(segment.arguments[2])


def planning(said: str) -> list[tuple[str, int, int, bool]]:
    events = [json.loads(line) for line in said.splitlines()]
    told = [e for e in events if e["event"] == "phase" and e["phase"] == "planning"]
    return [(e["phase"], e["done"], e["total"], bool(e.get("text"))) for e in told]


def test_a_queue_says_what_it_plans_and_what_it_starts_with(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    day = small_day(tmp_path / "day", {"A001C001": 6, "A001C002": 6})
    recipe, queue = tmp_path / "day" / "two.toml", ("--queue", tmp_path / "q.sqlite")
    code, said = run("queue", "add", day, "--recipe", recipe, "--out", tmp_path / "out", *queue)
    assert code == 0 and said.startswith("planning 2 clips\n"), said
    code, said = run("queue", "run", *queue, "--json")
    assert code == 0, said
    assert planning(said) == [("planning", 0, 2, True), ("planning", 2, 2, False)]
    assert "2 clips queued; starting workers" in said


def test_the_log_that_the_pages_tell_is_not_read_again_for_the_summary(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delattr(request_accounts, "read_records")  # whoever reads it there fails
    day = small_day(tmp_path / "day", {"A001C001": 6})
    recipe = tmp_path / "day" / "two.toml"
    code, said = run("render", day, "--recipe", recipe, "--out", tmp_path / "out", "--json")
    assert code == 0, said
    last = json.loads(said.splitlines()[-1])
    (sums,) = last["folders"].values()
    assert (sums["listed"], sums["delivered"]) == (1, 1)
