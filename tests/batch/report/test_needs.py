"""Exceptions by weight and clip; what many share is said once; the sentence says what is missing."""

from __future__ import annotations

from rushlight.batch.plan.request_ledger import Day
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.batch.report.needs import OddThing, exceptions_of, needs_of, sentence

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
    found = exceptions_of([], [("A1", "a1", checks, ["odd"])], EMPTY)
    assert [(e.weight, e.text, e.anchor) for e in found] == [
        ("wrong", "measured again, colour: has moved", "a1"),
        ("look at", "measured again, tags: no reel", "a1"),
        ("note", "odd", "a1"),
    ]


EMPTY = Day(entries=(), lists=(), media=None, dropped={}, settled={}, ungraded=0)
