"""The record of a delivery reads as it was written, and says with its key what is wrong."""

import pytest

from rushlight.batch.records.handover import HANDOVER, Handover
from rushlight.pipelines.errors import OptionError

PLAIN = {
    "schema": HANDOVER, "name": "editor", "number": 1, "folder": "editor_001", "closed": "2026-11-27T04:10:00+00:00", "origin": "0",
    "made_by": "1", "holds": "all", "outputs": ["editorial"], "with_record": True, "missing": [{"clip": "B", "state": "failed"}],
    "files": [
        {
            "path": "editorial/A.mov", "output": "editorial", "job": "A", "clip": "A", "bytes": 5, "hash": "xxh3_128:" + "0" * 32,
            "since": "first", "brought": "linked",
        }
    ],
}  # fmt: skip


def test_both_ways() -> None:
    found = Handover.read(PLAIN | {"later": 1})
    assert found.plain() == PLAIN | {"later": 1} and found.bytes == 5


@pytest.mark.parametrize(
    ("wrong", "key"),
    [({"number": 0}, "number"), ({"files": [{"path": "a"}]}, r"files\[0\]"), ({"missing": [{"clip": "B", "state": "x"}]}, r"missing\[0\].state")],
)  # fmt: skip
def test_what_is_wrong_has_its_key(wrong: dict[str, object], key: str) -> None:
    with pytest.raises(OptionError, match=key):
        Handover.read(PLAIN | wrong)
