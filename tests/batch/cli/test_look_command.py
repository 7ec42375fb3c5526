"""One clip's look in numbers: published codes at the camera, the exact look at the display, and the picture of it."""

import json
from pathlib import Path

import numpy as np
import pytest

import ocio
from here import rushlight
from pictures import numbered, write_movie
from rushlight.batch.api.look import exact_look, find_clip, look_through
from rushlight.batch.look_pictures.curves_and_gamuts import look_picture
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.displays import find_display
from rushlight.pipelines.errors import EncodingError, OptionError
from rushlight.pipelines.luts.cube_lut import parse_cube
from rushlight.pipelines.luts.lut_file import parse_lut

LIST = """clip,encoding,levels,slope,offset,power,saturation,exposure
A001C001.mov,LogC3,narrow,1.1 1 0.95,0.01 0 -0.01,1.02 1 0.98,0.9,
A001C002.mov,S-Log3/S-Gamut3.Cine,full,2 2 2,0.3 0 0,1 1 1,1,1
A001C003.mov,,,,,,,
"""


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Prepared:
    folder = tmp_path_factory.mktemp("look")
    for number in (1, 2, 3):
        write_movie(folder / f"A001C00{number}.mov", [numbered(0)])
    (folder / "day.csv").write_text(LIST)
    return prepare(Request(clip_list=folder / "day.csv"))


def test_codes_of_the_camera_are_the_published_ones(prepared: Prepared) -> None:
    clip = find_clip(prepared, "a001c001")
    colours = look_through(clip, exact_look(prepared, clip)).colours
    # ARRI, ALEXA LogC Curve: Usage in VFX (2017): EI 800, 18 % grey is 0.391007 of the signal; black 0.092809
    assert colours["grey 18 %"]["after"]["camera"]["signal"] == pytest.approx([0.391007] * 3, abs=2e-6)
    assert colours["black"]["after"]["camera"]["code"] == pytest.approx([64 + 876 * 0.092809] * 3, abs=0.01)
    other = find_clip(prepared, "A001C002.mov")
    second = look_through(other, exact_look(prepared, other))
    # Sony, Technical Summary for S-Gamut3.Cine/S-Log3: 18 % grey is 420 of 1023 in the file's codes, 90 % is 598
    assert second.colours["grey 18 %"]["after"]["camera"]["code"] == pytest.approx([420] * 3, abs=0.01)
    assert second.colours["white 90 %"]["after"]["camera"]["code"] == pytest.approx([598] * 3, abs=0.5)
    assert list(second.colours["black"]["after"]) == ["camera", "corrected", "graded", "display"]


def test_the_layers_follow_from_one_another(prepared: Prepared) -> None:
    clip = find_clip(prepared, "A001C001")
    look = exact_look(prepared, clip)
    after = look_through(clip, look).colours["orange"]["after"]
    assert look.cdl is not None
    assert after["graded"]["signal"] == pytest.approx(look.cdl.apply(after["camera"]["signal"]), abs=1e-5)
    assert after["display"]["signal"] == pytest.approx(look.evaluate(after["camera"]["signal"]), abs=1e-4)


def test_what_leaves_the_range_is_named(prepared: Prepared) -> None:
    clip = find_clip(prepared, "A001C002")
    look = exact_look(prepared, clip)
    assert look.cdl is not None and look.cdl.clamp
    assert look_through(clip, look).warnings == ()  # a clamping CDL keeps to the range
    from dataclasses import replace

    free = look_through(clip, replace(look, cdl=replace(look.cdl, clamp=False)))
    assert any(w.startswith("white 90 % is") and "after graded" in w for w in free.warnings)
    # S-Log3 ends at 38.4 of scene light (Sony): 0.9 is over it six stops up, and 0.18 is not
    bright = look_through(clip, replace(look, exposure=6, cdl=None)).warnings
    assert any(w.startswith("white 90 % is") and "after corrected: outside 0..1" in w for w in bright)
    assert not any(w.startswith("grey 18 %") for w in bright)


def test_no_such_clip_and_a_row_set_aside(prepared: Prepared) -> None:
    with pytest.raises(OptionError, match=r"was 'A001C00\d\.mov' meant"):
        find_clip(prepared, "A001C009.mov")
    with pytest.raises(EncodingError, match="is not stated"):
        find_clip(prepared, "A001C003")


