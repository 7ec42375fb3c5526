"""Exceptions by weight and clip; what many share is said once; the sentence says what is missing."""

from __future__ import annotations

from dataclasses import replace

from recorded import recorded
from rushlight.batch.plan.reconcile_media import MediaSums
from rushlight.batch.plan.request_ledger import Day
from rushlight.batch.records.job_record import UndeliveredRecord
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.batch.records.watched_day import WatchedCard
from rushlight.batch.report.needs import BadFile, OddThing, Shown, exceptions_of, needs_of, sentence

COUNTS = {"lists": 1, "listed": 5, "delivered": 5, "set_aside": 0, "failed": 0, "not_yet": 0, "ungraded": 0}


def odd(weight: str, name: str, text: str) -> OddThing:
    return OddThing(weight=weight, name=name, text=text, anchor=f"at-{name}")  # type: ignore[arg-type]


def test_a_footnote_of_many_clips_is_one_line() -> None:
    needs = needs_of([odd("note", f"A{n}", "its header states no reel") for n in range(28)])
    (line,) = needs["note"]
    assert (
        len(line.names) == 28
        and line.texts == ["its header states no reel"]
        and line.names[0] == ("A0", "at-A0")
    )


def test_all_that_is_said_of_a_clip_is_one_line_and_the_heaviest_come_first() -> None:
    needs = needs_of(
        [
            odd("note", "A1", "a note"),
            odd("wrong", "A1", "colour"),
            odd("wrong", "A1", "frames"),
            odd("wrong", "A2", "colour"),
            odd("lost", "A3", "set aside: no grade"),
        ]
    )
    assert list(needs) == ["lost", "wrong", "note"]
    assert [(n.names[0][0], list(n.texts)) for n in needs["wrong"]] == [
        ("A1", ["colour", "frames"]),
        ("A2", ["colour"]),
    ]


def test_the_sentence() -> None:
    assert sentence(COUNTS, []) == "5 of 5 clips are ready; nothing needs anybody."
    assert (
        sentence(COUNTS, [odd("look at", "A", "x"), odd("note", "B", "x")])
        == "5 of 5 clips are ready; 1 to look at."
    )
    counts = COUNTS | {"listed": 8, "set_aside": 1, "failed": 1, "not_yet": 1}
    lost = [odd("lost", "A", "x"), odd("lost", "B", "x"), odd("lost", "/card/x.r3d", "not readable: raw")]
    assert sentence(counts, [*lost, odd("wrong", "C", "colour")]) == (
        "4 of 8 clips are ready; 1 delivered clip failed when measured again, 2 clips were not delivered, "
        "1 original cannot be read or is missing, 1 clip is not made yet."
    )
    one = COUNTS | {"listed": 1, "delivered": 1}
    assert sentence(one, []) == "1 of 1 clip is ready; nothing needs anybody."


def test_verdicts_have_their_weight() -> None:
    checks = [
        ("colour", CheckVerdict(verdict="fail", text="has moved")),
        ("tags", CheckVerdict(verdict="warn", text="no reel")),
        ("frames", CheckVerdict(verdict="pass", text="")),
    ]
    found = exceptions_of([], [Shown("A1", "a1", checks, ["odd"])], EMPTY)
    assert [(e.weight, e.text, e.anchor) for e in found] == [
        ("wrong", "colour: has moved", "a1"),
        ("look at", "measured again, tags: no reel", "a1"),
        ("note", "odd", "a1"),
    ]


def test_a_wrong_clip_names_its_file_and_what_to_do_and_a_doubtful_one_no_step_of_a_failure() -> None:
    checks = [
        ("hash", CheckVerdict(verdict="fail", text="editorial/A1.mov: the file's bytes have changed")),
        ("tags", CheckVerdict(verdict="warn", text="no reel")),
    ]
    file = BadFile("editorial/A1.mov", "../editorial/A1.mov")
    needs = needs_of(exceptions_of([], [Shown("A1", "a1", checks, [], [file])], EMPTY))
    (wrong,), (doubt,) = needs["wrong"], needs["look at"]
    assert wrong.files == [file] and wrong.texts == ["hash: the file's bytes have changed"]
    assert "Hand nothing of this clip on" in wrong.steps[0]
    two = [file, BadFile("viewing/A1.mp4", "")]
    (wrong,) = needs_of(exceptions_of([], [Shown("A1", "a1", checks, [], two)], EMPTY))["wrong"]
    assert wrong.texts == ["hash: editorial/A1.mov: the file's bytes have changed"], "which of the two"
    assert doubt.files == [] and doubt.steps == []


def test_a_scene_and_take_are_no_remedy_and_a_lost_clip_leads_to_its_card() -> None:
    log = recorded("A 1", row={"scene": "3", "take": "1"}) | {
        "status": "failed",
        "error": "/out/a.mov: no space left on the disk",
    }
    (need,) = needs_of(exceptions_of([UndeliveredRecord.read(log)], [], EMPTY))["lost"]
    assert need.names == [("A 1", "A-1")] and need.texts[0].startswith("(scene 3, take 1) failed")
    assert "Make room" in need.steps[0]


def test_a_clip_delivered_with_damaged_frames_is_one_to_look_at() -> None:
    said = "delivered with 4 damaged frames: 01:00:00:03"
    for warnings in (
        ["no reel is stated", said],
        ["no reel is stated"],
    ):  # once, also where no warning says it
        found = exceptions_of(
            [], [Shown("A1", "a1", [], warnings, damage=[said], whole_again="Do this")], EMPTY
        )
        assert [(e.weight, e.text) for e in found] == [("note", "no reel is stated"), ("look at", said)]
        assert sentence(COUNTS, found) == "5 of 5 clips are ready; 1 to look at."
        (need,) = needs_of(found)["look at"]
        assert need.names == [("A1", "a1")] and need.steps == ["Do this"]


def test_an_original_that_does_not_open_is_said_once_by_its_clip() -> None:
    log = recorded("A1") | {"status": "failed", "error": "/card/A1.mov: does not open as a movie"}
    paths = ("/card/A1.mov", "/card/A2.mov")
    media = MediaSums(
        found=2,
        listed=1,
        not_listed=[],
        ignored=0,
        absent=[],
        unreadable=[{"path": p, "why": "x"} for p in paths],
    )
    found = exceptions_of([UndeliveredRecord.read(log)], [], replace(EMPTY, media=media))
    assert [each.name for each in found] == ["A1", "/card/A2.mov"]
    assert "2 clips were not delivered" not in sentence(COUNTS | {"failed": 1}, found)
    assert "1 clip was not delivered, 1 original cannot be read" in sentence(COUNTS | {"failed": 1}, found)


EMPTY = Day(entries=(), lists=(), media=None, dropped={}, settled={}, ungraded=0)


def test_a_card_that_is_gone_is_shown_and_what_nothing_waits_for_is_a_note() -> None:
    def card(name: str, **more: object) -> WatchedCard:
        return WatchedCard.read({"folder": f"/m/{name}", "name": name, "state": "gone", **more})

    cards = [card("A1", taken=True, text="is not there"), card("A2"), card("A3", state="complete")]
    found = exceptions_of([], [], EMPTY, cards)
    assert [(each.weight, each.name, each.text) for each in found] == [
        ("note", "card A1", "the card is gone: is not there"),
        ("look at", "card A2", "the card is gone: its media was taken away; nothing of it was taken in"),
    ]
    assert found[0].step.endswith('gone = ["A1"]')
