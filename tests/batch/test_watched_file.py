"""The file of a watched day is whole or as it was, and nothing is lost with it."""

from __future__ import annotations

from pathlib import Path

import pytest

from rushlight.batch.records.watched_day import WATCHED, WATCHED_FILE, WatchedCard, WatchedDay
from rushlight.batch.watched_file import keep_watched, read_watched

DAY = WatchedDay(
    schema=WATCHED,
    day="/day.toml",
    cards=[WatchedCard(folder="/media/Caf\udce9", name="Caf\udce9", state="gone")],
)


def test_it_reads_back(tmp_path: Path) -> None:
    keep_watched(tmp_path, DAY)
    assert read_watched([tmp_path / "other", tmp_path]) == DAY
    assert [p.name for p in (tmp_path / "log").iterdir()] == ["watched.json"]


@pytest.mark.parametrize("data", [b"", b"{", b"[]", b'{"schema": "rushlight-watched-9"}'])
def test_one_that_does_not_read_is_begun_anew(tmp_path: Path, data: bytes) -> None:
    keep_watched(tmp_path, DAY)
    (tmp_path / WATCHED_FILE).write_bytes(data)
    assert read_watched([tmp_path]) is None


def test_a_write_that_is_cut_off_leaves_the_one_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep_watched(tmp_path, DAY)

    def dies(*_: object, **__: object) -> None:
        raise OSError("cut off")

    monkeypatch.setattr("os.replace", dies)
    with pytest.raises(OSError):
        keep_watched(tmp_path, DAY.model_copy(update={"cards": []}))
    assert read_watched([tmp_path]) == DAY
