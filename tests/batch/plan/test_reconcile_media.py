"""A folder as a list, and media folders against a list: nothing lost, and the counts add up."""

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from manifests import entry, hash_list
from pictures import numbered, write_movie, write_sequence
from rushlight.batch.api.plan_document import plan_document
from rushlight.batch.lists.folder_list import find_originals, read_folder
from rushlight.batch.plan.model import Plan
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.reconcile_media import reconcile
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import ListError


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """A card tree: two movies, a sequence, a damaged movie, camera raw, a system's and a hidden file, a thumbnail."""
    place = tmp_path / "media"
    clips = place / "A001" / "CONTENTS" / "CLIPS"
    clips.mkdir(parents=True)
    write_movie(clips / "A001C001.mov", [numbered(k) for k in range(3)])
    write_movie(clips / "A001C002.mov", [numbered(k) for k in range(3)])
    write_sequence(place / "B002" / "B002C001", [np.full((36, 64, 3), 400, np.uint16)] * 3)
    (clips / "A001C003.mov").write_bytes((clips / "A001C001.mov").read_bytes()[:2000])
    (clips / "A001C004.r3d").write_bytes(b"raw")
    (clips / "._A001C001.mov").write_bytes(b"")
    (clips / "A001C001.jpg").write_bytes(b"")
    (place / "Thumbs.db").write_bytes(b"")
    return place


def test_a_folder_is_a_list(card: Path) -> None:
    found = read_folder(card)
    names = [Path(row.clip).name for row in found.rows]
    assert names == ["A001C001.mov", "A001C002.mov", "A001C003.mov", "A001C004.r3d", "B002C001"]
    plan = prepare(Request(clip_list=card, encoding="LogC3")).plan
    assert [c.stem for c in plan.clips] == ["A001C001", "A001C002", "B002C001"]
    assert len(plan.broken) == 2 and not plan.wrong


def test_our_own_deliveries_are_no_originals(card: Path) -> None:
    before = find_originals([card])
    out = card / "delivered"
    (out / "log").mkdir(parents=True)
    (out / "log" / "jobs.jsonl").write_text("")
    write_movie(out / "A001C001.mov", [numbered(0)])
    assert find_originals([card]) == before


def test_an_empty_folder_is_no_list(tmp_path: Path) -> None:
    with pytest.raises(ListError, match="holds no original"):
        read_folder(tmp_path)


def test_the_counts_add_up(card: Path, tmp_path: Path) -> None:
    history = card / "A001" / "ascmhl"
    history.mkdir()
    (history / "0001_A001_2026-05-04_080000Z.mhl").write_text(
        hash_list([entry(f"CONTENTS/CLIPS/A001C00{n}.mov", b"") for n in (1, 9)]).decode()
    )
    clip_list = tmp_path / "day.csv"
    clip_list.write_text("clip,encoding\nA001C001.mov,LogC3\nA001C003.mov,LogC3\nA001C008.mov,LogC3\n")
    prepared = prepare(Request(clip_list=clip_list, media=(card,)))
    media = plan_document(prepared)["media"]
    assert media["listed"] == 1
    assert {Path(p).name for p in media["not_listed"]} == {"A001C002.mov", "B002C001"}
    assert {Path(e["path"]).name for e in media["unreadable"]} == {"A001C003.mov", "A001C004.r3d"}
    assert [e["path"] for e in media["absent"]] == ["CONTENTS/CLIPS/A001C009.mov"]
    assert media["found"] == 1 + 2 + 2 + media["ignored"]
    everything = [p for p in card.rglob("*") if p.is_file() and "ascmhl" not in p.parts]
    in_sequence = len(list((card / "B002" / "B002C001").iterdir()))
    assert (
        media["found"] == len(everything) - in_sequence + 1 + 1
    )  # a sequence is one; and the manifest itself
    assert [row.clip for row, _ in prepared.plan.wrong] == ["A001C008.mov"]


def test_rows_not_chosen_or_set_aside_still_name_their_originals(card: Path, tmp_path: Path) -> None:
    clip_list = tmp_path / "day.csv"
    clip_list.write_text("clip,encoding,circled\nA001C001.mov,LogC3,yes\nA001C002.mov,,no\nB002C001,,yes\n")
    prepared = prepare(Request(clip_list=clip_list, media=(card,), only=("circled=yes",)))
    assert prepared.media is not None
    assert prepared.media.listed == 3 and not prepared.media.not_listed


@pytest.fixture
def reloaded(tmp_path: Path) -> Path:
    """One clip name on two cards, an hour apart, and the second again in a copy with no reel that differs."""
    for card, reel, start in (("A001", "A001", "10:00:00:00"), ("A002", "A002", "11:00:00:00")):
        (tmp_path / "media" / card).mkdir(parents=True)
        write_movie(
            tmp_path / "media" / card / "C0001.mov",
            [numbered(k) for k in range(24)],
            timecode=start,
            reel=reel,
        )
    return tmp_path


@pytest.mark.parametrize(
    ("columns", "cells", "card"),
    [
        ("reel", "A002", "A002"),
        ("reel", "a001", "A001"),
        ("timecode", "11:00:00:00", "A002"),
        ("in,out", "10:00:00:04,10:00:00:10", "A001"),
    ],
)
def test_twins_are_told_apart_by_what_the_row_says(
    reloaded: Path, columns: str, cells: str, card: str
) -> None:
    (reloaded / "day.csv").write_text(f"clip,encoding,{columns}\nC0001.mov,LogC3,{cells}\n")
    plan = prepare(Request(clip_list=reloaded / "day.csv", media=(reloaded / "media",))).plan
    assert [c.path.parent.name for c in plan.clips] == [card] and plan.clips[0].stem == "C0001"


