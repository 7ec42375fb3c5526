"""Takes set against timecode: tables of published check values, every pull-down, midnight, rates that disagree."""

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recordings import made_take
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.sound.placing import Fit, Shown, fit, frames_of_day
from rushlight.pipelines.sound.recording import Clock, exact_hertz
from rushlight.pipelines.sound.take import Take

F24, F25, F30 = Fraction(24), Fraction(25), Fraction(30)
N24, N30 = Fraction(24000, 1001), Fraction(30000, 1001)


def take(reference: int | None, samples: int = 48000 * 600, **said: Any) -> Take:
    return made_take("T1.wav", reference, samples, **said)


def shown(
    label: str,
    rate: Fraction = F25,
    *,
    frames: int = 100,
    delivered: Fraction | None = None,
    ahead: Fraction = Fraction(0),
) -> Shown:
    timecode = Timecode.parse(label, FrameRate(fraction=rate))
    return Shown(
        timecode=timecode, first=0, frames=frames, shot=rate, delivered=delivered or rate, ahead=ahead
    )


def placed(*given: Any, **named: Any) -> Fit:
    found = fit(*given, **named)
    assert found is not None
    return found


# --- the published check values (samples since midnight)


@pytest.mark.parametrize(
    ("rate", "stamp", "label", "reference"),
    [
        *(
            (rate, 48000, label, n)
            for rate in (F24, F25, F30)
            for label, n in (("01:00:00:00", 172_800_000), ("10:00:00:00", 1_728_000_000))
        ),
        *(
            (rate, 48000, label, n)
            for rate in (N24, N30)
            for label, n in (("01:00:00:00", 172_972_800), ("10:00:00:00", 1_729_728_000))
        ),
        (N30, 48000, "01:00:00;00", Fraction(1_727_998_272, 10)),
        (N30, 48000, "10:00:00;00", 1_727_998_272),
        (F24, 48048, "01:00:00:00", 172_972_800),
        (F24, 48048, "10:00:00:00", 1_729_728_000),
        (N24, 96000, "01:00:00:00", 345_945_600),
        (N24, 96000, "10:00:00:00", 3_459_456_000),
    ],
)
def test_a_frame_number_is_reference_over_stamp_rate_times_timecode_rate(
    rate: Fraction, stamp: int, label: str, reference: Fraction
) -> None:
    clock = Clock(stamp_rate=exact_hertz(stamp), digitizer_rate=exact_hertz(stamp), timecode_rate=rate)
    timecode = Timecode.parse(label, FrameRate(fraction=rate))
    assert Fraction(reference) / clock.stamp_rate * rate == timecode.frames
    if Fraction(reference).denominator == 1:
        assert frames_of_day(int(reference), clock, rate) == timecode.frames


@pytest.mark.parametrize(
    ("reference", "label", "remainder"),
    [
        (2_190_940_753, "12:39:59:00", 1),
        (2_191_180_996, "12:40:04:00", 4),
        (2_191_661_476, "12:40:14:00", 4),
        (2_191_709_524, "12:40:15:00", 4),
    ],
)
def test_recordings_begin_anywhere_within_a_frame(reference: int, label: str, remainder: int) -> None:
    """Time references of real recorders at 23.976: the sample is kept, never the frame."""
    found = placed(take(reference, rate=N24), shown(label, N24))
    assert (found.start, found.step, found.problem) == (-remainder, 1, "")


@pytest.mark.parametrize(
    ("reference", "label", "start"),
    [
        (2_350_375_830, "13:36:06:04", -150),
        (2_354_414_956, "13:37:30:08", 404),
        (3_917_280_000, "22:40:10:00", 0),
    ],
)
def test_the_same_at_25(reference: int, label: str, start: int) -> None:
    assert placed(take(reference), shown(label)).start == start


# --- pull-down: the table


