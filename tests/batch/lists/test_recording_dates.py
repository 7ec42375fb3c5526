"""The day of a clip, from its row or its header."""

from dataclasses import replace
from pathlib import Path

import pytest

import foreign
from rushlight.batch.lists.recording_dates import header_date
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.probe import probe


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> Facts:
    path: Path = foreign.good(tmp_path_factory.mktemp("dates") / "A001C001.mov", sound=False)
    return probe(path)


@pytest.mark.parametrize(
    ("text", "offset", "day"),
    [
        ("2026-05-04T23:30:00.000000Z", 3600, "2026-05-05"),
        ("2026-05-04T23:30:00.000000Z", None, "2026-05-04"),
        ("2026:05:04 08:00:00", None, "2026-05-04"),
        ("0001-01-01T00:00:00Z", -3600, "None"),  # a clock that was never set
        ("9999-12-31T23:59:59Z", 3600, "None"),
        ("yesterday", None, "None"),
        ("", None, "None"),
    ],
)
def test_a_date_in_a_header(facts: Facts, text: str, offset: int | None, day: str) -> None:
    stated = replace(facts, metadata={"creation_time": text})
    assert str(header_date(stated, offset)) == day