def test_the_command_writes_what_it_is_asked_for(prepared: Prepared, tmp_path: Path) -> None:
    cube, plot = tmp_path / "look.cube", tmp_path / "look.png"
    done = rushlight(
        "look",
        str(prepared.request.clip_list),
        "A001C001",
        "--export",
        str(cube),
        "--plot",
        str(plot),
        "--json",
    )
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    lut = parse_cube(cube.read_text(), file=str(cube))
    assert lut.size == 33 and document["look"] in cube.read_text()
    clip = find_clip(prepared, "A001C001")
    look = exact_look(prepared, clip)
    points = np.random.default_rng(3).integers(0, 33, (50, 3)) / 32
    assert np.abs(lut.apply(points, "tetrahedral") - look.evaluate(points)).max() < 1e-5  # at its own points
    # OpenColorIO reads the file as the look itself, at its points and, within what 33 of them can, between.
    theirs = ocio.through_file(points, cube)
    assert np.abs(theirs - look.evaluate(points)).max() < 1e-5
    between = np.random.default_rng(4).uniform(0.15, 0.7, (4000, 1)) + np.random.default_rng(5).uniform(
        -0.05, 0.05, (4000, 3)
    )
    error = np.abs(ocio.through_file(between, cube) - look.evaluate(between))
    assert np.abs(ocio.through_file(between, cube) - lut.apply(between)).max() < 1e-5
    assert error.mean() < 0.002 and error.max() < 0.05
    assert plot.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    plain = rushlight("look", str(prepared.request.clip_list), "A001C001")
    assert max(map(len, plain.stdout.splitlines()[3:])) <= 100 and "grey 18 %" in plain.stdout
    wrong = rushlight(
        "look", str(prepared.request.clip_list), "A001C001", "--export", str(tmp_path / "x.txt")
    )
    assert wrong.returncode == 2 and ".cube or .clf" in wrong.stderr
    clf = tmp_path / "look.CLF"
    assert (
        rushlight("look", str(prepared.request.clip_list), "A001C001", "--export", str(clf)).returncode == 0
    )
    back = parse_lut(clf.read_bytes(), file=str(clf))
    assert np.abs(back.apply(between) - lut.apply(between)).max() < 1e-6


def test_the_picture_shows_this_look(prepared: Prepared) -> None:
    """Two looks give two pictures, one look one."""
    clips = [find_clip(prepared, name) for name in ("A001C001", "A001C002")]
    looks = [exact_look(prepared, clip) for clip in clips]
    assert look_picture(looks[0], "a") == look_picture(looks[0], "a")
    assert look_picture(looks[0], "a") != look_picture(looks[1], "a")
    from dataclasses import replace

    for display in ("PQ", "HLG", "P3-D65"):
        assert look_picture(replace(looks[1], display=find_display(display)), "a")[:4] == b"\x89PNG"


def test_a_frame_of_the_clip_as_a_picture_and_a_page(prepared: Prepared, tmp_path: Path) -> None:
    listed = prepared.request.clip_list
    other = tmp_path / "other.cc"
    other.write_text(
        '<ColorCorrection id="other"><SOPNode><Slope>0.9 1 1</Slope><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode>'
        "<SatNode><Saturation>1</Saturation></SatNode></ColorCorrection>"
    )
    for name, more in (
        ("look.png", ()),
        ("look.html", ("--compare", other)),
        ("none.png", ("--compare", "none")),
    ):
        done = rushlight("look", listed, "A001C001", "--picture", tmp_path / name, *more)
        assert done.returncode == 0 and f"written: {tmp_path / name}" in done.stdout, done.stderr
    page = (tmp_path / "look.html").read_text()
    assert "other.cc: slope 0.9 1 1" in page and page.count("<img ") == 6
    assert len({(tmp_path / n).read_bytes() for n in ("look.png", "none.png")}) == 2


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--picture", "look.gif"), "takes a name that ends in .png or .html"),
        (("--picture", "x.png", "--at", "20:00:00:00"), "outside the clip"),
        (("--picture", "x.png", "--at", "late"), "--at"),
        (("--picture", "x.png", "--compare", "gone.cc"), "gone.cc"),
        (("--at", "00:00:00:00"), "go with --picture"),
    ],
)
def test_what_will_not_do_for_a_picture(
    prepared: Prepared, tmp_path: Path, words: tuple[str, ...], told: str
) -> None:
    done = rushlight("look", prepared.request.clip_list, "A001C001", *words, cwd=tmp_path)
    assert done.returncode == 2 and told in done.stderr
    assert not list(tmp_path.iterdir())
