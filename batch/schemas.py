"""JSON Schemas (draft 2020-12) of everything that rushlight writes as JSON for others, and of recipes, made from the models."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from pydantic import TypeAdapter

from rushlight.batch.recipe_words import recipe_words
from rushlight.batch.records.events import EVENT, EVENTS
from rushlight.batch.records.handover import HANDOVER, Handover
from rushlight.batch.records.job_record import RECORDS, SCHEMA
from rushlight.batch.records.night_state import NOW, NightState
from rushlight.batch.records.queue_row import QueueRow
from rushlight.batch.records.request import ASKED, REQUEST, AskedRequest, KeptRequest
from rushlight.batch.records.side_files import FrameLine, SegmentSide
from rushlight.batch.records.space import CLEARED, SPACE, Cleared, SpaceDocument
from rushlight.batch.records.summary import SUMMARY, TOLD, Summary, ToldMessage
from rushlight.batch.records.verdicts import CHECK, VERDICTS, CheckDocument, Verdicts
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.recipe.model import Recipe

__all__ = ["DIALECT", "SCHEMAS", "Published", "find_schema", "json_schema"]

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class _Schemed(Protocol):
    def json_schema(self, *, by_alias: bool) -> dict[str, object]: ...


@dataclass(frozen=True, kw_only=True)
class Published:
    """A schema by its name with version, and where documents of it stand."""

    name: str
    description: str
    model: Callable[[], _Schemed]


class _RecipeSchema:
    """The schema of recipes, whose words stand on the reference page."""

    def json_schema(self, *, by_alias: bool) -> dict[str, object]:
        found = TypeAdapter(Recipe).json_schema(by_alias=by_alias)
        for table, words in recipe_words().items():
            model = found if table == "Recipe" else found["$defs"].get(table, {})
            for key, about in model.get("properties", {}).items():
                about["description"] = words.get(key, "")
        return found


SCHEMAS = {
    each.name: each
    for each in (
        Published(
            name=SCHEMA,
            description="job record: a line of log/jobs.jsonl, a clip each",
            model=lambda: RECORDS,
        ),
        Published(
            name=EVENT,
            description="event: a line of render --json, queue run --json and day run --json",
            model=lambda: EVENTS,
        ),
        Published(
            name=SUMMARY,
            description="summary of a night: standard input of --on-finish, --on-failure, --on-late",
            model=lambda: TypeAdapter(Summary),
        ),
        Published(
            name=VERDICTS,
            description="verdicts: log/verify.json, and verify --json",
            model=lambda: TypeAdapter(Verdicts),
        ),
        Published(
            name=NOW,
            description="state of a night while it runs: report/now.json",
            model=lambda: TypeAdapter(NightState),
        ),
        Published(
            name=TOLD,
            description="message on a night: what a webhook gets",
            model=lambda: TypeAdapter(ToldMessage),
        ),
        Published(
            name=CHECK,
            description="verdicts on originals: check --json",
            model=lambda: TypeAdapter(CheckDocument),
        ),
        Published(
            name=HANDOVER,
            description="closed delivery: its handover.json, and a line of log/handovers.jsonl",
            model=lambda: TypeAdapter(Handover),
        ),
        Published(
            name=SPACE,
            description="what output folders hold, and what may go: space --json",
            model=lambda: TypeAdapter(SpaceDocument),
        ),
        Published(
            name=CLEARED,
            description="what was cleared by policy: a line of log/cleared.jsonl",
            model=lambda: TypeAdapter(Cleared),
        ),
        Published(
            name=REQUEST,
            description="what a folder was made by: a line of log/inputs/requests.jsonl",
            model=lambda: TypeAdapter(KeptRequest),
        ),
        Published(
            name=ASKED,
            description="a request as it was read last: log/requests/*.json",
            model=lambda: TypeAdapter(AskedRequest),
        ),
        Published(
            name="rushlight-queue-1",
            description="rows of the queue: queue list --json",
            model=lambda: TypeAdapter(list[QueueRow]),
        ),
        Published(
            name="rushlight-frames-1",
            description="frames: a line of log/frames/JOB.jsonl, a frame each",
            model=lambda: TypeAdapter(FrameLine),
        ),
        Published(
            name="rushlight-segment-1",
            description="side file of a segment, kept while a job is in hand",
            model=lambda: TypeAdapter(SegmentSide),
        ),
        Published(
            name="rushlight-recipe-1",
            description="recipe: a TOML file that says what is made of each clip, for editors that complete and check as one types",
            model=_RecipeSchema,
        ),
    )
}


def find_schema(name: str) -> Published:
    """A schema by its name, with or without `rushlight-` and version. OptionError where there is none."""
    for full, each in SCHEMAS.items():
        if name in (full, full.removeprefix("rushlight-"), full.split("-")[1]):
            return each
    raise OptionError(f"no schema {name!r} is published; there are {', '.join(SCHEMAS)}")


def json_schema(published: Published) -> dict[str, object]:
    """The JSON Schema of a model. Unknown fields are allowed: they are a newer version's, or a person's."""
    found = published.model().json_schema(by_alias=True)
    head = {"$schema": DIALECT, "title": published.name, "description": published.description}
    return head | {k: v for k, v in found.items() if k not in head}
