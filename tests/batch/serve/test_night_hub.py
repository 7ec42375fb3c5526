"""What viewers are told: each change once for all, from where they were, and what seems dead is said."""

import json
import os
import threading
import time
from pathlib import Path

import pytest

from rushlight.batch.job_log import append_record, failure_record, log_path
from rushlight.batch.live.night_pages import STATE
from rushlight.batch.records.night_state import NightCounts
from rushlight.batch.serve import night_hub
from rushlight.batch.serve.night_hub import NightHub
from viewer import clip_ready, night_in


def told(data: bytes) -> list[tuple[str, str, dict[str, str]]]:
    """Messages as (event, id, data)."""
    found = []
    for block in data.decode().split("\n\n"):
        lines = dict(line.split(": ", 1) for line in block.splitlines())
        if lines:
            found.append((lines["event"], lines.get("id", ""), json.loads(lines["data"])))
    return found


def test_a_viewer_is_told_what_is_new_since_he_was_told(tmp_path: Path) -> None:
    night_in(tmp_path, 2)
    hub = NightHub(tmp_path)
    first = hub.number
    assert hub.since(first) == (1, b"") and hub.page().count(b"<article") == 2
    night_in(tmp_path, 4)
    hub.look()
    version, data = hub.since(first)
    events = told(data)
    assert [(event, body.get("key", "")) for event, _, body in events] == [
        ("clip", "clip-A2-0123456789"),
        ("clip", "clip-A3-0123456789"),  # told last, so it comes to stand on top
        ("now", ""),
    ]
    assert events[-1][1] == hub.number and version == 2 and "being made" in events[-1][2]["top"]
    assert all(
        not number for _, number, _ in events[:-1]
    )  # a viewer who loses it in the middle is told all again
    again = clip_ready(0).model_copy(update={"revision": 2})
    night_in(tmp_path, 4, ready=[clip_ready(3), again])
    hub.look()
    assert [(event, body.get("key", "")) for event, _, body in told(hub.since(f"{hub.boot}-2")[1])] == [
        ("gone", "clip-A2-0123456789"),
        ("gone", "clip-A1-0123456789"),
        ("clip", "clip-A0-0123456789"),
        ("now", ""),
    ] or {body.get("key") for *_, body in told(hub.since(f"{hub.boot}-2")[1])} == {
        "clip-A2-0123456789", "clip-A1-0123456789", "clip-A0-0123456789", None,
    }  # fmt: skip
    assert len(told(hub.since(first)[1])) == 5


@pytest.mark.parametrize(
    "number", ["", "x", "other-1", "{boot}-99", "{boot}-x", "{boot}--1", "{boot}-" + "9" * 50, "{boot}-¹"]
)
def test_a_number_that_this_server_does_not_know_loads_the_page_again(number: str, tmp_path: Path) -> None:
    night_in(tmp_path)
    hub = NightHub(tmp_path)
    assert [event for event, *_ in told(hub.since(number.format(boot=hub.boot))[1])] == ["again"]


def test_who_waits_is_woken_by_a_change_and_by_the_end(tmp_path: Path) -> None:
    night_in(tmp_path)
    hub = NightHub(tmp_path)
    assert hub.wait(1, 0.01) == (1, b"")
    found: list[tuple[int, bytes]] = []
    waiting = threading.Thread(target=lambda: found.append(hub.wait(1, 60)))
    waiting.start()
    night_in(tmp_path, 3)
    hub.look()
    waiting.join(30)
    assert found and found[0][0] == 2 and b"clip-A2" in found[0][1]
    waiting = threading.Thread(target=lambda: found.append(hub.wait(2, 60)))
    waiting.start()
    hub.close()
    waiting.join(30)
    assert found[1] == (2, b"")


