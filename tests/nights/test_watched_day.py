"""A shooting day in real processes, an hour of it in two seconds: cards copied in every way there is, one with a byte flipped,
one renamed, one pulled out halfway; grades that come late, one revised, sound at the end; and the machine goes down in the middle.

Afterwards every original is delivered or named with its reason, the right things were made once, and whoever looked at any moment saw
counts that add up.
"""

from __future__ import annotations

import json
import os
import random
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from subprocess import Popen
from typing import Any

import pytest

from command import started
from here import rushlight
from logged import latest, read_records
from manifests import sealed
from recordings import bext, chunk, counting, ixml, write_wav
from rushlight.batch.records.night_state import NightState
from rushlight.batch.records.watched_day import WATCHED_FILE, WatchedDay
from small_days import SmallDay

STILL = 2.0  # seconds, for sixty
LIMIT = 240  # seconds in which a day that hangs is given up
BLOCKS = 5
MORE = 'wait_for_grade = true\nmanifest = "auto"'


class Copying(threading.Thread):
    """One card copied in, in its own way, with pauses that are shorter than what is waited for."""

    def __init__(self, day: SmallDay, card: Path, how: str, seed: int) -> None:
        super().__init__(name=f"copy of {card.name}")
        self.day, self.card, self.random = day, card, random.Random(f"{seed} {card.name}")
        self.how: Callable[[Path], None] = getattr(self, how)
        self.error: BaseException | None = None

    def run(self) -> None:
        try:
            self.pause()
            self.how(self.day.media / self.card.name)
        except BaseException as error:
            self.error = error

    def pause(self) -> None:
        time.sleep(self.random.uniform(0, 0.35 * STILL))

    def files(self) -> list[tuple[str, bytes]]:
        """What is copied, the manifest last."""
        found = [p for p in self.card.rglob("*") if p.is_file()]
        found.sort(key=lambda p: ("ascmhl" in p.parts, p.name))
        return [(p.relative_to(self.card).as_posix(), p.read_bytes()) for p in found]

    def write(self, path: Path, data: bytes) -> None:
        """A file written in place, a piece at a time."""
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb", buffering=0) as stream:
            for start in range(0, len(data), max(1, len(data) // BLOCKS)):
                stream.write(data[start : start + max(1, len(data) // BLOCKS)])
                self.pause()

    def renamed(self, place: Path) -> None:
        """Under hidden names until each is whole; each takes its own time back."""
        for name, data in self.files():
            final = place / name
            hidden = final.with_name(f".{final.name}.x7Qk2b")
            self.write(hidden, data)
            os.utime(hidden, (1e9, 1e9))
            hidden.rename(final)

    def in_place(self, place: Path) -> None:
        for name, data in self.files():
            self.write(place / name, data)

    def preallocated(self, place: Path) -> None:
        """Of full size from the start, filled from the front, with the time of the card at the end."""
        place.mkdir()
        for name, data in self.files():
            path = place / name
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("wb", buffering=0) as stream:
                stream.truncate(len(data))
                os.utime(path, (1e9, 1e9))
                for start in range(0, len(data), max(1, len(data) // BLOCKS)):
                    self.pause()
                    stream.write(data[start : start + max(1, len(data) // BLOCKS)])
                    os.utime(path, (1e9, 1e9))

    def folder_renamed(self, place: Path) -> None:
        """The whole folder has another name until it is copied."""
        self.in_place(place.with_name(f"{place.name} copying"))
        place.with_name(f"{place.name} copying").rename(place)

    def renamed_later(self, place: Path) -> None:
        """Somebody calls the card by another name once it was taken in."""
        self.in_place(place)
        time.sleep(4 * STILL)
        place.rename(place.with_name(f"{place.name} day 12"))

    def pulled_out(self, place: Path) -> None:
        """The disk is unplugged halfway, and put back after longer than what is waited for."""
        away, (first, *others) = self.day.folder / f"unplugged {place.name}", self.files()
        self.write(place / first[0], first[1][: len(first[1]) // 2])
        place.rename(away)
        time.sleep(1.5 * STILL)
        away.rename(place)
        for name, data in (first, *others):
            self.write(place / name, data)

    def flipped(self, place: Path) -> None:
        """A byte of the last clip is another one than the manifest has it."""
        last = max(name for name, _ in self.files() if "ascmhl" not in name)
        for name, data in self.files():
            if name == last:
                at = len(data) // 2
                data = data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]
            self.write(place / name, data)


class Looking(threading.Thread):
    """Somebody who looks at the page's state and at the day's file, again and again."""

    def __init__(self, day: SmallDay, every: float) -> None:
        super().__init__(name="looking", daemon=True)
        self.day, self.every, self.ended = day, every, threading.Event()
        self.states: list[NightState] = []
        self.days: list[WatchedDay] = []
        self.faults: list[str] = []

    def run(self) -> None:
        while not self.ended.wait(self.every):
            try:
                with suppress(FileNotFoundError):
                    self.days.append(WatchedDay.read(json.loads((self.day.out / WATCHED_FILE).read_text())))
                with suppress(FileNotFoundError):
                    text = (self.day.out / "report" / "now.json").read_text()
                    self.states.append(NightState.read(json.loads(text)))  # refused where it does not add up
                    page = (self.day.out / "report" / "now.html").read_text()
                    assert page.rstrip().endswith("</html>"), "a page that is not whole"
            except Exception as error:
                self.faults.append(f"{type(error).__name__}: {error}")


class Machine:
    """A machine that runs the day, and may go down."""

    def __init__(self, day: SmallDay) -> None:
        self.day, self.said = day, day.folder / "said.jsonl"
        self.process: Popen[str] | None = None

    def on(self) -> None:
        arguments = ("--still", STILL, "--every", 0.1, "--queue", self.day.queue, "--workers", 2, "--json")
        call = ("day", "run", self.day.file, *arguments)
        with self.said.open("a") as stream:
            self.process = started(*call, stdout=stream, stderr=stream, start_new_session=True)

    def down(self) -> None:
        """kill -9 of the whole process group, as it is when the power goes."""
        assert self.process
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def off(self) -> int:
        """Ctrl-C."""
        assert self.process
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(60)

    def events(self) -> list[dict[str, Any]]:
        lines = self.said.read_text().splitlines() if self.said.exists() else []
        found = []
        for line in lines:
            with suppress(ValueError):  # one that was cut off
                found.append(json.loads(line))
        return found

    def until(self, is_so: Callable[[], bool], what: str) -> None:
        end = time.monotonic() + LIMIT
        while not is_so():
            assert self.process and self.process.poll() is None, (what, self.said.read_text()[-3000:])
            assert time.monotonic() < end, (what, self.said.read_text()[-3000:])
            time.sleep(0.1)


def done(day: SmallDay) -> Counter[str]:
    """Deliveries by clip's name."""
    if not (day.out / "log" / "jobs.jsonl").exists():
        return Counter()
    return Counter(Path(r["clip"]).stem for r in read_records(day.out) if r["status"] == "done")


def taken(machine: Machine) -> set[str]:
    return {e["card"] for e in machine.events() if e.get("event") == "card taken in"}


def lived(day: SmallDay, cards: dict[str, str], seed: int, *, clips: int, every: float) -> None:
    """A whole day; `cards` are copied each in its way. What must hold is asserted."""
    names = {card: [f"{card}C{n:03}" for n in range(1, clips + 1)] for card in cards}
    sources = {card: day.made(card, names[card]) for card in cards}
    flipped = next((names[card][-1] for card, how in cards.items() if how == "flipped"), "")
    for card, how in cards.items():
        if how == "flipped":
            sealed(sources[card])
    every_clip = [clip for ours in names.values() for clip in ours]
    good = [clip for clip in every_clip if clip != flipped]
    choose, machine, looking = random.Random(seed), Machine(day), Looking(day, every)
    copies = [Copying(day, sources[card], how, seed) for card, how in cards.items()]
    machine.on()
    looking.start()
    try:
        for copy in copies:
            copy.start()
        late = time.monotonic() + STILL  # an hour after the first card
        machine.until(lambda: bool(taken(machine)) and time.monotonic() > late, "the first card")
        machine.until(
            lambda: (
                any(s.counts.waits_for_grade for s in looking.states)
                and any(kept.no_grade for kept in looking.days)
            ),
            "a clip that waits for its grade",
        )
        for clip in choose.sample(every_clip, len(every_clip)):
            day.grade(clip)
        machine.until(lambda: sum(done(day).values()) >= choose.randint(1, 2), "the first clips")
        time.sleep(choose.uniform(0, 1))
        machine.down()
        machine.on()
        for copy in copies:
            copy.join()
            assert copy.error is None, copy.error
        machine.until(lambda: set(done(day)) >= set(good), "all clips")
        before = done(day)
        revised = choose.choice(good)
        day.grade(revised, 0.7)
        machine.until(lambda: done(day)[revised] > before[revised], "the revised clip")
        sounded = sound(day, good[0])
        machine.until(lambda: done(day)[sounded] > before[sounded] + (sounded == revised), "sound")
        time.sleep(2 * STILL)  # nothing more is made
        code = machine.off()
    finally:
        looking.ended.set()
        with suppress(ProcessLookupError, AssertionError):
            os.killpg(machine.process.pid if machine.process else 0, signal.SIGKILL)
    looking.join()
    assert code == (1 if flipped else 0), machine.said.read_text()[-3000:]
    made_once(day, before, revised=revised, sounded=sounded)
    accounted_for(day, good, flipped)
    looked_at(looking, len(every_clip))
    known_once(day, cards)


def made_once(day: SmallDay, before: Counter[str], *, revised: str, sounded: str) -> None:
    """Every clip once, whatever went down meanwhile; the revised one and the one with sound once more, and no other."""
    assert set(before.values()) == {1}, before
    assert done(day) - before == Counter([revised, sounded])
    records = [r for r in read_records(day.out) if r["status"] == "done" and Path(r["clip"]).stem == sounded]
    assert "T001.wav" in json.dumps(records[-1]["sound"])


def accounted_for(day: SmallDay, good: list[str], flipped: str) -> None:
    """Every original is delivered, or named with its reason."""
    records = {
        Path(r["clip"]).stem: r for r in latest(read_records(day.out)).values() if r["status"] != "withdrawn"
    }
    assert {clip for clip, r in records.items() if r["status"] == "done"} == set(good)
    for clip in good:
        assert all((day.out / entry["path"]).is_file() for entry in records[clip]["outputs"])
    if flipped:
        assert (
            records[flipped]["status"] in ("set aside", "failed") and "differs" in records[flipped]["error"]
        )
    proof = rushlight("verify", day.out)
    assert proof.returncode == (1 if flipped else 0), proof.stdout


def looked_at(looking: Looking, clips: int) -> None:
    """At every moment it added up, was whole, and in the end all clips were listed."""
    assert looking.faults == [] and looking.states and looking.days
    assert max(state.counts.listed for state in looking.states) == clips  # none is ever counted twice
    assert looking.states[-1].counts.listed == clips
    assert any(state.counts.waits_for_grade for state in looking.states)
    assert any(day.no_grade for day in looking.days)


def known_once(day: SmallDay, cards: dict[str, str]) -> None:
    """Each card once, under the name that it has now."""
    kept = WatchedDay.read(json.loads((day.out / WATCHED_FILE).read_text()))
    assert [c for c in kept.cards if c.state != "complete"] == []
    ends = {card: f"{card} day 12" if how == "renamed_later" else card for card, how in cards.items()}
    assert sorted(card.name for card in kept.cards) == sorted(ends.values())
    assert {card.state for card in kept.cards} == {"complete"} and all(card.taken for card in kept.cards)
    hows = {card.name: card.how for card in kept.cards}
    for card, how in cards.items():
        assert hows[ends[card]] == ("by manifest" if how == "flipped" else "by having stood still")


def sound(day: SmallDay, clip: str) -> str:
    """The recordist's files, for one clip."""
    hour = int("".join(c for c in clip.partition("C")[0] if c.isdigit()) or 0) % 24
    first = hour * 3600 * 48000
    place = day.folder / "sound"
    place.mkdir()
    before = [chunk(b"bext", bext(first)), chunk(b"iXML", ixml(reference=first, names=["BOOM"]))]
    part = place / ".T001.wav.a1B2c3"
    write_wav(part, 48000, fill=counting(1), first=first, channels=1, before=before)
    part.rename(place / "T001.wav")
    return clip


FEW = {"A001": "in_place", "A002": "preallocated", "A003": "pulled_out", "A004": "flipped"}
MANY = {
    **FEW, "A005": "renamed", "A006": "folder_renamed", "A007": "renamed_later", "A008": "in_place",
}  # fmt: skip


def test_a_day_of_four_cards(tmp_path: Path) -> None:
    lived(SmallDay(tmp_path, MORE), FEW, 21, clips=1, every=0.2)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_a_day_of_eight_cards(tmp_path: Path, seed: int) -> None:
    lived(SmallDay(tmp_path, MORE), MANY, seed, clips=3, every=1.0)
