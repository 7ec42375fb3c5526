"""Production sound in delivered movies: the right tracks at the right sample, by the FFmpeg binary."""

from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import independent
from movies import made, tone
from pictures import numbered, write_movie
from recordings import bext, chunk, counted, counting, ixml, write_wav
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.outputs.production_sound import Production
from rushlight.pipelines.outputs.readback import read_back
from rushlight.pipelines.outputs.sound_mixdown import sound_under
from rushlight.pipelines.sound.read_recording import read_recording
from rushlight.pipelines.sound.take import take_of

FRAMES, FIRST, START = 12, 7_000_000, 1_234
TOTAL = FRAMES * 2000


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("original")
    return write_movie(folder / "a.mov", [numbered(n) for n in range(FRAMES)], sound=tone(2, TOTAL) >> 8 << 8)


def production(
    folder: Path, *names: str, samples: int = 30_000, start: Fraction = Fraction(START)
) -> Production:
    before = [chunk(b"bext", bext(5)), chunk(b"iXML", ixml(names=names))]
    path = write_wav(
        folder / "T1.wav", samples, fill=counting(len(names)), first=FIRST, channels=len(names), before=before
    )
    take = take_of([read_recording(path)])
    assert take
    return Production(take=take, start=start, step=Fraction(1))


def delivered(
    tmp: Path, original: Path, container: str, found: Production, **asked: Any
) -> tuple[Path, list[str], str]:
    facts = probe(original)
    settings = {
        "first": 0,
        "count": FRAMES,
        "rate": Fraction(24),
        "container": container,
        "sound": "copy",
        **asked,
    }
    sound, said = sound_under(facts, production=found, **settings)
    name = "h264" if container == "mp4" else "dnxhr-lb"
    path = made(
        tmp, codec(name), container, facts.rate, Timecode(frames=0, rate=facts.rate), [FRAMES], sound=sound
    )
    told = independent.said(path)
    return path, [line for line in told.splitlines() if "Audio:" in line], "; ".join(said) + told


def numbers(path: Path, track: int, channel: int) -> list[int]:
    """The number that each sample of a delivered track has of the day, as FFmpeg decodes it."""
    return counted(independent.sound(path, track, 1)[0] >> 8, channel).tolist()


PLACES = list(range(FIRST + START, FIRST + START + TOTAL))


def test_every_sample_is_where_it_was_recorded_and_every_track_has_its_name(
    original: Path, tmp_path: Path
) -> None:
    path, tracks, told = delivered(
        tmp_path, original, "mov", production(tmp_path, "MIX L", "BOOM", "LAV Anna")
    )
    assert len(tracks) == 3 and all("pcm_s24le" in line and "48000 Hz, mono" in line for line in tracks)
    for channel in range(3):
        assert numbers(path, channel, channel) == PLACES
    for name in ("MIX L", "BOOM", "LAV Anna"):
        assert f"handler_name    : {name}" in told


def test_mxf_has_the_same_samples(original: Path, tmp_path: Path) -> None:
    path, tracks, told = delivered(tmp_path, original, "mxf", production(tmp_path, "MIX L", "BOOM"))
    assert len(tracks) == 2 and numbers(path, 1, 1) == PLACES
    assert "comment_Sound track 1: MIX L" in told and "comment_Sound track 2: BOOM" in told
    assert read_back(path).sound_names == ("MIX L", "BOOM")


def test_outside_of_the_take_there_is_silence(original: Path, tmp_path: Path) -> None:
    path, *_ = delivered(
        tmp_path, original, "mov", production(tmp_path, "A", samples=6000, start=Fraction(-500))
    )
    found = independent.sound(path, 0, 1)[0]
    assert not found[:500].any() and not found[6500:].any()
    assert counted(found[500:6500] >> 8).tolist() == list(range(FIRST, FIRST + 6000))


def test_a_slate_card_has_silence_ahead(original: Path, tmp_path: Path) -> None:
    facts = probe(original)
    sound, _ = sound_under(
        facts,
        first=0,
        count=FRAMES,
        rate=Fraction(24),
        sound="copy",
        container="mov",
        card=3,
        production=production(tmp_path, "A"),
    )
    assert sound
    whole = np.concatenate(list(sound.blocks), axis=1)
    assert sound.samples == whole.shape[1] == TOTAL + 6000 and not whole[:, :6000].any()
    assert counted(whole[0, 6000:] >> 8).tolist() == PLACES


