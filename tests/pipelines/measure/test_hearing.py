"""A clip's own sound and its take's, heard against each other from files."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from ltc_signal import ltc
from pictures import texture, write_movie
from recordings import talk, write_wav
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.measure.hearing import hear
from rushlight.pipelines.originals.probe import Facts, probe
from rushlight.pipelines.outputs.production_sound import Production
from rushlight.pipelines.sound.read_recording import read_recording
from rushlight.pipelines.sound.take import take_of

RATE, SECONDS = Fraction(25), 17
FRAMES = SECONDS * 25


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Facts:
    """17 s of talk from sample 96000 of it on, as a camera far away records it."""
    path = tmp_path_factory.mktemp("clip") / "a.mov"
    random = np.random.default_rng(9)
    far = talk()(96_000, SECONDS * 48_000)[0] * 0.1 + random.standard_normal(SECONDS * 48_000) * 3000
    sound = np.stack([far, far]).astype(np.int32) << 8
    write_movie(
        path, [texture("yuvj420p", 64, 36, 1)] * FRAMES, codec="mjpeg", rate=RATE, levels=2, sound=sound
    )
    return probe(path)


def production(folder: Path, start: Fraction, step: Fraction = Fraction(1)) -> Production:
    path = write_wav(folder / "T.wav", (SECONDS + 8) * 48_000, fill=talk(2), channels=2)
    take = take_of([read_recording(path)])
    assert take
    return Production(take=take, start=start, step=step)


@pytest.mark.parametrize("late", [0, 3840, -3840, 1397])
def test_an_offset_is_heard_in_three_windows(late: int, clip: Facts, tmp_path: Path) -> None:
    """A take that is placed `late` samples late: the camera is heard that much before it."""
    found = hear(production(tmp_path, Fraction(96_000 - late)), clip, first=0, count=FRAMES, rate=RATE)
    assert [w.at for w in found.windows] == [0, 4.48, 9] and all(w.lag is not None for w in found.windows)
    assert found.offset is not None and abs(found.offset + late / 48_000) < 0.0005
    assert found.drift is not None and abs(found.drift) < 0.001


def test_timecode_on_the_cameras_other_track_drowns_nothing(tmp_path: Path) -> None:
    """LTC at line level beside scratch sound, which alone is heard."""
    label = Timecode.parse("10:00:05:00", FrameRate.parse(25))
    far = talk()(96_000 - 480, 8 * 48_000)[0] * 0.2
    code = ltc(label, 201)[: 8 * 48_000] * (1 << 23)
    sound = np.stack([code, far]).astype(np.int32) << 8
    path = write_movie(
        tmp_path / "a.mov",
        [texture("yuvj420p", 64, 36, 1)] * 200,
        codec="mjpeg",
        rate=RATE,
        levels=2,
        sound=sound,
    )
    found = hear(production(tmp_path, Fraction(96_000)), probe(path), first=0, count=200, rate=RATE)
    assert found.offset is not None and abs(found.offset - 0.010) < 0.0005
    assert max(found.peaks[1]) == 1 and min(found.peaks[1]) < 0.2, "speech is shown, and no bar of timecode"


def test_a_run_of_the_original_is_heard_from_its_own_start(clip: Facts, tmp_path: Path) -> None:
    found = hear(production(tmp_path, Fraction(96_000 + 50 * 1920)), clip, first=50, count=200, rate=RATE)
    assert [w.at for w in found.windows] == [0] and found.offset is not None and abs(found.offset) < 0.0005
    assert found.drift is None


def test_a_rate_that_is_off_is_heard_as_drift(clip: Facts, tmp_path: Path) -> None:
    found = hear(
        production(tmp_path, Fraction(96_000), Fraction(1001, 1000)), clip, first=0, count=FRAMES, rate=RATE
    )
    assert found.drift is not None and 0.006 < found.drift < 0.012  # 9 s x 0.1 %


def test_silence_cannot_be_told(clip: Facts, tmp_path: Path) -> None:
    take = take_of([read_recording(write_wav(tmp_path / "S.wav", 48_000 * 20))])
    assert take
    found = hear(
        Production(take=take, start=Fraction(0), step=Fraction(1)), clip, first=0, count=FRAMES, rate=RATE
    )
    assert found.offset is None and found.drift is None and [w.lag for w in found.windows] == [None] * 3
