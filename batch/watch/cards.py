"""The cards of a day and what becomes of each, as pure bookkeeping of what the looks found. Each card is taken in once, wherever it
lies; one that is gone is waited for, and never called lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from rushlight.batch.records.watched_day import CardState, WatchedCard
from rushlight.batch.watch.card_files import CardFile, CardPlace, clips_among
from rushlight.batch.watch.card_key import CardKey
from rushlight.batch.watch.completeness import Found, How
from rushlight.pipelines.job.spec import digest_of

__all__ = ["Card", "Cards", "names_digest"]

NO_KEY = CardKey(whole="", first="", head="")


@dataclass(frozen=True, kw_only=True)
class Card:
    """A card as it is known. `taken`: its clips were planned once; `changed`: they are to be planned as it is now."""

    place: CardPlace
    state: CardState = "arriving"
    how: How | None = None
    taken: bool = False
    changed: bool = False
    text: str = ""
    clips: int = 0
    files: int = 0
    bytes: int = 0
    names: str = ""  # digest of its names and sizes when it was complete
    key: CardKey = NO_KEY

    @property
    def name(self) -> str:
        return self.place.folder.name or str(self.place.folder)

    def plain(self) -> WatchedCard:
        """As the day's file keeps it. Its clips count as arriving until they are planned."""
        arrives = self.state == "arriving" or (self.state == "complete" and not self.taken)
        return WatchedCard(
            folder=str(self.place.folder),
            name=self.name,
            alone=self.place.alone,
            state="arriving" if arrives else self.state,
            how=self.how or "",
            taken=self.taken,
            text=self.text,
            clips=0 if arrives and self.taken else self.clips,
            files=self.files,
            bytes=self.bytes,
            names=self.names,
            key=self.key.whole,
            first=self.key.first,
            head=self.key.head,
        )

    @classmethod
    def of(cls, kept: WatchedCard) -> Card:
        return cls(
            place=CardPlace(folder=Path(kept.folder), alone=kept.alone),
            state=kept.state,
            how=kept.how or None,
            taken=kept.taken,
            changed=kept.state == "complete",  # whatever came between: planned once more
            text=kept.text,
            clips=kept.clips,
            files=kept.files,
            bytes=kept.bytes,
            names=kept.names,
            key=CardKey(whole=kept.key, first=kept.first, head=kept.head),
        )


def names_digest(files: Sequence[CardFile]) -> str:
    """Digest of a card's names and sizes."""
    return digest_of([[file.name, file.size] for file in files])


@dataclass
class Cards:
    """All cards of a day, in the order in which they were seen first. Two may have one folder: one that is gone, and one whose
    volume has its name."""

    cards: list[Card] = field(default_factory=list)

    def at(self, place: CardPlace) -> Card | None:
        """The card in a folder; of several the one that is not gone, else the last."""
        here = [card for card in self.cards if card.place == place]
        return next((card for card in here if card.state != "gone"), here[-1] if here else None)

    def arriving(self, place: CardPlace, files: Sequence[CardFile], text: str) -> Card:
        """A card is not complete, or not so any more."""
        here = self.at(place)
        if here is None:
            self._forget_renamed(files)
        card = here or Card(place=place)
        key = card.key if card.taken else CardKey(whole="", first=files[0].name if files else "", head="")
        card = replace(card, state="arriving", how=None, text=text, changed=False, key=key)
        return self._put(here, card if card.taken else _counted(card, files))

    def complete(self, place: CardPlace, files: Sequence[CardFile], key: CardKey, found: Found) -> Card:
        """A card is complete. It may be known: in this folder; in another, in which it is not any more (it was renamed), or still
        is (then this one is a copy); or it may be another than was in this folder before."""
        here = self.at(place)
        if here is None:
            self._forget_renamed(files)
        if here and here.taken and (here.key.first, here.key.head) != (key.first, key.head):
            self._put(here, replace(here, state="gone", text="another card is in its folder now"))
            here = None
        if here is None or not here.taken:
            same = next(
                (card for card in self.cards if card.key.whole == key.whole and card is not here), None
            )
            if same and same.state != "gone" and same.taken:
                text = f"the same card as {same.place.folder}; it is taken in once"
                card = Card(place=place, state="copy", text=text, key=key, names=names_digest(files))
                return self._put(here, _counted(card, files))
            if same and same.taken:
                self._drop(here)
                here = same
        card = here or Card(place=place)
        as_before = (card.state, card.place, card.key) == ("complete", place, key)
        card = replace(
            card,
            place=place,
            state="complete",
            how=found.how,
            text=found.text,
            changed=card.changed or not as_before,
            names=names_digest(files),
            key=key,
        )
        return self._put(here, _counted(card, files))

    def gone(self, card: Card, text: str) -> Card | None:
        """A card's media is not there: it is waited for. A copy of another is forgotten."""
        if card.state == "copy":
            self._drop(card)
            return None
        return self._put(card, replace(card, state="gone", text=text))

    def forget(self, names: Sequence[str]) -> list[Card]:
        """Know cards of these names no more that are gone: a person says that they do not come back. Gives them."""
        gone = [card for card in self.cards if card.state == "gone" and card.name in names]
        self.cards = [card for card in self.cards if card not in gone]
        return gone

    def took(self, cards: Sequence[Card]) -> None:
        """The clips of these are planned as the cards are now."""
        for card in cards:
            self._put(card, replace(card, taken=True, changed=False))

    def _forget_renamed(self, files: Sequence[CardFile]) -> None:
        """A folder that was renamed while it was being copied is not missed under its old name."""
        names = {file.name for file in files}
        self.cards = [
            c for c in self.cards if not (c.state == "gone" and not c.taken and c.key.first in names)
        ]

    def _drop(self, card: Card | None) -> None:
        if card in self.cards:
            self.cards.remove(card)

    def _put(self, old: Card | None, new: Card) -> Card:
        if old in self.cards:
            self.cards[self.cards.index(old)] = new
        else:
            self.cards.append(new)
        return new


def _counted(card: Card, files: Sequence[CardFile]) -> Card:
    size = sum(file.size for file in files)
    return replace(card, clips=clips_among(files), files=len(files), bytes=size)
