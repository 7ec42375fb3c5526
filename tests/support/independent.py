"""An FFmpeg that is not PyAV's (the imageio-ffmpeg binary): what an outsider reads in a delivered file."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

import av
import imageio_ffmpeg
import numpy as np
from numpy.typing import NDArray

from rushlight.pipelines.formats.pixel_formats import planes

FFMPEG = imageio_ffmpeg.get_ffmpeg_exe()


def ffmpeg(*arguments: object, given: bytes | None = None) -> None:
    """Run it."""
    command = [FFMPEG, "-v", "error", "-y", *map(str, arguments)]
    run = subprocess.run(command, input=given, capture_output=True)
    assert run.returncode == 0, run.stderr.decode(errors="replace")


def write(path: Path, frames: Sequence[av.VideoFrame], *arguments: object, rate: str = "24") -> Path:
    """A movie of these frames, made by it alone: `arguments` say how."""
    first = frames[0]
    size = f"{first.width}x{first.height}"
    raw = b"".join(p.tobytes() for frame in frames for p in planes(frame))
    shape = ("-f", "rawvideo", "-pix_fmt", first.format.name, "-s", size, "-r", rate)
    ffmpeg(*shape, "-i", "-", *arguments, path, given=raw)
    return path


def said(path: Path, level: str = "info") -> str:
    """What FFmpeg prints about a file."""
    return subprocess.run(
        [FFMPEG, "-hide_banner", "-v", level, "-i", str(path)], capture_output=True, text=True
    ).stderr


def count(path: Path) -> int:
    """Frames that decode."""
    run = subprocess.run(
        [FFMPEG, "-hide_banner", "-i", str(path), "-map", "0:v:0", "-f", "null", "-"],
        capture_output=True,
        text=True,
        check=True,
    )
    return int(re.findall(r"frame=\s*(\d+)", run.stderr)[-1])


def timecode(path: Path) -> str:
    """The timecode FFmpeg reports first."""
    found = re.search(r"timecode\s*:\s*([0-9:;.]+)", said(path))
    return found[1] if found else ""


def raw(path: Path, pixel_format: str, width: int, height: int, frame: int = 0) -> NDArray[np.generic]:
    """One decoded picture as raw samples of that pixel format, flat."""
    command = [
        FFMPEG,
        "-v",
        "error",
        "-i",
        str(path),
        "-map",
        "0:v:0",
        "-vf",
        f"select=eq(n\\,{frame})",
        "-frames:v",
        "1",
    ]
    run = subprocess.run(
        [*command, "-pix_fmt", pixel_format, "-f", "rawvideo", "-"], capture_output=True, check=True
    )
    return np.frombuffer(
        run.stdout, "<u2" if any(bits in pixel_format for bits in ("10", "12", "16")) else np.uint8
    )


def raw_frames(path: Path, pixel_format: str, width: int, height: int) -> NDArray[np.uint8]:
    """All decoded pictures of an 8-bit format with one plane, (frames, height, width), as they come."""
    command = [FFMPEG, "-v", "error", "-i", str(path), "-map", "0:v:0", "-fps_mode", "passthrough"]
    run = subprocess.run(
        [*command, "-pix_fmt", pixel_format, "-f", "rawvideo", "-"], capture_output=True, check=True
    )
    return np.frombuffer(run.stdout, np.uint8).reshape(-1, height, width)


def packet_sizes(path: Path) -> list[int]:
    """Bytes of each picture in the order of showing."""
    command = [FFMPEG, "-v", "error", "-i", str(path), "-map", "0:v:0", "-c", "copy", "-f", "framecrc", "-"]
    run = subprocess.run(command, capture_output=True, text=True, check=True)
    rows = [line.split(",") for line in run.stdout.splitlines() if line and not line.startswith("#")]
    return [int(row[4]) for row in sorted(rows, key=lambda row: int(row[2]))]


def sound(path: Path, track: int = 0, channels: int = 0) -> NDArray[np.int32]:
    """One track of sound as int32 (channels, samples)."""
    if not channels:
        lines = [line for line in said(path).splitlines() if "Audio:" in line]
        channels = 1 if " mono," in lines[track] or " 1 channels" in lines[track] else 2
    command = [FFMPEG, "-v", "error", "-i", str(path), "-map", f"0:a:{track}", "-f", "s32le", "-"]
    run = subprocess.run(command, capture_output=True, check=True)
    return np.frombuffer(run.stdout, "<i4").reshape(-1, channels).T