@pytest.mark.parametrize(
    ("columns", "cells", "says"),
    [
        ("note", "x", "write more of its path"),
        ("reel", "A009", "none of which has the row's reel"),
        ("timecode", "12:00:00:00", "none of which has the row's reel"),
    ],
)
def test_twins_that_nothing_tells_apart_are_an_error(
    reloaded: Path, columns: str, cells: str, says: str
) -> None:
    (reloaded / "day.csv").write_text(f"clip,encoding,{columns}\nC0001.mov,LogC3,{cells}\n")
    plan = prepare(Request(clip_list=reloaded / "day.csv", media=(reloaded / "media",))).plan
    assert not plan.clips and says in str(plan.wrong[0][1])


def test_both_twins_are_delivered_in_a_folder_of_their_reel(reloaded: Path) -> None:
    (reloaded / "day.csv").write_text("clip,encoding,reel\nC0001.mov,LogC3,A001\nC0001.mov,LogC3,A002\n")
    plan = prepare(Request(clip_list=reloaded / "day.csv", media=(reloaded / "media",))).plan
    assert [(c.stem, c.folder) for c in plan.clips] == [("C0001", "A001"), ("C0001", "A002")]


def test_every_file_of_a_clip_in_several_is_listed(tmp_path: Path) -> None:
    media = tmp_path / "media"
    media.mkdir()
    for number, start in ((1, "10:00:00:00"), (2, "10:00:00:03")):
        write_movie(media / f"C_00{number}.mov", [numbered(k) for k in range(3)], timecode=start)
    (tmp_path / "day.csv").write_text("clip,encoding\nC_###.mov,LogC3\n")
    prepared = prepare(Request(clip_list=tmp_path / "day.csv", media=(media,)))
    assert prepared.media and not prepared.plan.wrong and not prepared.plan.broken
    assert (prepared.media.listed, prepared.media.not_listed) == (2, ())


BOMB = '<!DOCTYPE h [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]><hashlist><hash><path>&b;</path></hash></hashlist>'


def named(path: str) -> str:
    return hash_list([entry(path, b"")]).decode()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (BOMB, "entities"),
        (
            '<!DOCTYPE h [<!ENTITY a SYSTEM "file:///etc/passwd">]><h><hash><path>&a;</path></hash></h>',
            "entities",
        ),
        ("<hashlist><hash><path>a.mov", "is MHL 1"),
        ("<hashlist" + ' a=""' * 30_000 + "/>", "not whole XML"),
        ("", "is empty"),
        (named("../../../etc/passwd"), "leads out of the manifest's folder"),
        (named("/etc/passwd"), "is absolute"),
        (named("gone.mov"), "gone.mov"),
        (named("x" * 300), "x" * 300),  # longer than a name can be
    ],
)
def test_a_hostile_manifest_is_named_and_looks_nowhere_else(card: Path, text: str, says: str) -> None:
    (card / "ascmhl").mkdir()
    (card / "ascmhl" / "0001.mhl").write_text(text)
    media = reconcile([card], Plan())
    assert media is not None and len(media.absent) == 1
    assert says in media.absent[0][0] and media.absent[0][1].name == "0001.mhl"


@given(st.text(max_size=200))
def test_junk_for_a_manifest_names_files_or_itself(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    place = tmp_path_factory.mktemp("junk")
    (place / "ascmhl").mkdir()
    (place / "ascmhl" / "0001.mhl").write_bytes(text.encode("utf-8", "surrogatepass"))
    media = reconcile([place], Plan())
    assert media is not None and media.listed == 0


def test_links_that_go_round_and_pipes_are_passed_over(card: Path, tmp_path: Path) -> None:
    before = find_originals([card])
    (card / "A001" / "round").symlink_to(card)
    (card / "A001" / "gone.mov").symlink_to(tmp_path / "nothing there.mov")
    os.mkfifo(card / "A001" / "pipe.mov")
    after = find_originals([card])
    gone = card / "A001" / "gone.mov"  # not readable, and said so
    assert set(after.originals) == {*before.originals, gone} and after.ignored == before.ignored + 1
    os.mkfifo(tmp_path / "pipe.csv")  # nobody writes to it: to open it would wait for ever
    (tmp_path / "round").symlink_to(tmp_path)
    (tmp_path / "day.csv").write_text("clip,encoding,saturation\nA001C001.mov,LogC3,0.5\n")
    prepared = prepare(Request(clip_list=tmp_path / "day.csv", media=(card,), grades=(tmp_path,)))
    assert len(prepared.plan.clips) == 1


def test_a_folder_given_twice_or_below_another_counts_once(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "day.csv").write_text("clip,encoding\nA001C001.mov,LogC3\n")
    monkeypatch.chdir(tmp_path)
    once = prepare(Request(clip_list=Path("day.csv"), media=(Path("media"),)))
    for more in (("media", "media"), ("media", "media/A001"), ("media/A001", "media"), (str(card), "media")):
        prepared = prepare(Request(clip_list=Path("day.csv"), media=tuple(Path(m) for m in more)))
        assert [c.stem for c in prepared.plan.clips] == ["A001C001"], more
        assert prepared.media and once.media and prepared.media.found == once.media.found, more


def test_a_manifest_of_our_own_deliveries_is_no_offloads(card: Path) -> None:
    (card / "out" / "log").mkdir(parents=True)
    (card / "out" / "log" / "jobs.jsonl").write_text("")
    (card / "out" / "ascmhl").mkdir()
    (card / "out" / "ascmhl" / "0001.mhl").write_text(named("editorial/gone.mov"))
    media = reconcile([card], Plan())
    assert media is not None and media.absent == ()
