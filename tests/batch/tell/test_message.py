"""A message: short enough for a phone, with counts that add up, and nothing of outside but as visible text."""

from __future__ import annotations

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from rushlight.batch.records.night_state import (
    NOW,
    ClipReady,
    FramesMade,
    NightCounts,
    NightState,
    PersonNeeded,
)
from rushlight.batch.records.summary import ToldMessage
from rushlight.batch.tell.changes import Change
from rushlight.batch.tell.message import night_message, trial_message

TIME = "2026-11-27T04:10:00+01:00"
DONE = Change(kind="done", text="Done.", short="done", last=True)


def ready(name: str) -> ClipReady:
    return ClipReady(job=name, clip=name, finished=TIME, frames=1, rate="24", first_timecode="00:00:00:00")


def state(clips: int = 2, failed: int = 0, names: str = "A001C{:03}") -> NightState:
    counts = NightCounts(
        listed=clips + failed, delivered=clips, running=0, waiting=0, held=0, set_aside=0, failed=failed
    )
    return NightState(
        schema=NOW,
        title="x",
        written=TIME,
        phase="over",
        counts=counts,
        frames=FramesMade(made=0, of=0),
        ready=[ready(names.format(n)) for n in range(clips)],
        needs=[PersonNeeded(what="failed", name=f"B{n}", text="broken " * 200) for n in range(failed)],
    )


def told(
    states: dict[Path, NightState], changes: list[Change] | None = None, title: str = "Day 12"
) -> tuple[str, str, ToldMessage]:
    found = night_message(title=title, host="cart", time=TIME, changes=changes or [DONE], states=states)
    return found.title, found.text, found.document


def test_it_says_all_that_a_producer_asks() -> None:
    title, text, document = told({Path("/d/out"): state(2, 1)})
    assert title == "Day 12: done, 2 of 3 ready"
    assert text.startswith(
        "Day 12\non cart, 2026-11-27 04:10\n\nDone.\n\nNeeds a person:\n- B0, failed: broken"
    )
    assert "3 clips listed = 2 ready + 1 failed\n" in text
    assert text.endswith("Ready, the newest first: A001C000, A001C001\nPage: /d/out/report/now.html\n")
    assert document.type == "night.done" and document.data.text == text
    assert ToldMessage.read(document.plain()) == document


def test_several_folders_are_named() -> None:
    title, text, _ = told({Path("/d/out/a"): state(2), Path("/d/out/b"): state(1, 1)})
    assert title.endswith("3 of 4 ready") and "\na:\n2 clips" in text and "\nb:\n2 clips" in text


def test_five_hundred_clips_stay_short() -> None:
    _, text, document = told({Path("/d/out"): state(500, 100)})
    assert len(text) < 12_000 and "and 480 more" in text and "- and 80 more, on the page" in text
    assert len(document.data.folders[0].ready) == 50 and len(document.data.folders[0].needs) == 50


def test_while_it_runs_only_what_is_new_is_named() -> None:
    change = Change(
        kind="needs you",
        text="1 thing more needs a person.",
        short="needs you",
        needs=(("failed", "B0", "broken " * 200),),
    )
    _, text, document = told({Path("/d/out"): state(2, 3)}, [change])
    assert "- B0, failed" in text and "- B1" not in text and document.type == "night.needs_you"


@given(st.text(), st.text(st.characters(codec="utf-8", exclude_characters="{}"), min_size=1))
def test_nothing_of_outside_ends_a_line_or_hides(title: str, name: str) -> None:
    states = {Path("/d/out"): state(1, names=name)}
    said, text, _ = told(states, title=title)
    _, plain_text, _ = told({Path("/d/out"): state(1)})
    assert said.splitlines() in ([said], []) and text.count("\n") == plain_text.count("\n")
    assert not set(text + said) & {
        chr(c) for c in [*range(10), 11, 12, *range(14, 32), 0x2028, 0x202E, 0x7F, 0x85]
    }
    text.encode()


def test_a_trial_says_that_nothing_has_happened() -> None:
    found = trial_message(title="Day 12", host="cart", time=TIME, page="smb://x")
    assert (
        found.title == "Day 12: test"
        and "nothing has happened" in found.text
        and "Page: smb://x" in found.text
    )
