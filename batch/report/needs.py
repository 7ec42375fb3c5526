"""What of a night needs somebody: every exception by its weight and clip, and what many clips share said once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from rushlight.batch.lists.clip_list import is_yes
from rushlight.batch.plan.request_ledger import Day
from rushlight.batch.records.colour import CAUTION
from rushlight.batch.records.job_record import ClipRecord
from rushlight.batch.records.summary import Missing
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.batch.records.watched_day import WatchedCard
from rushlight.batch.report.next_step import MEASURED, next_step
from rushlight.batch.report.page_pictures import anchor_of
from rushlight.pipelines.counted import counted

__all__ = [
    "WEIGHTS",
    "BadFile",
    "Need",
    "OddThing",
    "Shown",
    "Weight",
    "exceptions_of",
    "missing_of",
    "needs_of",
    "sentence",
]

Weight = Literal["lost", "wrong", "look at", "note"]
WEIGHTS: tuple[Weight, ...] = ("lost", "wrong", "look at", "note")
SHARED = 3  # clips of which the same is said, from which on it is said once


class BadFile(NamedTuple):
    """A delivered file that failed when it was measured again; no address where it is not there."""

    path: str
    href: str  # from the page


class Shown(NamedTuple):
    """What of a delivered clip may need somebody."""

    name: str
    anchor: str
    checks: Sequence[tuple[str, CheckVerdict]]
    warnings: Sequence[str]
    bad_files: Sequence[BadFile] = ()
    damage: Sequence[str] = ()  # what is said of its damaged frames
    whole_again: str = ""  # what to do about them


@dataclass(frozen=True, kw_only=True)
class OddThing:
    """One thing that is not as it should be, of a clip, an original or the log."""

    weight: Weight
    name: str
    text: str
    anchor: str = ""  # of the clip on the page; empty where it has no part of it
    files: Sequence[BadFile] = ()
    step: str = ""  # what to do, where the text does not say it


@dataclass(frozen=True, kw_only=True)
class Need:
    """A line of what needs somebody: names with their anchors, the texts that are said of all of them, and what to do."""

    weight: Weight
    names: Sequence[tuple[str, str]]
    texts: Sequence[str]
    files: Sequence[BadFile] = ()
    steps: Sequence[str] = ()  # what to do, where the texts do not say it


def exceptions_of(
    records: Sequence[ClipRecord],
    clips: Iterable[Shown],
    day: Day,
    cards: Iterable[WatchedCard] = (),
) -> list[OddThing]:
    """All of a day. `clips` are those that are delivered, `cards` those of a watched day."""
    found: list[OddThing] = []

    def add(
        weight: Weight,
        name: str,
        text: str,
        anchor: str = "",
        *,
        files: Sequence[BadFile] = (),
        step: str | None = None,
    ) -> None:
        step = next_step(text) if step is None else step
        found.append(OddThing(weight=weight, name=name, text=text, anchor=anchor, files=files, step=step))

    for record in records:
        if record.status == "not yet":
            add("look at", record.clip, "not made yet")
        elif record.status != "done":
            said, step = problem_of(record, day)
            add("lost", record.clip, said, anchor_of(record), step=step)
    for clip in day.dropped.values():
        add("look at", clip, "taken out of the queue by hand, and not made")
    for entry in day.entries:
        if entry.disagreement:
            add("look at", entry.clip, entry.disagreement)
    for row in day.settled.values():
        add("note", row.clip, row.text)
    for name, anchor, checks, warnings, files, damage, again in clips:
        for check, verdict in checks:
            said = f"{MEASURED}{check}: {verdict.text}"
            if verdict.verdict == "fail":
                own = verdict.text.removeprefix(f"{files[0].path}: ") if len(files) == 1 else verdict.text
                add("wrong", name, f"{check}: {own}", anchor, files=files, step=next_step(said))
            elif verdict.verdict == "warn":
                add("look at", name, said, anchor, step="")  # the usual one is for a failure
        for text in dict.fromkeys([*warnings, *damage]):
            if text in damage:
                add("look at", name, text, anchor, step=again)
            else:
                add("look at" if text.startswith(CAUTION) else "note", name, text, anchor)
    if day.media:
        known = [record.error for record in records if record.status in ("set aside", "failed")]
        for each in day.media["unreadable"]:
            if not any(f"{each['path']}: " in error for error in known):  # it is said of its clip
                add("lost", each["path"], f"not readable: {each['why']}")
        for gone in day.media["absent"]:
            add("lost", gone["path"], "named by a manifest of the offload, and not there")
        for path in day.media["not_listed"]:
            add("look at", path, "an original that no row of a list names")
    for card in cards:
        if card.state == "gone":
            add(*_gone(card, waits=bool(day.counts()["not_yet"])), step=_FOR_GOOD.format(card.name))
    return found


_FOR_GOOD = 'Bring it back; where it is gone for good, say so in the day\'s document: gone = ["{}"]'


def _gone(card: WatchedCard, *, waits: bool) -> tuple[Weight, str, str]:
    """Weight, name and text of a card that is gone. Taken in, with nothing left to make, it is a note."""
    lost = "" if card.taken else "; nothing of it was taken in"
    text = f"the card is gone: {card.text or 'its media was taken away'}{lost}"
    return "look at" if waits or not card.taken else "note", f"card {card.name}", text


def missing_of(record: ClipRecord, day: Day) -> Missing | None:
    """What nobody states of a clip that was set aside for that alone, said of all of its camera; None of another."""
    found = (each for each in day.missing if record.status == "set aside" and record.clip in each.alone)
    return next(found, None)


def problem_of(record: ClipRecord, day: Day) -> tuple[str, str]:
    """What became of a clip that was not delivered, and what to do; as the terminal has it where that says it of a camera."""
    if missing := missing_of(record, day):
        return f"{record.status}: {missing.text}", missing.step
    problem = f"{record.status}: {record.error}"
    return _scene(record) + problem, next_step(problem)


def _scene(record: ClipRecord) -> str:
    """Scene, take and whether it is circled, ahead of what is said of it; empty where its row says none."""
    row = record.row or {}
    said = [f"{name} {row[name]}" for name in ("scene", "take") if row.get(name)]
    said += ["circled"] if is_yes(row.get("circled", "")) else []
    return f"({', '.join(said)}) " if said else ""


def needs_of(exceptions: Sequence[OddThing]) -> dict[Weight, list[Need]]:
    """By weight, the heaviest first; what is said of several is one line, and all that is said of one clip another."""
    found: dict[Weight, list[Need]] = {}
    for weight in WEIGHTS:
        mine = [each for each in exceptions if each.weight == weight]
        by_text: dict[str, dict[tuple[str, str], OddThing]] = {}
        for each in mine:
            by_text.setdefault(each.text, {})[each.name, each.anchor] = each
        shared = {text: list(said.values()) for text, said in by_text.items() if len(said) >= SHARED}
        by_name: dict[tuple[str, str], list[OddThing]] = {}
        for each in mine:
            if each.text not in shared:
                by_name.setdefault((each.name, each.anchor), []).append(each)
        lines = [_need(weight, said) for said in (*by_name.values(), *shared.values())]
        if lines:
            found[weight] = lines
    return found


def _need(weight: Weight, said: Sequence[OddThing]) -> Need:
    """One line of several things that have their clip, or their text, in common."""
    return Need(
        weight=weight,
        names=list(dict.fromkeys((each.name, each.anchor) for each in said)),
        texts=list(dict.fromkeys(each.text for each in said)),
        files=list(dict.fromkeys(file for each in said for file in each.files)),
        steps=list(dict.fromkeys(each.step for each in said if each.step)),
    )


def sentence(counts: Mapping[str, int], exceptions: Sequence[OddThing]) -> str:
    """How the night went, in one sentence: what is ready, and what is not."""
    names = {weight: {each.name for each in exceptions if each.weight == weight} for weight in WEIGHTS}
    lost = counts["set_aside"] + counts["failed"]
    parts = []
    if names["wrong"]:
        parts.append(f"{counted(len(names['wrong']), 'delivered clip')} failed when measured again")
    if lost:
        parts.append(f"{counted(lost, 'clip')} {'was' if lost == 1 else 'were'} not delivered")
    others = len(names["lost"]) - lost
    if others > 0:
        parts.append(
            f"{counted(others, 'original')} cannot be read or {'is' if others == 1 else 'are'} missing"
        )
    if counts["not_yet"]:
        parts.append(
            f"{counted(counts['not_yet'], 'clip')} {'is' if counts['not_yet'] == 1 else 'are'} not made yet"
        )
    good = max(0, counts["delivered"] - len(names["wrong"]))
    ready = f"{good} of {counted(counts['listed'], 'clip')} {'is' if good == 1 else 'are'} ready"
    if not parts:
        doubts = len(names["look at"])
        rest = f"{doubts} to look at" if doubts else "nothing needs anybody"
        return f"{ready}; {rest}."
    return f"{ready}; {', '.join(parts)}."
