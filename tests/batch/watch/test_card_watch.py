"""Cards as they come: copies of every kind, folders renamed, media taken away and put back, on a clock of the test's own."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from manifests import sealed
from pictures import numbered, write_movie
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.watch import card_watch
from rushlight.batch.watch.card_watch import CardWatch
from rushlight.batch.watch.cards import Card, Cards
from rushlight.batch.watch.completeness import Patience

QUIET = 60


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("whole") / "a.mov"
    write_movie(path, [numbered(n) for n in range(6)])
    return path.read_bytes()


class Watching:
    """A watch of `media`, and the clock it goes by."""

    def __init__(self, folder: Path) -> None:
        self.media, self.now = folder / "media", 1000.0
        self.media.mkdir(exist_ok=True)
        self.told: list[dict[str, Any]] = []
        self.began(Cards())

    def began(self, cards: Cards) -> None:
        """Anew, with what is known of the cards."""
        self.cards = cards
        patience = Patience(quiet=QUIET, looks=3, unfinished=600)
        self.watch = CardWatch(cards, patience, EventStream(self.told.append))

    def look(self, after: float = 0, times: int = 1) -> list[tuple[str, str]]:
        """Look so many times in so many seconds; gives name and state of each card."""
        for _ in range(times):
            self.now += after / times
            self.watch.look([self.media], self.now)
        return [(card.name, card.state) for card in self.cards.cards]

    def taken(self) -> None:
        """What is complete is planned."""
        self.cards.took([card for card in self.cards.cards if card.state == "complete"])

    def settle(self) -> list[tuple[str, str]]:
        self.look()
        found = self.look(after=QUIET + 1, times=3)
        self.taken()
        return found

    def events(self) -> list[tuple[str, str]]:
        return [(e["event"], e["card"]) for e in self.told if "card" in e]

    @property
    def card(self) -> Card:
        (card,) = self.cards.cards
        return card


@pytest.fixture
def watching(tmp_path: Path) -> Watching:
    return Watching(tmp_path)


def put(path: Path, data: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return path


def test_a_card_is_complete_once_it_has_stood_still(watching: Watching, whole: bytes) -> None:
    put(watching.media / "A001" / "a.mov", whole)
    assert watching.look(times=5) == [("A001", "arriving")]  # often, and too soon
    assert watching.look(after=QUIET - 1) == [("A001", "arriving")]
    assert watching.look(after=2) == [("A001", "complete")]
    assert watching.card.how == "by having stood still" and watching.card.clips == 1


def test_one_that_grows_in_place_is_not(watching: Watching, whole: bytes) -> None:
    path = put(watching.media / "A001" / "a.mov", whole[:1000])
    for size in range(2000, len(whole), 3000):
        put(path, whole[:size])
        assert watching.look(after=QUIET - 5, times=3) == [("A001", "arriving")]
    put(path, whole)
    assert watching.settle() == [("A001", "complete")]


def test_one_whose_writer_pauses_is_still_open(watching: Watching, whole: bytes) -> None:
    path = put(watching.media / "A001" / "a.mov", whole[: len(whole) // 2])
    assert watching.look(after=300, times=6) == [("A001", "arriving")]
    assert watching.card.text.startswith("a.mov ends in the middle") or "no index yet" in watching.card.text
    put(path, whole)
    assert watching.settle() == [("A001", "complete")]


def test_one_that_is_written_under_a_passing_name_is_not(watching: Watching, whole: bytes) -> None:
    put(watching.media / "A001" / "a.mov", whole)
    hidden = put(watching.media / "A001" / ".b.mov.x7Qk2b", whole[:5000])
    assert watching.look(after=300, times=6) == [("A001", "arriving")]
    assert (
        watching.card.text == ".b.mov.x7Qk2b has the name of a copy that is not finished; it waits for that"
    )
    put(hidden, whole)
    hidden.rename(hidden.with_name("b.mov"))
    assert watching.settle() == [("A001", "complete")] and watching.card.clips == 2


def test_one_of_full_size_and_old_time_from_the_start_is_not(watching: Watching, whole: bytes) -> None:
    path = put(watching.media / "A001" / "a.mov", whole[:4000] + bytes(len(whole) - 4000))
    os.utime(path, ns=(0, 10**18))
    assert watching.look(after=300, times=6) == [("A001", "arriving")]
    assert "a.mov is not filled to its end yet" in watching.card.text
    put(path, whole)
    os.utime(path, ns=(0, 10**18))  # the time that it had: only the file itself says that it is whole now
    assert watching.settle() == [("A001", "complete")]


def test_the_clock_of_a_share_is_not_compared_with_ours(watching: Watching, whole: bytes) -> None:
    for number, moment in enumerate((0, 4 * 10**18)):  # 1970 and 2096
        os.utime(put(watching.media / "A001" / f"{number}.mov", whole), ns=(moment, moment))
    assert watching.settle() == [("A001", "complete")]


def test_one_with_its_manifest_is_complete_at_once(watching: Watching, whole: bytes, tmp_path: Path) -> None:
    source = tmp_path / "A001"
    put(source / "Clip" / "a.mov", whole)
    put(source / "Clip" / "b.mov", whole)
    sealed(source)
    shutil.copytree(source / "ascmhl", watching.media / "A001" / "ascmhl")  # in whatever order it comes
    put(watching.media / "A001" / "Clip" / "a.mov", whole)
    assert watching.look() == [("A001", "arriving")]
    assert watching.card.text == "1 of 2 files of its manifest so far"
    put(watching.media / "A001" / "Clip" / "b.mov", whole[:5000] + bytes(len(whole) - 5000))
    assert watching.look() == [("A001", "arriving")]  # its size is right, and nothing is in it
    put(watching.media / "A001" / "Clip" / "b.mov", whole)
    assert watching.look() == [("A001", "complete")] and watching.card.how == "by manifest"


def test_a_folder_without_originals_is_no_card(watching: Watching) -> None:
    put(watching.media / "reports" / "day.pdf", b"x")
    assert watching.settle() == []


def test_a_renamed_card_is_taken_in_once(watching: Watching, whole: bytes) -> None:
    put(watching.media / "A001" / "a.mov", whole)
    watching.settle()
    (watching.media / "A001").rename(watching.media / "A001 day 12")
    assert watching.look() == [
        ("A001 day 12", "complete")
    ]  # at once: its clips are never counted as arriving again
    assert watching.card.taken and watching.card.changed
    assert watching.events()[-2:] == [("card gone", "A001"), ("card back", "A001 day 12")]


@pytest.mark.parametrize("how", ["folder", "media", "empty"])
def test_a_card_that_is_taken_away_is_waited_for_and_is_back_at_once(
    watching: Watching, whole: bytes, tmp_path: Path, how: str
) -> None:
    place = watching.media / "A001"
    put(place / "a.mov", whole)
    watching.settle()
    moved = watching.media if how == "media" else place
    moved.rename(tmp_path / "unplugged")
    if how == "empty":
        place.mkdir()
    assert watching.look() == [("A001", "gone")] and "it is waited for" in watching.card.text
    assert watching.look(after=10_000, times=3) == [("A001", "gone")]
    if how == "empty":
        place.rmdir()
    (tmp_path / "unplugged").rename(moved)
    assert watching.look() == [("A001", "complete")]
    assert watching.card.changed  # a grade may have come meanwhile
    assert watching.events()[-2:] == [("card gone", "A001"), ("card back", "A001")]


@pytest.mark.parametrize("number", [errno.EIO, errno.ENOENT, errno.ESTALE, errno.ENOTCONN])
def test_a_disk_that_fails_in_the_middle_of_a_look_is_gone(
    watching: Watching, whole: bytes, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    put(watching.media / "A001" / "a.mov", whole)
    watching.settle()

    def fails(*_: object) -> None:
        raise OSError(number, os.strerror(number), str(watching.media / "A001"))

    with monkeypatch.context() as patch:
        patch.setattr(card_watch, "files_of_card", fails)
        assert watching.look() == [("A001", "gone")] and os.strerror(number) in watching.card.text
    assert watching.look() == [("A001", "complete")]


def test_one_pulled_out_halfway_and_put_back_is_taken_in_whole(
    watching: Watching, whole: bytes, tmp_path: Path
) -> None:
    place = watching.media / "A001"
    put(place / "a.mov", whole)
    watching.look(after=30)
    place.rename(tmp_path / "unplugged")
    assert watching.look(after=1) == [("A001", "gone")]
    (tmp_path / "unplugged").rename(place)
    assert watching.look(after=QUIET - 2, times=3) == [("A001", "arriving")]  # it begins to stand still anew
    put(place / "b.mov", whole)
    assert watching.settle() == [("A001", "complete")] and watching.card.clips == 2


def test_a_volume_of_the_same_name_is_another_card(watching: Watching, whole: bytes, tmp_path: Path) -> None:
    place = watching.media / "UNTITLED"
    put(place / "C0001.mov", whole)
    watching.settle()
    place.rename(tmp_path / "first")
    write_movie(put(place / "C0001.mov", b""), [numbered(n + 50) for n in range(9)])
    assert watching.settle() == [("UNTITLED", "gone"), ("UNTITLED", "complete")]
    place.rename(tmp_path / "second")
    (tmp_path / "first").rename(place)
    assert sorted(watching.settle()) == [("UNTITLED", "complete"), ("UNTITLED", "gone")]


def test_a_copy_beside_it_is_not_taken_in(watching: Watching, whole: bytes) -> None:
    put(watching.media / "A001" / "a.mov", whole)
    watching.settle()
    shutil.copytree(watching.media / "A001", watching.media / "A001 backup")
    assert watching.settle() == [("A001", "complete"), ("A001 backup", "copy")]


def test_a_run_that_starts_again_knows_its_cards(watching: Watching, whole: bytes) -> None:
    """Wherever it was killed: what was taken in is there at once, what was arriving stands still anew."""
    put(watching.media / "A001" / "a.mov", whole)
    watching.settle()
    put(watching.media / "A002" / "a.mov", whole + b"\0\0\0\x08free")
    watching.look()
    watching.began(Cards([Card.of(card.plain()) for card in watching.cards.cards]))
    assert watching.look() == [("A001", "complete"), ("A002", "arriving")]
    assert watching.cards.cards[0].taken
    watching.began(Cards())  # its file was lost as well
    assert watching.settle() == [("A001", "complete"), ("A002", "complete")]


def test_one_that_stays_unfinished_is_taken_as_it_is_and_said(watching: Watching, whole: bytes) -> None:
    put(watching.media / "A001" / "a.mov", whole)
    put(watching.media / "A001" / "b.mov", whole[: len(whole) // 2])
    assert watching.look(after=599, times=5) == [("A001", "arriving")]
    assert watching.look(after=200) == [("A001", "complete")] and "taken as it is" in watching.card.text


def test_what_it_says_of_a_card_is_said_once(watching: Watching, whole: bytes) -> None:
    put(watching.media / "A001" / "a.mov", whole)
    put(watching.media / "A001" / "b.mov.part", b"x")
    watching.look(after=400, times=40)
    assert watching.events() == [("card arriving", "A001")] * 2  # that it arrives; then what it waits for


def test_a_look_ends_where_it_is_asked_to(watching: Watching, whole: bytes) -> None:
    class Enough(Exception):
        pass

    def ends() -> None:
        raise Enough

    put(watching.media / "A001" / "a.mov", whole)
    ending: Callable[[], object] = ends
    watching.watch.going = ending
    with pytest.raises(Enough):
        watching.look()
