"""What the benchmarks read: long camera-like originals looped from a short pan over a real photograph."""

from __future__ import annotations

import shutil
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

from tests.support.independent import FFMPEG
from tests.support.real import PLACE, ROOT

__all__ = ["ENCODING", "RATE", "day", "light", "movie", "sequence", "thousand"]

ENCODING = "S-Log3/S-Gamut3.Cine"
RATE = 24


def movie(folder: Path, size: tuple[int, int], seconds: int) -> Path:
    """A ProRes 422 HQ original of that raster and length, 24 frames a second, narrow levels, two channels of sound."""
    width, height = size
    final = folder / f"P{height}S{seconds:02d}.mov"
    if not final.exists():
        short = _short(folder, width, height)
        loop = ["-stream_loop", str(seconds - 1), "-i", str(short), "-map", "0:v", "-map", "0:a"]
        part = final.with_suffix(".part.mov")
        _ffmpeg(*loop, "-c", "copy", "-timecode", "10:00:00:00", str(part))
        part.rename(final)
    return final


def _short(folder: Path, width: int, height: int) -> Path:
    """One second: a pan over a photograph in a camera's log, or the sample day's picture where there is none."""
    short = folder / f"short{height}.mov"
    if short.exists():
        return short
    folder.mkdir(parents=True, exist_ok=True)
    part = short.with_suffix(".part.mov")
    photograph = next(iter(sorted(PLACE.glob("Desk*.exr"))), None)
    if photograph is None:
        sample = ROOT / "sample_frames" / "A001C003.mov"
        scale = ["-vf", f"scale={width}:{height},fps={RATE}", "-frames:v", str(RATE)]
        code = ["-c:v", "prores_ks", "-profile:v", "hq", "-pix_fmt", "yuv422p10le", "-an"]
        _ffmpeg("-stream_loop", "-1", "-i", str(sample), *scale, *code, str(part))
    else:
        sys.path.insert(0, str(PLACE))
        import make_originals as maker

        photo = maker.photograph(photograph, width, height)
        pictures = maker.frames(photo, "S-Log3 S-Gamut3.Cine", 0.0, RATE, width, height, 1)
        maker.movie(
            part,
            pictures,
            RATE,
            Fraction(RATE),
            "10:00:00:00",
            "prores_ks",
            "yuv422p10le",
            {"profile": "hq"},
            2,
            "narrow",
            width,
            height,
            "A001",
        )
    part.rename(short)
    return short


def light(folder: Path, size: tuple[int, int], seconds: int, codes: tuple[int, int, int]) -> Path:
    """The same filled by one colour with a camera's noise, of those Y'CbCr codes (10 bits, narrow levels)."""
    import numpy as np

    width, height = size
    final = folder / f"L{height}S{seconds:02d}.mov"
    if final.exists():
        return final
    rng, frames = np.random.default_rng(0), []
    for _ in range(RATE):
        for code, wide in zip(codes, (width, width // 2, width // 2), strict=True):
            plane = rng.normal(code, 4, (height, wide)).round().clip(64, 940)
            frames.append(plane.astype("<u2").tobytes())
    raw = folder / f"L{height}.yuv"
    raw.write_bytes(b"".join(frames))
    part = final.with_suffix(".part.mov")
    read = ["-stream_loop", str(seconds - 1), "-f", "rawvideo", "-pix_fmt", "yuv422p10le"]
    read += ["-s", f"{width}x{height}", "-r", str(RATE), "-i", str(raw)]
    read += ["-f", "lavfi", "-i", "sine=frequency=1000:sample_rate=48000"]
    code = ["-c:v", "prores_ks", "-profile:v", "hq", "-c:a", "pcm_s24le", "-shortest"]
    _ffmpeg(*read, *code, "-timecode", "10:00:00:00", str(part))
    raw.unlink()
    part.rename(final)
    return final


def day(folder: Path, clips: int, seconds: int) -> Path:
    """A folder of `clips` originals: every third in 3840x2160, the others in 1920x1080."""
    place = folder / f"day{clips}x{seconds}"
    if not place.exists():
        part = place.with_suffix(".part")
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True)
        for number in range(1, clips + 1):
            size = (3840, 2160) if number % 3 == 0 else (1920, 1080)
            (part / f"A001C{number:03d}.mov").hardlink_to(movie(folder, size, seconds))
        part.rename(place)
    return place


def sequence(folder: Path, size: tuple[int, int], frames: int, kind: str) -> Path:
    """A folder of numbered DPX (10 bits) or EXR (half floats) files of one picture of the short pan each."""
    import numpy as np
    import OpenImageIO as oiio

    width, height = size
    place = folder / f"sequences-{kind}" / f"A001C001_{kind}"
    if place.exists():
        return place
    part = place.with_suffix(".part")
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir(parents=True)
    raw = subprocess.run(
        [FFMPEG, "-v", "error", "-i", str(_short(folder, width, height)), "-f", "rawvideo", "-pix_fmt", "gbrpf32le", "-"],
        check=True, capture_output=True,
    ).stdout  # fmt: skip
    pictures = np.frombuffer(raw, np.float32).reshape(-1, 3, height, width)
    for number in range(frames):
        green, blue, red = pictures[number % len(pictures)]
        rgb = np.ascontiguousarray(np.stack([red, green, blue], -1))
        spec = oiio.ImageSpec(width, height, 3, oiio.UINT16 if kind == "dpx" else oiio.HALF)
        if kind == "dpx":
            spec.attribute("oiio:BitsPerSample", 10)
        out = oiio.ImageOutput.create(str(part / f"A001C001.{number + 1001:07d}.{kind}"))
        assert (
            out.open(str(part / f"A001C001.{number + 1001:07d}.{kind}"), spec)
            and out.write_image(rgb)
            and out.close()
        )
    part.rename(place)
    return place


def thousand(folder: Path, clips: int) -> Path:
    """A folder of many tiny originals of a few frames each."""
    place = folder / f"many{clips}"
    if not place.exists():
        part = place.with_suffix(".part")
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True)
        tiny = [
            "-vf",
            "scale=128:72",
            "-frames:v",
            "4",
            "-an",
            "-c:v",
            "prores_ks",
            "-pix_fmt",
            "yuv422p10le",
        ]
        first = part / "A001C0001.mov"
        _ffmpeg("-i", str(_short(folder, 1920, 1080)), *tiny, "-timecode", "10:00:00:00", str(first))
        for number in range(2, clips + 1):
            shutil.copy(first, part / f"A001C{number:04d}.mov")
        part.rename(place)
    return place


def _ffmpeg(*arguments: str) -> None:
    subprocess.run([FFMPEG, "-y", "-v", "error", *arguments], check=True)
