"""An output folder looked at again and again: the log read on, never twice, and what does not read stands as it did."""

import json
from pathlib import Path

import pytest

from rushlight.batch.job_log import LOG, append_record, failure_record, log_path
from rushlight.batch.live import night_folder
from rushlight.batch.live.night_folder import NightFolder
from rushlight.batch.live.run_words import RunWords
from rushlight.batch.plan.request_ledger import Asked, Asking, keep_asking
from rushlight.batch.queue.store import open_store
from rushlight.batch.records.watched_day import (
    WATCHED,
    WATCHED_FILE,
    WaitingClip,
    WatchedCard,
    WatchedDay,
)
from saturation import toy


def ask(out: Path, *jobs: str) -> None:
    keep_asking(
        out, Asking(list="/day.csv", recipe="r", rows=tuple(Asked(job=j, clip=j, line=2) for j in jobs))
    )


def counts(folder: NightFolder, phase: str = "rendering") -> dict[str, int]:
    found = folder.state(RunWords(phase=phase), now=0.0).counts.plain()  # type: ignore[arg-type]
    return {name: n for name, n in found.items() if n}


def test_it_follows_what_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = NightFolder(tmp_path, tmp_path / "q.sqlite")
    assert not folder.begun and counts(folder) == {}
    ask(tmp_path, "a", "b")
    assert folder.begun and counts(folder) == {"listed": 2, "waiting": 2}
    with open_store(tmp_path / "q.sqlite") as store:
        store.add([toy(tmp_path, "a", 1), toy(tmp_path, "b", 1), toy(tmp_path / "other", "c", 1)])
        store.set_state("a", "i", "running")
        assert counts(folder) == {"listed": 2, "waiting": 1, "running": 1}
        append_record(tmp_path, failure_record("a", "a", "failed", "broken"))
        assert counts(folder) == {
            "listed": 2,
            "waiting": 1,
            "running": 1,
        }  # the queue's file is a moment behind
        store.set_state("a", "i", "failed")
        store.drop(["b"])
    assert counts(folder) == {"listed": 2, "waiting": 1, "failed": 1}
    assert folder.state(RunWords(), now=0.0).needs[0].text == "broken"
    read: list[int] = []
    parse = night_folder.parse_lines
    monkeypatch.setattr(
        night_folder, "parse_lines", lambda data, *a, **k: (read.append(len(data)), parse(data, *a, **k))[1]
    )
    append_record(tmp_path, failure_record("b", "b", "set aside", "odd"))
    with log_path(tmp_path).open("ab") as stream:
        stream.write(b'{"torn')
    assert counts(folder) == {"listed": 2, "set_aside": 1, "failed": 1} and counts(folder)["listed"] == 2
    assert read[0] < log_path(tmp_path).stat().st_size / 2 + 100 and sum(read) == read[0]
    append_record(tmp_path, failure_record("b", "b", "withdrawn", ""))
    assert counts(folder) == {"listed": 2, "waiting": 1, "failed": 1}


def test_another_log_is_read_from_its_start(tmp_path: Path) -> None:
    folder = NightFolder(tmp_path)
    for job in ("a", "b"):
        append_record(tmp_path, failure_record(job, job, "failed", "broken"))
    assert counts(folder) == {"listed": 2, "failed": 2}
    log_path(tmp_path).unlink()
    append_record(tmp_path, failure_record("c", "c", "set aside", "odd"))
    assert counts(folder) == {"listed": 1, "set_aside": 1}


def test_what_does_not_read_stands_as_it_did(tmp_path: Path) -> None:
    with open_store(tmp_path / "q.sqlite") as store:
        store.add([toy(tmp_path, "a", 1)])
        store.set_state("a", "i", "running")
    ask(tmp_path, "a")
    folder = NightFolder(tmp_path, tmp_path / "q.sqlite")
    assert counts(folder) == {"listed": 1, "running": 1}
    (tmp_path / "q.sqlite").write_bytes(b"no queue any more")
    (tmp_path / LOG).mkdir(parents=True)  # no plain file
    assert counts(folder) == {"listed": 1, "running": 1}
    (tmp_path / "q.sqlite").unlink()
    assert counts(folder) == {"listed": 1, "waiting": 1}


def test_cards_and_clips_without_a_grade_of_a_day_that_is_watched(tmp_path: Path) -> None:
    ask(tmp_path, "a", "b")
    folder = NightFolder(tmp_path)
    cards = [
        WatchedCard(folder="/m/A001", name="A001", state="complete", how="by manifest", taken=True, clips=2),
        WatchedCard(folder="/m/A002", name="A002", state="arriving", clips=3),
    ]
    waits = [WaitingClip(job="b", clip="b")]
    day = WatchedDay(schema=WATCHED, day="/m/day.toml", watched=True, cards=cards, no_grade=waits)
    (tmp_path / WATCHED_FILE).write_text(json.dumps(day.plain()))
    assert counts(folder) == {"listed": 5, "arriving": 3, "waiting": 1, "waits_for_grade": 1}
    assert [(card.name, card.how) for card in folder.state(RunWords(), now=0.0).cards] == [
        ("A001", "by manifest"),
        ("A002", ""),
    ]
    for text in ("{", "[]"):
        (tmp_path / WATCHED_FILE).write_text(text)
        assert counts(folder) == {"listed": 2, "waiting": 2}
