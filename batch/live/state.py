"""The state of a night, put together: the log and the requests say what is delivered, the queue's file what is in hand, and the run
itself at which frame it is.

Each clip has exactly one place, so that the counts add up at every moment, whichever of the three is a moment behind.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime

from rushlight.batch.job_log import clock_text
from rushlight.batch.lists.clip_list import is_yes
from rushlight.batch.live.run_words import RunWords
from rushlight.batch.plan.request_ledger import Day, Entry
from rushlight.batch.queue.glance import QueueGlance
from rushlight.batch.records.files import DeliveredMovie, DeliveredStill
from rushlight.batch.records.job_record import DeliveredRecord, JobRecord
from rushlight.batch.records.night_state import (
    NOW,
    OVER,
    CardNow,
    ClipReady,
    ClipRunning,
    ClipWaiting,
    FramesMade,
    NightCounts,
    NightState,
    PersonNeeded,
    ViewingCopy,
)

__all__ = ["NightState", "night_state", "ready_clip"]


def night_state(
    *,
    title: str,
    day: Day,
    errors: Mapping[str, str],
    ready: Mapping[str, ClipReady],
    rows: Sequence[QueueGlance],
    words: RunWords,
    now: float,
    cards: Iterable[CardNow] = (),
    no_grade: Iterable[str] = (),
    not_come: Iterable[str] = (),
    listed: bool = False,
) -> NightState:
    """The state of one output folder: `day` and, by job, why clips were not made (`errors`) and what is delivered of them (`ready`);
    `rows` of the queue of this folder alone, first to be run first; `no_grade` are jobs that wait for a grade, `not_come` those whose
    originals have not come; `now` as `time.time`.

    A clip that is made anew counts as running or waiting while the night runs; once it is over the log alone says what is
    delivered, as on the report's page. Clips of cards that arrive are in no list yet, and are added to those listed while it runs; where a list says what is made (`listed`) they are in it.
    """
    over = words.phase in OVER
    place = _placing(rows, set(no_grade), set(not_come), over=over)
    places = {entry.job: place(entry) for entry in day.entries}
    cards = list(cards)
    names = {entry.job: entry.clip for entry in day.entries}
    return NightState(
        schema=NOW,
        title=title,
        written=clock_text(now),
        begun=words.begun,
        phase="paused" if words.paused and not over else words.phase,
        text=words.paused or words.text or _waits(words),
        ends=words.ends,
        ready_by=words.ready_by,
        counts=_counts(list(places.values()), () if over or listed else cards, day.ungraded),
        frames=FramesMade(made=words.made, of=max(words.of, words.made)),
        running=_running(rows, places, words),
        waiting=_waiting(rows, places, names),
        needs=_needs(words, _undone(day, places, errors), _cards(cards, over=over)),
        ready=sorted(
            (clip for job, clip in ready.items() if job in places),
            key=lambda clip: _moment(clip.finished),
            reverse=True,
        ),
        cards=cards,
    )


def _counts(found: Sequence[str], cards: Iterable[CardNow], ungraded: int) -> NightCounts:
    """The clips in numbers, by their places, with those of cards that arrive."""
    coming = sum(card.clips for card in cards if card.state == "arriving")
    return NightCounts(
        listed=len(found) + coming,
        delivered=found.count("delivered"),
        running=found.count("running"),
        waiting=found.count("waiting"),
        held=found.count("held"),
        arriving=coming + found.count("arriving"),
        waits_for_grade=found.count("waits for a grade"),
        set_aside=found.count("set aside"),
        failed=found.count("failed"),
        ungraded=ungraded,
    )


def _placing(
    rows: Sequence[QueueGlance], no_grade: set[str], not_come: set[str], *, over: bool
) -> Callable[[Entry], str]:
    """The one place of an entry."""
    states: dict[str, set[str]] = {}
    for row in rows:
        states.setdefault(row.job, set()).add(row.state)

    def place(entry: Entry) -> str:
        queued = states.get(entry.job, set())
        if not over and "running" in queued:
            return "running"
        if not over and "queued" in queued:
            return "waiting"
        if not over and entry.job in not_come:
            return "arriving"
        if entry.state in ("set aside", "failed"):
            return entry.state
        if "held" in queued and (entry.state == "not yet" or not over):
            return "held"
        if entry.job in no_grade and entry.state == "not yet":
            return "waits for a grade"
        return "delivered" if entry.state == "done" else "waiting"

    return place


def _running(rows: Sequence[QueueGlance], places: Mapping[str, str], words: RunWords) -> list[ClipRunning]:
    found = []
    for row in rows:
        if row.state == "running" and places.get(row.job) == "running":
            made, of = words.frames.get(row.clip, (0, row.frames))
            of = of or row.frames
            made = min(made, of)
            found.append(
                ClipRunning(clip=row.clip, frame=made, frames=of, percent=100 * made // of if of else 0)
            )
    return found


def _waiting(
    rows: Sequence[QueueGlance], places: Mapping[str, str], names: Mapping[str, str]
) -> list[ClipWaiting]:
    """Clips that are not made yet, in the queue's order, then those that are in no queue."""
    order = dict.fromkeys([*(row.job for row in rows if row.job in places), *places])
    found = []
    for job in order:
        match places[job]:
            case "waiting" | "held" | "arriving" | "waits for a grade" as state:
                found.append(ClipWaiting(clip=names[job], state=state))
    return found


