"""Delivered sound is right to the sample at the start and the end of a take: every rate, midnight, 96 kHz, sets of mono files and
each pull-down, through the whole command with a small picture, read by the FFmpeg binary.

Each case runs on a few seconds; with `-m slow` on ten minutes, where 0.1 % unnoticed would be 14.4 frames.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import independent
from here import rushlight
from pictures import texture, write_movie
from recordings import bext, chunk, counted, counting, ixml, tone, write_wav
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

LEAD = 5  # seconds that the take begins before the clip
ODD = 33  # samples past a frame at which it begins
HERTZ = 997.0
RECIPE = '[[output]]\nname = "codes"\nmake = "movie"\ncodec = "prores-proxy"\nstate = "log"\nsize = "64x36"\n'


@dataclass(frozen=True, kw_only=True)
class Case:
    """`made`: samples that the recorder really makes in a frame of the picture; `stamped`: by which its time stamp counts."""

    name: str
    rate: str  # of picture and sound
    start: str
    made: Fraction
    stamped: Fraction | None = None
    hertz: int = 48000
    stamp: int = 48000
    digitizer: int = 48000
    shown: str = ""  # the rate of delivery, where it is another
    mono: bool = False
    short: bool = False

    @property
    def ratio(self) -> Fraction:
        """Samples of the file for each delivered one."""
        return self.made * FrameRate.parse(self.shown or self.rate).fraction / 48000


N24, N30 = Fraction(2002), Fraction(8008, 5)
CASES = [
    Case(name="23.976", rate="24000/1001", start="10:00:00:00", made=N24),
    Case(name="24", rate="24", start="10:00:00:00", made=Fraction(2000)),
    Case(name="25", rate="25", start="10:00:00:00", made=Fraction(1920), short=True),
    Case(name="29.97 drop", rate="30000/1001", start="09:59:57;00", made=N30, short=True),
    Case(name="29.97", rate="30000/1001", start="10:00:00:00", made=N30),
    Case(name="midnight", rate="25", start="23:59:58:00", made=Fraction(1920)),
    Case(name="midnight drop", rate="30000/1001", start="23:59:58;00", made=N30),
    Case(name="96 kHz past 32 bits", rate="25", start="13:00:00:00", made=Fraction(3840), hertz=96000, stamp=96000, digitizer=96000, short=True),
    Case(name="a set of mono files", rate="24", start="10:00:00:00", made=Fraction(2000), mono=True),
    Case(name="48048 relabelled", rate="24", start="10:00:00:00", made=N24, hertz=48048, stamp=48048, digitizer=48048, shown="24000/1001"),
    Case(name="48048 digitizer", rate="24", start="10:00:00:00", made=N24, stamp=48048, digitizer=48048, shown="24000/1001"),
    Case(name="48000 slowed", rate="24", start="10:00:00:00", made=Fraction(2000), shown="24000/1001", short=True),
    Case(name="47952", rate="24000/1001", start="10:00:00:00", made=Fraction(2000), hertz=47952, stamp=47952, digitizer=47952, shown="24"),
]  # fmt: skip


def recorded(folder: Path, case: Case, seconds: int) -> Fraction:
    """The take's files; gives the sample of the take at which the clip's first frame begins."""
    rate = FrameRate.parse(case.rate)
    clip = Timecode.parse(case.start, rate)
    begin = clip + -LEAD * rate.nominal
    stamped = Fraction(48_000_000, 1001) if case.stamp == 47952 else Fraction(case.stamp)
    a_frame = stamped / rate.fraction  # by the time stamp
    reference = round(begin.frames * a_frame) + ODD
    samples = round((seconds + 2 * LEAD) * rate.nominal * case.made)
    fill = counting if case.ratio == 1 else lambda n: tone(HERTZ, case.hertz, n)
    for number in (1, 2) if case.mono else (1,):
        said = ixml("1", "1", rate=str(rate.fraction), flag="DF" if clip.drop else "NDF", hertz=case.hertz, stamp_rate=case.stamp,
                    digitizer=case.digitizer, reference=reference, family="F1", names=[f"T{number}"], channels=[number])  # fmt: skip
        before = [chunk(b"bext", bext(reference)), chunk(b"iXML", said)]
        write_wav(
            folder / f"T1_{number}.wav",
            samples,
            fill=lambda f, n, k=number: fill(k)(f, n)[k - 1 : k],
            hertz=case.hertz,
            before=before,
        )
    late = Fraction(reference) / a_frame - begin.frames  # frames, of which one is `made` samples
    return (LEAD * rate.nominal - late) * case.made


def night(tmp: Path, case: Case, seconds: int) -> None:
    rate = FrameRate.parse(case.rate)
    frames = seconds * rate.nominal
    picture = texture("yuvj420p", 64, 36, 1)
    write_movie(
        tmp / "a.mov", [picture] * frames, codec="mjpeg", rate=rate.fraction, levels=2, timecode=case.start
    )
    (tmp / "sound").mkdir()
    start = recorded(tmp / "sound", case, seconds)
    retime = f'show_rate = "{case.shown}"\noff_speed = "frame for frame"\n' if case.shown else ""
    (tmp / "r.toml").write_text(retime + RECIPE)
    (tmp / "day.csv").write_text("clip,encoding,levels,scene,take\na.mov,LogC3,full,1,1\n")
    run = rushlight(
        "render",
        tmp / "day.csv",
        "--recipe",
        tmp / "r.toml",
        "--sound",
        tmp / "sound",
        "--out",
        tmp / "out",
        "--workers",
        1,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    total = round(frames * 48000 / FrameRate.parse(case.shown or case.rate).fraction)
    for track in (0, 1) if case.mono else (0,):
        heard = independent.sound(tmp / "out" / "codes" / "a.mov", track, 1)[0] >> 8
        assert len(heard) == total
        for part in (slice(0, 20_000), slice(total - 20_000, total)):
            places = np.arange(total)[part]
            (exact if case.ratio == 1 else near)(heard[part], places, start, case, track)


def exact(
    heard: NDArray[np.int32], places: NDArray[np.int64], start: Fraction, case: Case, track: int
) -> None:
    """What was copied says itself which sample of the take it is."""
    assert np.array_equal(counted(heard, track), (places + round(start)) % (1 << 24))


def near(
    heard: NDArray[np.int32], places: NDArray[np.int64], start: Fraction, case: Case, track: int
) -> None:
    """A tone that was resampled has at each place the phase that it has there in the take, to a hundredth of a sample."""
    at = (float(start) + places * float(case.ratio)) * HERTZ / case.hertz
    turn = np.exp(-2j * np.pi * (at % 1.0))
    phase = np.angle(np.mean(heard[1000:-1000] * turn[1000:-1000]) * 1j)  # of a sine
    samples = phase / (2 * np.pi) * 48000 / (HERTZ * 48000 / case.hertz * float(case.ratio))
    assert abs(samples) < 0.02, samples
    wanted = np.sin(2 * np.pi * (at % 1.0)) * (1 << 22)
    error = np.sqrt(np.mean((heard - wanted)[1000:-1000] ** 2)) / (1 << 22) * np.sqrt(2)
    assert 20 * np.log10(error) < -50


@pytest.mark.parametrize(
    "case", [pytest.param(c, marks=() if c.short else pytest.mark.slow) for c in CASES], ids=lambda c: c.name
)
def test_a_few_seconds(case: Case, tmp_path: Path) -> None:
    night(tmp_path, case, 4)


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_ten_minutes(case: Case, tmp_path: Path) -> None:
    night(tmp_path, case, 600)
