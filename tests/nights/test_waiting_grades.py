"""A clip waits in a queue, and another list decides its grade or range before it is made: the waiting grade is not the last word."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from graded_show import KILLED, ONE, THREE, TWO, GradedShow
from here import HereFarm, farm_here, run  # noqa: F401
from logged import latest, read_records
from rushlight.batch.farm.tasks import Task


class Wrap(GradedShow):
    """The show with a queue that is run at wrap."""

    def __init__(self, top: Path) -> None:
        super().__init__(top)
        self.queue = ("--queue", top / "q.sqlite")

    def add(self, clip_list: Path, recipe: str = "stills", code: int = 0) -> None:
        given = ("--recipe", self.top / f"{recipe}.toml", "--out", self.out, "--media", self.media)
        self.run("queue", "add", clip_list, *given, *self.queue, code=code)

    def wrap(self, code: int = 0) -> None:
        self.run("queue", "run", *self.queue, code=code)

    def waiting(self) -> list[tuple[str, str]]:
        jobs = json.loads(run("queue", "list", "--json", *self.queue)[1])
        return sorted((job["clip"], job["state"]) for job in jobs)


@pytest.fixture
def show(tmp_path: Path, farm_here: HereFarm) -> Iterator[Wrap]:  # noqa: F811
    yield Wrap(tmp_path)


LEFT = (
    "A.mov: not made as it waits here: two.csv, which was read later than one.csv, asks for it with another grade. To have it as"
    " one.csv says, add that list again; else take this out of the queue (rushlight queue drop)"
)


def test_a_grade_that_waits_is_left_where_another_list_was_rendered_since(show: Wrap) -> None:
    one = show.list("one", A=ONE, B=ONE)
    show.add(one)
    show.render(show.list("two", A=TWO))
    before = show.files()["stills/A.jpg"]
    show.wrap(code=1)
    assert LEFT in show.said, show.said
    assert show.slopes() == {"A": TWO, "B": ONE} and show.files()["stills/A.jpg"] == before
    assert not (show.out / "revisions").exists()
    assert show.waiting() == [("A.mov", "set aside"), ("B.mov", "done")]
    show.run("queue", "list", *show.queue)
    assert LEFT in show.said and "1 set aside" in show.said
    show.run("queue", "retry", "A.mov", *show.queue)  # nothing that a retry would put right
    show.wrap(code=1)
    assert LEFT in show.said and show.slopes() == {"A": TWO, "B": ONE}
    show.stands()
    show.add(one)  # it is wanted: nothing was lost
    show.wrap()
    assert show.slopes() == {"A": ONE, "B": ONE}
    show.stands()


def test_taken_out_of_the_queue_it_is_settled(show: Wrap) -> None:
    show.add(show.list("one", A=ONE))
    show.render(show.list("two", A=TWO))
    show.wrap(code=1)
    show.run("queue", "drop", "A.mov", *show.queue)
    show.wrap()
    show.stands()
    assert show.slopes() == {"A": TWO}
    show.again("--out", show.top / "new")
    assert show.slopes(show.top / "new") == {"A": TWO}


def test_its_own_list_edited_and_rendered_since(show: Wrap) -> None:
    show.add(show.list("one", A=ONE))
    show.render(show.list("one", A=TWO))
    show.wrap(code=1)
    assert "one.csv was read again since, and asks for it otherwise. Add the list again" in show.said
    assert show.slopes() == {"A": TWO}


def test_another_range_is_another_picture(show: Wrap) -> None:
    def ranged(name: str, span: str) -> Path:
        path = show.list(name, A=ONE)
        text = path.read_text().replace("power\n", "power,in,out\n").replace("1 1 1\n", f"1 1 1,{span}\n")
        path.write_text(text)
        return path

    show.add(ranged("one", "0,3"))
    show.render(ranged("two", "1,4"))
    show.wrap(code=1)
    assert "asks for it with another range" in show.said
    [record] = latest(read_records(show.out)).values()
    assert (record["first_frame"], record["frames"]) == (1, 3)


@pytest.mark.parametrize("last", ["two", "one"])
def test_both_wait_and_the_later_decides_in_one_revision(show: Wrap, last: str) -> None:
    """Of two recipes, so that one job does not take the other's place; priority has the earlier one started first."""
    lists = {"one": (ONE, "stills"), "two": (TWO, "frames")}
    for name in sorted(lists, key=lambda name: name == last):
        slope, recipe = lists[name]
        show.add(show.list(name, A=slope), recipe)
    show.wrap(code=1)
    assert show.slopes() == {"A": lists[last][0]} and len(read_records(show.out)) == 1
    assert (
        list(show.files()) == [f"{lists[last][1]}/A.jpg"] and show.said.count("asks for it with another") == 2
    )
    show.stands()


