"""Movies made by the product in segments and joined, of frames that carry their number."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pictures import numbered
from rushlight.pipelines.formats.codecs import Codec, Tags
from rushlight.pipelines.formats.movie_format import MovieFormat
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.outputs.join_segments import Sound, join
from rushlight.pipelines.outputs.segment_writer import MovieWriter


def size_of(which: Codec) -> tuple[int, int]:
    return next(iter(which.bit_rates), (256, 144))


def tags_for(which: Codec) -> Tags:
    return Tags(primaries=1, transfer=1, matrix=which.matrix or 1, levels=which.levels)


def tone(channels: int, samples: int) -> NDArray[np.int32]:
    """A different tone in every channel."""
    return np.stack(
        [(np.sin(np.arange(samples) / (20 + 3 * k)) * 2**28).astype(np.int32) for k in range(channels)]
    )


def segments_of(tmp: Path, which: Codec, rate: FrameRate, counts: list[int], **more: object) -> list[Path]:
    """Segments whose frames carry their number."""
    size, paths, number = size_of(which), [], 0
    for index, count in enumerate(counts):
        paths.append(tmp / f"{which.name}-{index}.part")
        settings = {"width": size[0], "height": size[1], "rate": rate, "tags": tags_for(which), **more}
        with MovieWriter(paths[-1], MovieFormat(codec=which, container="mov", **settings)) as writer:  # type: ignore[arg-type]
            for _ in range(count):
                writer.write(numbered(number, *size, which.pixel_format))
                number += 1
    return paths


def made(
    tmp: Path,
    which: Codec,
    container: str,
    rate: FrameRate,
    timecode: Timecode,
    counts: list[int],
    *,
    sound: Sound | None = None,
    metadata: Mapping[str, str] | None = None,
) -> Path:
    size = size_of(which)
    final = tmp / f"{which.name}.{container}"
    join(
        segments_of(tmp, which, rate, counts),
        counts,
        final,
        MovieFormat(
            codec=which, container=container, width=size[0], height=size[1], rate=rate, tags=tags_for(which)
        ),
        timecode=timecode,
        reel="A001",
        sound=sound,
        metadata=metadata,
    )
    return final
