"""SMPTE ST 12-1 arithmetic. Frame counts: check_values.md section 6 (bijection verified over the whole day)."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines.errors import TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

RATES = [FrameRate.parse(r) for r in ("23.976", 24, 25, "29.97", 30, "47.952", 48, 50, "59.94", 60, "119.88")]
DF30, DF60 = FrameRate.parse("29.97"), FrameRate.parse("59.94")


def labels(rate: FrameRate) -> st.SearchStrategy[Timecode]:
    return st.builds(
        lambda n, drop: Timecode(frames=n, rate=rate, drop=drop and rate.can_drop),
        st.integers(0, 10**7),
        st.booleans(),
    )


@pytest.mark.parametrize(
    ("text", "rate", "count"),
    [
        ("00:00:59;29", DF30, 1799),
        ("00:01:00;02", DF30, 1800),
        ("00:01:59;29", DF30, 3597),
        ("00:02:00;02", DF30, 3598),
        ("00:09:59;29", DF30, 17981),
        ("00:10:00;00", DF30, 17982),
        ("00:48:02;28", DF30, 86400),
        ("01:00:00;00", DF30, 107892),
        ("12:00:00;00", DF30, 1294704),
        ("23:59:59;29", DF30, 2589407),
        ("00:00:59;59", DF60, 3599),
        ("00:01:00;04", DF60, 3600),
        ("00:01:59;59", DF60, 7195),
        ("00:02:00;04", DF60, 7196),
        ("00:10:00;00", DF60, 35964),
        ("00:24:01;28", DF60, 86400),
        ("23:59:59;59", DF60, 5178815),
        ("01:00:00:00", FrameRate.parse(24), 86400),
        ("10:00:00:12", FrameRate.parse(25), 900012),
        ("01:00:00:00", DF30, 108000),
    ],
)
def test_published_counts(text: str, rate: FrameRate, count: int) -> None:
    assert Timecode.parse(text, rate).frames == count
    assert str(Timecode(frames=count, rate=rate, drop=";" in text)) == text


@pytest.mark.parametrize("rate", [DF30, DF60])
def test_drop_frame_is_a_bijection_over_the_first_hour_and_the_last(rate: FrameRate) -> None:
    day = rate.day(drop=True)
    seen = set()
    for n in [*range(0, 120000, 7), *range(day - 4000, day), *range(1790, 1810), *range(3590, 3610)]:
        label = str(Timecode(frames=n, rate=rate, drop=True))
        assert Timecode.parse(label, rate).frames == n
        seen.add(label)
    assert all(";" in label for label in seen)


def test_wraps_at_midnight() -> None:
    rate = FrameRate.parse(25)
    assert str(Timecode.parse("23:59:59:24", rate) + 1) == "00:00:00:00"
    assert str(Timecode.parse("23:59:59;29", DF30) + 1) == "00:00:00;00"
    assert str(Timecode(frames=-1, rate=rate)) == "23:59:59:24"
    assert Timecode.parse("23:59:59:24", rate).until(Timecode.parse("00:00:00:02", rate)) == 3


@given(st.sampled_from(RATES).flatmap(labels))
def test_text_and_back(timecode: Timecode) -> None:
    assert Timecode.parse(str(timecode), timecode.rate) == timecode


@given(st.sampled_from(RATES).flatmap(labels), st.integers(-(10**7), 10**7))
def test_adding_and_until_agree(timecode: Timecode, n: int) -> None:
    assert timecode.until(timecode + n) == n % timecode.rate.day(drop=timecode.drop)


@given(st.text())
def test_junk_is_one_clear_error(text: str) -> None:
    try:
        Timecode.parse(text, DF30)
    except TimecodeError as error:
        assert repr(text[:40]) in error.text


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("00:01:00;00", DF30),
        ("00:01:00;01", DF30),
        ("00:01:00;03", DF60),
        ("01:00:00;00", FrameRate.parse("23.976")),
        ("01:00:00:24", FrameRate.parse(24)),
        ("24:00:00:00", FrameRate.parse(24)),
        ("00:60:00:00", FrameRate.parse(24)),
        ("86400", FrameRate.parse(24)),
        ("", FrameRate.parse(24)),
        ("01;00;00;00", DF30),
    ],
)
def test_labels_that_do_not_exist_are_refused(text: str, rate: FrameRate) -> None:
    with pytest.raises(TimecodeError):
        Timecode.parse(text, rate)


@pytest.mark.parametrize(
    ("text", "fraction"),
    [
        ("23.976", Fraction(24000, 1001)),
        ("23.98", Fraction(24000, 1001)),
        ("29.97", Fraction(30000, 1001)),
        ("59.94", Fraction(60000, 1001)),
        ("47.952", Fraction(48000, 1001)),
        ("24", Fraction(24)),
        ("25.0", Fraction(25)),
        ("24000/1001", Fraction(24000, 1001)),
        ("12.5", Fraction(25, 2)),
    ],
)
def test_rates(text: str, fraction: Fraction) -> None:
    rate = FrameRate.parse(text)
    assert rate.fraction == fraction
    assert FrameRate.parse(str(rate)) == rate


@pytest.mark.parametrize("text", ["", "fast", "0", "-24", "1/0", "nan", "inf", "1e9", "24 fps"])
def test_wrong_rates(text: str) -> None:
    with pytest.raises(TimecodeError, match="frame rate"):
        FrameRate.parse(text)
