"""What was heard of a clip's sound, in a record and in words."""

from fractions import Fraction

import pytest

from rushlight.batch.records.sound import heard_record, heard_warnings
from rushlight.pipelines.measure.sound_lag import Heard, Window

RATE = Fraction(25)


def heard(offset: float | None, drift: float | None = None) -> Heard:
    return Heard(windows=(Window(at=0.0, lag=offset), Window(at=9.0, lag=None)), offset=offset, drift=drift)


def test_seconds_become_milliseconds() -> None:
    found = heard_record(heard(-0.080004, 0.0012))
    assert (found.offset_ms, found.drift_ms, [w.lag_ms for w in found.windows]) == (-80.0, 1.2, [-80.0, None])
    assert heard_record(heard(None)).offset_ms is None


@pytest.mark.parametrize(
    ("offset", "drift", "said"),
    [
        (0.0199, 0.0199, []),
        (None, None, []),
        (
            0.080,
            None,
            ["80.0 ms (2.0 frames) after T1.wav: nothing was moved; sound_offset = 3840 samples would"],
        ),
        (-0.021, None, ["21.0 ms (0.5 frames) before T1.wav"]),
        (0.0, 0.6, ["drift 600.0 ms (15.0 frames) apart over the clip"]),
    ],
)
def test_more_than_half_a_frame_is_a_warning(
    offset: float | None, drift: float | None, said: list[str]
) -> None:
    found = heard_warnings(heard(offset, drift), "T1.wav", RATE)
    assert len(found) == len(said) and all(words in text for words, text in zip(said, found, strict=True))
