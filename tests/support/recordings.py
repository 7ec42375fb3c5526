"""Sound files as recorders write them, made here: bext, iXML, RIFF, RF64 and BW64, whole or spoilt, with samples that say where
they belong.

A sample of `counting` is its own number since midnight (modulo 2^24, another start for each channel), so that one that was
copied tells its place exactly; `tone` has its phase from that number, so that one that was resampled tells it to a fraction.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.sound.ixml import Track
from rushlight.pipelines.sound.recording import Clock, Recording, exact_hertz
from rushlight.pipelines.sound.take import Take

__all__ = [
    "bext",
    "chunk",
    "counted",
    "counting",
    "encoded",
    "ixml",
    "reference_of",
    "silent",
    "talk",
    "tone",
    "write_wav",
]

Fill = Callable[
    [int, int], NDArray[np.int32]
]  # (first sample of the day, count) -> (channels, count), 24 bits
APART = 1_000_003  # between the numbers of two channels


def chunk(ident: bytes, data: bytes) -> bytes:
    return ident + struct.pack("<I", len(data)) + data + (b"\0" if len(data) & 1 else b"")


def _fixed(text: str | bytes, size: int) -> bytes:
    data = text.encode("ascii") if isinstance(text, str) else text
    assert len(data) <= size
    return data.ljust(size, b"\0")


def bext(
    reference: int = 0,
    description: str | bytes = "",
    date: str = "2026-05-04",
    time: str = "10:00:00",
    version: int = 1,
) -> bytes:
    head = (
        _fixed(description, 256)
        + _fixed("RECORDER", 32)
        + _fixed("REF0001", 32)
        + _fixed(date, 10)
        + _fixed(time, 8)
    )
    return head + struct.pack("<QH", reference, version) + bytes(64 + 190)


def ixml(
    scene: str = "12",
    take: str = "3",
    roll: str = "SR01",
    rate: str = "25/1",
    flag: str = "NDF",
    hertz: int = 48000,
    digitizer: int | None = None,
    stamp_rate: int | None = None,
    reference: int | None = None,
    names: Sequence[str] = ("MIX",),
    channels: Sequence[int] = (),
    family: str = "",
    extra: str = "",
    current: str = "",
) -> bytes:
    numbers = channels or range(1, len(names) + 1)
    tracks = "".join(
        f"<TRACK><CHANNEL_INDEX>{c}</CHANNEL_INDEX><INTERLEAVE_INDEX>{k}</INTERLEAVE_INDEX><NAME>{n}</NAME></TRACK>"
        for k, (c, n) in enumerate(zip(numbers, names, strict=True), 1)
    )
    stamp = (
        ""
        if reference is None
        else (
            f"<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>{reference >> 32}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>"
            f"<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>{reference & 0xFFFFFFFF}</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>"
        )
    )
    speed = (
        (
            f"<SPEED><MASTER_SPEED>{rate}</MASTER_SPEED><CURRENT_SPEED>{current or rate}</CURRENT_SPEED>"
            f"<TIMECODE_RATE>{rate}</TIMECODE_RATE><TIMECODE_FLAG>{flag}</TIMECODE_FLAG>"
            f"<FILE_SAMPLE_RATE>{hertz}</FILE_SAMPLE_RATE><DIGITIZER_SAMPLE_RATE>{digitizer or hertz}</DIGITIZER_SAMPLE_RATE>"
            f"{stamp}<TIMESTAMP_SAMPLE_RATE>{stamp_rate or hertz}</TIMESTAMP_SAMPLE_RATE></SPEED>"
        )
        if rate
        else ""
    )
    files = f"<FILE_SET><FAMILY_UID>{family}</FAMILY_UID></FILE_SET>" if family else ""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><BWFXML><IXML_VERSION>2.10</IXML_VERSION><SCENE>{scene}</SCENE>'
        f"<TAKE>{take}</TAKE><TAPE>{roll}</TAPE>{speed}{files}<TRACK_LIST><TRACK_COUNT>{len(names)}</TRACK_COUNT>{tracks}"
        f"</TRACK_LIST>{extra}</BWFXML>"
    ).encode()


def reference_of(seconds: Fraction | int, hertz: int = 48000) -> int:
    return round(seconds * hertz)


def counting(channels: int = 1) -> Fill:
    """Every sample its own number of the day."""

    def fill(first: int, count: int) -> NDArray[np.int32]:
        numbers = np.arange(first, first + count, dtype=np.int64)
        each = [((numbers + k * APART) % (1 << 24)) - (1 << 23) for k in range(channels)]
        return np.stack(each).astype(np.int32)

    return fill


def counted(samples: NDArray[np.int32], channel: int = 0) -> NDArray[np.int64]:
    """The numbers of the day (modulo 2^24) that samples of 24 bits say; `samples` are of one channel."""
    return (samples.astype(np.int64) + (1 << 23) - channel * APART) % (1 << 24)


def tone(hertz: float = 997.0, rate: float = 48000.0, channels: int = 1) -> Fill:
    """A sine whose phase is the number of the sample since midnight, at half of full scale."""

    def fill(first: int, count: int) -> NDArray[np.int32]:
        turns = (np.arange(first, first + count, dtype=np.float64) * (hertz / rate)) % 1.0
        wave = np.rint(np.sin(2 * np.pi * turns) * (1 << 22)).astype(np.int32)
        return np.stack([wave] * channels)

    return fill


def silent(channels: int = 1) -> Fill:
    return lambda first, count: np.zeros((channels, count), np.int32)


@cache
def _talk() -> NDArray[np.int32]:
    """30 s of something like talk, at 48 kHz and 24 bits: noise of a voice's band in syllables of uneven lengths."""
    random, count = np.random.default_rng(20), 30 * 48_000
    spectrum = np.fft.rfft(random.standard_normal(count))
    frequencies = np.fft.rfftfreq(count, 1 / 48_000)
    voice = np.fft.irfft(spectrum * np.exp(-((frequencies - 700) ** 2) / (2 * 600**2)), count)
    loud = np.repeat(random.random(400) ** 2, random.integers(3600, 14_400, 400))[:count]
    smooth = np.fft.rfft(loud) * np.fft.rfft(np.hanning(2400) / 1200, count)
    voice *= np.fft.irfft(smooth, count)
    return np.rint(voice / np.abs(voice).max() * (1 << 22)).astype(np.int32)


