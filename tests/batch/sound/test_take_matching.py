"""Which take a clip gets, and what is said where it gets none."""

import datetime
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recordings import made_take
from rushlight.batch.sound.sound_folders import SoundFolders
from rushlight.batch.sound.sound_statements import SoundStated
from rushlight.batch.sound.take_matching import Chosen, ClipSound, choose, may_overlap
from rushlight.pipelines.errors import ListError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.sound.placing import Shown, fit
from rushlight.pipelines.sound.take import Take

TEN = 1_728_000_000
MAY4, MAY5 = datetime.date(2026, 5, 4), datetime.date(2026, 5, 5)
NO = SoundStated()


def clip(
    label: str = "10:01:00:00", *, frames: int = 250, rate: str = "25", delivered: str = "", **said: Any
) -> ClipSound:
    shot = FrameRate.parse(rate)
    shown = Shown(
        timecode=Timecode.parse(label, shot),
        first=0,
        frames=frames,
        shot=shot.fraction,
        delivered=FrameRate.parse(delivered or rate).fraction,
    )
    return ClipSound(shown=shown, **{"scene": "12", "take": "3", **said})


def media(*takes: Take) -> SoundFolders:
    return SoundFolders(folders=(Path("sound"),), takes=takes)


def name(chosen: Chosen) -> str:
    return chosen.take.name if chosen.take else ""


def test_timecode_alone_finds_a_take() -> None:
    found = choose(
        clip(scene="", take=""), NO, media(made_take("a.wav", TEN), made_take("b.wav", TEN + 48000 * 3600))
    )
    assert (name(found), found.reason, found.notes) == ("a.wav", "timecode", ())
    assert found.fit and found.fit.start == 60 * 48000


def test_scene_and_take_count_most() -> None:
    other, ours = (
        made_take("a.wav", TEN, scene="12", take="2"),
        made_take("b.wav", TEN + 48000 * 62, scene="012", take="03"),
    )
    found = choose(clip(), NO, media(other, ours))
    assert name(found) == "b.wav" and found.reason == "scene and take, timecode, covers 80 %"
    assert any("silence from 10:01:00:00 to 10:01:01:24" in note for note in found.notes)


def test_a_take_of_another_name_is_used_where_it_covers_and_it_is_said() -> None:
    found = choose(clip(), NO, media(made_take("a.wav", TEN, scene="12", take="2")))
    assert name(found) == "a.wav" and "says scene 12 take 2" in found.notes[0]


def test_one_that_only_touches_is_not_used_unless_it_is_named_so() -> None:
    touching = TEN + 48000 * 67
    found = choose(clip(), NO, media(made_take("a.wav", touching)))
    assert name(found) == "" and "covers only 30 %" in found.reason
    assert name(choose(clip(), NO, media(made_take("a.wav", touching, scene="12", take="3")))) == "a.wav"


@pytest.mark.parametrize(("mark", "said"), [("wild", "wild track"), ("false_start", "false start")])
def test_wild_tracks_and_false_starts_are_left_out(mark: str, said: str) -> None:
    found = choose(clip(), NO, media(made_take("a.wav", TEN, scene="12", take="3", **{mark: True})))
    assert name(found) == "" and said in found.reason


def test_no_good_is_worse_than_good_and_better_than_nothing() -> None:
    bad, good = made_take("a.wav", TEN, no_good=True), made_take("b.wav", TEN + 48000 * 55, 48000 * 10)
    assert name(choose(clip(), NO, media(bad, good))) == "b.wav"
    found = choose(clip(), NO, media(bad))
    assert name(found) == "a.wav" and "no good" in found.notes[0]


def test_cover_then_the_longest_overlap() -> None:
    whole, part = made_take("a.wav", TEN), made_take("b.wav", TEN + 48000 * 61)
    assert name(choose(clip(), NO, media(part, whole))) == "a.wav"
    less = made_take("c.wav", TEN + 48000 * 62)
    assert name(choose(clip(), NO, media(less, part))) == "b.wav"


def test_two_that_tie_are_an_error_that_says_what_would_do() -> None:
    a, b = made_take("a.wav", TEN, roll="SR1"), made_take("b.wav", TEN, roll="SR2")
    with pytest.raises(
        ListError, match=r"2 takes fit this clip alike \(a.wav, b.wav\).*`sound`.*`sound_roll`"
    ) as error:
        choose(clip(), NO, media(a, b))
    assert error.value.key == "sound"
    assert name(choose(clip(), SoundStated(roll="sr2"), media(a, b))) == "b.wav"
    assert name(choose(clip(), SoundStated(files=("a.wav",)), media(a, b))) == "a.wav"


