"""An original's sound by the sample: whatever its rate, its sample format and its number of channels."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from foreign import patched
from pictures import numbered
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.originals.sound import SAMPLE_RATE, channels_of, read_sound, samples_of

FRAMES = 72
HERTZ = (440, 1000)


def movie(path: Path, name: str, rate: int, values: np.ndarray, layout: str) -> Path:
    """Three seconds of pictures and one stream of sound: `values` as the codec takes them, (1, n * channels)."""
    with av.open(str(path), "w") as out:
        video = out.add_stream("prores_ks", rate=24)
        video.width, video.height, video.pix_fmt = 128, 72, "yuv422p10le"
        track = out.add_stream(name, rate=rate, layout=layout)
        for number in range(FRAMES):
            frame = numbered(number)
            frame.pts, frame.time_base = number, Fraction(1, 24)
            out.mux(video.encode(frame))
        out.mux(video.encode(None))
        kind = {"int16": "s16", "int32": "s32", "float32": "flt", "uint8": "u8"}[str(values.dtype)]
        packed = av.AudioFrame.from_ndarray(values, format=kind, layout=layout)
        packed.sample_rate, packed.pts = rate, 0
        out.mux(track.encode(packed))
        out.mux(track.encode(None))
    return path


def sine(rate: int, samples: int, begin: int = 0) -> np.ndarray:
    """(2, samples), a tone of its own in each channel, at a half."""
    t = (np.arange(samples) + begin) / rate
    return np.stack([0.5 * np.sin(2 * np.pi * hz * t) for hz in HERTZ])


def packed(values: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(values.T.reshape(1, -1))


@pytest.mark.parametrize(
    ("name", "dtype", "scale"),
    [
        ("pcm_s16le", np.int16, 2**15),
        ("pcm_s24le", np.int32, 2**31),
        ("pcm_s32le", np.int32, 2**31),
        ("pcm_f32le", np.float32, 1),
        ("pcm_u8", np.uint8, 2**7),
    ],
)
def test_every_sample_format_is_read_to_its_own_last_bit(
    name: str, dtype: type, scale: int, tmp_path: Path
) -> None:
    whole = sine(48000, FRAMES * 2000)
    given = (whole * scale + (128 if dtype is np.uint8 else 0)).astype(dtype)
    facts = probe(movie(tmp_path / "a.mov", name, 48000, packed(given), "stereo"))
    heard = np.concatenate(list(read_sound(facts, 0, FRAMES)), 1)
    assert heard.shape == whole.shape
    step = {"pcm_s16le": 2**-15, "pcm_u8": 2**-7}.get(name, 2**-22)
    assert np.abs(heard / 2**31 - whole).max() <= step


@pytest.mark.parametrize("rate", [44100, 32000, 96000])
@pytest.mark.parametrize("first", [0, 30])
def test_another_rate_is_resampled_without_a_seam(rate: int, first: int, tmp_path: Path) -> None:
    given = (sine(rate, 3 * rate) * 2**31).astype(np.int32)
    facts = probe(movie(tmp_path / "a.mov", "pcm_s24le", rate, packed(given), "stereo"))
    count = FRAMES - first
    heard = np.concatenate(list(read_sound(facts, first, count)), 1) / 2**31
    assert heard.shape == (2, count * 2000)
    wanted = sine(SAMPLE_RATE, count * 2000, first * 2000)
    assert np.abs(heard - wanted)[:, 100:-100].max() < 0.002  # a filter's run in and out at the ends


@pytest.mark.parametrize("channels", [3, 5, 8, 9, 12, 16, 24])
def test_any_number_of_channels(channels: int, tmp_path: Path) -> None:
    """Eight in one stream without a layout took a resampler, and the process, down."""
    given = np.random.default_rng(channels).integers(-(2**22), 2**22, (channels, FRAMES * 2000)) << 8
    layout = f"{channels}C"
    facts = probe(movie(tmp_path / "a.mov", "pcm_s24le", 48000, packed(given.astype(np.int32)), layout))
    assert channels_of(facts) == channels
    low, high = (samples_of(n, facts.rate.fraction) for n in (25, 60))
    heard = np.concatenate(list(read_sound(facts, 25, 35)), 1)
    assert np.array_equal(heard, given[:, low:high])


def test_a_track_without_a_decoder_is_left_out_and_the_others_keep_theirs(tmp_path: Path) -> None:
    """The second track is read where the first cannot be, not the first of those that are left."""
    path, tones = tmp_path / "a.mov", [np.full((1, 8000), level << 16, np.int32) for level in (100, 200, 300)]
    with av.open(str(path), "w") as out:
        picture = out.add_stream("prores_ks", rate=24)
        picture.width, picture.height, picture.pix_fmt = 128, 72, "yuv422p10le"
        tracks = [out.add_stream("pcm_s24le", rate=48000, layout="mono") for _ in tones]
        for number in range(4):
            frame = numbered(number)
            frame.pts, frame.time_base = number, Fraction(1, 24)
            out.mux(picture.encode(frame))
        out.mux(picture.encode(None))
        for track, tone in zip(tracks, tones, strict=True):
            block = av.AudioFrame.from_ndarray(tone, format="s32", layout="mono")
            block.sample_rate, block.pts = 48000, 0
            out.mux(track.encode(block))
            out.mux(track.encode(None))
    assert channels_of(probe(path)) == 3
    patched(path, b"in24", b"XYZ2")
    facts = probe(path)
    assert [track.index for track in facts.sound] == [2, 3]
    (note,) = [text for text in facts.warnings if "sound track 1 ('XYZ2')" in text]
    assert "channels are counted without it" in note
    heard = np.concatenate(list(read_sound(facts, 0, 4)), axis=1)
    assert heard.shape == (2, 8000) and (heard[0] == 200 << 16).all() and (heard[1] == 300 << 16).all()