def talk(channels: int = 1) -> Fill:
    """Talk, the same 30 s over and over."""

    def fill(first: int, count: int) -> NDArray[np.int32]:
        whole = _talk()
        return np.stack([whole[np.arange(first, first + count) % len(whole)]] * channels)

    return fill


def packed(samples: NDArray[np.int32], bits: int) -> bytes:
    """Samples of 24 bits (channels, n) as the bytes of a file of so many bits; float for -32."""
    flat = samples.T.reshape(-1)
    if bits == 16:
        return (flat >> 8).astype("<i2").tobytes()
    if bits == 32:
        return (flat << 8).astype("<i4").tobytes()
    if bits == -32:
        return (flat / (1 << 23)).astype("<f4").tobytes()
    return flat.astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


def write_wav(
    path: Path,
    samples: int,
    *,
    fill: Fill | None = None,
    first: int = 0,
    hertz: int = 48000,
    channels: int = 1,
    bits: int = 24,
    form: str = "RIFF",
    before: Sequence[bytes] = (),
    after: Sequence[bytes] = (),
    size: int | None = None,
    sparse: bool = False,
    keep: int | None = None,
) -> Path:
    """A WAV file of `samples` from number `first` of the day. `before` and `after` are chunks around `data`; `size` is what the
    header says of data instead of the truth, `keep` how many bytes of the file are left of it."""
    width = abs(bits) // 8
    align = channels * width
    data = samples * align
    code = 3 if bits < 0 else 1
    if channels > 2 or width > 2:
        guid = struct.pack("<H", code) + bytes.fromhex("000000001000800000AA00389B71")
        form_of = (
            struct.pack(
                "<HHIIHHHHI", 0xFFFE, channels, hertz, hertz * align, align, width * 8, 22, width * 8, 0
            )
            + guid
        )
    else:
        form_of = struct.pack("<HHIIHH", code, channels, hertz, hertz * align, align, width * 8)
    wide = form != "RIFF"
    middle = b"".join(before) + chunk(b"fmt ", form_of)
    tail = b"".join(after)
    total = 4 + (36 if wide else 0) + len(middle) + 8 + data + (data & 1) + len(tail)
    stated = data if size is None else size
    with path.open("wb") as file:
        file.write(form.encode() + struct.pack("<I", 0xFFFFFFFF if wide else total % (1 << 32)) + b"WAVE")
        if wide:
            file.write(chunk(b"ds64", struct.pack("<QQQI", total, stated, samples, 0)))
        file.write(middle + b"data" + struct.pack("<I", 0xFFFFFFFF if wide else stated % (1 << 32)))
        if sparse:
            file.seek(data, 1)
        else:
            for done in range(0, samples, 480_000):
                some = min(480_000, samples - done)
                file.write(packed((fill or silent(channels))(first + done, some), bits))
        file.write(b"\0" * (data & 1) + tail)
        file.truncate()
    if keep is not None:
        with path.open("r+b") as file:
            file.truncate(keep)
    return path


