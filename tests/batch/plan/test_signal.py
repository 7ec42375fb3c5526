"""What a clip's code values mean, from list and file to the pixel: file codes and narrow ones, tags, metadata, finished video."""

import json
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio
import pytest

import independent
from here import rushlight
from logged import latest, read_records
from pictures import frame_of, write_movie


def flat(luma: int) -> av.VideoFrame:
    """Grey: no codec moves it."""
    planes = [np.full((72, 128), luma), *[np.full((72, 64), 512)] * 2]
    return frame_of("yuv422p10le", *(p.astype(np.uint16) for p in planes))


def with_metadata(path: Path, **metadata: str) -> None:
    """A movie whose container names a curve, as cameras do."""
    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as out:
        stream = out.add_stream("prores_ks", rate=24)
        stream.width, stream.height, stream.pix_fmt = 128, 72, "yuv422p10le"
        out.metadata.update({key.replace("_", "."): value for key, value in metadata.items()})
        out.mux(stream.encode(flat(420)))
        out.mux(stream.encode(None))


def test_metadata_is_said_and_never_used(tmp_path: Path) -> None:
    with_metadata(tmp_path / "A001C001.mov", com_maker_gamma="s-log3-cine")
    with_metadata(tmp_path / "A001C002.mov", com_maker_gamma="s-log3-cine")
    (tmp_path / "day.csv").write_text("clip,encoding\nA001C001.mov,\nA001C002.mov,LogC3\n")
    run = rushlight("plan", tmp_path / "day.csv", "--json")
    document = json.loads(run.stdout)
    (problem,) = document["problems"]
    assert run.returncode == 1 and "A001C001.mov" in json.dumps(problem)
    assert "is not stated" in json.dumps(problem)
    assert "the file's own metadata suggests S-Log3/S-Gamut3.Cine" in json.dumps(problem)
    (clip,) = document["clips"]
    assert (clip["encoding"], clip["encoding_from"]) == ("ARRI LogC3/Wide Gamut 3", "the list")


def test_codes_to_the_pixel_and_tags_that_disagree(tmp_path: Path) -> None:
    """Grey of S-Log3 is 420 in a file by Sony's table, 64 + 876 * 0.410557 = 423.65 where a row says narrow; video stays."""
    for name, luma in {"A001C001": 420, "A001C002": 424, "A001C003": 420, "A001C004": 400}.items():
        write_movie(tmp_path / f"{name}.mov", [flat(luma)])
    (tmp_path / "half.cube").write_text(
        "LUT_3D_SIZE 2\n"
        + "".join(f"{r / 2} {g / 2} {b / 2}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
    )
    write_movie(tmp_path / "A001C005.mov", [flat(400)])
    (tmp_path / "day.csv").write_text(
        "clip,encoding,levels,lut\n"
        "A001C001.mov,S-Log3/S-Gamut3.Cine,,\n"
        "A001C002.mov,S-Log3/S-Gamut3.Cine,narrow,\n"
        "A001C003.mov,LogC3,full,\n"
        "A001C004.mov,video,,\n"
        "A001C005.mov,video,,half.cube\n"
    )
    (tmp_path / "r.toml").write_text(
        '[look]\nsize = 17\n[[output]]\nname = "still"\nmake = "stills"\nkinds = ["tiff16"]\nat = ["first"]\n'
        '[[output]]\nname = "movie"\nmake = "movie"\ncodec = "prores-422"\nsize = "128x72"\n'
    )
    out = tmp_path / "out"
    day, recipe = tmp_path / "day.csv", tmp_path / "r.toml"
    run = rushlight("render", day, "--recipe", recipe, "--out", out, "--workers", 1)
    assert run.returncode == 0, run.stdout + run.stderr
    still, luma, warned = {}, {}, {}
    for record in latest(read_records(out)).values():
        name = record["clip"].removesuffix(".mov")
        picture = oiio.ImageBuf(str(out / "still" / f"{name}.tif")).get_pixels(oiio.FLOAT)
        still[name] = picture[36, 64].astype(float)
        luma[name] = int(
            np.median(independent.raw(out / "movie" / f"{name}.mov", "yuv422p10le", 128, 72)[:9216])
        )
        warned[name] = [w for w in record["warnings"] if "the file's tag says" in w]
    # ACES 2.0 SDR of 18 % grey: .383118, code 399.61 (check_values.md section 4)
    assert still["A001C001"] == pytest.approx([0.383118] * 3, abs=2e-3)
    assert still["A001C002"] == pytest.approx([0.383118] * 3, abs=2e-3)
    assert warned["A001C001"] == [
        "levels are full (the maker's rule for S-Log3), but the file's tag says narrow"
    ]
    assert warned["A001C003"] == ["levels are full (the list), but the file's tag says narrow"]
    assert not warned["A001C002"] and not warned["A001C004"]
    assert luma["A001C004"] == 400 and still["A001C004"] == pytest.approx([(400 - 64) / 876] * 3, abs=1e-4)
    assert luma["A001C005"] == 64 + (400 - 64) // 2  # its row says so


def test_the_recipe_says_whether_a_cdl_clamps(tmp_path: Path) -> None:
    """And in which space it works, or that it is on the display's side of the show transform; not both."""
    write_movie(tmp_path / "A001C001.mov", [flat(400)])
    (tmp_path / "day.csv").write_text("clip,encoding,slope\nA001C001.mov,LogC3,2 2 2\n")
    output = '[[output]]\nname = "a"\nmake = "movie"\ncodec = "prores-422"\n'
    recipes = ["", 'clamp = false\ngrade_space = "ACEScct"\n', 'grade_order = "after"\n']
    found = []
    for look in recipes:
        (tmp_path / "r.toml").write_text(f"[look]\n{look}{output}")
        run = rushlight("look", tmp_path / "day.csv", "A001C001", "--recipe", tmp_path / "r.toml", "--json")
        found.append(json.loads(run.stdout))
    layers = [next(v for v in one["layers"] if v["layer"] == "grade") for one in found]
    assert [(v["clamp"], v["space"]) for v in layers] == [
        (True, "log"),
        (False, "ACEScct"),
        (True, "display"),
    ]
    assert [[v["layer"] for v in one["layers"]].index("grade") for one in found] == [1, 1, 2]
    white = [max(one["colours"]["white 90 %"]["after"]["graded"]["signal"]) for one in found]
    assert white[0] == 1 and white[1] > 1
    (tmp_path / "r.toml").write_text(f'[look]\ngrade_space = "ACEScct"\ngrade_order = "after"\n{output}')
    wrong = rushlight("plan", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml")
    assert wrong.returncode == 2 and "look" in wrong.stderr and "must go" in wrong.stderr
