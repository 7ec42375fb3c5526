"""What sound an output gets: channels in order to the sample, mapped, mixed down, or silence; read back by an outsider."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import independent
from movies import made, tone
from pictures import numbered
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.formats.timecode import Timecode
from rushlight.pipelines.originals.probe import Facts, probe
from rushlight.pipelines.outputs.sound_mixdown import mixed, sound_under
from rushlight.pipelines.recipe.read_recipe import load_recipe

RATE = Fraction(24)
FRAMES = 12
SAMPLES = FRAMES * 2000


def original(path: Path, channels: tuple[int, ...], frames: int = FRAMES) -> np.ndarray:
    """A movie with a PCM stream of so many channels each; gives all of its channels, a tone of its own in each."""
    sound = tone(max(1, sum(channels)), frames * 2000) >> 8 << 8
    with av.open(str(path), "w") as out:
        video = out.add_stream("prores_ks", rate=RATE)
        video.width, video.height, video.pix_fmt = 128, 72, "yuv422p10le"
        layouts = {1: "mono", 2: "stereo"}
        tracks = [out.add_stream("pcm_s24le", rate=48000, layout=layouts.get(n, f"{n}C")) for n in channels]
        for number in range(frames):
            frame = numbered(number)
            frame.pts, frame.time_base = number, 1 / RATE
            out.mux(video.encode(frame))
        out.mux(video.encode(None))
        first = 0
        for track, n in zip(tracks, channels, strict=True):
            data = np.ascontiguousarray(sound[first : first + n].T.reshape(1, -1))
            first += n
            packed = av.AudioFrame.from_ndarray(data, format="s32", layout=layouts.get(n, f"{n}C"))
            packed.sample_rate, packed.pts = 48000, 0
            out.mux(track.encode(packed))
            out.mux(track.encode(None))
    return sound


def delivered(tmp: Path, facts: Facts, container: str, **asked: object) -> tuple[Path, int, tuple[str, ...]]:
    """A movie of the whole original with that sound, how many tracks it has, and what was said."""
    settings = {"first": 0, "count": FRAMES, "rate": RATE, "container": container, "sound": "copy", **asked}
    sound, said = sound_under(facts, **settings)  # type: ignore[arg-type]
    name = "h264" if container == "mp4" else "dnxhr-lb"
    path = made(
        tmp, codec(name), container, facts.rate, Timecode(frames=0, rate=facts.rate), [FRAMES], sound=sound
    )
    return path, len([line for line in independent.said(path).splitlines() if "Audio:" in line]), said


@pytest.mark.parametrize("container", ["mov", "mxf"])
def test_several_mono_streams_are_kept_in_order(container: str, tmp_path: Path) -> None:
    sound = original(tmp_path / "a.mov", (1, 1, 1, 1))
    path, tracks, said = delivered(tmp_path, probe(tmp_path / "a.mov"), container)
    assert tracks == 4 and said == ()
    heard = np.concatenate([independent.sound(path, n, 1) for n in range(4)])
    assert np.array_equal(heard, sound)


def test_one_stream_of_eight_becomes_eight_mono_tracks_in_mxf(tmp_path: Path) -> None:
    sound = original(tmp_path / "a.mov", (8,))
    path, tracks, _ = delivered(tmp_path, probe(tmp_path / "a.mov"), "mxf")
    assert tracks == 8
    heard = np.concatenate([independent.sound(path, n, 1) for n in range(8)])
    assert np.array_equal(heard, sound)


@pytest.mark.parametrize("streams", [(4,), (1, 1, 1, 1), (8,), (2, 2, 2, 2)])
def test_a_viewing_copy_has_one_stereo_track(streams: tuple[int, ...], tmp_path: Path) -> None:
    """Odd channels left and even ones right: each side's own tones are the strongest in it, after AAC."""
    sound = original(tmp_path / "a.mov", streams)
    path, tracks, said = delivered(tmp_path, probe(tmp_path / "a.mov"), "mp4", sound="mix")
    assert tracks == 1 and said == ()
    assert "48000 Hz, stereo" in independent.said(path)
    heard = independent.sound(path, 0, 2)[:, :SAMPLES].astype(float)
    for side in (0, 1):
        wanted = sound[side::2].astype(float).mean(0)
        other = sound[1 - side :: 2].astype(float).mean(0)
        near, far = (np.corrcoef(heard[side], x)[0, 1] for x in (wanted, other))
        assert near > 0.99 and near > far + 0.2, (near, far)