def encoded(path: Path, codec: str, metadata: dict[str, str], picture: str = "") -> Path:
    """A file of 1 s of sound, with a picture of that rate if there is one."""
    with av.open(str(path), "w") as output:
        output.metadata.update(metadata)
        stream = output.add_stream(codec, rate=48000, layout="mono")
        video = output.add_stream("mjpeg", rate=Fraction(picture)) if picture else None
        if video:
            video.width, video.height, video.pix_fmt = 64, 36, "yuvj420p"
            video.metadata["timecode"] = metadata.get("timecode", "")
        frame = av.AudioFrame.from_ndarray((tone()(0, 48000) << 8), format="s32", layout="mono")
        frame.sample_rate, frame.pts = 48000, 0
        if stream.codec_context.format.name != "s32":
            resampler = av.AudioResampler(format=stream.codec_context.format.name)
            for part in resampler.resample(frame):
                output.mux(stream.encode(part))
        else:
            output.mux(stream.encode(frame))
        output.mux(stream.encode(None))
        if video:
            for number in range(25):
                shown = av.VideoFrame.from_ndarray(np.zeros((36, 64, 3), np.uint8), format="rgb24")
                shown.pts = number
                output.mux(video.encode(shown))
            output.mux(video.encode(None))
    return path


def made_take(
    name: str = "T1.wav",
    reference: int | None = 1_728_000_000,
    samples: int = 48000 * 600,
    *,
    hertz: int = 48000,
    stamp: int = 0,
    digitizer: int = 0,
    rate: Fraction | None = Fraction(25),
    drop: bool | None = False,
    **said: Any,
) -> Take:
    """A take of one file as its header would have it, without the file: from ten o'clock at 25, ten minutes long."""
    clock = Clock(
        stamp_rate=exact_hertz(stamp or hertz),
        digitizer_rate=exact_hertz(digitizer or stamp or hertz),
        timecode_rate=rate,
        drop=drop,
    )
    recording = Recording(
        path=Path(name),
        bytes=1,
        mtime_ns=1,
        form="RIFF",
        codec="pcm_s24le",
        sample_rate=hertz,
        channels=1,
        samples=samples,
        time_reference=reference,
        clock=clock,
        tracks=(Track(place=1, channel=1, name="MIX"),),
        **said,
    )
    return Take(parts=((recording,),))
