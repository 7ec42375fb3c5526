"""The folders of a queue's run: what is locked, and let go (through the commands: test_queue_operations.py, tests/batch/watch)."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from logged import append_record
from recorded import recorded
from rushlight.batch.interrupts import Stop
from rushlight.batch.queue.locks import hold_folder
from rushlight.batch.queue.store import open_store
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.queue_folders import QueueFolders
from rushlight.pipelines.errors import OptionError


def test_a_day_that_is_refused_holds_none_of_its_folders(tmp_path: Path) -> None:
    """A program that calls the API goes on, and its process with it."""
    ours, newer = tmp_path / "ours", tmp_path / "newer"
    append_record(newer, recorded("a") | {"schema": "rushlight-job-9"})
    watch: Any = SimpleNamespace(outs=[ours, newer])
    events = EventStream()
    with open_store(tmp_path / "q.sqlite") as store:
        with pytest.raises(OptionError, match="newer rushlight"):
            QueueFolders(store, events, None, Room(events, Stop()), watch=watch).__enter__()
        hold_folder(ours).release()


def test_pages_are_made_again_only_of_what_is_new(tmp_path: Path) -> None:
    """Clips that wait for a card that is gone are asked for every three seconds, and their folder with them."""
    out = tmp_path / "ours"
    append_record(out, recorded("a"))
    watch: Any = SimpleNamespace(outs=[out], lacks_others=False, end=lambda: None)
    seen: list[str] = []
    events = EventStream(lambda event: seen.append(event["event"]))
    with (
        open_store(tmp_path / "q.sqlite") as store,
        QueueFolders(store, events, None, Room(events, Stop()), watch=watch) as folders,
    ):
        for _ in range(3):
            assert folders.claim(out) == ""
            folders.idle()
        assert seen.count("report") == 1
        append_record(out, recorded("b"))
        folders.claim(out)
        folders.idle()
        assert seen.count("report") == 2
