"""The show LUT, from list and recipe to the pixel: what it takes and gives, before and after the grade, both interpolations.

Every wanted number is computed here or by OpenColorIO and colour-science, not by the look.
"""

from pathlib import Path
from typing import Any

import numpy as np
import OpenImageIO as oiio
import pytest
from hypothesis import given as for_any
from hypothesis import strategies as st

import colour
import independent
import ocio
from here import rushlight
from logged import latest, read_records
from pictures import numbered, write_movie, write_sequence
from rushlight.batch.decisions.lut_files import ReadLut
from rushlight.batch.lists.clip_list import Row
from rushlight.batch.looks.show_lut_spaces import check_range, described_side, lut_sides, no_lut
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.camera_encodings import find_encoding
from rushlight.pipelines.errors import EncodingError, ListError, LutError
from rushlight.pipelines.job.spec import LutSpec
from rushlight.pipelines.recipe.model import LookSettings

PATCHES = np.array([[380, 420, 350], [610, 330, 240], [250, 480, 700], [512, 512, 512]])
AXES = np.stack(np.meshgrid(*[np.linspace(0.15, 0.85, 3)] * 3, indexing="ij"), -1)
TABLE = AXES + np.random.default_rng(7).uniform(-0.12, 0.12, (3, 3, 3, 3))  # [r, g, b]
SLOPE, OFFSET, POWER, SATURATION = np.array([1.1, 0.95, 1.05]), np.array([0.02, 0.0, -0.03]), 1.2, 0.8
GRADE = "1.1 0.95 1.05,0.02 0 -0.03,1.2 1.2 1.2,0.8"
LUMA = np.array([0.2126, 0.7152, 0.0722])


def tetrahedral(point: np.ndarray) -> np.ndarray:
    """check: sort the fractions, walk from the lower corner one axis at a time."""
    place = np.clip(point, 0, 1) * 2
    low = np.minimum(place.astype(int), 1)
    fraction = place - low
    order = np.argsort(-fraction, kind="stable")
    corner, found, last = low.copy(), np.zeros(3), 1.0
    for axis in order:
        found += (last - fraction[axis]) * TABLE[tuple(corner)]
        last = fraction[axis]
        corner[axis] += 1
    return found + last * TABLE[tuple(corner)]


def trilinear(point: np.ndarray) -> np.ndarray:
    place = np.clip(point, 0, 1) * 2
    low = np.minimum(place.astype(int), 1)
    r, g, b = place - low
    cell = TABLE[low[0] : low[0] + 2, low[1] : low[1] + 2, low[2] : low[2] + 2]
    plane = cell[0] * (1 - r) + cell[1] * r
    line = plane[0] * (1 - g) + plane[1] * g
    return line[0] * (1 - b) + line[1] * b


def graded(rgb: np.ndarray) -> np.ndarray:
    """ASC CDL v1.2."""
    powered = np.clip(rgb * SLOPE + OFFSET, 0, 1) ** POWER
    luma = powered @ LUMA
    return np.clip(luma + SATURATION * (powered - luma), 0, 1)


def in_p3(rgb: np.ndarray) -> np.ndarray:
    """A P3-D65 signal of gamma 2.6 as the Rec.709 signal of gamma 2.4 with the same light."""
    spaces = colour.RGB_COLOURSPACES
    matrix = spaces["ITU-R BT.709"].matrix_XYZ_to_RGB @ spaces["P3-D65"].matrix_RGB_to_XYZ
    return np.clip(matrix @ rgb**2.6, 0, 1) ** (1 / 2.4)


def narrow_in(code: np.ndarray) -> np.ndarray:
    return (code * 876 + 64) / 1023


def narrow_out(code: np.ndarray) -> np.ndarray:
    return np.clip((code * 1023 - 64) / 876, 0, 1)


def as_logc3(code: np.ndarray) -> np.ndarray:
    return ocio.converted(code, "V-Log V-Gamut", "ARRI LogC3 (EI800)")


