"""Show LUTs of every kind that is read, from the list to the pixel, and made again from what the folder keeps.

Every wanted number is OpenColorIO's reading of the very file.
"""

import json
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest

import independent
import ocio
from here import rushlight
from logged import latest, read_records
from pictures import write_sequence

PATCHES = np.array([[380, 420, 350], [610, 330, 240], [250, 480, 700], [512, 512, 512]])
LUMA = np.array([0.2126, 0.7152, 0.0722])
POINTS = np.stack(np.meshgrid(*[np.linspace(0.15, 0.85, 3)] * 3, indexing="ij"), -1)
TABLE = POINTS + np.random.default_rng(7).uniform(-0.12, 0.12, (3, 3, 3, 3))  # [r, g, b]
CURVE = [0, 0.3, 0.55, 0.8, 1]  # even over 0..1


def lines(rows: np.ndarray) -> str:
    return "".join(" ".join(f"{v:.9f}" for v in row) + "\n" for row in rows)


def clf(*nodes: str) -> str:
    whole = "".join(nodes)
    return f'<?xml version="1.0"?>\n<ProcessList id="show" compCLFversion="3">\n{whole}</ProcessList>\n'


DEPTHS = 'inBitDepth="32f" outBitDepth="32f"'
CURVES = f'<LUT1D {DEPTHS}><Array dim="5 1">\n{" ".join(map(str, CURVE))}\n</Array></LUT1D>\n'
CUBE = f'<LUT3D {DEPTHS} interpolation="tetrahedral"><Array dim="3 3 3 3">\n{lines(TABLE.reshape(-1, 3))}</Array></LUT3D>\n'
MATRIX = f'<Matrix {DEPTHS}><Array dim="3 3">0.9 0.05 0.05 0.02 0.96 0.02 0 0.1 0.9</Array></Matrix>\n'
ANTILOG = f"""<Log {DEPTHS} style="cameraLogToLin"><LogParams base="10" logSideSlope="0.24719" logSideOffset="0.385537"
linSideSlope="5.555556" linSideOffset="0.052272" linSideBreak="0.010591"/></Log>
"""
CUT = f"""<Range {DEPTHS}><minInValue>0</minInValue><maxInValue>1</maxInValue><minOutValue>0</minOutValue>
<maxOutValue>1</maxOutValue></Range>
"""
POWER = f'<Exponent {DEPTHS} style="basicRev"><ExponentParams exponent="2.4"/></Exponent>\n'
RED_FASTEST = lines(TABLE.transpose(2, 1, 0, 3).reshape(-1, 3))
INDEXED = "".join(
    f"{r} {g} {b} {lines(TABLE[r, g, b][None])}" for r in range(3) for g in range(3) for b in range(3)
)
FILES = {
    "shaped.clf": clf(CURVES, CUBE),
    "mixed.clf": clf(MATRIX, CUBE),
    "after.clf": clf(CUBE, CURVES),
    "formula.clf": clf(ANTILOG, MATRIX, CUT, POWER),
    "plain.ctf": clf(CUBE).replace('compCLFversion="3"', 'version="2.0"'),
    "curve.spi1d": "Version 1\nFrom 0 1\nLength 5\nComponents 1\n{\n" + "\n".join(map(str, CURVE)) + "\n}\n",
    "cube.spi3d": f"SPILUT 1.0\n3 3\n3 3 3\n{INDEXED}",
    "shaped.csp": "CSPLUTV100\n3D\n\n" + "2\n0 1\n0 1\n" * 3 + f"\n3 3 3\n{RED_FASTEST}",
    "curve.cube": "LUT_1D_SIZE 5\n" + "".join(f"{v} {v} {v}\n" for v in CURVE),
    "both.cube": "LUT_1D_SIZE 5\nLUT_3D_SIZE 3\n" + "".join(f"{v} {v} {v}\n" for v in CURVE) + RED_FASTEST,
}
# A matrix ahead of a three-point LUT turns its bends across the lattice's points.
CODES = {"mixed.clf": 4.0, "formula.clf": 2.0}


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("luts")
    (folder / "grades").mkdir()
    picture = np.zeros((36, 128, 3), np.uint16)
    for index, patch in enumerate(PATCHES):
        picture[:, 32 * index : 32 * index + 32] = patch
    rows = "clip,encoding,lut\n"
    for number, (name, text) in enumerate(FILES.items()):
        write_sequence(folder / f"A001C00{number}", [picture])
        (folder / "grades" / name).write_bytes(text.replace("\n", "\r\n").encode())
        rows += f"A001C00{number},LogC3,{name}\n"
    (folder / "day.csv").write_text(rows)
    (folder / "r.toml").write_text(
        '[[output]]\nname = "still"\nmake = "stills"\nkinds = ["tiff16"]\nat = ["first"]\nsize = "128x36"\n'
        '[[output]]\nname = "movie"\nmake = "movie"\ncodec = "prores-422"\nsize = "128x36"\n'
    )
    options = ("--recipe", folder / "r.toml", "--grades", folder / "grades")
    run = rushlight("render", folder / "day.csv", *options, "--out", folder / "out", "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    return folder


@pytest.mark.parametrize("name", FILES)
def test_still_and_movie_are_what_opencolorio_makes_of_the_file(day: Path, name: str) -> None:
    stem = f"A001C00{list(FILES).index(name)}"
    wanted = np.clip(ocio.through_file(PATCHES / 1023, day / "grades" / name), 0, 1)
    centres = [16 + 32 * k for k in range(len(PATCHES))]
    still = oiio.ImageBuf(str(day / "out" / "still" / f"{stem}.tif")).get_pixels(oiio.FLOAT).astype(float)
    assert np.abs(still[18, centres] - wanted).max() < 2e-5
    luma = independent.raw(day / "out" / "movie" / f"{stem}.mov", "yuv422p10le", 128, 36)[: 128 * 36]
    found = luma.reshape(36, 128)[18, centres].astype(float)
    assert found == pytest.approx(64 + 876 * (wanted @ LUMA), abs=CODES.get(name, 1.0))


def test_the_folder_keeps_each_file_as_it_is_and_the_record_names_its_nodes(day: Path) -> None:
    records = {r["clip"]: r for r in latest(read_records(day / "out")).values()}
    nodes = {}
    for number, name in enumerate(FILES):
        look = records[f"A001C00{number}"]["look"]
        (layer,) = [one for one in look["layers"] if one["layer"] == "show LUT"]
        kept = day / "out" / "log" / "inputs" / f"{layer['digest'].partition(':')[2]}{Path(name).suffix}"
        assert kept.read_bytes() == (day / "grades" / name).read_bytes()
        nodes[name] = layer.get("nodes", [])
        assert layer["name"] == Path(name).stem and all(word in look["description"] for word in nodes[name])
    assert nodes["shaped.clf"] == ["1D LUT 5", "3D LUT 3"] and nodes["mixed.clf"] == ["matrix", "3D LUT 3"]
    assert nodes["cube.spi3d"] == nodes["plain.ctf"] == nodes["both.cube"] == []
    assert nodes["curve.cube"] == ["1D LUT 5"]


def test_verify_finds_nothing_and_what_is_made_again_has_the_same_colours(day: Path) -> None:
    assert rushlight("verify", day / "out").returncode == 0
    before = {r["clip"]: r["colour"]["digest"] for r in latest(read_records(day / "out")).values()}
    (day / "grades").rename(day / "gone")
    try:
        again = rushlight("render", "--from", day / "out", "--out", day / "again", "--workers", 1)
    finally:
        (day / "gone").rename(day / "grades")
    assert again.returncode == 0, again.stdout + again.stderr
    assert {r["clip"]: r["colour"]["digest"] for r in latest(read_records(day / "again")).values()} == before


def test_look_and_plan_say_what_is_in_the_file(day: Path) -> None:
    options = ("--recipe", day / "r.toml", "--grades", day / "grades")
    said = rushlight("look", day / "day.csv", "A001C000", *options)
    assert 'show LUT "shaped" of 1D LUT 5, 3D LUT 3' in said.stdout
    plan = json.loads(rushlight("plan", day / "day.csv", *options, "--json").stdout)
    assert plan["clips"][0]["show_lut"] == "shaped"
    page = " ".join(rushlight("plan", day / "day.csv", *options).stdout.split())
    assert 'LUT "shaped" (.clf)' in page and 'LUT "curve"' in page