@pytest.mark.parametrize(
    ("hertz", "stamp", "digitizer", "rate", "shot", "delivered", "step", "said"),
    [
        (48000, 48000, 48000, F24, F24, F24, 1, ""),
        (48000, 48000, 48000, N24, N24, N24, 1, ""),
        (48000, 48048, 48048, F24, F24, N24, 1, "they are the pull-down"),
        (48000, 48000, 48048, F24, F24, N24, 1, "they are the pull-down"),
        (48000, 48000, 48048, N24, F24, N24, 1, "they are the pull-down"),
        (48048, 48048, 48048, F24, F24, N24, 1, "relabelled as 48000 Hz, not resampled"),
        (48000, 48000, 48000, F24, F24, N24, Fraction(1000, 1001), "resampled by 1001/1000"),
        (47952, 47952, 47952, N24, N24, F24, 1, "relabelled as 48000 Hz, not resampled"),
        (48000, 47952, 47952, N24, N24, F24, 1, "they are the pull-down"),
        (48000, 48000, 48000, N24, N24, F24, Fraction(1001, 1000), "resampled by 1000/1001"),
        (96000, 96000, 96000, N24, N24, N24, 2, "resampled by 1/2"),
        (96096, 96096, 96096, F24, F24, N24, 2, "resampled by 1/2"),
        (96000, 96000, 96000, F24, F24, N24, Fraction(2000, 1001), "resampled by 1001/2000"),
        (48048, 48048, 48048, F30, F30, N30, 1, "relabelled"),
        (44100, 48000, 48000, F25, F25, F25, Fraction(147, 160), "resampled by 160/147"),
    ],
)  # fmt: skip
def test_the_table_of_pull_downs(
    hertz: int,
    stamp: int,
    digitizer: int,
    rate: Fraction,
    shot: Fraction,
    delivered: Fraction,
    step: Fraction,
    said: str,
) -> None:
    """Start and end of ten minutes from ten o'clock: a frame of the picture is at the sample that was made in it."""
    nominal = FrameRate(fraction=shot).nominal
    ten = 36000 * nominal  # frames
    reference = ten * exact_hertz(stamp) / rate
    assert reference.denominator == 1
    recorded = take(int(reference), samples=10**8, hertz=hertz, stamp=stamp, digitizer=digitizer, rate=rate)
    made = (
        exact_hertz(digitizer if hertz != 44100 else hertz) / shot
    )  # samples that the converters made in a frame
    for seconds in (0, 600):
        label = f"10:{seconds // 60:02}:00:00"
        found = placed(recorded, shown(label, shot, delivered=delivered))
        assert found.problem == ""
        assert found.start == seconds * nominal * made
        assert found.step == step
    assert said in "; ".join(found.said) if said else found.said == ()


def test_47952_as_a_whole_number_would_be_off() -> None:
    """1 ppm: 3.6 ms an hour; the exact rate places ten o'clock to the sample."""
    assert 36000 * 24 * Fraction(47952) / N24 != 36000 * 24 * exact_hertz(47952) / N24 == 1_728_000_000


# --- midnight and drop-frame


@pytest.mark.parametrize(
    ("rate", "drop", "begin", "label", "frames"),
    [
        (F25, False, "23:59:00:00", "00:01:00:00", 120 * 25),
        (N24, False, "23:59:00:00", "00:01:00:00", 120 * 24),
        (N30, False, "23:59:00:00", "00:01:00:00", 120 * 30),
        (N30, True, "23:59:00;02", "00:01:00;02", 120 * 30 - 2),
        (F25, False, "00:01:00:00", "23:59:00:00", -120 * 25),
    ],
)
def test_over_midnight(rate: Fraction, drop: bool, begin: str, label: str, frames: int) -> None:
    start = Timecode.parse(begin, FrameRate(fraction=rate))
    reference = round(start.frames * 48000 / rate)
    found = placed(
        take(reference, rate=rate, drop=drop), shown(label, rate, frames=100 if frames > 0 else 4000)
    )
    assert abs(found.start - frames * 48000 / rate) <= Fraction(1, 2) and found.days == (
        1 if frames > 0 else -1
    )
    assert found.whole == (frames > 0)


def test_a_reference_of_more_than_a_day_is_reduced() -> None:
    day = 86400 * 48000
    assert placed(take(day + 1920), shown("00:00:00:01")).start == 0