def test_one_recipe_has_one_job_of_a_clip(show: Wrap) -> None:
    show.add(show.list("one", A=ONE))
    show.add(show.list("two", A=TWO))
    show.wrap()
    assert show.slopes() == {"A": TWO} and len(read_records(show.out)) == 1


def test_outputs_of_two_recipes_stand_beside_each_other_where_the_picture_is_the_same(show: Wrap) -> None:
    show.add(show.list("one", A=ONE))
    show.add(show.list("two", A=ONE), "frames")
    show.wrap()
    assert show.slopes() == {"A": ONE} and len(show.files()) == 2
    show.add(show.list("one", A=TWO))
    show.render(show.list("two", A=TWO), recipe="frames")
    show.wrap()
    assert show.slopes() == {"A": TWO} and len(show.files()) == 2
    show.stands()


def test_what_stands_already_and_was_read_again_last(show: Wrap, farm_here: HereFarm) -> None:  # noqa: F811
    """Nothing of it is to be made, so that nothing of it is in the queue to take the waiting grade's place."""
    two = show.list("two", A=TWO)
    show.render(two)
    show.add(show.list("one", A=ONE))
    show.add(two)
    farm_here.calls.clear()
    show.wrap(code=1)
    assert not farm_here.calls  # nothing of it is rendered for nothing
    assert LEFT in show.said and show.slopes() == {"A": TWO} and len(read_records(show.out)) == 1


@pytest.mark.parametrize("moment", ["render_segment", "finish_job"])
@pytest.mark.parametrize("stands", [False, True])
@pytest.mark.parametrize("recipe", ["stills", "frames"])
def test_read_in_the_middle_of_the_clip(
    show: Wrap,
    farm_here: HereFarm,  # noqa: F811
    moment: str,
    stands: bool,
    recipe: str,
) -> None:
    """The other list joins the queue while the waiting grade is made, or finished: it is the last word all the same, though what it asks
    for stood in the folder at that moment."""
    two, added = show.list("two", A=TWO), False
    if stands:
        show.render(two, recipe=recipe)
    show.add(show.list("one", A=ONE))

    def joins(task: Task) -> None:
        nonlocal added
        if task.function.endswith(moment) and not added:
            added = True
            show.add(two, recipe)

    farm_here.before = joins
    found, said = run("queue", "run", *show.queue)
    left = moment == "render_segment" and recipe == "frames"  # of one recipe the job's place is taken
    assert added and found == (1 if left else 0), said
    assert show.slopes() == {"A": TWO}, said
    if moment == "render_segment":
        assert len(read_records(show.out)) == 1, said
    farm_here.before = lambda task: None
    show.stands()


@pytest.mark.parametrize("moment", ["render_segment", "finish_job"])
def test_a_kill_in_the_middle_and_another_list_before_the_next_run(show: Wrap, moment: str) -> None:
    show.add(show.list("one", A=ONE, B=ONE))
    words = [sys.executable, "-W", "ignore", "-c", KILLED.format(module="delivery"), moment]
    command = map(str, ("queue", "run", *show.queue))
    path = os.pathsep.join(p for p in sys.path if p)
    ended = subprocess.run(
        [*words, *command], env={**os.environ, "PYTHONPATH": path}, capture_output=True, text=True
    )
    assert ended.returncode == -9, ended.stdout + ended.stderr
    show.render(show.list("two", A=TWO, B=TWO))
    show.wrap(code=1)
    assert show.slopes() == {"A": TWO, "B": TWO} and len(read_records(show.out)) == 2
    show.render(show.list("three", A=THREE))
    show.stands()
