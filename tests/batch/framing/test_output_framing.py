"""Framing decisions as an output's frame: held to the standard's own check values (github.com/ascmitc/fdl) and to hand's arithmetic."""

import json
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import Any

import pytest

from framings import Four, canvas, context, decision, document, fdl_text
from pictures import numbered, write_movie
from rushlight.batch.framing.clip_canvas import FramedClip, find_canvases
from rushlight.batch.framing.framing_files import ClipFdl
from rushlight.batch.framing.output_framing import (
    ClipCanvases,
    OutputFrame,
    frame_output,
    framing_record,
    whole_pixels,
)
from rushlight.batch.framing.read_fdl import Region, parse_fdl
from rushlight.batch.lists.camera_columns import NOTHING, Camera
from rushlight.pipelines.errors import FramingError
from rushlight.pipelines.formats.pixel_formats import find_pixel_format
from rushlight.pipelines.job.from_spec import fit_of
from rushlight.pipelines.originals.facts import Facts
from rushlight.pipelines.originals.framing import placement
from rushlight.pipelines.originals.probe import probe
from rushlight.pipelines.recipe.model import Guides, MovieOutput

# Check values of asc-fdl 1.0.2: framing/from_intent_vectors.json of the standard's repository; the third has squeeze 2, the
# fourth an effective canvas of 4096x2160 in the middle of 5184x4320.
DECISIONS: list[tuple[tuple[int, int], Four, Four | None, float]] = [
    ((4096, 2160), (204, 308, 3688, 1544), (0, 223, 4096, 1714), 1),
    ((4096, 2160), (0, 223, 4096, 1714), None, 1),
    ((4096, 3432), (0, 2, 4096, 3428), None, 2),
    ((5184, 4320), (544, 1303, 4096, 1714), None, 1),
]
# and of its canvas template: 1920x1080, fit the framing's width, centred (scale 0.47961630695443647)
FRACTIONS: Four = (222.4, 710.511, 4003.2, 1674.978)
PROTECTED: Four = (0, 617.5, 4448, 1861)
GATE = canvas("gate", (4448, 3096), decision("gate", "fi1", FRACTIONS, PROTECTED))


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> Facts:
    found = probe(write_movie(tmp_path_factory.mktemp("framing") / "a.mov", [numbered(0)]))
    assert (found.pixel_format.sub_x, found.pixel_format.sub_y) == (2, 1)
    return found


def sized(facts: Facts, width: int, height: int, **changes: Any) -> Facts:
    return replace(facts, width=width, height=height, **changes)


def output(size: str | None = None, guides: dict[str, Any] | None = None, **frame: Any) -> MovieOutput:
    return MovieOutput.model_validate(
        {
            "name": "view",
            "make": "movie",
            "codec": "prores-lt",
            "size": size,
            "frame": frame,
            "guides": guides,
        }
    )


def framed(
    output: MovieOutput, facts: Facts, *canvases: dict[str, Any], camera: Camera = NOTHING
) -> OutputFrame:
    said = ClipFdl(
        list=parse_fdl(fdl_text(context("A", *canvases)), file="show.fdl"), context="", who="the row"
    )
    clip = FramedClip(names=("a",), reel="", camera="", width=facts.width, height=facts.height)
    return frame_output(output, camera, facts, ClipCanvases(said=said, found=find_canvases(said, clip)))


def area_of(frame: OutputFrame) -> tuple[int, ...] | None:
    area = frame.frame.area
    return (area.x, area.y, area.width, area.height) if area else None


def box_of(frame: OutputFrame, facts: Facts) -> tuple[int, ...]:
    fit = fit_of(frame.frame, frame.width, frame.height, facts)
    place = placement(fit, facts.width, facts.height, pixel_aspect=facts.pixel_aspect)
    return place.x, place.y, place.width, place.height


