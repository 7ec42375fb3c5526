"""Which canvas is a clip's: by name, by reel, by camera, by size; and never one of another size or of another camera."""

from dataclasses import replace
from typing import Any

import pytest

from framings import canvas, context, fdl_text
from rushlight.batch.framing.clip_canvas import FramedClip, find_canvases
from rushlight.batch.framing.framing_files import ClipFdl
from rushlight.batch.framing.read_fdl import parse_fdl
from rushlight.pipelines.errors import FramingError

CLIP = FramedClip(names=("A001C003.mov", "A001C003"), reel="A001", camera="A", width=4448, height=3096)
SIZE, OTHER = (4448, 3096), (3840, 2160)


def said(*contexts: dict[str, Any], which: str = "") -> ClipFdl:
    return ClipFdl(list=parse_fdl(fdl_text(*contexts), file="show.fdl"), context=which, who="the recipe")


def ids(*contexts: dict[str, Any], clip: FramedClip = CLIP, which: str = "") -> list[tuple[str, str]]:
    return [(f.canvas.id, f.reason) for f in find_canvases(said(*contexts, which=which), clip)]


NAMED = context("one", canvas("c1", SIZE), clip_id={"clip_name": "a001c003"})
FILE = context("one", canvas("c2", SIZE), clip_id={"clip_name": "x", "file": "cards/A001C003.mov"})
CAMERA_NAME = context("one", canvas("c3", SIZE), clip_id={"clip_name": "A001_C003_260504_R1AB"})
REEL = context("a001", canvas("c4", SIZE))
CAMERA = context("A-Cam", canvas("c5", SIZE))
ANY = context("open gate", canvas("c6", SIZE))
B = context("Camera B", canvas("c7", SIZE))
OTHER_CLIP = context("two", canvas("c8", SIZE), clip_id={"clip_name": "A001C004"})


@pytest.mark.parametrize(
    ("contexts", "wanted"),
    [
        ((ANY, CAMERA, REEL, NAMED), [("c1", "its context names the clip")]),
        ((FILE, REEL), [("c2", "its context names the clip")]),
        ((CAMERA_NAME, REEL), [("c3", "its context names the clip")]),
        ((ANY, CAMERA, REEL, OTHER_CLIP), [("c4", "its context is the clip's reel")]),
        ((ANY, CAMERA, B), [("c5", "its context is the clip's camera")]),
        ((ANY, B), [("c6", "its canvas has the clip's size")]),
        ((OTHER_CLIP, B), []),
        ((), []),
    ],
)
def test_the_narrowest_context_is_the_clips(
    contexts: tuple[dict[str, Any], ...], wanted: list[tuple[str, str]]
) -> None:
    assert ids(*contexts) == wanted


def test_without_a_camera_any_canvas_of_its_size_may_be_its() -> None:
    assert [c for c, _ in ids(ANY, B, clip=replace(CLIP, camera=""))] == ["c6", "c7"]


@pytest.mark.parametrize("which", ["camera b", "c7"])
def test_what_is_stated_overrules(which: str) -> None:
    assert ids(CAMERA, B, which=which) == [("c7", "the recipe says so")]


def test_a_context_that_there_is_not() -> None:
    with pytest.raises(
        FramingError, match="no context and no canvas 'C'; its contexts are 'A-Cam', 'Camera B'"
    ):
        ids(CAMERA, B, which="C")


@pytest.mark.parametrize("contexts", [(ANY,), (CAMERA, B), (NAMED, CAMERA)])
def test_a_canvas_of_another_size_is_refused_with_both_sizes(contexts: tuple[dict[str, Any], ...]) -> None:
    with pytest.raises(
        FramingError, match=r"the original is 3840x2160, and the canvas of show.fdl is 4448x3096 \("
    ):
        ids(*contexts, clip=replace(CLIP, width=3840, height=2160))


def test_the_canvas_of_its_size_is_taken_of_several() -> None:
    both = context("A", canvas("gate", SIZE), canvas("small", OTHER))
    assert ids(both, clip=replace(CLIP, width=3840, height=2160))[0][0] == "small"
    with pytest.raises(
        FramingError, match=r"no canvas of show.fdl has that size; they are 4448x3096 \(A\), 3840x"
    ):
        ids(both, clip=replace(CLIP, width=1920, height=1080))
