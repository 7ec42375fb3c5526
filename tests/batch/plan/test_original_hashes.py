"""An original is read for its hashes once: a record that has them is believed while size and time are the same."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rushlight.batch.plan import original_hashes
from rushlight.batch.plan.original_hashes import hashes_of

WHOLE = "xxh3_128:" + "0" * 32


@dataclass
class Thing:
    """Whatever has these fields, for what is asked of a clip, its facts, a record and its source."""

    path: Any = Path("/card/a.mov")
    bytes: int = 5
    mtime_ns: int = 7
    sampled: str = "then"
    hash: str = WHOLE
    facts: Any = None
    source: Any = None


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    found: list[str] = []
    monkeypatch.setattr(original_hashes, "sampled_hash", lambda facts: found.append("ends") or "now")
    monkeypatch.setattr(original_hashes, "full_hash", lambda facts: found.append("whole") or "all")
    return found


def hashes(*, full: bool, **source: object) -> tuple[str, str]:
    record: Any = Thing(source=Thing(**{"path": "/card/a.mov", **source}))
    clip: Any = Thing(facts=Thing())
    return hashes_of(clip, record, full=full)


def test_what_the_record_has_is_not_read_again(read: list[str]) -> None:
    assert hashes(full=False) == ("then", "then")
    assert hashes(full=True) == ("then", WHOLE) and read == []
    assert hashes(full=True, hash="xxh3_128-first-last-MiB:1") == ("then", "all") and read == ["whole"]


@pytest.mark.parametrize("source", [{"bytes": 6}, {"mtime_ns": 8}, {"path": "/card/b.mov"}])
def test_another_file_is_read(read: list[str], source: dict[str, Any]) -> None:
    assert hashes(full=False, **source) == ("now", "now")
    assert hashes(full=True, **source) == ("now", "all") and read == ["ends", "ends", "whole"]


def test_one_that_no_record_knows_is_read(read: list[str]) -> None:
    clip: Any = Thing(facts=Thing())
    assert hashes_of(clip, None, full=False) == ("now", "now") and read == ["ends"]
