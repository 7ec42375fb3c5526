"""Requests as the queue and an output folder keep them: read as they were written, older ones too, and nothing of a wrong type."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from rushlight.batch.plan.reconcile_media import Walk
from rushlight.batch.plan.request import Request
from rushlight.batch.plan.request_ledger import FOLDER, Asked, Asking, keep_asking, read_askings
from rushlight.batch.records.day_title import NO_TITLE, DayTitle
from rushlight.batch.records.queue_row import AskedAgain
from rushlight.batch.records.request import AskedRequest, PlainRequest
from rushlight.batch.records.summary import Missing
from rushlight.pipelines.errors import OptionError

TITLE = DayTitle(production="The Lamp Room", day="12", unit="main")
REQUEST = Request(
    clip_list=Path("/day/day.csv"),
    recipe="overnight",
    out=Path("/out"),
    media=(Path("/cards/a"), Path("/cards/b")),
    sound=(Path("/sound"),),
    grades=(Path("/day/day.ccc"),),
    only=("circled=yes",),
    rate="24",
    replaced="remove",
    hash_originals=True,
    title=TITLE,
    day=Path("/day/day.toml"),
    away=(Path("/cards/b"),),
    wait_for_grade=True,
    tables=(Path("/day/scenes.csv"),),
    manifest=("auto", "/cards/A001.mhl"),
)
LATER = (
    "sound",
    "title",
    "day",
    "away",
    "wait_for_grade",
    "tables",
    "manifest",
)  # what older programs do not write
ASKING = Asking(
    list="/day/Caf\udce9.csv",
    recipe="overnight",
    only=("circled=yes",),
    when=1795804091.8465233,
    rows=(
        Asked(job="A001-1", clip="A001.mov", line=2, asks="0a", original="k"),
        Asked(job="row-1", clip="gone.mov", line=3, dropped=True),
    ),
    named=frozenset({"/cards/a/A001.mov"}),
    walk=Walk(
        folders=("/cards/a",),
        originals=(("/cards/a/A001.mov", "/cards/a/A001.mov", ""), ("/cards/a/x.mov", "k", "does not open")),
        ignored={"/cards/a": 2},
        absent=(("lost.mov", "/cards/a/ascmhl/1.mhl"),),
    ),
    title=TITLE,
    missing=(
        Missing(
            key="encoding",
            camera="camera B",
            text="nobody states it",
            clips=["B1"],
            alone=["B1"],
            suggested="",
            file="",
            lines="x = 1",
        ),
    ),
)


def test_a_request_is_asked_again_as_it_was() -> None:
    kept = json.loads(json.dumps(AskedAgain(request=REQUEST.plain()).plain()))
    assert Request.of_plain(AskedAgain.read(kept).request) == REQUEST
    older = {name: value for name, value in kept["request"].items() if name not in LATER}
    assert Request.of_plain(PlainRequest.read(older)) == replace(
        REQUEST, sound=(), title=NO_TITLE, day=None, away=None, wait_for_grade=False, tables=(), manifest=()
    )
    with pytest.raises(OptionError, match="title"):
        PlainRequest.read({**kept["request"], "title": {"day": 12}})
    newer = PlainRequest.read({**kept["request"], "mood": ["blue"]})
    assert newer.plain() == {**kept["request"], "mood": ["blue"]}


@pytest.mark.parametrize("name", [name for name in REQUEST.plain().plain() if name not in LATER])
def test_a_request_of_wrong_types_is_told_by_its_key(name: str) -> None:
    plain = REQUEST.plain().plain()
    for wrong in ({**plain, name: {"x": 1}}, {k: v for k, v in plain.items() if k != name}):
        with pytest.raises(OptionError) as told:
            PlainRequest.read(wrong)
        assert told.value.key == name


def test_what_a_folder_keeps_of_a_request_reads_back(tmp_path: Path) -> None:
    keep_asking(tmp_path, ASKING)
    assert read_askings(tmp_path) == ([ASKING], [])
    (path,) = (tmp_path / FOLDER).iterdir()
    document = json.loads(path.read_text())
    assert AskedRequest.read({**document, "mood": "blue"}).plain() == {**document, "mood": "blue"}
    keep_asking(tmp_path, Asking(list="/other.csv", recipe="overnight"))
    assert {asking.list for asking in read_askings(tmp_path)[0]} == {ASKING.list, "/other.csv"}


@pytest.mark.parametrize(
    "key",
    ["schema", "list", "recipe", "only", "when", "rows", "named", "walk", "rows.line", "walk.originals"],
)
def test_one_of_wrong_types_costs_itself_and_is_said(key: str, tmp_path: Path) -> None:
    keep_asking(tmp_path, ASKING)
    (path,) = (tmp_path / FOLDER).iterdir()
    document = json.loads(path.read_text())
    name, _, inner = key.partition(".")
    if inner:
        place = document[name][0] if name == "rows" else document[name]
        place[inner] = [["one"]]
    else:
        document[name] = {"x": []}
    path.write_text(json.dumps(document))
    keep_asking(tmp_path, Asking(list="/other.csv", recipe="overnight"))
    found, faults = read_askings(tmp_path)
    assert [asking.list for asking in found] == ["/other.csv"]
    assert len(faults) == 1 and path.name in faults[0]