@pytest.mark.parametrize(("size", "framing", "protection", "squeeze"), DECISIONS)
def test_the_standards_decisions_are_what_is_delivered(
    facts: Facts, size: tuple[int, int], framing: Four, protection: Four | None, squeeze: float
) -> None:
    on = canvas("c", size, decision("c", "fi1", framing, protection), squeeze=squeeze)
    rgb = find_pixel_format("gbrp10le")
    assert rgb
    original = sized(facts, *size, pixel_format=rgb)
    frame = framed(output(framing="Theatrical"), original, on)
    assert area_of(frame) == framing
    assert frame.frame.desqueeze == squeeze and frame.frame.framing == ""
    assert (frame.width, frame.height) == (framing[2] * squeeze, framing[3])  # pixel for pixel
    kept = framed(output(framing="fi1", crop="protection"), original, on)
    assert area_of(kept) == (protection or framing)
    assert bool(kept.notes) == (protection is None)


def test_the_library_gives_those_decisions_from_their_intents() -> None:
    """The check values above are the library's own as well: canvas, part of it that is used, squeeze, 239:100, even, up."""
    import fdl

    rules = fdl.RoundStrategy(even=fdl.RoundingEven.EVEN, mode=fdl.RoundingMode.UP)
    for size, working, squeeze, protection, wanted in (
        ((4096, 2160), (4096, 2160), 1, 0.1, (204, 308, 3688, 1544)),
        ((4096, 3432), (4096, 3432), 2, 0.0, (0, 2, 4096, 3428)),
        ((5184, 4320), (4096, 2160), 1, 0.0, (544, 1303, 4096, 1714)),
    ):
        found = fdl.compute_framing_from_intent(
            fdl.DimensionsFloat(width=size[0], height=size[1]),
            fdl.DimensionsFloat(width=working[0], height=working[1]),
            squeeze,
            fdl.DimensionsInt(width=239, height=100),
            protection,
            rules,
        )
        at, dimensions = found.anchor_point, found.dimensions
        assert (at.x, at.y, dimensions.width, dimensions.height) == wanted


@pytest.mark.parametrize(
    ("name", "area", "exact"),
    [
        ("yuv422p10le", (222, 711, 4004, 1675), (222, 711, 4004, 1674)),
        ("yuv420p", (222, 710, 4004, 1674), (222, 710, 4004, 1674)),
        ("gbrp10le", (222, 711, 4003, 1675), (222, 711, 4004, 1674)),
    ],
)
def test_a_decision_in_fractions_is_the_nearest_whole_pixels(
    facts: Facts, name: str, area: tuple[int, ...], exact: tuple[int, ...]
) -> None:
    """Even ones across, where chroma has half of luma's samples (4:2:2); both ways in 4:2:0; any where it has all. A raster of
    its own size is even, as encoders need it."""
    pixel_format = find_pixel_format(name)
    assert pixel_format
    original = sized(facts, 4448, 3096, pixel_format=pixel_format)
    assert area_of(framed(output("1920x1080", framing="fi1"), original, GATE)) == area
    frame = framed(output(framing="fi1"), original, GATE)
    assert area_of(frame) == exact and (frame.width, frame.height) == exact[2:]


def test_the_standards_template_places_it_alike(facts: Facts) -> None:
    """1920x1080, framing's width: the decision at 1920x804+0+138, protection 1920x894+0+92 as far as the raster shows it."""
    original = sized(facts, 4448, 3096)
    lines = {"framing": ["Theatrical"], "protection": True}
    frame = framed(output("1920x1080", lines, framing="Theatrical"), original, GATE)
    assert box_of(frame, original) == (0, 138, 1920, 804)
    line, protected = frame.lines
    assert (line.label, line.dashed, protected.label, protected.dashed) == ("Theatrical", False, "", True)
    assert all(
        abs(a - b) <= 1
        for a, b in zip((line.x, line.y, line.width, line.height), (0, 138, 1920, 804), strict=True)
    )
    scale = 0.47961630695443647
    x, width = round(-222.4 * scale), round(4448 * scale)
    assert abs(protected.x - x) <= 1 and abs(protected.width - width) <= 1
    assert abs(protected.y - 92) <= 2 and abs(protected.height - 894) <= 2