def rendered(
    tmp_path: Path, look: str, rows: dict[str, str]
) -> dict[str, tuple[np.ndarray, np.ndarray, Any]]:
    """Of each clip: its patches in the still (R'G'B'), their luma codes in the movie, and its record."""
    text = "LUT_3D_SIZE 3\n" + "".join(
        " ".join(f"{v:.9f}" for v in TABLE[r, g, b]) + "\n"
        for b in range(3)
        for g in range(3)
        for r in range(3)
    )
    (tmp_path / "show.cube").write_text(text)
    picture = np.zeros((36, 128, 3), np.uint16)
    for index, patch in enumerate(PATCHES):
        picture[:, 32 * index : 32 * index + 32] = patch
    for name in rows:
        write_sequence(tmp_path / name, [picture])
    heading = "clip,encoding,lut_input,lut_output,slope,offset,power,saturation\n"
    (tmp_path / "day.csv").write_text(heading + "".join(f"{n},{cells}\n" for n, cells in rows.items()))
    (tmp_path / "r.toml").write_text(
        f'[look]\nshow_lut = "show.cube"\n{look}[[output]]\nname = "still"\nmake = "stills"\nkinds = ["tiff16"]\n'
        'at = ["first"]\nsize = "128x36"\n[[output]]\nname = "movie"\nmake = "movie"\ncodec = "prores-422"\n'
        'size = "128x36"\n'
    )
    out = tmp_path / "out"
    day, recipe = tmp_path / "day.csv", tmp_path / "r.toml"
    run = rushlight("render", day, "--recipe", recipe, "--out", out, "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    records = {r["clip"]: r for r in latest(read_records(out)).values()}
    centres = [16 + 32 * k for k in range(len(PATCHES))]
    found = {}
    for name in rows:
        still = oiio.ImageBuf(str(out / "still" / f"{name}.tif")).get_pixels(oiio.FLOAT).astype(float)
        luma = independent.raw(out / "movie" / f"{name}.mov", "yuv422p10le", 128, 36)[: 128 * 36]
        found[name] = still[18, centres], luma.reshape(36, 128)[18, centres].astype(float), records[name]
    return found


def held(found: tuple[np.ndarray, np.ndarray, Any], wanted: np.ndarray, codes: float = 1.0) -> None:
    """The still exactly, the movie within so many ten-bit codes of luma."""
    still, luma, _ = found
    assert np.abs(still - wanted).max() < 2e-5
    assert luma == pytest.approx(64 + 876 * (wanted @ LUMA), abs=codes)


def test_from_list_and_recipe_to_the_pixel(tmp_path: Path) -> None:
    """The recipe states one side, rows another: tetrahedral, the grade before the LUT."""
    rows = {
        "A001C001": "LogC3,,,,,,",
        "A001C002": "LogC3,narrow,,,,,",
        "A001C003": "LogC3,,narrow,,,,",
        "A001C004": "V-Log,,,,,,",
        "A001C005": "LogC3,,P3-D65,,,,",
        "A001C006": f"LogC3,,,{GRADE}",
        "A001C007": f"V-Log,LogC3 narrow,P3-D65 narrow,{GRADE}",
    }
    found = rendered(tmp_path, 'lut_input = "LogC3"\n', rows)
    codes = PATCHES / 1023
    ways = [
        lambda c: tetrahedral(c),
        lambda c: tetrahedral(narrow_in(c)),
        lambda c: narrow_out(tetrahedral(c)),
        lambda c: tetrahedral(as_logc3(c)),
        lambda c: in_p3(tetrahedral(c)),
        lambda c: tetrahedral(graded(c)),
        lambda c: in_p3(narrow_out(tetrahedral(narrow_in(as_logc3(graded(c)))))),
    ]
    wanted = [np.array([way(c) for c in codes]) for way in ways]
    for index, numbers in enumerate(wanted):
        for other in wanted[index + 1 :]:
            assert np.abs(numbers - other).max() > 0.01  # no two ways would pass for one another
        # Seen through another encoding, the bends of a three-point LUT lie between the points of the lattice.
        held(found[f"A001C00{index + 1}"], numbers, codes=2.5 if index in (3, 6) else 1.0)
    plain, converted = found["A001C001"][2]["look"], found["A001C007"][2]["look"]
    assert '-> show LUT "show" -> Rec.709' in plain["description"]
    assert (
        'show LUT "show" (ARRI LogC3/Wide Gamut 3 EI 800 narrow to P3-D65 narrow, tetrahedral) -> Rec.709 BT.1886'
        in converted["description"]
    )
    (layer,) = [v for v in converted["layers"] if v["layer"] == "show LUT"]
    assert (layer["input_space"], layer["input_levels"]) == ("ARRI LogC3/Wide Gamut 3 EI 800", "narrow")
    assert (layer["output_space"], layer["output_levels"]) == ("P3-D65", "narrow")
    said = rushlight("look", tmp_path / "day.csv", "A001C007", "--recipe", tmp_path / "r.toml")
    assert converted["description"] in said.stdout


def test_trilinear_and_the_grade_after(tmp_path: Path) -> None:
    rows = {"A001C001": "LogC3,,,,,,", "A001C002": f"LogC3,,,{GRADE}"}
    look = 'lut_interpolation = "trilinear"\ngrade_order = "after"\nsize = 33\n'
    found = rendered(tmp_path, look, rows)
    shown = np.array([trilinear(c) for c in PATCHES / 1023])
    assert np.abs(shown - [tetrahedral(c) for c in PATCHES / 1023]).max() > 0.01
    held(found["A001C001"], shown)
    held(found["A001C002"], np.array([graded(c) for c in shown]))
    assert "trilinear) -> CDL" in found["A001C002"][2]["look"]["description"]


def sides(encoding: str, display: str = "Rec.709", recipe_in: str = "full", **cells: str) -> dict[str, Any]:
    row = Row(file="a.csv", line=2, clip="a", cells=cells)
    settings = LookSettings(display=display, lut_input=recipe_in)
    return lut_sides(row, settings, find_encoding(encoding))


def test_the_row_speaks_before_the_recipe_and_what_needs_no_conversion_is_left_out() -> None:
    nothing = {"input": "full", "input_space": "", "output": "full", "output_space": ""}
    assert sides("LogC3") == sides("LogC3", lut_input="logc3", lut_output="rec709 FULL") == nothing
    assert sides("LogC3", recipe_in="narrow")["input"] == "narrow"
    assert sides("LogC3", recipe_in="narrow", lut_input="V-Log")["input_space"] == "V-Log/V-Gamut"
    assert sides("LogC3 EI 400", lut_input="LogC3") == nothing
    assert sides("LogC3 EI 400", lut_input="LogC3 EI 800")["input_space"].endswith("EI 800")
    assert sides("ACEScg", lut_input="ACEScct") == nothing  # scene-linear originals are worked on in ACEScct
    assert sides("LogC3", "PQ", lut_output="HLG")["output_space"] == "HLG BT.2100"


@pytest.mark.parametrize(
    ("cells", "key", "words"),
    [
        ({"lut_input": "S-Log3"}, "lut_input", "S-Gamut3.Cine"),
        ({"lut_input": "nonsense full"}, "lut_input", "encodings"),
        ({"lut_output": "CRT"}, "lut_output", "sRGB"),
        ({"lut_output": "PQ"}, "lut_output", "SDR and HDR"),
    ],
)
def test_a_wrong_side_names_its_column(cells: dict, key: str, words: str) -> None:
    with pytest.raises(EncodingError, match=words) as caught:
        sides("LogC3", **cells)
    assert caught.value.key == key


@for_any(st.text(max_size=30), st.text(max_size=30))
def test_junk_is_an_error_that_names_its_column(taken: str, given: str) -> None:
    try:
        found = sides("LogC3", lut_input=taken, lut_output=given)
    except EncodingError as error:
        assert error.key in ("lut_input", "lut_output")
    else:
        assert {found["input"], found["output"]} <= {"narrow", "full"}


def test_a_side_without_a_lut_is_an_error() -> None:
    with pytest.raises(ListError) as caught:
        no_lut(
            Row(file="a.csv", line=2, clip="a", cells={"lut_output": "P3-D65"}),
            LookSettings(),
            find_encoding("LogC3"),
        )
    assert caught.value.key == "lut_output"


NARROW_IN, NARROW_OUT = (3, "LUT_IN_NARROW_RANGE"), (4, "OUT_NARROW_RANGE 1")


@pytest.mark.parametrize(
    ("says", "cells", "recipe", "key"),
    [
        ((NARROW_IN,), {}, {}, "lut_input"),
        ((NARROW_OUT,), {}, {}, "lut_output"),
        (((7, "NARROW_RANGE"),), {"lut_input": "narrow"}, {}, "lut_output"),
        ((NARROW_IN,), {"lut_input": "LogC3"}, {}, "lut_input"),
        ((NARROW_IN,), {"lut_input": "LogC3 narrow"}, {}, None),
        ((NARROW_IN,), {}, {"lut_input": "full"}, None),
        ((NARROW_IN, NARROW_OUT), {"lut_output": "Narrow"}, {"lut_input": "narrow"}, None),
        ((), {}, {}, None),
    ],
)
def test_a_lut_that_says_narrow_range_needs_its_levels_stated(
    says: tuple, cells: dict, recipe: dict, key: str | None
) -> None:
    lut = ReadLut(name="show", digest="", kept="", says_narrow=says)
    row = Row(file="a.csv", line=2, clip="a", cells=cells)
    if key is None:
        check_range(lut, row, LookSettings(**recipe))
        return
    with pytest.raises(
        LutError, match=f"'show' says .* in line {says[0][0]}, .* state {key} = \"narrow\""
    ) as caught:
        check_range(lut, row, LookSettings(**recipe))
    assert caught.value.key == key


@pytest.mark.parametrize(
    ("words", "encoding", "cells", "recipe", "warned"),
    [
        ("ACEScct", "LogC3", {}, {}, True),
        ("ACEScct", "LogC3", {"lut_input": "narrow"}, {}, True),
        ("ARRI LogC4, the curve's 0 to 1", "LogC3", {}, {}, True),
        ("ARRI LogC3, EI 400", "LogC3", {}, {}, False),
        ("LogC3/Wide Gamut 3", "LogC3", {}, {}, False),
        ("ACEScct", "ACEScg", {}, {}, False),
        ("ACEScct", "LogC3", {"lut_input": "LogC3"}, {}, False),
        ("ACEScct", "LogC3", {}, {"lut_input": "ACEScct full"}, False),
        ("the camera's picture", "LogC3", {}, {}, False),
        ("", "LogC3", {}, {}, False),
    ],
)
def test_a_lut_that_describes_another_input_than_it_gets_is_told(
    words: str, encoding: str, cells: dict, recipe: dict, warned: bool
) -> None:
    lut = LutSpec(path="log/inputs/aa.clf", name="show", digest="")
    row = Row(file="a.csv", line=2, clip="a", cells=cells)
    said = described_side(lut, {"aa.clf": words}, row, LookSettings(**recipe), find_encoding(encoding))
    assert bool(said) == warned
    assert all(f'says that it takes "{words}"' in text and "state lut_input" in text for text in said)
    assert described_side(None, {}, row, LookSettings(), find_encoding(encoding)) == []


def test_defaults_say_it_of_a_camera_s_lut_and_the_recipe_of_all(tmp_path: Path) -> None:
    """Row before default before recipe; a conversion by the recipe's word for another LUT than its own is a warning."""
    for name in ("A001C001", "B001C001", "B001C002", "B001C003", "B001C004"):
        write_movie(tmp_path / f"{name}.mov", [numbered(0)], reel="")
    cube = "LUT_3D_SIZE 2\n" + "".join(f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
    for name in ("show", "b", "own"):
        (tmp_path / f"{name}.cube").write_text(cube)
    (tmp_path / "day.csv").write_text(
        "clip,encoding,lut,lut_input\n"
        "A001C001.mov,V-Log,,\n"
        "B001C001.mov,V-Log,,\n"
        "B001C002.mov,V-Log,own.cube,narrow\n"
        "B001C003.mov,V-Log,none,\n"
        "B001C004.mov,video,,\n"
    )
    head = '[look]\nshow_lut = "show.cube"\nlut_input = "LogC3"\n'
    tail = '[[output]]\nname = "a"\nmake = "movie"\ncodec = "prores-422"\n'
    table = '[[default]]\ncamera = "B"\nlut = "b.cube"\nlut_input = "LogC4 narrow"\nlut_output = "P3-D65"\n'
    (tmp_path / "r.toml").write_text(head + tail + table)
    plan = prepare(Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"))).plan
    assert not plan.wrong
    found = {c.stem: c.look.lut for c in plan.clips}
    shown = {
        k: v and (v.name, v.input_space[:10], v.input, v.output_space, v.output) for k, v in found.items()
    }
    assert shown == {
        "A001C001": ("show", "ARRI LogC3", "full", "", "full"),
        "B001C001": ("b", "ARRI LogC4", "narrow", "P3-D65", "full"),
        "B001C002": ("own", "", "narrow", "P3-D65", "full"),
        "B001C003": None,
        "B001C004": None,
    }
    (tmp_path / "r.toml").write_text(head + tail)
    plan = prepare(Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"))).plan
    assert not [w for c in plan.clips for w in c.warnings if "gets the signal" in w]
    (tmp_path / "day.csv").write_text("clip,encoding,lut\nB001C002.mov,V-Log,own.cube\n")
    plan = prepare(Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"))).plan
    (said,) = [w for w in plan.clips[0].warnings if "gets the signal" in w]
    assert "'own'" in said and "ARRI LogC3" in said
    (tmp_path / "r.toml").write_text(head + tail + table.replace("P3-D65", "CRT"))
    with pytest.raises(EncodingError, match="takes Rec") as caught:
        prepare(Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml")))
    assert caught.value.key == "default[0].lut_output"


@pytest.mark.parametrize("table", ["", '[[default]]\ncamera = "A"\nlut = "i.cube"\n'])
def test_an_unknown_encoding_names_its_column_with_or_without_a_default_lut(
    tmp_path: Path, table: str
) -> None:
    write_movie(tmp_path / "A001C001.mov", [numbered(0)])
    (tmp_path / "i.cube").write_text(
        "LUT_3D_SIZE 2\n" + "".join(f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
    )
    (tmp_path / "day.csv").write_text("clip,encoding\nA001C001.mov,LogC9\n")
    output = '[[output]]\nname = "a"\nmake = "movie"\ncodec = "prores-422"\n'
    (tmp_path / "r.toml").write_text(output + table)
    plan = prepare(Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"))).plan
    ((_, error),) = plan.wrong
    assert (error.key, error.line) == ("encoding", 2)


def test_plan_says_which_rows_are_wrong(tmp_path: Path) -> None:
    """A LUT for SDR under an HDR recipe; one that contains the grade beside a CDL; a side without a LUT."""
    for number in (1, 2, 3, 4, 5):
        write_movie(tmp_path / f"A001C00{number}.mov", [numbered(0)])
    (tmp_path / "i.cube").write_text(
        "LUT_3D_SIZE 2\n" + "".join(f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
    )
    (tmp_path / "day.csv").write_text(
        "clip,encoding,lut,lut_output,lut_contains_grade,saturation\n"
        "A001C001.mov,LogC3,i.cube,Rec.709,,\n"
        "A001C002.mov,LogC3,i.cube,,yes,0.9\n"
        "A001C003.mov,LogC3,,P3-D65,,\n"
        "A001C004.mov,LogC3,i.cube,HLG,yes,\n"
        "A001C005.mov,video,,,,\n"
    )
    (tmp_path / "r.toml").write_text(
        '[look]\ndisplay = "PQ"\n[[output]]\nname = "a"\nmake = "movie"\ncodec = "hevc-10"\n'
    )
    run = rushlight("plan", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml")
    said = run.stdout + run.stderr
    assert run.returncode == 1
    for words in (
        "lut_output: the LUT is stated to be for Rec.709",
        *("contain the grade", "no show LUT", "is display-encoded, for SDR"),
    ):
        assert words in said
    (tmp_path / "r.toml").write_text(
        '[look]\nlut_output = "CRT"\n[[output]]\nname = "a"\nmake = "movie"\ncodec = "hevc-10"\n'
    )
    wrong = rushlight("plan", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml")
    assert wrong.returncode == 2 and "look.lut_output" in wrong.stderr
