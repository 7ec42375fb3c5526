"""Kinds of pictures: what the machine code of the frame path depends on. Told here without loading what compiles it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.formats.codecs import codec
from rushlight.pipelines.formats.pixel_formats import PixelFormat, find_pixel_format
from rushlight.pipelines.job.from_spec import working_format
from rushlight.pipelines.job.spec import LookSpec, MovieSpec, StillsSpec
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.outputs.hdr_metadata import states_light
from rushlight.pipelines.recipe.model import MovieOutput, StillsOutput

__all__ = ["LIT", "Kind", "kinds_of", "with_cards_test"]

LIT = "yuv444p16le"  # of what light is measured


class Kind(NamedTuple):
    """A kind of picture: what its machine code depends on. Pixel formats by FFmpeg's name, one for all that are compiled alike."""

    source: str
    target: str
    graded: bool  # or state `log`, which has code of its own

    @classmethod
    def of(cls, source: PixelFormat, target: PixelFormat, *, graded: bool) -> Kind:
        kind = "gbrp" if source.family == "rgb" and (source.is_float or not graded) else "yuv444p"
        depth = {8: "", 32: "f32le"}.get(source.bits, "10le")
        return cls(kind + depth, "yuv420p" if target.bits == 8 else "yuv420p10le", graded)


def kinds_of(
    outputs: Iterable[tuple[MovieSpec | MovieOutput | StillsSpec | StillsOutput, LookSpec]], facts: Facts
) -> set[Kind]:
    """The kinds of all movies among the outputs of a clip, each with the look that it shows."""
    found = set()
    for output, look in outputs:
        if isinstance(output, MovieSpec | MovieOutput):
            source = working_format(look, facts)
            targets = [_found(codec(output.codec).pixel_format)]
            if states_light(output.codec, find_display(look.display).transfer):
                targets.append(_found(LIT))
            for target in targets:
                found.add(Kind.of(source, target, graded=output.state != "log"))
                if output.card:
                    found.add(Kind.of(_found("gbrpf32le"), target, graded=False))
    return found


def with_cards_test(kinds: Iterable[Kind]) -> set[Kind]:
    """These kinds, and what a graphics card's test of itself needs beside them: each grade in sixteen bits (card/graphics.py)."""
    given = set(kinds)
    return given | {kind._replace(target="yuv420p10le") for kind in given if kind.graded}


def _found(name: str) -> PixelFormat:
    found = find_pixel_format(name)
    assert found is not None
    return found