def _needs(
    words: RunWords, undone: Sequence[PersonNeeded], cards: Sequence[PersonNeeded]
) -> list[PersonNeeded]:
    """What waits for a person, each once: a row's fault is told by the run as well."""
    known = {need.text for need in undone}
    return [*(need for need in words.needs() if need.text not in known), *undone, *cards]


def _undone(day: Day, places: Mapping[str, str], errors: Mapping[str, str]) -> list[PersonNeeded]:
    found = []
    for entry in day.entries:
        match places[entry.job]:
            case "set aside" | "failed" as what:
                found.append(PersonNeeded(what=what, name=entry.clip, text=errors.get(entry.job, "")))
    return found


def _cards(cards: Sequence[CardNow], *, over: bool) -> list[PersonNeeded]:
    """Cards that are waited for, and once the night is over those that never were complete."""
    found = []
    for card in cards:
        if card.state == "gone":
            text = card.text or "its media was taken away, and is waited for"
            found.append(PersonNeeded(what="card", name=card.name, text=text))
        elif card.state == "arriving" and over:
            text = card.text or "it was not complete when the night ended; nothing of it was made"
            found.append(PersonNeeded(what="card", name=card.name, text=text))
    return found


def _waits(words: RunWords) -> str:
    return words.waits[-1] if words.waits and words.phase not in OVER else ""


def _moment(text: str) -> float:
    try:
        return datetime.fromisoformat(text).timestamp()
    except ValueError:
        return 0.0


def ready_clip(record: JobRecord, *, thumb: str, still: str) -> ClipReady | None:
    """What is delivered of a clip, with the names of its pictures from the output folder; None where nothing is."""
    if not isinstance(record, DeliveredRecord):
        return None
    row = record.row or {}
    movies = sorted(
        (entry for entry in record.outputs if isinstance(entry, DeliveredMovie)),
        key=lambda entry: (entry.width * entry.height, entry.path),
    )
    return ClipReady(
        job=record.job,
        clip=record.clip,
        scene=row.get("scene", ""),
        take=row.get("take", ""),
        circled=is_yes(row.get("circled", "")),
        finished=record.finished,
        frames=record.frames,
        rate=record.rate,
        first_timecode=record.first_timecode,
        revision=record.revision,
        notes=record.warnings,
        thumb=thumb,
        still=still,
        stills=[entry.path for entry in record.outputs if isinstance(entry, DeliveredStill)],
        movies=[
            ViewingCopy(
                output=entry.output,
                path=entry.path,
                width=entry.width,
                height=entry.height,
                bytes=entry.bytes,
                plays=(entry.codec, entry.container, entry.pixel_format) == ("h264", "mp4", "yuv420p"),
            )
            for entry in movies
        ],
    )
