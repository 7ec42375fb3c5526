"""Camera-like originals of real photographs through every shipped recipe, read back by an outsider and by `verify`."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import OpenImageIO as oiio
import pytest

import independent
from here import rushlight
from logged import latest, read_records
from real import originals, photographs
from rushlight.batch.api.plan_document import plan_document
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.recipe.read_recipe import shipped_recipes

RECIPES = shipped_recipes()
HDR = [name for name in RECIPES if name.startswith("hdr")]
NAMES = {"ARRI LogC3 (EI800)": "LogC3"}


def list_of(truth: list[dict[str, Any]], place: Path) -> Path:
    """A list of these originals: each with a take of its own, a grade and a note."""
    heads = "clip,encoding,levels,slope,offset,power,saturation,scene,take,note"
    rows = [
        f"{t['file']},{NAMES.get(t['encoding'], t['encoding'])},{t['levels']},"
        f"1.1 1 0.92,0.004 0 -0.006,1.03 1 0.98,1.12,{10 + n},{n},lamplight"
        for n, t in enumerate(truth)
    ]
    place.write_text("\n".join([heads, *rows]) + "\n")
    return place


def delivered(
    tmp_path: Path, truth: list[dict[str, Any]], media: Path, recipe: str | Path, *more: str
) -> int:
    """Renders, and holds every file to the truth; gives how many there were."""
    out = tmp_path / "out"
    clips = list_of(truth, tmp_path / "day.csv")
    run = rushlight(
        "render", clips, "--media", media, "--recipe", recipe, "--out", out, "--workers", 1, *more
    )
    assert run.returncode == 0, run.stdout + run.stderr
    found = {r["clip"]: r for r in latest(read_records(out)).values()}
    files = 0
    for entry in truth:
        record = found.get(entry["file"])
        if record is None:
            assert more, f"{entry['file']} was not made"
            continue
        assert (record["frames"], record["first_timecode"]) == (entry["frames"], entry["timecode"])
        assert record["status"] == "done" and record["reel"] == entry["reel"]
        for output in record["outputs"]:
            files += 1
            path = out / output["path"]
            if output["kind"] != "movie":
                assert oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT) is not None, path
                continue
            assert independent.count(path) == output["frames"] >= entry["frames"], path
            assert independent.timecode(path) == output["first_timecode"], path
            if output["frames"] == entry["frames"]:
                assert output["first_timecode"] == entry["timecode"]
    run = rushlight("verify", out, "--json")
    assert run.returncode == 0, run.stdout[-3000:] + run.stderr
    assert json.loads(run.stdout)
    return files


@pytest.mark.slow
@pytest.mark.parametrize("recipe", RECIPES)
def test_every_original_through_every_shipped_recipe(recipe: str, tmp_path: Path) -> None:
    media, truth = originals()
    assert delivered(tmp_path, truth, media, recipe) >= len(truth)


def test_originals_and_shipped_recipes_in_turn(tmp_path: Path) -> None:
    """Every output of every shipped SDR recipe takes one original, every original is taken: a quarter of a second
    at 640x360."""
    media, truth = originals(0.25)
    turn, tables = 0, []
    for name in (n for n in RECIPES if n not in HDR and n != "sdr-and-hdr"):  # that one has looks of its own
        table = ""
        outputs = RECIPES[name][RECIPES[name].index("[[output]]") :]  # what holds for all of it stays behind
        for line in re.sub(r'"\d+x\d+"', '"640x360"', outputs).splitlines():
            if line.startswith("name = "):
                line = f'name = "{name} {line.split(chr(34))[1]}"\nonly = {{ take = "{turn % len(truth)}" }}'
                turn += 1
            table += line + "\n"
        tables.append(table)
    assert turn >= len(truth)
    (tmp_path / "all.toml").write_text("\n".join(tables))
    assert delivered(tmp_path, truth, media, tmp_path / "all.toml") >= turn


def test_the_photographs_themselves_say_which_linear_they_are(tmp_path: Path) -> None:
    """Real EXR files: chromaticities where they have them, and never a guess where they have none."""
    for number, path in enumerate(photographs()):
        folder = tmp_path / path.stem
        folder.mkdir()
        (folder / f"{path.stem}.{number:04}.exr").symlink_to(path)
    names = [p.stem for p in photographs()]
    (tmp_path / "day.csv").write_text("clip,encoding\n" + "".join(f"{n},linear\n" for n in names))
    document = plan_document(prepare(Request(clip_list=tmp_path / "day.csv", recipe="stills")))
    found = {c["clip"]: c["encoding"] for c in document["clips"]}
    left = {p["clip"]: p["text"] for p in document["problems"]}
    for path in photographs():
        stated = oiio.ImageInput.open(str(path)).spec().getattribute("chromaticities")
        if stated:
            assert found[path.stem] == ("ACES2065-1" if stated[0] > 0.73 else "Linear Rec.709")
        else:
            assert "states no chromaticities" in left[path.stem]
