"""Each card once, wherever it lies; one that is gone is waited for."""

from __future__ import annotations

from pathlib import Path

from rushlight.batch.records.watched_day import WatchedCard
from rushlight.batch.watch.card_files import CardFile, CardPlace
from rushlight.batch.watch.card_key import CardKey
from rushlight.batch.watch.cards import Card, Cards
from rushlight.batch.watch.completeness import STILL, Found

FOUND = Found(how=STILL)


def place(name: str) -> CardPlace:
    return CardPlace(folder=Path("/media") / name)


def files(*names: str) -> tuple[CardFile, ...]:
    return tuple(CardFile(name=f"{name}.mov", size=10, mtime_ns=1) for name in names)


def key(whole: str, head: str = "head", first: str = "a.mov") -> CardKey:
    return CardKey(whole=whole, first=first, head=head)


def taken(*names: str) -> Cards:
    """Cards of one clip each, taken in, whose keys are their names."""
    cards = Cards()
    for name in names:
        cards.took([cards.complete(place(name), files("a"), key(name, f"head of {name}"), FOUND)])
    return cards


def states(cards: Cards) -> list[tuple[str, str, bool]]:
    return [(card.name, card.state, card.changed) for card in cards.cards]


def test_a_card_arrives_is_complete_and_is_taken_in_once() -> None:
    cards = Cards()
    assert cards.arriving(place("A"), files("a"), "1 file so far").state == "arriving"
    done = cards.complete(place("A"), files("a", "b"), key("A"), FOUND)
    assert (done.state, done.how, done.changed, done.taken, done.clips) == ("complete", STILL, True, False, 2)
    cards.took([done])
    again = cards.complete(place("A"), files("a", "b"), key("A"), FOUND)
    assert not again.changed and again.taken and len(cards.cards) == 1


def test_a_renamed_card_is_not_a_new_one() -> None:
    cards = taken("A")
    assert cards.gone(cards.cards[0], "is not there")
    moved = cards.complete(place("A day 12"), files("a"), key("A", "head of A"), FOUND)
    assert moved.taken and moved.changed  # its clips have other paths now
    assert states(cards) == [("A day 12", "complete", True)]


def test_one_that_is_there_twice_is_taken_in_once() -> None:
    cards = taken("A")
    copy = cards.complete(place("backup"), files("a"), key("A", "head of A"), FOUND)
    assert copy.state == "copy" and copy.text == "the same card as /media/A; it is taken in once"
    assert cards.gone(copy, "is not there") is None and states(cards) == [("A", "complete", False)]


def test_a_copy_takes_its_place_once_the_first_is_gone() -> None:
    cards = taken("A")
    cards.complete(place("backup"), files("a"), key("A", "head of A"), FOUND)
    cards.gone(cards.cards[0], "is not there")
    cards.complete(place("backup"), files("a"), key("A", "head of A"), FOUND)
    assert states(cards) == [("backup", "complete", True)]


def test_a_volume_name_comes_again_with_another_card() -> None:
    """Both are known: the first is gone, and its clips wait for it."""
    cards = taken("UNTITLED")
    new = cards.complete(place("UNTITLED"), files("a"), key("other", "another head"), FOUND)
    assert new.changed and not new.taken
    assert [(c.state, c.key.whole) for c in cards.cards] == [("gone", "UNTITLED"), ("complete", "other")]
    assert cards.at(place("UNTITLED")) is new
    cards.took([new])
    back = cards.complete(place("UNTITLED"), files("a"), key("UNTITLED", "head of UNTITLED"), FOUND)
    assert back.taken and back.changed
    assert [(c.state, c.key.whole) for c in cards.cards] == [("complete", "UNTITLED"), ("gone", "other")]


def test_one_that_gets_more_clips_stays_the_same_card() -> None:
    cards = taken("A")
    again = cards.arriving(place("A"), files("a", "b"), "2 files so far")
    assert again.taken and again.plain().clips == 0  # those that it had are in the list already
    more = cards.complete(place("A"), files("a", "b"), key("A and more", "head of A"), FOUND)
    assert more.taken and more.changed and len(cards.cards) == 1


def test_one_that_was_pulled_out_halfway_is_missed_until_it_is_back() -> None:
    cards = Cards()
    card = cards.arriving(place("A"), files("a"), "1 file so far")
    assert cards.gone(card, "is not there")
    assert states(cards) == [("A", "gone", False)]
    cards.arriving(place("A"), files("a"), "1 file so far")
    assert states(cards) == [("A", "arriving", False)]


def test_a_folder_renamed_while_it_is_copied_is_not_missed() -> None:
    cards = Cards()
    cards.gone(cards.arriving(place("A.copying"), files("a"), "1 file so far"), "is not there")
    cards.arriving(place("A"), files("a", "b"), "2 files so far")
    assert [card.name for card in cards.cards] == ["A"]


def test_a_card_survives_the_file_it_is_kept_in() -> None:
    cards = taken("A")
    kept = Card.of(WatchedCard.read(cards.cards[0].plain().plain()))
    assert kept == Card(
        **{**vars(cards.cards[0]), "changed": True}
    )  # planned once more, whatever came between


def test_its_clips_count_as_arriving_until_they_are_planned() -> None:
    cards = Cards()
    done = cards.complete(place("A"), files("a", "b"), key("A"), FOUND)
    assert (done.plain().state, done.plain().clips) == ("arriving", 2)
    cards.took([done])
    assert (cards.cards[0].plain().state, cards.cards[0].plain().clips) == ("complete", 2)


def test_one_that_is_gone_for_good_is_forgotten_and_one_that_is_there_is_not() -> None:
    cards = taken("A", "B")
    assert cards.gone(cards.cards[0], "is not there")
    assert [card.name for card in cards.forget(["A", "B"])] == ["A"]
    assert states(cards) == [("B", "complete", False)] and cards.forget(["A", "B"]) == []
