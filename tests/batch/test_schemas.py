"""The published schemas: current with the models, of the draft that they name, and what is really written is held to them.

To publish them again: PYTHONPATH=tests/support python tests/batch/test_schemas.py
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import PyOpenColorIO as ocio
import pytest
from jsonschema import Draft202012Validator

from command import rushlight
from here import HereFarm, farm_here, run, small_day  # noqa: F401
from pictures import settled
from recorded import movie, recorded
from rushlight.batch.farm.dask_farm import Task
from rushlight.batch.job_log import failure_record
from rushlight.batch.records.events import EVENTS
from rushlight.batch.records.job_record import read_record
from rushlight.batch.records.request import AskedRequest, KeptRequest
from rushlight.batch.records.side_files import SegmentSide
from rushlight.batch.schemas import DIALECT, SCHEMAS, find_schema, json_schema
from rushlight.pipelines.colour.displays import ACES_CONFIG
from rushlight.pipelines.errors import OptionError

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "reference" / "schemas"
FIELDS = Path(__file__).with_name("records") / "fields"


def text_of(name: str) -> str:
    return json.dumps(json_schema(SCHEMAS[name]), indent=2) + "\n"


def paths(schema: dict[str, Any]) -> set[str]:
    """The path of every field that a schema names, lists as `[]`, maps as `*`."""
    found: set[str] = set()

    def walk(node: Any, path: str) -> None:
        if not isinstance(node, dict):
            return
        if "$ref" in node:
            walk(schema["$defs"][node["$ref"].rpartition("/")[2]], path)
        for each in (*node.get("anyOf", ()), *node.get("oneOf", ())):
            walk(each, path)
        for name, inner in node.get("properties", {}).items():
            found.add(f"{path}.{name}".lstrip("."))
            walk(inner, f"{path}.{name}")
        walk(node.get("items"), f"{path}[]")
        walk(node.get("additionalProperties"), f"{path}.*")

    walk(schema, "")
    return found


def publish() -> None:
    for name in SCHEMAS:
        (FOLDER / f"{name}.json").write_text(text_of(name))
        (FIELDS / f"{name}.txt").write_text("\n".join(sorted(paths(json_schema(SCHEMAS[name])))) + "\n")


def held(name: str, document: Any) -> None:
    """A document held to a published schema, of which every field is named but those of `row` and the like."""
    Draft202012Validator(json.loads((FOLDER / f"{name}.json").read_text())).validate(document)


def descriptions(node: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Every field of a schema, and what is said of it."""
    if isinstance(node, dict):
        for name, inner in node.get("properties", {}).items():
            yield f"{path}.{name}", inner.get("description", "")
        for key, inner in node.items():
            yield from descriptions(inner, f"{path}.{key}")


@pytest.mark.parametrize("name", SCHEMAS)
def test_what_is_published_is_current_and_whole(name: str) -> None:
    assert (FOLDER / f"{name}.json").read_text() == text_of(name), (
        "publish it again: see the head of this file"
    )
    schema = json.loads(text_of(name))
    assert schema["$schema"] == DIALECT == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(schema)
    fields = list(descriptions(schema))
    assert len(fields) > 3 and [path for path, said in fields if not said] == []


@pytest.mark.parametrize("name", SCHEMAS)
def test_no_field_vanishes_from_a_version(name: str) -> None:
    """What a version has named once stays; what is new is put down as well, so that it stays from then on."""
    kept = set((FIELDS / f"{name}.txt").read_text().split("\n")) - {""}
    now = paths(json_schema(SCHEMAS[name]))
    assert kept - now == set(), "fields have vanished: that takes a new version of the schema"
    assert now - kept == set(), "fields are new: publish them, see the head of this file"


def test_nothing_else_is_published() -> None:
    assert {p.stem for p in FOLDER.glob("*")} == {p.stem for p in FIELDS.glob("*")} == set(SCHEMAS)


def test_the_command_lists_and_prints_them(tmp_path: Path) -> None:
    listed = rushlight("schema").stdout
    assert all(name in listed for name in SCHEMAS) and max(map(len, listed.split("\n"))) <= 100
    assert [row["name"] for row in json.loads(rushlight("schema", "--json").stdout)] == list(SCHEMAS)
    assert rushlight("schema", "rushlight-job-1").stdout == rushlight("schema", "job").stdout
    assert json.loads(rushlight("schema", "job").stdout) == json.loads(text_of("rushlight-job-1"))
    with pytest.raises(OptionError, match="no schema 'jobs' is published; there are rushlight-job-1"):
        find_schema("jobs")


