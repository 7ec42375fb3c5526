"""Two sounds of one scene: their delay is found under noise and distance, and nothing is found where there is nothing."""

import numpy as np
import pytest
from numpy.typing import NDArray

from ltc_signal import ltc
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.measure.sound_lag import HEARD_RATE, Window, heard_in, lag, peaks_of

SECONDS = 8
COUNT = SECONDS * HEARD_RATE
Array = NDArray[np.float64]


def speech(seed: int, count: int = COUNT + 4 * HEARD_RATE) -> Array:
    """Something like talk: noise of a voice's band in syllables, with pauses."""
    random = np.random.default_rng(seed)
    noise = random.standard_normal(count)
    spectrum = np.fft.rfft(noise)
    frequencies = np.fft.rfftfreq(count, 1 / HEARD_RATE)
    spectrum *= np.exp(-((frequencies - 700) ** 2) / (2 * 600**2))
    voice = np.fft.irfft(spectrum, count)
    syllables = count // 600 + 1
    loud = np.repeat(random.random(syllables) ** 2, random.integers(600, 2400, syllables))[:count]
    loud = np.convolve(loud, np.hanning(400) / 200, "same")
    voice *= loud
    return 0.1 * voice / np.abs(voice).max()


def heard(delay: int, noise: float, seed: int = 1, room: bool = True) -> tuple[Array, Array]:
    """The recorder's sound, and the camera's of the same scene `delay` samples later: another microphone, a room, and noise."""
    source = speech(seed)
    start = 2 * HEARD_RATE
    near = source[start : start + COUNT]
    far = np.copy(source)
    if room:
        for samples, share in ((37, 0.4), (91, -0.3), (160, 0.2)):
            far[samples:] += share * source[:-samples]
    far = 0.2 * np.convolve(far, [0.3, 0.5, 0.2], "same")[start - delay : start - delay + COUNT]
    random = np.random.default_rng(seed + 100)
    floor = 1e-4 * noise
    return near + 1e-4 * random.standard_normal(COUNT), far + floor * random.standard_normal(COUNT)


@pytest.mark.parametrize("delay", [0, 667, -667, 1, 4000])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_delay_is_found(delay: int, seed: int) -> None:
    found = lag(*heard(delay, 1, seed), 1.0)
    assert found is not None and abs(found - delay / HEARD_RATE) < 0.002


@pytest.mark.parametrize("seed", range(5))
def test_under_20_db_more_noise_and_10_m_of_air(seed: int) -> None:
    """10 m are 29 ms: the camera hears later, and that is what is reported."""
    found = lag(*heard(233, 10, seed), 1.0)
    assert found is not None and abs(found - 233 / HEARD_RATE) < 0.002


def test_two_frames_at_24_are_found() -> None:
    found = lag(*heard(667, 3), 1.0)
    assert found is not None and abs(found * 1000 - 83.3) < 2


@pytest.mark.parametrize("seed", range(6))
def test_unrelated_ambience_cannot_be_told(seed: int) -> None:
    random = np.random.default_rng(seed)
    brown = [np.cumsum(random.standard_normal(COUNT)) for _ in range(2)]
    ambience = [0.01 * (x - x.mean()) / np.abs(x).max() + 1e-3 * random.standard_normal(COUNT) for x in brown]
    assert lag(*ambience, 1.0) is None
    assert lag(speech(seed)[:COUNT], speech(seed + 50)[:COUNT], 1.0) is None


@pytest.mark.parametrize("count", [3200, 8000, COUNT])
def test_two_clean_tones_that_are_not_the_same_cannot_be_told(count: int) -> None:
    """A line-up tone on the recorder, another on the camera: their skirts have nothing to say, in a short clip either."""
    at = np.arange(count) / 8000
    for one, other in ((997, 382), (1000, 1000), (440, 2210)):
        assert lag(0.5 * np.sin(2 * np.pi * one * at), 0.2 * np.sin(2 * np.pi * other * at), 1.0) is None


def test_what_has_nothing_in_the_band_of_speech_cannot_be_told() -> None:
    """A zero line that drifts is loud and holds no sound: what is left of it in the band has no say, beside timecode on the
    camera's other track either."""
    from scipy.signal import resample_poly

    drift = resample_poly(np.linspace(-0.97779465, -0.96635067, 2 * 48000), 1, 6)
    label = Timecode.parse("10:00:05:00", FrameRate.parse(25))
    for sound in (speech(1)[: len(drift)], ltc(label, 50, HEARD_RATE)[: len(drift)]):
        assert lag(drift, sound, 1.0) is None and lag(sound, drift, 1.0) is None


def test_silence_hum_and_a_steady_tone_cannot_be_told() -> None:
    random = np.random.default_rng(5)
    at = np.arange(COUNT) / HEARD_RATE
    silence = np.zeros(COUNT)
    assert lag(silence, silence, 1.0) is None and lag(speech(1)[:COUNT], silence, 1.0) is None
    hum = sum(np.sin(2 * np.pi * 50 * k * at) / k for k in range(1, 20)) * 0.01
    for steady in (hum, 0.1 * np.sin(2 * np.pi * 1000 * at)):
        pair = [steady + 1e-4 * random.standard_normal(COUNT) for _ in range(2)]
        assert lag(*pair, 1.0) is None
        assert lag(steady, steady, 1.0) is None, "a tone has no single place"


def test_windows_together_say_offset_and_drift() -> None:
    found = heard_in(
        [
            Window(at=0, lag=0.010),
            Window(at=60, lag=None),
            Window(at=300, lag=0.020),
            Window(at=590, lag=0.030),
        ]
    )
    assert found.offset == 0.020 and found.drift == pytest.approx(0.020)
    assert heard_in([Window(at=0, lag=None)]).offset is None
    assert heard_in([Window(at=0, lag=0.5)]).drift is None


def test_peaks_show_where_a_clap_is() -> None:
    sound = np.zeros(8 * HEARD_RATE)
    sound[2 * HEARD_RATE + 7] = -0.5
    sound[5 * HEARD_RATE] = 0.25
    peaks = peaks_of(sound)
    assert len(peaks) == 320 and (peaks[80], peaks[200]) == (1.0, 0.5) and sum(peaks) == 1.5
    assert set(peaks_of(np.zeros(100))) == {0.0}
