"""In and out: frames of timecodes and numbers, `out` exclusive, handles as far as the original goes, and what lies outside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pictures import numbered, write_movie
from recordings import made_take
from rushlight.batch.lists.excerpt import Excerpt
from rushlight.batch.plan.clip_sound import shown_of
from rushlight.batch.plan.in_out import excerpted, frame_range
from rushlight.batch.plan.jobs import job_id, named
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.batch.sound.sound_statements import SoundStated
from rushlight.batch.sound.take_matching import Chosen
from rushlight.pipelines.errors import OptionError, TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.job.delivered_names import own_names
from rushlight.pipelines.sound.placing import fit

START = Timecode.parse("01:00:00:00", FrameRate.parse("24"))


@pytest.mark.parametrize(
    ("given_in", "given_out", "found"),
    [
        ("", "", (0, 100)),
        ("10", "20", (10, 10)),
        ("01:00:01:00", "", (24, 76)),
        ("", "01:00:01:00", (0, 24)),
        (" 01:00:00:10 ", "100", (10, 90)),
    ],
)
def test_frames_of_a_range(given_in: str, given_out: str, found: tuple[int, int]) -> None:
    assert frame_range(given_in, given_out, start=START, frames=100) == (*found, ())


def test_handles_are_clipped_at_the_ends_and_said() -> None:
    assert frame_range("20", "80", start=START, frames=100, handles=8) == (12, 76, ())
    first, count, warnings = frame_range("5", "98", start=START, frames=100, handles=8)
    assert (first, count) == (0, 100)
    assert warnings == (
        "the head handle is 5 of 8 frames: the original starts there",
        "the tail handle is 2 of 8 frames: the original ends there",
    )
    assert frame_range("", "", start=START, frames=100, handles=8) == (0, 100, ())


@pytest.mark.parametrize(
    ("given_in", "given_out", "key", "says"),
    [
        ("100", "", "in", r"'100' lies outside: .*\(100 frames\)"),
        ("", "101", "out", "'101' lies outside"),
        ("", "0", "out", "lies outside"),
        ("20", "20", "out", "out is exclusive"),
        ("00:59:59:00", "00:59:59:12", "in", "lies outside"),
        ("noon", "", "in", "noon"),
    ],
)
def test_what_is_no_range(given_in: str, given_out: str, key: str, says: str) -> None:
    with pytest.raises(TimecodeError, match=says) as found:
        frame_range(given_in, given_out, start=START, frames=100)
    assert found.value.key == key


@given(st.integers(0, 99), st.integers(1, 100), st.integers(0, 200))
def test_a_range_lies_in_its_original_and_holds_what_was_asked(first: int, last: int, handles: int) -> None:
    if last <= first:
        return
    begin, count, _ = frame_range(str(first), str(last), start=START, frames=100, handles=handles)
    assert 0 <= begin <= first
    assert last <= begin + count <= 100


# --- excerpts


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two cards with a clip of one name each, and a drop-frame clip that runs over a minute."""
    folder = tmp_path_factory.mktemp("day")
    for card, start in (("A", "10:00:00:00"), ("B", "11:00:00:00")):
        (folder / card).mkdir()
        write_movie(folder / card / "C001.mov", [numbered(n) for n in range(30)], timecode=start, reel=card)
    ntsc = Fraction(30000, 1001)
    pictures = [numbered(n) for n in range(20)]
    write_movie(folder / "D001.mov", pictures, rate=ntsc, timecode="10:00:59;20", reel="D")
    (folder / "r.toml").write_text(
        '[[output]]\nname = "e"\nmake = "movie"\ncodec = "prores-proxy"\nsize = "64x36"\n'
    )
    return folder