TEMPLATE = {
    "id": "t",
    "label": "t",
    "target_anamorphic_squeeze": 1.0,
    "fit_method": "fit_all",
    "alignment_method_horizontal": "center",
    "alignment_method_vertical": "center",
    "pad_to_maximum": True,
    "round": {"even": "even", "mode": "round"},
}


def by_template(size: tuple[int, int], on: dict[str, Any], source: str) -> tuple[Four, Four | None]:
    """What the standard's own library makes of a decision in a raster: the places of what is framed, and of what is protected."""
    import fdl

    raster = {"width": size[0], "height": size[1]}
    of_source = {"preserve_from_source_canvas": source} if "protection" in source else {}
    template = (
        TEMPLATE
        | of_source
        | {"target_dimensions": raster, "maximum_dimensions": raster, "fit_source": source}
    )
    text = json.dumps(document(context("A", on)) | {"canvas_templates": [template]})
    with fdl.FDL.parse(text.encode()) as found:
        found.validate()
        (template_,), (used,) = found.canvas_templates, found.contexts[0].canvases
        made = template_.apply(used, used.framing_decisions[0], "new", "new")
        with made.fdl:
            new = made.framing_decision
            at, length = new.anchor_point, new.dimensions
            framing = (at.x, at.y, length.width, length.height)
            at, length = new.protection_anchor_point, new.protection_dimensions
            return framing, (at.x, at.y, length.width, length.height) if length else None


@pytest.mark.parametrize("seed", range(24))
@pytest.mark.parametrize("crop", ["framing", "protection"])
def test_any_decision_lies_where_the_standards_template_puts_it(facts: Facts, crop: str, seed: int) -> None:
    """Whole picture in a raster, centred, for made-up cameras, squeezes and rasters: within the pixels that either rounds."""
    rng = Random(seed)
    width, height = rng.choice([(4448, 3096), (3840, 2160), (2880, 2160), (8192, 4320), (5184, 4320)])
    wide, high = rng.uniform(0.6, 1) * width, rng.uniform(0.6, 1) * height
    protection = (rng.uniform(0, width - wide), rng.uniform(0, height - high), wide, high)
    inner_wide, inner_high = rng.uniform(0.7, 1) * wide, rng.uniform(0.7, 1) * high
    framing = (
        protection[0] + (wide - inner_wide) / 2,
        protection[1] + (high - inner_high) / 2,
        inner_wide,
        inner_high,
    )
    squeeze = rng.choice([1.0, 1.0, 1.3, 1.8, 2.0])
    size = rng.choice([(1920, 1080), (1280, 720), (1998, 1080), (1080, 1080)])
    on = canvas("c", (width, height), decision("c", "fi1", framing, protection), squeeze=squeeze)
    original = sized(facts, width, height)
    frame = framed(
        output(f"{size[0]}x{size[1]}", {"framing": ["fi1"]}, framing="fi1", crop=crop), original, on
    )
    wanted, kept = by_template(
        size, on, f"framing_decision.{'protection_' * (crop == 'protection')}dimensions"
    )
    (line,) = frame.lines
    assert (
        max(abs(a - b) for a, b in zip((line.x, line.y, line.width, line.height), wanted, strict=True)) <= 3
    )
    box = box_of(frame, original)
    assert (
        max(abs(a - b) for a, b in zip(box, kept if crop == "protection" and kept else wanted, strict=True))
        <= 2
    )


def test_lines_alone_over_the_whole_picture(facts: Facts) -> None:
    """By hand: a half of 4448x3096 is 2224x1548, so every number is halved."""
    original = sized(facts, 4448, 3096)
    frame = framed(output("2224x1548", {"framing": ["fi1"], "protection": True}), original, GATE)
    assert area_of(frame) is None and box_of(frame, original) == (0, 0, 2224, 1548)
    found = [(line.x, line.y, line.width, line.height) for line in frame.lines]
    assert found == [(111, 355, 2002, 838), (0, 309, 2224, 930)]