@pytest.mark.parametrize(
    ("asked", "channels", "said"),
    [
        ({"named": ("lav*", "BOOM")}, [2, 3, 1], ""),
        ({"named": ("BOOM", "PLANT")}, [1], "PLANT; T1.wav has MIX, BOOM, LAV 1, LAV 2: left out"),
        ({"channels": (4, 1)}, [3, 0], ""),
        ({"channels": (2, 9)}, [1, None], "sound channel 9; the take has 4 tracks: silent there"),
    ],
)
def test_tracks_by_name_and_by_channel(
    asked: Any, channels: list[int | None], said: str, original: Path, tmp_path: Path
) -> None:
    found = production(tmp_path, "MIX", "BOOM", "LAV 1", "LAV 2")
    path, tracks, told = delivered(tmp_path, original, "mov", found, **asked)
    assert len(tracks) == len(channels) and said in told
    for track, channel in enumerate(channels):
        if channel is None:
            assert not independent.sound(path, track, 1).any()
        else:
            assert numbers(path, track, channel) == PLACES


@pytest.mark.parametrize(
    ("names", "pair"),
    [
        (("BOOM", "LAV", "MIX L", "MIX R"), (2, 3)),
        (("BOOM", "LAV", "ROOM"), (0, 1)),
        (("BOOM",), (0, 0)),
        (("BOOM", "Mix"), (1, 1)),
    ],
)
def test_a_mix_is_the_tracks_called_so_else_the_first_two_and_its_gain_is_not_touched(
    names: tuple[str, ...], pair: tuple[int, int], original: Path, tmp_path: Path
) -> None:
    path, tracks, _ = delivered(tmp_path, original, "mov", production(tmp_path, *names), sound="mix")
    assert len(tracks) == 1 and "stereo" in tracks[0]
    both = independent.sound(path, 0, 2) >> 8
    for side, channel in enumerate(pair):
        assert counted(both[side], channel).tolist() == PLACES


def test_the_cameras_sound_is_kept_as_further_tracks(original: Path, tmp_path: Path) -> None:
    path, tracks, told = delivered(tmp_path, original, "mov", production(tmp_path, "BOOM"), camera_sound=True)
    assert len(tracks) == 3 and "camera 1" in told and "camera 2" in told
    assert numbers(path, 0, 0) == PLACES
    camera = np.concatenate([independent.sound(path, k, 1) for k in (1, 2)])
    assert np.array_equal(camera, tone(2, TOTAL) >> 8 << 8)


def test_more_than_an_mp4_takes_is_its_mix_and_said(original: Path, tmp_path: Path) -> None:
    _, tracks, told = delivered(tmp_path, original, "mp4", production(tmp_path, *(f"T{k}" for k in range(9))))
    assert len(tracks) == 1 and "stereo" in tracks[0] and "9 sound tracks are more" in told


def test_no_sound_is_asked_for(original: Path, tmp_path: Path) -> None:
    facts, found = probe(original), production(tmp_path, "A")
    settings: Any = {
        "first": 0,
        "count": FRAMES,
        "rate": Fraction(24),
        "container": "mov",
        "production": found,
    }
    assert sound_under(facts, sound="none", **settings) == (None, ())
    silent, _ = sound_under(facts, sound="silent", **settings)
    assert silent and silent.channels == 2 and list(silent.blocks) == []


def test_a_clip_that_is_retimed_has_its_production_sound(original: Path, tmp_path: Path) -> None:
    """Pull-down: what was shot at 24 and is shown at 23.976 is silent but for sound that was placed for it."""
    settings: Any = {
        "first": 0,
        "count": FRAMES,
        "rate": Fraction(24000, 1001),
        "container": "mov",
        "sound": "copy",
        "retimed": True,
    }
    sound, _ = sound_under(probe(original), production=production(tmp_path, "A"), **settings)
    assert sound and sound.samples == FRAMES * 2002
    assert counted(next(iter(sound.blocks))[0] >> 8)[0] == FIRST + START
