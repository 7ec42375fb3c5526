"""The line of deliveries of one name, and what of them holds."""

import random
from pathlib import Path
from typing import Any

import pytest

from rushlight.batch.handover.handover_log import (
    HANDOVERS,
    add_handover,
    handed_over,
    of_name,
    origin_of,
    read_handovers,
)
from rushlight.batch.records.handover import HANDOVER, Handover


def one(number: int, files: dict[str, int], gone: tuple[str, ...] = (), name: str = "editor") -> Handover:
    """A delivery of files by path, each with a hash that ends in its number."""
    entry: dict[str, Any] = {
        "output": "o",
        "job": "A",
        "clip": "A",
        "since": "new",
        "brought": "copied",
        "bytes": 1,
    }
    return Handover.read(
        {
            "schema": HANDOVER, "name": name, "number": number, "folder": f"{name}_{number:03}", "closed": f"2026-11-27T0{number}",
            "origin": "0", "made_by": "1", "holds": "changes", "outputs": ["o"], "with_record": True, "missing": [],
            "files": [entry | {"path": path, "hash": f"xxh3_128:{n:032}"} for path, n in files.items()],
            "gone": [{"path": path, "clip": "A", "hash": f"xxh3_128:{0:032}", "why": "x"} for path in gone],
        }
    )  # fmt: skip


def test_the_latest_of_each_file_holds() -> None:
    held = handed_over([one(1, {"a": 1, "b": 1, "c": 1}), one(2, {"a": 2}), one(3, {"d": 3}, gone=("b",))])
    assert {path: int(file.hash[-1]) for path, file in held.items()} == {"a": 2, "c": 1, "d": 3}


def test_lines(tmp_path: Path) -> None:
    assert read_handovers(tmp_path) == ([], [])
    for each in (one(1, {"a": 1}), one(1, {}, name="producer"), one(2, {"a": 2}, name="Editor")):
        add_handover(tmp_path, each)
    found, faults = read_handovers(tmp_path)
    assert [h.folder for h in of_name(found, "editor")] == ["editor_001", "Editor_002"] and not faults
    with (tmp_path / HANDOVERS).open("a") as stream:
        stream.write('{"torn')
    assert read_handovers(tmp_path) == (found, [])  # as a kill leaves it
    add_handover(tmp_path, one(3, {}))
    more, faults = read_handovers(tmp_path)
    assert len(more) == 4 and len(faults) == 1 and "handovers.jsonl:4" in faults[0]


def test_an_origin_is_a_place(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path)
    assert origin_of(tmp_path / "link") == origin_of(tmp_path) != origin_of(tmp_path / "other")


@pytest.mark.parametrize("seed", range(40))
def test_a_log_that_was_tampered_with_is_read_as_far_as_it_goes(seed: int, tmp_path: Path) -> None:
    for number in range(1, 4):
        add_handover(tmp_path, one(number, {"a": number}))
    dice, place = random.Random(seed), tmp_path / HANDOVERS
    data = bytearray(place.read_bytes())
    for _ in range(dice.choice((1, 5, 50))):
        data[dice.randrange(len(data))] = dice.randrange(256)
    place.write_bytes(data)
    found, faults = read_handovers(tmp_path)
    assert len(found) <= 4 and all(HANDOVERS in text for text in faults)
    handed_over(found)
