"""The same work by plain FFmpeg: as a newcomer writes it (look, then resize), and tuned (resize first)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rushlight.pipelines.burnin.text_masks import font_file
from tests.support.independent import FFMPEG

__all__ = ["ffmpeg", "overnight"]

ENCODE = {
    "dnxhr-lb": ["-c:v", "dnxhd", "-profile:v", "dnxhr_lb"],
    "h264": ["-c:v", "libx264", "-preset", "veryfast", "-crf", "20"],
}
FORMAT = {"dnxhr-lb": "yuv422p", "h264": "yuv420p"}


def ffmpeg(
    source: Path,
    cube: Path,
    outputs: Sequence[tuple[str, str, Path]],
    *,
    tuned: bool,
    threads: int = 0,
) -> list[str]:
    """One command for outputs of (codec, size, path): tetrahedral `lut3d`, resize, running timecode, encoded.

    The picture is converted to 10-bit R'G'B' for the LUT, since `lut3d` takes no Y'CbCr.
    """
    look = f"format=gbrp10le,lut3d=file={cube}:interp=tetrahedral"
    font = str(font_file("DroidSans")).replace(":", "\\:")
    clock = (
        f"drawtext=fontfile={font}:timecode='10\\:00\\:00\\:00':rate=24:fontsize=h*0.05:fontcolor=white"
        ":x=(w-tw)/2:y=h*0.92-th:box=1:boxcolor=black@0.6:boxborderw=8"
    )
    names = [f"o{k}" for k in range(len(outputs))]
    head = "[0:v]" if tuned else f"[0:v]{look},"
    graph = [f"{head}split={len(outputs)}" + "".join(f"[s{n}]" for n in names)]
    arguments: list[str] = []
    for name, (codec, size, path) in zip(names, outputs, strict=True):
        width, height = size.split("x")
        steps = [f"scale={width}:{height}:flags=bicubic"]
        if tuned:
            steps.append(look)
        tags = "out_color_matrix=bt709:out_range=tv"
        steps += [f"scale={tags}", f"format={FORMAT[codec]}", clock]
        graph.append(f"[s{name}]{','.join(steps)}[{name}]")
        arguments += ["-map", f"[{name}]", *ENCODE[codec], "-an", str(path)]
    count = ["-threads", str(threads), "-filter_complex_threads", str(threads)] if threads else []
    return [
        FFMPEG,
        "-y",
        "-v",
        "error",
        *count,
        "-i",
        str(source),
        "-filter_complex",
        ";".join(graph),
        *arguments,
    ]


def overnight(source: Path, cube: Path, folder: Path, *, threads: int = 0) -> list[str]:
    """One command for the movies of `overnight`, tuned: resized once, the look on each branch, running text on the second,
    DNxHR LB with PCM and H.264 with AAC. No stills."""
    look = f"format=gbrp10le,lut3d=file={cube}:interp=tetrahedral,scale=out_color_matrix=bt709:out_range=tv"
    font = str(font_file("DroidSans")).replace(":", "\\:")
    clock = (
        f"drawtext=fontfile={font}:timecode='10\\:00\\:00\\:00':rate=24:fontsize=h*0.05:fontcolor=white"
        ":x=(w-tw)/2:y=h*0.92-th:box=1:boxcolor=black@0.6:boxborderw=8"
    )
    graph = (
        "[0:v]scale=1920:1080:flags=bicubic,split=2[a][b];"
        f"[a]{look},format=yuv422p[editorial];"
        f"[b]scale=1280:720:flags=bicubic,{look},format=yuv420p,{clock}[viewing]"
    )
    count = ["-threads", str(threads), "-filter_complex_threads", str(threads)] if threads else []
    command = [FFMPEG, "-y", "-v", "error", *count, "-i", str(source), "-filter_complex", graph]
    command += ["-map", "[editorial]", "-map", "0:a?", *ENCODE["dnxhr-lb"], "-c:a", "pcm_s16le"]
    command += [*count[:2], str(folder / f"{source.stem}-editorial.mov")]
    command += ["-map", "[viewing]", "-map", "0:a?", *ENCODE["h264"], "-c:a", "aac"]
    return [*command, *count[:2], str(folder / f"{source.stem}-viewing.mp4")]