@pytest.mark.parametrize(
    ("turn", "wanted"),
    [
        ({}, (10, 30, 40, 20)),
        ({"flop": True}, (150, 30, 40, 20)),
        ({"flip": True}, (10, 50, 40, 20)),
        ({"rotate": 180}, (150, 50, 40, 20)),
    ],
)
def test_lines_follow_a_mirrored_picture(facts: Facts, turn: dict[str, Any], wanted: tuple[int, ...]) -> None:
    on = canvas("c", (200, 100), decision("c", "fi1", (10, 30, 40, 20)))
    (line,) = framed(output("200x100", {"framing": ["fi1"]}, **turn), sized(facts, 200, 100), on).lines
    assert (line.x, line.y, line.width, line.height) == wanted


def test_lines_of_an_original_that_is_stored_upside_down(facts: Facts) -> None:
    """The list is drawn on the picture as it is shown: the lines stay, and the area is looked up in what is stored."""
    on = canvas("c", (200, 100), decision("c", "fi1", (10, 30, 40, 20)))
    original = sized(facts, 200, 100, rotation=180)
    (line,) = framed(output("200x100", {"framing": ["fi1"]}), original, on).lines
    assert (line.x, line.y, line.width, line.height) == (10, 30, 40, 20)
    frame = framed(output(framing="fi1"), original, on)
    assert area_of(frame) == (10, 30, 40, 20)
    extraction = fit_of(frame.frame, frame.width, frame.height, original).extraction
    assert extraction and (extraction.x, extraction.y) == (150, 50)


EFFECTIVE = canvas(
    "c", (5184, 4320), decision("c", "fi1", (544, 1303, 4096, 1714)), effective=(544, 1080, 4096, 2160)
)


@pytest.mark.parametrize(
    ("crop", "area", "size"),
    [
        ("framing", (544, 1303, 4096, 1714), (4096, 1714)),
        ("effective", (544, 1080, 4096, 2160), (4096, 2160)),
        ("canvas", None, (5184, 4320)),
    ],
)
def test_which_part_of_the_canvas(facts: Facts, crop: str, area: Four | None, size: tuple[int, int]) -> None:
    frame = framed(output(framing="fi1", crop=crop), sized(facts, 5184, 4320), EFFECTIVE)
    assert area_of(frame) == area and (frame.width, frame.height) == size and frame.notes == ()


def test_what_a_canvas_does_not_state_is_said(facts: Facts) -> None:
    frame = framed(output(framing="fi1", crop="effective"), sized(facts, 4448, 3096), GATE)
    assert area_of(frame) is None
    assert frame.notes == ("view: canvas gate states no effective area; all of it is delivered",)


SQUEEZED = canvas("c", (4096, 3432), decision("c", "fi1", (0, 2, 4096, 3428)), squeeze=2)


def test_who_is_believed_of_a_squeeze(facts: Facts) -> None:
    """The list before the header, a row or a default before the list; without a framing the list says nothing of the shape."""
    original = sized(facts, 4096, 3432, pixel_aspect=Fraction(3, 2))
    by_list = framed(output(framing="fi1"), original, SQUEEZED)
    assert by_list.frame.desqueeze * 1.5 == pytest.approx(2) and (by_list.width, by_list.height) == (
        8192,
        3428,
    )
    assert by_list.notes == (
        "view: is made 2 times as wide as stored, as canvas c says; its header says 1.5",
    )
    stated = framed(output(framing="fi1"), original, SQUEEZED, camera=Camera(desqueeze=Fraction("1.8")))
    assert stated.frame.desqueeze * 1.5 == pytest.approx(1.8)
    assert "as is stated of the clip; canvas c says 2" in stated.notes[0]
    lines = framed(output(guides={"framing": ["fi1"]}), sized(facts, 4096, 3432), SQUEEZED)
    assert lines.frame.desqueeze == 1 and "since lines alone are asked for; canvas c says 2" in lines.notes[0]
    assert framed(output(framing="fi1"), sized(facts, 4096, 3432), SQUEEZED).notes == ()