def plan(
    day: Path, *ranges: str, rows: Sequence[str] = ("A/C001.mov", "B/C001.mov", "D001.mov"), **given: object
) -> Prepared:
    text = "\n".join(
        [
            "clip,encoding,levels,in,out,slope,offset,power",
            *(f"{r},LogC3,narrow{',' * (5 - r.count(','))}" for r in rows),
        ]
    )
    (day / "day.csv").write_text(text + "\n")
    options = Request(clip_list=day / "day.csv", recipe=str(day / "r.toml"), ranges=ranges)
    return prepare(replace(options, **given))  # type: ignore[arg-type]


def shown(prepared: Prepared) -> list[tuple[str, int, int, str]]:
    return [(c.folder, c.first, c.count, c.excerpt) for c in prepared.plan.clips]


def test_an_excerpt_is_its_frames_alone_and_has_a_name_of_its_own(day: Path) -> None:
    found = plan(day, "A/C001.mov=10:00:00:04-10:00:01:02", "B/C001=5-", stills=("C001=11:00:00:05",))
    assert shown(found) == [
        ("A", 4, 22, "10:00:00:04-10:00:01:02"),
        ("B", 5, 25, "11:00:00:05-11:00:01:06"),
        ("B", 5, 1, "11:00:00:05"),  # of the one that has it
    ]
    first, _, still = found.plan.clips
    assert str(first.timecode) == "10:00:00:04" and first.called == "A/C001.mov 10:00:00:04-10:00:01:02"
    assert own_names(found.recipe.output[0], named(first, found.recipe.output[0])).files == (
        "C001_10.00.00.04-10.00.01.02.mov",
    )
    assert own_names(found.recipe.output[1], named(still, found.recipe.output[1])).files == (
        "C001_11.00.00.05.jpg",
        "C001_11.00.00.05.tif",
    )
    assert len({job_id(clip) for clip in found.plan.clips}) == 3 and still.still
    counts = found.plan
    rows = len(found.clip_list.rows) + counts.one_by_one
    assert (
        rows == len(counts.clips) + len(counts.wrong) + len(counts.broken) + counts.alike + counts.not_chosen
    )


def test_the_whole_clip_and_the_same_twice(day: Path) -> None:
    found = plan(day, "A/C001.mov=0-30", "A/C001.mov=10:00:00:00-10:00:01:06", "A/C001.mov=-30")
    assert shown(found) == [("A", 0, 30, "10:00:00:00-10:00:01:06")]


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("A/C001.mov=09:00:00:00-10:00:00:10", "'09:00:00:00' lies outside: A/C001.mov is delivered from 10:00:00:00 to 10:00:01:06 .30 frames"),
        ("A/C001.mov=10:00:00:10-10:00:01:07", "'10:00:01:07' lies outside"),
        ("A/C001.mov=10:00:01:00-10:00:01:00", "is not after"),
        ("A/C001.mov=10:00:01:00-10:00:00:00", "is not after"),
        ("A/C001.mov=10:00:00:10-10:00:00:24", "has frame 24, but 24 frames a second ends at 23"),
        ("A/C001.mov=noon-", "'noon' is not a timecode"),
        ("C001=5-9", "may be of 2 clips: A/C001 .*:2.*; B/C001 .*; name one of them so"),
        ("C001=12:00:00:00-", "lies in none of the 2 clips"),
        ("D001=10:01:00:00-", "does not exist: drop-frame leaves this label out"),
        ("D001=10:01:00;01-", "does not exist"),
        ("nothing=1-2", "the list has no clip 'nothing'"),
    ],
)  # fmt: skip
def test_what_no_clip_has(day: Path, asked: str, says: str) -> None:
    with pytest.raises(OptionError, match=says) as found:
        plan(day, "A/C001.mov=1-2", asked)
    assert asked in found.value.text


def test_every_wrong_excerpt_is_named_in_one_go(day: Path) -> None:
    with pytest.raises(OptionError, match=r"A/C001.mov=90-: .*; --still B/C001=91: "):
        plan(day, "A/C001.mov=90-", stills=("B/C001=91",))


