"""The frames of a clip's outputs, and what is said where one has no framing decision."""

from dataclasses import replace
from typing import Any

import pytest

from framings import canvas, context, decision, fdl_text
from pictures import numbered, write_movie
from rushlight.batch.framing.clip_canvas import FramedClip
from rushlight.batch.framing.clip_frames import clip_frames
from rushlight.batch.framing.framing_files import ClipFdl
from rushlight.batch.framing.output_framing import OutputFrame
from rushlight.batch.framing.read_fdl import parse_fdl
from rushlight.batch.lists.camera_columns import NOTHING
from rushlight.pipelines.errors import FramingError, SourceError
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.recipe.model import MovieOutput

A_CAM = context("A", canvas("gate", (128, 72), decision("gate", "fi1", (16, 8, 96, 56))))


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> Facts:
    return probe(write_movie(tmp_path_factory.mktemp("frames") / "a.mov", [numbered(0)]))


def output(name: str, framing: str = "", lines: list[str] | None = None, **frame: Any) -> MovieOutput:
    return MovieOutput.model_validate(
        {
            "name": name,
            "make": "movie",
            "codec": "prores-lt",
            "frame": {"framing": framing, **frame},
            "guides": {"framing": lines} if lines else None,
        }
    )


def frames(
    facts: Facts,
    *outputs: MovieOutput,
    said: bool = True,
    camera: str = "A",
    who: str = "the recipe",
    **options: bool,
) -> tuple[dict[str, OutputFrame], list[str]]:
    clip = FramedClip(names=("a",), reel="A001", camera=camera, width=facts.width, height=facts.height)
    fdl = ClipFdl(list=parse_fdl(fdl_text(A_CAM), file="show.fdl"), context="", who=who)
    rules = {"none_stated": False, "refuse": False} | options
    return clip_frames(enumerate(outputs), clip, facts, NOTHING, fdl if said else None, **rules)


def test_each_output_has_its_own(facts: Facts) -> None:
    found, notes = frames(
        facts, output("plain"), output("framed", "fi1"), output("lines", lines=["Theatrical"])
    )
    assert notes == []
    assert [(f.width, f.height, len(f.lines)) for f in found.values()] == [
        (128, 72, 0),
        (96, 56, 0),
        (128, 72, 1),
    ]
    assert [bool(f.record) for f in found.values()] == [False, True, True]


def test_an_unknown_intent_is_refused_with_its_key(facts: Facts) -> None:
    with pytest.raises(FramingError, match=r"has no framing intent '1\.85'; it has 'Theatrical'") as caught:
        frames(facts, output("plain"), output("framed", "1.85"))
    assert caught.value.text.startswith("show.fdl has no") and caught.value.key == "output[1].frame.framing"
    with pytest.raises(FramingError) as caught:
        frames(facts, output("lines", lines=["1.85"]))
    assert caught.value.key == "output[0].guides.framing"


def test_a_canvas_of_another_size_is_the_lists_fault(facts: Facts) -> None:
    with pytest.raises(
        FramingError, match=r"the original is 256x72, and the canvas of show\.fdl is 128x72"
    ) as caught:
        frames(replace(facts, width=256), output("framed", "fi1"))
    assert caught.value.key == "fdl"
    assert frames(replace(facts, width=256), output("plain"))[1] == []  # nobody asks for it


@pytest.mark.parametrize(
    ("options", "framing", "words"),
    [
        ({"said": False}, "fi1", "no framing decision list is stated for it"),
        ({"camera": "C"}, "fi1", "show.fdl has no context for this clip of camera C; its contexts are 'A'"),
        ({}, "Streaming", "show.fdl has no decision of 'Streaming' on canvas gate"),
    ],
)
def test_a_clip_without_framing_is_delivered_whole_and_it_is_said(
    facts: Facts, options: dict[str, Any], framing: str, words: str
) -> None:
    found, (note,) = frames(facts, output("framed", framing), **options)
    assert note.startswith(f"unframed: {words}") and note.endswith(
        "; delivered with the whole picture: framed"
    )
    assert found["framed"].frame.area is None and found["framed"].frame.framing == ""
    with pytest.raises(FramingError, match="the recipe refuses clips without framing") as caught:
        frames(facts, output("framed", framing), refuse=True, **options)
    assert caught.value.key == "output[0].frame"


def test_one_that_is_to_have_none_has_none_and_nobody_is_told(facts: Facts) -> None:
    found, notes = frames(facts, output("framed", "fi1"), said=False, none_stated=True, refuse=True)
    assert notes == [] and found["framed"].frame.area is None


def test_a_missing_line_is_said(facts: Facts) -> None:
    _, (note,) = frames(facts, output("lines", lines=["Theatrical", "Streaming"]))
    assert note.endswith("no decision of 'Streaming' on canvas gate; delivered without its frame line: lines")


def test_an_area_for_another_raster_is_refused_as_ever(facts: Facts) -> None:
    area = {"x": 0, "y": 0, "width": 64, "height": 36, "raster": "1920x1080"}
    with pytest.raises(SourceError, match="is 128x72; the extraction area is drawn for 1920x1080"):
        frames(facts, output("cut", area=area))


def test_a_list_that_no_output_asks_for_is_said(facts: Facts) -> None:
    """Somebody stated it for this clip, and the recipe makes nothing of it. One of the recipe's own may be for other clips."""
    assert frames(facts, output("plain"), who="the row")[1] == [
        "no output of it asks for a framing: show.fdl is not used"
    ]
    assert frames(facts, output("plain"))[1] == []