def test_equal_timecode_on_two_days() -> None:
    first, second = made_take("a.wav", TEN, date="2026-05-04"), made_take("b.wav", TEN, date="2026-05-05")
    with pytest.raises(ListError, match="`date`"):
        choose(clip(), NO, media(first, second))
    assert name(choose(clip(date=MAY5), NO, media(first, second))) == "b.wav"
    assert name(choose(clip(made=MAY4), NO, media(first, second))) == "a.wav"
    found = choose(clip(date=MAY5), NO, media(first))
    assert name(found) == "" and "is of 2026-05-04, the clip of 2026-05-05" in found.reason


def test_a_take_over_midnight_is_of_the_day_before() -> None:
    late = made_take("a.wav", 86400 * 48000 - 48000 * 60, date="2026-05-04")
    found = choose(clip("00:01:00:00", date=MAY5), NO, media(late))
    assert name(found) == "a.wav" and found.fit and found.fit.whole


def test_a_header_of_another_day_is_said() -> None:
    found = choose(clip(made=MAY5), NO, media(made_take("a.wav", TEN, date="2026-05-01")))
    assert name(found) == "a.wav" and "is of 2026-05-01, its own header says 2026-05-05" in found.notes[0]


def test_rates_that_disagree_are_reported_and_never_chosen() -> None:
    ten24 = made_take("a.wav", TEN, rate=Fraction(24))
    found = choose(clip("10:01:00:00", rate="23.976"), NO, media(ten24))
    assert name(found) == "" and "36.0 s away" in found.reason
    assert (
        name(choose(clip("10:00:30:00", rate="23.976"), SoundStated(rate=Fraction(24)), media(ten24))) == ""
    )
    with pytest.raises(ListError, match=r"36\.0 s away"):
        choose(clip("10:01:00:00", rate="23.976"), SoundStated(files=("a.wav",)), media(ten24))


@pytest.mark.parametrize(
    ("rate", "label", "other"),
    [("24", "10:00:36:00", "24"), ("30", "10:00:36:00", "30"), ("23.976", "09:59:24:00", "23.976")],
)
def test_a_take_that_says_the_other_rate_is_reported_and_not_chosen(
    rate: str, label: str, other: str
) -> None:
    """A recorder set to 24 by the camera's 23.976, or the reverse: read at the picture's rate it would lie there."""
    said = FrameRate.parse({"24": "23.976", "30": "29.97", "23.976": "24"}[rate]).fraction
    shown = clip(label, rate=rate, frames=48)
    right = FrameRate.parse(rate)
    take = made_take("a.wav", round(shown.shown.timecode.frames * 48000 / right.fraction), 240_000, rate=said)
    found = choose(shown, NO, media(take))
    assert name(found) == "" and f"would if its timecode ran at {other}: state `sound_rate`" in found.reason
    assert name(choose(shown, SoundStated(rate=right.fraction), media(take))) == "a.wav"


@pytest.mark.parametrize(("sound", "label"), [(True, "10:00:05:00"), (False, "10:00:05;00")])
def test_the_same_labels_counted_otherwise_are_reported_with_what_lays_them_there(
    sound: bool, label: str
) -> None:
    rate = Fraction(30000, 1001)
    begin = Timecode.parse("10:00:00;00" if sound else "10:00:00:00", FrameRate.parse("29.97"))
    take = made_take("a.wav", round(begin.frames * 48000 / rate), 480_000, rate=rate, drop=sound)
    found = choose(clip(label, rate="29.97"), NO, media(take))
    frames = 1080 if sound else -1080
    assert (
        name(found) == ""
        and f"36.0 s away at that hour; state `sound_rate` and a `sound_offset` of about {frames} frames"
        in found.reason
    )
    stated = SoundStated(rate=rate, offset=frames * 48000 / rate)
    laid = choose(clip(label, rate="29.97"), stated, media(take))
    assert laid.fit and abs(laid.fit.start - 5 * 30 * 1601.6) < 1


def test_without_a_rate_the_other_one_is_reported_and_not_chosen() -> None:
    plain = made_take("a.wav", TEN, rate=None, drop=None)
    found = choose(clip("10:09:45:00", rate="23.976", frames=240), NO, media(plain))
    assert name(found) == "" and "would if its timecode ran at 24" in found.reason


@pytest.mark.parametrize(
    ("rate", "delivered", "more"), [("48", "24", {}), ("25", "24", {}), ("25", "25", {"varispeed": True})]
)
def test_high_speed_and_varispeed_have_none_by_rule(rate: str, delivered: str, more: Any) -> None:
    found = choose(clip(rate=rate, delivered=delivered, **more), NO, media(made_take("a.wav", TEN)))
    assert (name(found) == "" and "none by rule" in found.reason) or "variable speed" in found.reason
    assert not found.wanted