def test_a_schema_refuses_what_is_wrong() -> None:
    good = recorded("a", movie())
    held("rushlight-job-1", good)
    held("rushlight-job-1", failure_record("a", "a.mov", "failed", "does not open").plain())
    for wrong in ({"frames": "48"}, {"status": "gone"}, {"outputs": [movie(hash="md5:0")]}, {"job": ""}):
        assert not Draft202012Validator(json_schema(SCHEMAS["rushlight-job-1"])).is_valid(good | wrong)


def events(said: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in said.splitlines() if line.startswith("{")]


def unnamed(model: Any, path: str = "") -> list[str]:
    """Fields of a document that its model does not name."""
    found = [f"{path}.{name}" for name in (model.model_extra or {})]
    for name in type(model).model_fields:
        values = getattr(model, name)
        for value in values if isinstance(values, list) else [values]:
            if hasattr(value, "model_extra"):
                found += unnamed(value, f"{path}.{name}")
    return found


def hold_events(told: list[dict[str, Any]]) -> None:
    """Events held to their schema, each field of which is named."""
    for event in told:
        held("rushlight-event-1", event)
        assert event["schema"] == "rushlight-event-1" and event["time"]
        assert not unnamed(EVENTS.validate_python(event)), event


def test_everything_that_a_night_writes_is_as_published(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """Records, their side files, events, summary, verdicts and rows: one night in which a clip is delivered, one is
    absent, and one does not decode."""
    day = small_day(tmp_path / "day", {"A001C001": 2})
    broken = day.parent / "broken.mov"
    broken.write_bytes(b"no movie")
    settled(broken)
    with day.open("a") as stream:
        stream.write("broken.mov,LogC3,narrow\ngone.mov,LogC3,narrow\n")
    out, summary = tmp_path / "out", tmp_path / "summary.json"
    recipe = day.parent / "two.toml"
    given = (day, "--recipe", recipe, "--out", out, "--json")
    sides: dict[str, Any] = {}

    def look(task: Task) -> None:
        sides.update({p.name: json.loads(p.read_text()) for p in (out / ".work").rglob("*.json")})

    farm_here.before = look
    code, said = run("render", *given, "--on-finish", f"cp /dev/stdin {summary}")
    told = events(said)
    assert code == 1 and [e["sequence"] for e in told] == list(range(1, len(told) + 1))
    assert {"begin", "started", "segment", "done", "summary"} <= {e["event"] for e in told}
    hold_events(told)
    held("rushlight-summary-1", json.loads(summary.read_text()))
    assert sides
    for side in sides.values():
        held("rushlight-segment-1", side)
        assert not unnamed(SegmentSide.read(side)) and SegmentSide.read(side).plain() == side

    records = [json.loads(line) for line in (out / "log/jobs.jsonl").read_text().splitlines()]
    assert {r["status"] for r in records} > {"done"}
    library = {"version": ocio.__version__, "config": ACES_CONFIG}
    assert all(r["look"]["opencolorio"] == library for r in records if r["status"] == "done")
    for record in records:
        held("rushlight-job-1", record)
        assert not unnamed(read_record(record))
        assert json.dumps(read_record(record).plain()) == json.dumps(record)  # keys, order and numbers
    frames = [json.loads(line) for f in (out / "log/frames").iterdir() for line in f.read_text().splitlines()]
    assert frames
    for line in frames:
        held("rushlight-frames-1", line)
    for line in (out / "log/inputs/requests.jsonl").read_text().splitlines():
        held("rushlight-request-1", json.loads(line))
        assert not unnamed(KeptRequest.read(json.loads(line)))
    (asked,) = (out / "log/requests").iterdir()
    held("rushlight-asked-1", json.loads(asked.read_text()))
    assert not unnamed(AskedRequest.read(json.loads(asked.read_text())))

    code, said = run("verify", out, "--json")
    assert code in (0, 1), said  # a picture of so few tiles may fail
    held("rushlight-verify-1", json.loads(said))
    held("rushlight-verify-1", json.loads((out / "log/verify.json").read_text()))

    queue = ("--queue", tmp_path / "q.sqlite")
    run("queue", "add", day, "--recipe", recipe, "--out", tmp_path / "other", *queue)
    rows = json.loads(run("queue", "list", "--json", *queue)[1])
    assert rows
    held("rushlight-queue-1", rows)
    code, said = run("queue", "run", "--json", *queue)
    told = events(said)
    assert code == 1 and {"started", "segment", "done", "report", "summary"} <= {e["event"] for e in told}
    hold_events(told)


if __name__ == "__main__":
    publish()
