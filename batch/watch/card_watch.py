"""The cards of a day looked at once: what is there, what arrives, what is complete, what is gone. Only reads."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.watch.card_files import (
    CardFile,
    CardPlace,
    card_places,
    files_of_card,
    is_original,
)
from rushlight.batch.watch.card_key import key_of_card
from rushlight.batch.watch.cards import Card, Cards, names_digest
from rushlight.batch.watch.completeness import Found, Patience, Stillness, is_due, judged, seen_again
from rushlight.batch.watch.stated_files import manifests_among, stated_sizes
from rushlight.pipelines.originals.spanned_clips import MOVIES
from rushlight.pipelines.originals.unfinished import is_passing_name, unfinished

__all__ = ["CardWatch"]

Files = tuple[CardFile, ...]


@dataclass
class CardWatch:
    """Looks at the folders that cards arrive in, and keeps `cards` up. `leave_out` are folders that are no cards. `going` is called
    between cards, and ends a look by what it raises."""

    cards: Cards
    patience: Patience
    events: EventStream
    leave_out: Sequence[Path] = ()
    going: Callable[[], object] = lambda: None
    _still: dict[CardPlace, Stillness] = field(default_factory=dict)
    _settled: dict[CardPlace, Files] = field(default_factory=dict)  # as it was when it was complete
    _stated: dict[CardPlace, tuple[Files, Mapping[str, int] | None]] = field(default_factory=dict)
    _told: dict[CardPlace, str] = field(default_factory=dict)

    def look(self, media: Iterable[Path], now: float) -> None:
        """Look once; `now` by a clock that never jumps."""
        places: list[CardPlace] = []
        for folder in media:
            try:
                places += card_places(folder, self.leave_out)
            except OSError as error:
                self._all_gone(folder, f"{folder}: {error.strerror or error}")
        there = set(places)
        for card in list(self.cards.cards):
            if card.state != "gone" and card.place not in there:
                self._gone(card, f"{card.place.folder} is not there")
        for place in dict.fromkeys(places):
            self.going()
            try:
                self._look_at(place, now)
            except OSError as error:
                if known := self.cards.at(place):
                    self._gone(known, f"{error.filename or place.folder}: {error.strerror or error}")

    def _look_at(self, place: CardPlace, now: float) -> None:
        files, card = files_of_card(place, self.leave_out), self.cards.at(place)
        if not any(is_original(f.name) or is_passing_name(f.name.rpartition("/")[2]) for f in files):
            if card and card.files:
                self._gone(card, f"{place.folder} is empty")
            return
        still = self._still[place] = seen_again(self._still.get(place), files, now)
        if card and card.state in ("complete", "copy") and self._settled.get(place) == files:
            return
        if card and card.taken and self._settled.get(place) != files and self._is_back(card, files):
            return
        if (card is None or not card.taken) and self._was_renamed(place, files):
            return
        stated = self._manifest(place, files)
        if not is_due(still, now, self.patience, stated):
            self._arriving(place, files, judged(still, now, self.patience, stated=stated))
            return
        found = judged(still, now, self.patience, unfinished=self._unfinished(place, files), stated=stated)
        if found.how is None:
            self._arriving(place, files, found)
        else:
            self._complete(place, files, found)

    def _is_back(self, card: Card, files: Files) -> bool:
        """A card that was taken in before, here or in an earlier run, is there as it was: it need not stand still again."""
        if card.names != names_digest(files) or card.how is None:
            return False
        if key_of_card(card.place.folder, files, card.key.first) != card.key:
            return False
        self._complete(card.place, files, Found(how=card.how, text=card.text if card.state != "gone" else ""))
        return True

    def _was_renamed(self, place: CardPlace, files: Files) -> bool:
        """A card that was taken in and is gone from its folder lies in this one as it was: only its folder has another name."""
        gone = [card for card in self.cards.cards if card.state == "gone" and card.taken and card.how]
        names = names_digest(files) if gone else ""
        for card in gone:
            if card.names == names and key_of_card(place.folder, files, card.key.first) == card.key:
                self._complete(place, files, Found(how=card.how))
                return True
        return False

    def _complete(self, place: CardPlace, files: Files, found: Found) -> None:
        before = self.cards.at(place)
        first = before.key.first if before and before.taken else ""
        card = self.cards.complete(place, files, key_of_card(place.folder, files, first), found)
        self._settled[place] = files
        if card.taken and (before is None or before.state == "gone"):
            self.events.card("card back", card.plain())
        elif card.state == "copy" and (before is None or before.state != "copy"):
            self.events.note(f"card {card.name}: {card.text}")

    def _arriving(self, place: CardPlace, files: Files, found: Found) -> None:
        before = self.cards.at(place)
        card = self.cards.arriving(place, files, found.text)
        self._settled.pop(place, None)
        news = found.held and self._told.get(place) != found.text
        if before is None or before.state != "arriving" or news:
            self._told[place] = found.text
            self.events.card("card arriving", card.plain())

    def _gone(self, card: Card, text: str) -> None:
        self._still.pop(card.place, None)
        self._settled.pop(card.place, None)
        if card.state != "gone" and (gone := self.cards.gone(card, f"{text}; it is waited for")):
            self.events.card("card gone", gone.plain())

    def _all_gone(self, media: Path, text: str) -> None:
        for card in list(self.cards.cards):
            if card.place.folder.is_relative_to(media):
                self._gone(card, text)

    def _manifest(self, place: CardPlace, files: Files) -> Mapping[str, int] | None:
        """What the manifests of a card state; read again only where one of them changed."""
        ours = manifests_among(files)
        known = self._stated.get(place)
        if known is None or known[0] != ours:
            known = self._stated[place] = ours, stated_sizes(place.folder, ours)
        return known[1]

    def _unfinished(self, place: CardPlace, files: Files) -> list[str]:
        """Sentences on files that are not written to their end."""
        found = []
        for file in files:
            name = file.name.rpartition("/")[2]
            movie = Path(name).suffix.lower() in MOVIES
            if movie or is_passing_name(name) or (is_original(name) and not file.size):
                self.going()
                if why := unfinished(place.folder / file.name):
                    found.append(f"{file.name} {why}")
        return found
