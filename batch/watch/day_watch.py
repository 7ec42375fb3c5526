"""A day watched beside the run of its queue: looks again and again, and queues what came since, as `queue add` does.

What is planned is always the whole day as it is now, so that a look, a plan or a write that is cut off is simply made again: a job is
told by what it makes, and what is there already is left alone.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from rushlight.batch.day.shooting_day import ShootingDay, load_day
from rushlight.batch.interrupts import Stop, Stopped, cancellable
from rushlight.batch.job_log import clock_text
from rushlight.batch.plan.away_clips import take_out_arriving
from rushlight.batch.plan.growing_originals import Growth, growing_text
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.queue.store import Store, open_store
from rushlight.batch.records.watched_day import WATCHED, WaitingClip, WatchedDay
from rushlight.batch.run.disk_room import Room
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import Event
from rushlight.batch.run.jobs_to_make import make_folder
from rushlight.batch.run.put_in_queue import Added, put_in
from rushlight.batch.watch.card_watch import CardWatch
from rushlight.batch.watch.cards import Card, Cards
from rushlight.batch.watch.completeness import Patience
from rushlight.batch.watch.inputs import Inputs
from rushlight.batch.watched_file import keep_watched, read_watched
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.errors import RushlightError, said

__all__ = ["DayWatch", "Pace"]

LEAVE = ("running", "failed", "set aside")  # a job in one of these states is a person's or a worker's
AGAIN = 60.0  # seconds after which a day that could not be planned is tried again, though nothing changed
SHARE = (
    10  # times as long as a look took is waited before the next, so that looking costs little on a slow share
)


@dataclass(frozen=True, kw_only=True)
class Pace:
    """How often a day is looked at, and how long what comes must stand still (seconds)."""

    every: float = 2.0
    cards: Patience = field(default_factory=Patience)
    inputs: float = (
        5.0  # for grades, lists and recipes; sound is copied as cards are, and stands still as they do
    )


class DayWatch:
    """The watch of one day. `begin` and `end` are called by the run, which has the queue's lock in between."""

    def __init__(
        self, day: ShootingDay, queue: Path, *, hold: bool, events: EventStream, stop: Stop, pace: Pace
    ) -> None:
        self.day, self.queue, self.hold, self.events, self.stop, self.pace = (
            day,
            queue,
            hold,
            events,
            stop,
            pace,
        )
        self.outs: Sequence[Path] = [out.absolute() for out in day.folders]
        kept = read_watched(self.outs)
        self.cards = Cards([Card.of(card) for card in kept.cards] if kept else [])
        self._lacking = {self._gone()}  # the cards that were gone, as they were at any look
        self.looking = CardWatch(self.cards, pace.cards, events, self.outs, self._going)
        self.texts, self.sound = Inputs(pace.inputs), Inputs(pace.cards.quiet)
        self.added = {out: Added() for out in self.outs}
        self.growth = {out: Growth() for out in self.outs}
        self.growing: dict[Path, list[Path]] = {}
        self.new: list[Card] = []  # cards that are being taken in
        self.wanted = True  # the day is to be planned: it is read once at least
        self.tried = self.settled = float(
            "-inf"
        )  # when it was planned last, and when its files stood still last
        self.took = 0.0  # seconds of the last look, without planning
        self.before: object = None  # what it was planned with
        self.spoilt = False  # its document is wrong as it is now
        self.told: set[str] = set()
        self.kept: dict[Path, WatchedDay] = {}
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watch", daemon=True)

    def begin(self) -> None:
        """Watch, on a thread of its own."""
        with open_store(self.queue) as store:
            for out in self.outs:
                if self.hold:
                    store.hold_folder(out)
                elif store.is_held(out):
                    self.events.note(f"{out} is held: `rushlight day release` lets it be rendered")
        self._thread.start()

    def end(self) -> None:
        """Watch no more, once what is in hand is done; says what did not come. Twice is as good as once."""
        if self._ended.is_set():
            return
        self._ended.set()
        if self._thread.is_alive():
            self._thread.join()
        self._forget()
        for card in self.cards.cards:
            lost = card.state == "gone"
            more = (
                f'. If it is gone for good, say so in {self.day.path.name}: gone = ["{card.name}"]'
                if lost
                else ""
            )
            if card.state == "arriving" or not (card.taken or card.state == "copy"):
                self.events.problem(
                    f"card {card.name} was not taken in: {card.text or 'it was not complete yet'}{more}"
                )
            elif lost:
                self.events.warning(f"card {card.name} is gone: {card.text}{more}")
        lacking = list(dict.fromkeys(c for added in self.added.values() for c in added.not_come.values()))
        if lacking:
            names = shortened(lacking, 20)
            self.events.problem(
                f"{self.day.document.list}: {counted(len(lacking), 'clip')} did not come and {'is' if len(lacking) == 1 else 'are'} not made: {names}"
            )
        with suppress(OSError, RushlightError):
            self._keep(watched=False)

    @property
    def waits(self) -> bool:
        """True if a card or a clip is waited for."""
        cards = any(not card.taken and card.state != "copy" for card in self.cards.cards)
        return cards or any(added.no_grade or added.not_come for added in self.added.values())

    def _run(self) -> None:
        while not self._done():
            try:
                with cancellable(self.stop):
                    self.poll(time.monotonic())
            except Stopped:
                return
            except Exception as error:  # one bad look is not to end the day
                self._tell(f"watching: a fault of rushlight's own: {said(error)}; it is tried again")
            self._ended.wait(max(self.pace.every, min(60.0, SHARE * self.took)))

    def _done(self) -> bool:
        return self._ended.is_set() or self.stop.asked

    def _going(self) -> None:
        if self._done():
            raise Stopped

    def _tell(self, text: str) -> None:
        """A problem, once."""
        if text not in self.told:
            self.told.add(text)
            self.events.problem(text)

    def poll(self, now: float) -> None:
        """Look once, and queue what is new. `now` as `time.monotonic`."""
        document = self.day.document
        begun = time.monotonic()
        self.looking.look(self.day.places(document.media), now)
        new = self.texts.look(self._texts(), now), self.sound.look(self.day.places(document.sound), now)
        self.took = time.monotonic() - begun
        if new[0]:
            self._read_day()
        self._forget()
        self._lacking.add(self._gone())
        self.wanted = self.wanted or any(new)
        if self._is_due(now):
            self.tried = now
            self._plan()
        self._keep(watched=True)

    def _is_due(self, now: float) -> bool:
        """True if the day is to be planned: something came since, and nothing of what it is planned with is away or being written."""
        if away := [*self.texts.away, *self.sound.away]:
            self._tell(f"{', '.join(away)}: not there any more; nothing is planned until that is back")
            return False
        if self.texts.settled and self.sound.settled:
            self.settled = now
        elif now - self.settled < self.pace.cards.unfinished:
            return False
        if self.spoilt:
            return False
        still = [p for out, paths in self.growing.items() for p in paths if self.growth[out].still(p)]
        if not (self.wanted or still or any(card.changed for card in self.cards.cards)):
            return False
        cards = [(card.place, card.key, card.state) for card in self.cards.cards]
        before, self.before = self.before, (dict(self.texts.digests), dict(self.sound.digests), cards)
        return bool(still) or before != self.before or now - self.tried >= AGAIN

    def _texts(self) -> list[Path]:
        """Grades, tables, lists, recipes and the document itself."""
        document = self.day.document
        own = [Path(recipe) for recipe in self.day.recipes if Path(recipe).is_file()]
        lists = (document.list,) if document.list else ()
        return [self.day.path, *self.day.places((*document.grades, *document.tables, *lists)), *own]

    def _gone(self) -> frozenset[str]:
        return frozenset(card.name for card in self.cards.cards if card.state == "gone")

    @property
    def lacks_others(self) -> bool:
        """True if other cards were gone at one moment than at another: pages that were made before may not say which."""
        return len(self._lacking | {self._gone()}) > 1

    def _forget(self) -> None:
        """Forget cards that are gone, and gone for good by the day's document."""
        for card in self.cards.forget(self.day.document.gone):
            text = f"card {card.name} is gone for good, as {self.day.path.name} says: it is not waited for any more"
            left = "; clips of it that are not made: `rushlight queue drop`" if card.taken else ""
            self.events.note(text + left)

    def _read_day(self) -> None:
        """Read the document again; while it is wrong nothing is planned, and what is queued is made."""
        self.spoilt = False
        try:
            self.day = load_day(self.day.path)
        except RushlightError as error:
            self.spoilt = True
            self._tell(f"{error}; nothing new is planned until that is mended")

    def _plan(self) -> None:
        """Plan the day as it is now, and queue what is missing."""
        ready = [card for card in self.cards.cards if card.state == "complete"]
        if not ready and not self.day.document.list:
            return
        try:
            requests = self._requests(ready)
            with open_store(self.queue) as store:
                for request in requests:
                    self._put_in(store, request, ready)
        except Stopped:
            raise
        except RushlightError as error:
            self.wanted = True
            self._tell(str(error))
            return
        self.wanted = False
        for card in self.new:
            self.events.card("card taken in", replace(card, taken=True).plain())
        self.new.clear()

    def _requests(self, ready: Sequence[Card]) -> list[Request]:
        """The day's requests, of the cards that are complete; folders of others are not looked into."""
        folders = {card.place.folder for card in ready}
        away = [card.place.folder for card in self.cards.cards if card.state != "complete"]
        for root in [card.place.folder for card in ready if card.place.alone]:
            away += [folder for folder in folders if folder != root and folder.is_relative_to(root)]
        given = Request(clip_list=self.day.path, recipe="", media=tuple(folders and sorted(folders)))
        wait = self.day.document.wait_for_grade
        return [
            replace(request.checked(), away=tuple(sorted(set(away))), wait_for_grade=wait)
            for request in self.day.requests(given)
        ]

    def _put_in(self, store: Store, request: Request, ready: Sequence[Card]) -> None:
        assert request.out is not None
        out = request.out.absolute()
        added, growth = self.added[out], self.growth[out]
        prepared = prepare(request)
        arriving = [c.place.folder for c in self.cards.cards if c.state == "arriving" and not c.taken]
        rows = take_out_arriving(prepared.plan, arriving, [card.place.folder for card in ready])
        prepared = replace(prepared, not_come=(*prepared.not_come, *rows))
        growing = growth.take_out(prepared.plan)
        if growing and growing != self.growing.get(out):
            self.events.event(Event(what="waiting", text=growing_text(growing)))
        self.growing[out] = growing
        self._count_in(ready)
        room = Room(self.events, self.stop)
        put_in(store, request, prepared, None, 0, self.events, room, leave=LEAVE, added=added)

    def _count_in(self, ready: Sequence[Card]) -> None:
        """From now on the clips of these cards count as listed, and no longer as arriving: none is ever counted twice."""
        self.new += [card for card in ready if not card.taken and card in self.cards.cards]
        self.cards.took([card for card in ready if card in self.cards.cards])
        self._keep(watched=True)

    def _keep(self, *, watched: bool) -> None:
        """Write each output folder's file where anything changed. A disk that does not take it now does so at a later look."""
        for out in self.outs:
            added = self.added[out]
            day = WatchedDay(
                schema=WATCHED,
                day=str(self.day.path.absolute()),
                queue=str(self.queue.absolute()),
                watched=watched,
                written="",
                cards=[card.plain() for card in self.cards.cards],
                no_grade=_waiting(added.no_grade),
                listed=bool(self.day.document.list),
                not_come=_waiting(added.not_come),
            )
            if day == self.kept.get(out):
                continue
            try:
                make_folder(out)
                keep_watched(out, day.model_copy(update={"written": clock_text(time.time())}))
            except (OSError, RushlightError) as error:
                self._tell(f"{out}: what is known of the cards cannot be written: {error}")
                continue
            self.kept[out] = day


def _waiting(clips: Mapping[str, str]) -> list[WaitingClip]:
    """Clips by job, as the file has them."""
    return [WaitingClip(job=job, clip=clip) for job, clip in clips.items()]
