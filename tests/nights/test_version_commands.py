"""Every command takes what a released version left on a cart: one unpacked folder of each version, all commands one after the other."""

from __future__ import annotations

import threading
import urllib.request
from pathlib import Path

import click
import pytest

import rushlight.batch.api.day as days
from here import HereFarm, farm_here, files, run  # noqa: F401
from logged import latest, read_records
from rushlight.batch.api.cancel import Cancel
from rushlight.batch.api.serve import Serving, serve
from rushlight.batch.cli.main import cli
from rushlight.batch.watched_file import read_watched
from test_versions import DELIVERED, measured
from versions import VERSIONS, unpacked

REQUEST = "--recipe {cart}/small.toml --media {cart}/card"
QUEUE = "--queue {cart}/queue.db"
# What is typed, the exit code, and something that is said. A queue that runs, a night that goes on and `--from`: test_versions.py.
STEPS = (
    (f"plan {{cart}}/day.csv {REQUEST} --out {{cart}}/out", 0, "2 rows = 2 planned"),
    (f"render {{cart}}/day.csv {REQUEST} --out {{cart}}/out", 0, "2 clips made earlier and unchanged"),
    ("report {cart}/out", 0, "report: {cart}/out/report/index.html"),
    (f"look {{cart}}/day.csv A001C001 {REQUEST}", 0, "numbers in the row"),
    (f"grades {{cart}}/day.csv {REQUEST} --to {{there}}/grades", 0, "8 files in"),
    ("handover {cart}/out --name editor --to {there}", 0, "editor_001"),
    ("handover {cart}/out", 0, "editor_001"),
    ("check {there}/editor_001", 0, "all match"),
    ("check {cart}/card", 1, "NO MANIFEST"),
    ("recipes --check {cart}/small.toml", 0, "The recipe is valid"),
    ("space {cart}/out", 0, "editorial 2 8,"),
    ("doctor {cart}/out --no-speed", None, "versions: Python"),
    (f"queue list {QUEUE}", 0, "1 queued, 1 held"),
    (f"queue retry --all {QUEUE}", 0, "retry: 0 clips; left as they are:"),
    (f"queue release A001C003.mov {QUEUE}", 0, "release: 1 clip"),
    (f"queue hold A001C003.mov {QUEUE}", 0, "hold: 1 clip"),
    (f"queue drop A001C004.mov {QUEUE}", 0, "drop: 1 clip"),
    (f"queue add {{cart}}/day.csv {REQUEST} --out {{cart}}/out {QUEUE}", 0, "0 clips queued, 2 made earlier"),
    (f"queue run {QUEUE}", 0, "the queue has nothing to run"),
    ("day new {cart}/card --to {there}/new.toml", 0, "camera A: 4 clips"),
    ("plan {cart}/day.toml", 0, "The Lamp Room, day 12"),
    ("report {cart}/day.toml", 0, "/report/index.html"),
    ("day tell {cart}/day.toml", 2, "names nobody to be told"),
    ("day release {cart}/day.toml --queue {cart}/day.db", 0, "released: "),
)
BY_HAND = ("serve", "day run", "verify")  # below
UNTOUCHED = {"completion", "encodings", "help", "schema"}  # they read nothing of a show
DAY = """
production = "The Lamp Room"
day = "12"
list = "day.csv"
media = ["card"]
recipes = ["small.toml"]
out = "out"
"""


def commands(group: click.Group = cli, above: str = "") -> set[str]:
    """The words of every command there is."""
    found = set[str]()
    for name, command in group.commands.items():
        words = f"{above}{name}"
        found |= commands(command, f"{words} ") if isinstance(command, click.Group) else {words}
    return found


def command_of(typed: str) -> str:
    first, second = typed.split()[:2]
    return (
        first
        if first in cli.commands and not isinstance(cli.commands[first], click.Group)
        else f"{first} {second}"
    )


def test_no_command_is_left_out() -> None:
    """A new command gets a line among STEPS, or is done by hand, or is named as one that reads nothing of a show."""
    assert {command_of(typed) for typed, _, _ in STEPS} | {*BY_HAND} | UNTOUCHED == commands()


@pytest.mark.parametrize("version", VERSIONS)
def test_every_command_takes_the_folder(version: str, tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    with unpacked(version) as cart:
        if not (cart / "day.toml").exists():  # 0.1.0 had no days: its folder and list become one
            (cart / "day.toml").write_text(DAY)
        before = files(cart, "out", "dailies")
        for typed, code, says in STEPS:
            given = {"cart": cart, "there": tmp_path}
            answer, said = run(*typed.format(**given).split())
            said = " ".join(said.split())
            assert code in (None, answer) and says.format(**given) in said, (typed, answer, said)
        a_day_runs(cart)
        pages_are_served(cart)
        assert measured(cart / "out") == 2
        after = files(cart, "out", "dailies")
        delivered = {name for name in before if name.split("/")[1] in DELIVERED}
        assert {name: after.get(name) for name in delivered} == {name: before[name] for name in delivered}


def a_day_runs(cart: Path) -> None:
    """What was taken in is known, what was made is not made again, and what waited is made."""
    out = cart / ("dailies" if (cart / "dailies").exists() else "out")
    made, cancel = [], Cancel()

    def tell(event: dict[str, object]) -> None:
        made.extend([event["clip"]] if event["event"] == "done" else [])
        if event["event"] in ("done", "card taken in"):
            cancel.cancel()

    result = days.run(
        cart / "day.toml", queue=cart / "day.db", still=0.2, every=0.05, on_event=tell, cancel=cancel
    )
    assert result.code == 0, result
    assert made == (["cards/B002/B002C001.mov"] if out.name == "dailies" else [])
    assert {record["status"] for record in latest(read_records(out)).values()} == {"done"}
    kept = read_watched([out])
    assert kept and {(card.state, card.taken) for card in kept.cards} == {("complete", True)}


def pages_are_served(cart: Path) -> None:
    """The address that is told answers once, with the live page."""
    answers, cancel = list[tuple[int, str]](), Cancel()

    def ask(url: str) -> None:
        try:
            with urllib.request.urlopen(url, timeout=30) as answer:
                answers.append((answer.status, answer.read().decode()))
        finally:
            cancel.cancel()

    def ready(serving: Serving) -> None:
        threading.Thread(target=ask, args=(serving.address.url,)).start()

    serve(cart / "out", on_ready=ready, cancel=cancel)
    ((status, page),) = answers
    assert status == 200 and "A001C001" in page, page[:2000]
