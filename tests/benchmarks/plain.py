"""The same work by plain FFmpeg: as a newcomer writes it (look, then resize), and tuned (resize first)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rushlight.pipelines.burnin.text_masks import font_file
from tests.support.independent import FFMPEG

__all__ = ["ffmpeg"]

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