def test_pull_down_is_not_off_speed() -> None:
    found = choose(
        clip("10:00:30:00", rate="24", delivered="23.976"),
        NO,
        media(made_take("a.wav", TEN, rate=Fraction(24))),
    )
    assert name(found) == "a.wav" and "resampled by 1001/1000" in found.notes[0]


@pytest.mark.parametrize(
    ("stated", "reason"), [(SoundStated(none=True), "wants none"), (SoundStated(camera=True), "the camera's")]
)
def test_what_a_row_does_not_want_nobody_misses(stated: SoundStated, reason: str) -> None:
    found = choose(clip(), stated, media(made_take("a.wav", TEN)))
    assert name(found) == "" and reason in found.reason and not found.wanted


def test_a_clip_without_timecode_has_none_and_it_is_missed() -> None:
    found = choose(clip(has_timecode=False), NO, media(made_take("a.wav", TEN)))
    assert name(found) == "" and found.wanted and "no timecode" in found.reason


def test_several_recordings_that_follow_one_another_are_one_with_silence_between() -> None:
    """10 s from 10:01:00:00: sound up to :04:00, none up to :06:10, and again to :09:00."""
    first, second = made_take("a.wav", TEN, 48000 * 64), made_take("b.wav", TEN + 48000 * 66 + 19200, 124_800)
    found = choose(clip(), SoundStated(files=("b.wav", "a.wav")), media(first, second))
    assert found.take and found.fit
    assert [part[0].path.name for part in found.take.parts] == ["a.wav", "b.wav"]
    assert found.take.gaps == (0, 115_200) and found.fit.start == 60 * 48000
    assert found.reason == "2 recordings named in the row, covers 66 %"
    assert found.notes == (
        "its sound a.wav does not cover it: silence from 10:01:04:00 to 10:01:06:09 and from 10:01:09:00 to 10:01:09:24",
    )


@pytest.mark.parametrize(("offset", "runs"), [(0, "04:00 to 10:01:06:09"), (48000, "05:00 to 10:01:07:09")])
def test_the_silence_between_moves_with_the_sound(offset: int, runs: str) -> None:
    first, second = made_take("a.wav", TEN, 48000 * 64), made_take("b.wav", TEN + 48000 * 66 + 19200)
    stated = SoundStated(files=("a.wav", "b.wav"), offset=Fraction(offset))
    found = choose(clip(), stated, media(first, second))
    assert f"silence from 10:01:{runs}" in found.notes[-1]


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (("x.wav",), "'x.wav' is not under"),
        (("a.wav", "b.wav"), "b.wav lies elsewhere: it runs from 11:00:00:00"),
        (("b.wav",), "lies elsewhere: it runs from 11:00:00:00 to 11:09:59:24"),
        (("c.wav",), "no time reference"),
        (("bad.wav",), "not readable: is empty"),
    ],
)
def test_names_that_will_not_do(names: tuple[str, ...], said: str) -> None:
    takes = (made_take("a.wav", TEN), made_take("b.wav", TEN + 48000 * 3600), made_take("c.wav", None))
    found = replace(media(*takes), unreadable=((Path("sound/bad.wav"), "is empty"),))
    with pytest.raises(ListError, match=said) as error:
        choose(clip(), SoundStated(files=names), found)
    assert error.value.key == "sound"


def test_names_need_a_folder() -> None:
    with pytest.raises(ListError, match="no --sound folder"):
        choose(clip(), SoundStated(files=("a.wav",)), SoundFolders())


def test_a_wild_track_that_the_row_names_is_taken() -> None:
    found = choose(clip(), SoundStated(files=("a.wav",)), media(made_take("a.wav", TEN, wild=True)))
    assert name(found) == "a.wav" and found.reason == "named in the row"


@settings(max_examples=300, deadline=None)
@given(
    rate=st.sampled_from([Fraction(24), Fraction(25), Fraction(24000, 1001), Fraction(30000, 1001)]),
    reference=st.integers(0, 90_000 * 48_000),
    seconds=st.integers(1, 4000),
    frame=st.integers(0, 86_399 * 24),
    frames=st.integers(1, 90_000),
    offset=st.integers(-5_000_000, 5_000_000),
    drop=st.booleans(),
)
def test_no_take_that_overlaps_is_passed_over(
    rate: Fraction, reference: int, seconds: int, frame: int, frames: int, offset: int, drop: bool
) -> None:
    take = made_take("a.wav", reference, seconds * 48_000, rate=rate, drop=False)
    own = FrameRate(fraction=rate)
    timecode = Timecode(frames=frame, rate=own, drop=drop and own.can_drop)
    shown = Shown(timecode=timecode, first=0, frames=frames, shot=rate, delivered=rate)
    placed = fit(take, shown, offset=Fraction(offset))
    assert placed and (not placed.overlap or may_overlap(take, shown, Fraction(offset)))