def test_a_state_that_is_the_same_is_not_told_again(tmp_path: Path) -> None:
    night_in(tmp_path)
    hub = NightHub(tmp_path)
    page = hub.page()
    hub.look()
    assert hub.version == 1 and hub.page() is page
    night_in(tmp_path, written="2026-11-28T02:00:00+00:00")  # as the run writes it again when nothing is new
    hub.look()
    assert hub.version == 1 and hub.page() is page and b"T02:00" in hub.document()


def test_a_night_that_is_silent_is_told_once_and_when_it_speaks_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    night_in(tmp_path)
    long_ago = time.time() - 1000
    os.utime(tmp_path / STATE, (long_ago, long_ago))
    hub = NightHub(tmp_path)
    assert b"Nothing was heard of the night since" in hub.page()
    hub.look()
    assert hub.version == 1
    night_in(tmp_path)
    hub.look()
    assert b"Nothing was heard" not in hub.page() and hub.version == 2
    monkeypatch.setattr(night_hub, "QUIET", -1.0)
    hub.look()
    assert b"Nothing was heard" in hub.page() and hub.version == 3
    night_in(tmp_path, phase="over")
    hub.look()
    assert b"Nothing was heard" not in hub.page()


def test_without_a_state_the_log_says_it(tmp_path: Path) -> None:
    """A folder of an earlier version; one with nothing in it; one whose state does not read."""
    hub = NightHub(tmp_path)
    assert (hub.state.phase, hub.state.counts.listed) == (
        "waiting",
        0,
    ) and b"No clip is ready yet" in hub.page()
    append_record(tmp_path, failure_record("a", "a", "failed", "broken"))
    hub.look()
    assert (hub.state.phase, hub.state.counts.failed) == ("over", 1) and hub.version == 2
    for text in ("", "{", "[]", '{"schema": "rushlight-now-9"}', "\0"):
        (tmp_path / "report").mkdir(exist_ok=True)
        (tmp_path / STATE).write_text(text)
        hub.look()
        assert (hub.state.phase, hub.state.counts.failed) == ("over", 1)


def test_a_log_that_is_newer_than_a_night_that_is_over_holds(tmp_path: Path) -> None:
    night_in(tmp_path, phase="over")
    append_record(tmp_path, failure_record("a", "a", "failed", "broken"))
    assert NightHub(tmp_path).state.counts == NightCounts(
        listed=3, delivered=2, running=1, waiting=0, held=0, set_aside=0, failed=0
    )
    later = time.time() + 1000
    os.utime(log_path(tmp_path), (later, later))
    assert NightHub(tmp_path).state.counts.listed == 1


def test_only_what_clips_were_delivered_as_is_served(tmp_path: Path) -> None:
    night_in(tmp_path)
    hub = NightHub(tmp_path)
    for path in ("viewing/A0.mp4", "stills/A1.jpg", "report/pictures/A1.jpg", "report/pictures/A0-small.jpg"):
        assert hub.serves(path)
    for path in ("", "viewing/A2.mp4", "viewing", "log/jobs.jsonl"):
        assert not hub.serves(path)


def test_whatever_a_state_says_no_log_is_served(tmp_path: Path) -> None:
    """Somebody may have written the state who can write there and nowhere else."""
    names = [
        "log/jobs.jsonl",
        ".work/queue.sqlite",
        "../x",
        "/etc/passwd",
        "ASCMHL/x",
        "x",
        "",
        "report/now.json",
    ]
    clip = clip_ready(1).model_copy(
        update={"stills": [*names, "stills/a.jpg"], "thumb": names[0], "still": names[2]}
    )
    state = night_in(tmp_path)
    written = state.model_copy(update={"ready": [clip]})
    (tmp_path / STATE).write_text(json.dumps(written.plain()))
    hub = NightHub(tmp_path)
    assert hub.serves("stills/a.jpg") and hub.serves("viewing/A1.mp4")
    assert [name for name in names if hub.serves(name)] == []


def test_a_state_behind_a_link_is_not_read(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    night_in(tmp_path / "elsewhere")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "report").symlink_to(tmp_path / "elsewhere" / "report")
    assert NightHub(tmp_path / "out").state.counts.listed == 0