@pytest.mark.parametrize(
    "text", ["10:01:00;02-10:01:00;05", "10:01:00:02-10:01:00:05", "10:01:00.02-10:01:00,05"]
)
def test_drop_frame_as_shells_like_it(day: Path, text: str) -> None:
    found = plan(day, f"D001={text}")
    assert shown(found) == [("", 10, 3, "10:01:00;02-10:01:00;05")]
    names = named(found.plan.clips[0], found.recipe.output[0])
    assert own_names(found.recipe.output[0], names).files == ("D001_10.01.00.02-10.01.00.05.mov",)


def test_what_in_and_out_leave_out_is_no_part_of_the_clip(day: Path) -> None:
    rows = ("A/C001.mov,LogC3,narrow,4,20,,,",)
    (day / "day.csv").write_text("clip,encoding,levels,in,out,slope,offset,power\n" + rows[0] + "\n")
    options = Request(clip_list=day / "day.csv", recipe=str(day / "r.toml"))
    assert shown(prepare(replace(options, ranges=("C001=10:00:00:04-10:00:00:20",)))) == [
        ("", 4, 16, "10:00:00:04-10:00:00:20")
    ]
    for asked in ("C001=3-", "C001=-21"):
        with pytest.raises(OptionError, match="the original has more, which the list's in and out leave out"):
            prepare(replace(options, ranges=(asked,)))


def test_a_clip_that_is_in_the_list_twice_is_told_by_timecode_or_place(day: Path) -> None:
    text = "clip,encoding,levels,in,out,slope,offset,power\n"
    text += (
        "A/C001.mov,LogC3,narrow,0,16,1 1 1,0 0 0,1 1 1\nA/C001.mov,LogC3,narrow,12,30,2 2 2,0 0 0,1 1 1\n"
    )
    (day / "day.csv").write_text(text)
    options = Request(clip_list=day / "day.csv", recipe=str(day / "r.toml"))
    whole = [clip.folder for clip in prepare(options).plan.clips]
    assert shown(prepare(replace(options, ranges=("C001=2-6", "C001=20-24")))) == [
        (whole[0], 2, 4, "10:00:00:02-10:00:00:06"),
        (whole[1], 20, 4, "10:00:00:20-10:00:01:00"),
    ]
    with pytest.raises(OptionError, match=f"may be of 2 clips: {whole[0]}/C001") as found:
        prepare(replace(options, ranges=("C001=13-15",)))
    assert f"{whole[1]}/C001" in found.value.text
    told = prepare(replace(options, ranges=(f"{whole[1]}/C001=13-15",)))
    assert shown(told) == [(whole[1], 13, 2, "10:00:00:13-10:00:00:15")]


def test_nobody_minds_what_is_wrong_with_other_clips(day: Path) -> None:
    """A year later, one original is back from the archive."""
    found = plan(day, "B/C001=5-9", rows=("gone/C001.mov", "B/C001.mov", "D009.mov"))
    assert shown(found)[0][1:] == (5, 4, "11:00:00:05-11:00:00:09") and not found.plan.wrong
    found = plan(day, "B/C001=5-9", "D009=1-2", rows=("B/C001.mov", "D009.mov"))
    assert len(found.plan.clips) == 1 and [row.clip for row, _ in found.plan.wrong] == ["D009.mov"]


def test_an_excerpt_has_the_sound_that_it_has_in_its_clip(day: Path) -> None:
    take = made_take("T1.wav")
    clip = plan(day, rows=("A/C001.mov",)).plan.clips[0]
    whole = fit(take, shown_of(clip))
    assert whole is not None
    sounded = replace(clip, sound=Chosen(take=take, fit=whole, reason="", stated=SoundStated()))
    part = excerpted(sounded, Excerpt(clip="C001", begin="10", end="20"))
    assert part.sound and part.sound.fit
    assert part.sound.fit.start - whole.start == 10 * 2000 and part.sound.fit.step == whole.step
    assert part.sound.fit.total == 20000
