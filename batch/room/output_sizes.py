"""Sizes that outputs are likely to have, by codec, raster and length, before anything is made of them.

ProRes, DNxHR and DNxHD have so many bits a frame, whatever it shows. What H.264, HEVC, JPEG and stills take depends on the picture: a
guess for camera pictures with some grain, until the folder's own log says what an output took. Of photographs panned over with the grain
of a sensor (1920x1080, delivered at 320x180 to 1920x1080) H.264 and HEVC took a tenth to nine tenths of it; with grain of 3 % of the
range in the delivered picture H.264 took two and a half times as much, with 5 % five times.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from fractions import Fraction

from rushlight.batch.records.files import DeliveredMovie
from rushlight.batch.records.job_record import JobRecord
from rushlight.pipelines.formats.codecs import Codec, codec
from rushlight.pipelines.job.spec import OutputSpec, StillsSpec

__all__ = [
    "GUESS_RANGE",
    "Measured",
    "is_guess",
    "measured_in",
    "movie_bytes",
    "output_bytes",
    "sound_bytes",
    "stills_bytes",
]

# Bits a macroblock (16x16) of ProRes by the number of those in a frame, as FFmpeg's encoder aims at them; measured.
_PRORES_LIMITS = (1620, 2700, 6075)
_PRORES = {
    "prores-proxy": (300, 242, 220, 194),
    "prores-lt": (720, 560, 490, 440),
    "prores-422": (1050, 808, 710, 632),
}
# Bytes a pixel and frame.
_LEAST = 8192  # bytes that a frame of DNxHR has at least
_FIXED = {"dnxhr-lb": 0.0905, "dnxhr-sq": 0.2914, "dnxhr-hqx": 0.4410}
_BY_PICTURE = {"h264": 0.035, "h264-10": 0.035, "hevc": 0.023, "hevc-10": 0.023, "mjpeg": 0.13}
# Bytes a pixel of a still.
_STILLS = {"jpeg": 0.3, "png8": 1.0, "png16": 4.0, "tiff8": 1.2, "tiff16": 4.2, "exr": 3.0}
_BY_CRF = 6.0  # steps of the quality scale of H.264 and HEVC that halve the size
_PCM, _AAC = 48_000 * 3.0, 12_000.0  # bytes a second and channel
_HEAD = 20_000  # bytes of a container around its pictures
GUESS_RANGE = "a tenth of it to five times as much, as the grain is"  # of H.264 and HEVC, as measured

Measured = Mapping[tuple[str, str, int, int], float]  # (output, codec, width, height) -> bytes a frame


def measured_in(records: Iterable[JobRecord]) -> Measured:
    """Bytes a frame that movies took which a log has, by output, codec and raster."""
    sums: dict[tuple[str, str, int, int], list[int]] = defaultdict(lambda: [0, 0])
    for record in records:
        for entry in record.outputs:
            if isinstance(entry, DeliveredMovie) and entry.frames:
                found = sums[entry.output, entry.codec, entry.width, entry.height]
                found[0] += entry.bytes
                found[1] += entry.frames
    return {key: size / frames for key, (size, frames) in sums.items()}


def is_guess(spec: OutputSpec, measured: Measured) -> bool:
    """True of a movie whose size depends on its pictures, before a log has one of the kind."""
    if isinstance(spec, StillsSpec) or spec.codec not in _BY_PICTURE:
        return False
    return (spec.output, spec.codec, spec.width, spec.height) not in measured


def output_bytes(
    spec: OutputSpec, *, frames: int, rate: Fraction, channels: int = 2, measured: Measured | None = None
) -> int:
    """Bytes that an output of a clip of so many `frames` is likely to take, with its sound of so many `channels` at 48 kHz."""
    if isinstance(spec, StillsSpec):
        return stills_bytes((still.kind for still in spec.stills), width=spec.width, height=spec.height)
    count = frames + spec.card
    known = (measured or {}).get((spec.output, spec.codec, spec.width, spec.height))
    if known is not None:
        return round(known * count)
    pictures = movie_bytes(
        spec.codec,
        width=spec.width,
        height=spec.height,
        frames=count,
        rate=rate,
        quality=spec.quality,
        peak=spec.peak,
    )
    tracks = len(spec.channels) or (2 if spec.sound == "mix" else channels)
    sound = 0.0 if spec.sound == "none" else sound_bytes(count / rate, tracks, spec.container)
    return round(pictures + sound + _HEAD)


def sound_bytes(seconds: Fraction, channels: int, container: str) -> float:
    """Bytes of so many channels of sound in a movie."""
    return float(seconds) * channels * (_AAC if container == "mp4" else _PCM)


def stills_bytes(kinds: Iterable[str], *, width: int, height: int) -> int:
    """Bytes of stills, one of each of these kinds."""
    return round(sum(_STILLS[kind] for kind in kinds) * width * height)


def movie_bytes(
    name: str,
    *,
    width: int,
    height: int,
    frames: int,
    rate: Fraction,
    quality: float | None = None,
    peak: float | None = None,
) -> float:
    """Bytes of a movie's pictures by its codec. `quality` is the codec's own scale, `peak` Mbit of any second."""
    found = _picture_bytes(codec(name), width, height, quality) * frames
    return min(found, peak * 1e6 / 8 * float(frames / rate)) if peak else found


def _picture_bytes(which: Codec, width: int, height: int, quality: float | None) -> float:
    """Bytes of a frame's picture."""
    pixels = width * height
    if bits := _PRORES.get(which.name):
        blocks = -(-width // 16) * -(-height // 16)
        return blocks * bits[sum(blocks > limit for limit in _PRORES_LIMITS)] / 8
    if which.bit_rates:  # of 24 frames a second, and of a raster: a frame takes as much at any rate
        rates = {size: float(text.removesuffix("M")) for size, text in which.bit_rates.items()}
        return rates.get((width, height), max(rates.values())) * 1e6 / 8 / 24
    if which.name in _FIXED:
        return max(_LEAST, _FIXED[which.name] * pixels)
    finer = 2 ** ((which.quality - quality) / _BY_CRF) if quality and which.quality else 1.0
    return _BY_PICTURE[which.name] * pixels * (1.0 if which.intra else finer)