@given(
    seconds=st.integers(0, 86399),
    frame=st.integers(2, 29),
    later=st.integers(0, 17982 * 8),
    drop=st.booleans(),
)
def test_drop_frame_counts_frames_and_not_labels(seconds: int, frame: int, later: int, drop: bool) -> None:
    label = f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}{';' if drop else ':'}{frame:02}"
    start = Timecode.parse(label, FrameRate(fraction=N30))
    reference = -(-start.frames * 8008 // 5)  # the first sample at or after the frame's beginning
    at = start + later
    found = placed(take(reference, samples=10**9, rate=N30, drop=drop), shown(str(at), N30))
    assert found.start == later * Fraction(8008, 5) - (reference - start.frames * Fraction(8008, 5))


# --- rates that disagree


@pytest.mark.parametrize(
    ("rate", "drop", "picture", "label", "says"),
    [
        (F24, False, N24, "10:00:00:00", "36.0 s away"),
        (N24, False, F24, "10:00:00:00", "36.0 s away"),
        (F30, False, N30, "10:00:00:00", "36.0 s away"),
        (N30, True, N30, "10:00:00:00", "1080 frames (36.0 s) away"),
        (N30, False, N30, "10:00:00;00", "1080 frames (36.0 s) away"),
    ],
)
def test_rates_that_disagree_say_how_far_they_would_be_off(
    rate: Fraction, drop: bool, picture: Fraction, label: str, says: str
) -> None:
    mark = ";" if drop else ":"
    own = Timecode.parse(label[:8] + mark + label[9:], FrameRate(fraction=rate))
    found = placed(take(round(own.frames * 48000 / rate), rate=rate, drop=drop), shown(label, picture))
    assert says in found.problem


def test_a_stated_rate_stands_in_place_of_the_files() -> None:
    recorded = take(1_729_728_000, rate=F24)
    assert placed(recorded, shown("10:00:00:00", N24)).problem
    found = placed(recorded, shown("10:00:00:00", N24), rate=N24)
    assert (found.problem, found.start) == ("", 0)


def test_without_a_rate_the_pictures_is_taken_and_said() -> None:
    found = placed(take(1_728_000_000, rate=None, drop=None), shown("10:00:00:00", F24))
    assert found.start == 0 and "no timecode rate" in found.said[0] and not found.problem


def test_counts_that_differ_without_harm_are_said() -> None:
    found = placed(take(1_728_000_000, rate=F25), shown("10:00:00:00", Fraction(50)))
    assert found.start == 0 and "makes no offset" in found.said[0] and not found.problem


def test_a_recorder_at_48048_for_a_picture_that_was_not_slowed_is_resampled_and_said() -> None:
    found = placed(take(1_729_728_000, rate=F24, stamp=48048), shown("10:00:00:00", F24))
    assert found.step == Fraction(1001, 1000) and "recorded at 48048 Hz" in found.said[0]


# --- offsets and cover


def test_offsets_move_the_sound_by_samples() -> None:
    recorded, picture = take(1_728_000_000), shown("10:00:10:00")
    assert placed(recorded, picture).start == 480_000
    assert placed(recorded, picture, offset=Fraction(24)).start == 480_000 - 24
    assert placed(recorded, picture, offset=Fraction(-24)).start == 480_000 + 24


def test_a_cameras_clock_that_is_ahead_moves_its_sound_earlier() -> None:
    found = placed(take(1_728_000_000), shown("10:00:10:00", ahead=Fraction(1, 2)))
    assert found.start == 480_000 - 24_000 and "0.5 s ahead" in found.said[0]


@pytest.mark.parametrize(
    ("label", "covered"),
    [
        ("10:00:01:00", (0, 192_000)),
        ("09:59:58:00", (96_000, 192_000)),
        ("10:00:08:00", (0, 96_000)),
        ("11:00:00:00", (0, 0)),
        ("09:00:00:00", (192_000, 192_000)),
    ],
)
def test_cover_is_counted_in_samples(label: str, covered: tuple[int, int]) -> None:
    found = placed(take(1_728_000_000, samples=480_000), shown(label))
    assert (found.covered, found.total) == (covered, 192_000) and found.whole == (found.overlap == 192_000)


def test_a_take_without_a_time_fits_nowhere() -> None:
    assert fit(take(None), shown("10:00:00:00")) is None


def test_labels_of_samples() -> None:
    assert (
        shown("10:00:00:00").label(0) == "10:00:00:00" and shown("10:00:00:00").label(1920) == "10:00:00:01"
    )
    assert shown("10:00:00:00").label(1919) == "10:00:00:00"
