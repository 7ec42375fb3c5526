"""Names of a clip's files in an output: its own, those of templates, and the further ways where these are taken."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rushlight.pipelines.job.delivered_names import Named, Names, StillFrame, by_template, own_names, ways_of
from rushlight.pipelines.recipe.model import Output
from rushlight.pipelines.recipe.read_recipe import parse_recipe

MOVIE = '[[output]]\nname = "v"\nmake = "movie"\ncodec = "h264"\n'
STILLS = '[[output]]\nname = "s"\nmake = "stills"\nkinds = ["jpeg", "png8", "png16"]\n'
CLIP = Named(stem="A001C003", values={"clip": "A001C003", "scene": "12", "reel": "A001"}, extension="mp4")
FRAMES = tuple(StillFrame(frame=n, source_frame=1000 + n, timecode=f"10.02.11.{n:02}") for n in (0, 7))
FRAMED = replace(CLIP, extension="", frames=FRAMES, single=False)


def output(text: str) -> Output:
    return parse_recipe(text).output[0]


def test_a_clips_own_names() -> None:
    assert not by_template(output(MOVIE))
    assert own_names(output(MOVIE), CLIP) == Names(folder="", files=("A001C003.mp4",))
    assert own_names(output(MOVIE), replace(CLIP, folder="A001")).paths("v") == ("v/A001/A001C003.mp4",)
    found = own_names(output(STILLS), FRAMED)
    assert found.files[:3] == ("A001C003.000000.jpg", "A001C003.000000.png8.png", "A001C003.000000.png16.png")
    single = replace(FRAMED, frames=FRAMES[:1], single=True)
    assert own_names(output(STILLS), single).files[0] == "A001C003.jpg"


def test_a_path_alone_leaves_the_clips_name() -> None:
    (only,), doubts = ways_of(output(MOVIE + 'path = "{reel}/{scene}"'), CLIP)
    assert (only.paths("v"), doubts) == (("v/A001/12/A001C003.mp4",), ())
    assert by_template(output(MOVIE + 'path = "{reel}"'))


def test_the_further_ways() -> None:
    ways, _ = ways_of(output(MOVIE + 'path = "{reel}"\nfile = "{scene}"'), replace(CLIP, folder="card 2"))
    assert [way.paths("v")[0] for way in ways] == [
        "v/A001/12.mp4",
        "v/A001/card 2/12.mp4",
        "v/A001/12_A001C003.mp4",
        "v/A001/card 2/12_A001C003.mp4",
    ]
    ways, _ = ways_of(output(MOVIE + 'file = "{scene}_{clip}"'), CLIP)
    assert len(ways) == 1  # the clip's name is in it already


@pytest.mark.parametrize(
    ("template", "names"),
    [
        ("{clip}_{timecode}", ["A001C003_10.02.11.00.jpg", "A001C003_10.02.11.07.jpg"]),
        ("{clip}_{frame}", ["A001C003_000000.jpg", "A001C003_000007.jpg"]),
        ("{clip}_{frame:3}", ["A001C003_000.jpg", "A001C003_007.jpg"]),
        ("{source_frame}", ["001000.jpg", "001007.jpg"]),
        (
            "{scene}",
            ["12.000000.jpg", "12.000007.jpg"],
        ),  # nothing tells them apart: the frame's number is behind
    ],
)
def test_stills_by_frame_and_timecode(template: str, names: list[str]) -> None:
    (first, *_), _ = ways_of(output(STILLS + f'file = "{template}"'), FRAMED)
    assert [name for name in first.files if name.endswith(".jpg")] == names


def test_where_a_template_gives_nothing_the_clip_has_its_own_name() -> None:
    (first, *_), _ = ways_of(output(MOVIE + 'path = "{unit}"\nfile = "{note}"'), CLIP)
    assert first.paths("v") == ("v/A001C003.mp4",)


def test_a_long_path_is_said() -> None:
    values = {"scene": "s" * 150, "reel": "r" * 60}
    _, doubts = ways_of(output(MOVIE + 'path = "{reel}"\nfile = "{scene}"'), replace(CLIP, values=values))
    assert "a path of 217 characters" in doubts[0]


def test_a_name_behind_another_has_room() -> None:
    ways, _ = ways_of(
        output(MOVIE + 'file = "{scene}"'), replace(CLIP, stem="c" * 190, values={"scene": "é" * 100})
    )
    assert all(len(file.encode()) <= 210 for way in ways for file in way.files)
    assert ways[1].files[0].endswith("_" + "c" * 190 + ".mp4")