def test_mixed_down_as_pcm_is_exact(tmp_path: Path) -> None:
    sound = original(tmp_path / "a.mov", (4,))
    path, _, _ = delivered(tmp_path, probe(tmp_path / "a.mov"), "mov", sound="mix")
    wide = sound.astype(np.int64)
    wanted = np.stack([(wide[0] + wide[2]) // 2, (wide[1] + wide[3]) // 2]).astype(np.int32) >> 8 << 8
    assert np.array_equal(independent.sound(path, 0, 2), wanted)


@pytest.mark.parametrize(("streams", "tracks"), [((4,), 1), ((1, 1, 1, 1), 3)])
def test_channels_are_mapped_as_the_recipe_says(
    streams: tuple[int, ...], tracks: int, tmp_path: Path
) -> None:
    sound = original(tmp_path / "a.mov", streams)
    path, found, said = delivered(tmp_path, probe(tmp_path / "a.mov"), "mov", channels=(3, 1, 9))
    assert found == tracks and said == (
        "the recipe asks for sound channel 9; the original has 4: silent there",
    )
    each = 3 // tracks
    heard = np.concatenate([independent.sound(path, n, each) for n in range(tracks)])
    assert np.array_equal(heard, np.stack([sound[2], sound[0], np.zeros_like(sound[0])]))


def test_one_channel_stands_on_both_sides() -> None:
    one = np.array([[5, -7, 2**31 - 1]], np.int32)
    assert np.array_equal(mixed(one), np.repeat(one, 2, 0))


@given(st.integers(1, 16), st.integers(0, 2**32 - 1))
def test_mixing_down_never_clips(channels: int, seed: int) -> None:
    block = np.random.default_rng(seed).integers(-(2**31), 2**31, (channels, 50)).astype(np.int32)
    block[:, 0], block[:, 1] = -(2**31), 2**31 - 1
    found = mixed(block)
    assert found.shape == (2, 50) and (found[:, 0] == -(2**31)).all() and (found[:, 1] == 2**31 - 1).all()


def test_silent_none_and_without_sound(tmp_path: Path) -> None:
    original(tmp_path / "a.mov", (2,))
    original(tmp_path / "b.mov", ())
    heard, mute = probe(tmp_path / "a.mov"), probe(tmp_path / "b.mov")
    for facts in (heard, mute):
        path, tracks, _ = delivered(tmp_path, facts, "mov", sound="silent")
        silence = independent.sound(path, 0, 2)
        assert tracks == 1 and silence.shape == (2, SAMPLES) and not silence.any()
        assert delivered(tmp_path, facts, "mov", sound="none")[1] == 0
    assert delivered(tmp_path, heard, "mov", retimed=True)[1] == 1
    assert not independent.sound(tmp_path / "dnxhr-lb.mov", 0, 2).any()
    assert delivered(tmp_path, mute, "mov", sound="mix")[1] == 0


def test_more_channels_than_an_mp4_takes_are_mixed_down_and_said(tmp_path: Path) -> None:
    original(tmp_path / "a.mov", (1,) * 10)
    _, tracks, said = delivered(tmp_path, probe(tmp_path / "a.mov"), "mp4")
    assert tracks == 1 and "10 sound channels are more than an MP4 takes (8)" in said[0]


def test_viewing_recipes_that_ship_mix_down() -> None:
    """A player plays the first track of an MP4: all of what was recorded has to be on it."""
    for name in ("overnight", "viewing", "remote", "slated", "hdr-pq", "hdr-hlg"):
        outputs = [o for o in load_recipe(name)[0].output if getattr(o, "burnin", None)]
        assert outputs and all(o.sound == "mix" for o in outputs)  # type: ignore[union-attr]