def test_several_decisions_of_one_intent_that_differ_are_refused(facts: Facts) -> None:
    other = canvas("gate2", (4448, 3096), decision("gate2", "fi1", PROTECTED))
    with pytest.raises(
        FramingError,
        match=r"2 decisions of show\.fdl for 'Theatrical' fit this clip and differ: 'A' canvas gate, ",
    ) as e:
        framed(output(framing="fi1"), sized(facts, 4448, 3096), GATE, other)
    assert e.value.key == "frame.framing"
    same = canvas("gate2", (4448, 3096), decision("gate2", "fi1", FRACTIONS, PROTECTED))
    assert area_of(framed(output(framing="fi1"), sized(facts, 4448, 3096), GATE, same))


def test_an_intent_without_a_decision_is_missing(facts: Facts) -> None:
    lines = {"framing": ["Streaming", "Theatrical"]}
    frame = framed(output("1920x1080", lines, framing="Streaming"), sized(facts, 4448, 3096), GATE)
    assert frame.missing == ("Streaming",) and [line.label for line in frame.lines] == ["Theatrical"]
    assert frame.frame.area is None and frame.frame.framing == ""


@pytest.mark.parametrize(
    ("region", "words"),
    [
        ((4000, 0, 400, 200), "reaches to pixel 4400 of a canvas that is 4096 wide"),
        ((0, 2000, 400, 200), "reaches to pixel 2200 of a canvas that is 2160 high"),
        ((0, 0, 400, 8), "is 8 pixels high; 16 are the least"),
    ],
)
def test_a_decision_that_no_picture_can_have(facts: Facts, region: Four, words: str) -> None:
    x, y, width, height = region
    with pytest.raises(FramingError, match=words):
        whole_pixels(Region(x=x, y=y, width=width, height=height), sized(facts, 4096, 2160))


def test_the_edge_of_a_canvas_is_kept(facts: Facts) -> None:
    """What is rounded up stays inside: 100.6 + 99.4 is 200, of a canvas of 200."""
    rect = whole_pixels(Region(x=100.6, y=0.5, width=99.4, height=99.5), sized(facts, 200, 100))
    assert (rect.x, rect.y, rect.width, rect.height) == (100, 0, 100, 100)


def test_what_the_record_says(facts: Facts) -> None:
    frame = framed(output("1920x1080", {"framing": ["fi1"]}, framing="fi1"), sized(facts, 4448, 3096), GATE)
    assert framing_record({"view": frame}) == {
        "framing": [
            {
                "output": "view",
                "intent": "Theatrical",
                "crop": "framing",
                "area": [222, 711, 4004, 1675],
                "squeeze": 1.0,
                "lines": ["Theatrical"],
                "decision": "gate-fi1",
                "context": "A",
                "canvas": "gate 4448x3096",
                "source": "show.fdl",
                "reason": "the row names the list; its canvas has the clip's size",
            }
        ]
    }


def test_an_identity_has_numbers_and_no_names(facts: Facts) -> None:
    original = sized(facts, 4448, 3096)

    def identity(name: str) -> dict[str, object]:
        wish = output("1920x1080", {"framing": [name]}, framing=name)
        return framed(wish, original, GATE).identity(wish.guides)

    by_id, by_label = identity("fi1"), identity("Theatrical")
    assert by_id == by_label and "framing" not in str(sorted(by_id["frame"]))  # type: ignore[call-overload]
    plain = output("1920x1080", {"aspect": 2.39})
    assert framed(plain, original, GATE).identity(Guides(aspect=2.39)) == {
        "frame": {"mode": "pad", "desqueeze": 1.0, "rotate": 0, "flip": False, "flop": False, "area": None}
    }
