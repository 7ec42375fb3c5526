"""Which frames an output takes stills of, each under its own name and with the right picture in it."""

import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from here import rushlight
from pictures import frame_of, number_of, numbered, write_movie
from rushlight.batch.plan.jobs import Known, output_specs
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.burnin.text_fields import card_facts
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.job.spec import StillsSpec
from rushlight.pipelines.outputs.stills import read_still
from rushlight.pipelines.recipe.read_recipe import parse_recipe

FRAMES = 40
STILLS = '[[output]]\nname = "s"\nmake = "stills"\nstate = "log"\nsize = "256x144"\n'


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stills")
    frames = [numbered(n, 256, 144) for n in range(FRAMES)]
    return write_movie(folder / "a.mov", frames, rate=Fraction(30000, 1001), timecode="00:00:59;20")


def frames_of(original: Path, settings: str, cells: str = "") -> tuple[list[int], tuple[str, ...]]:
    listed = original.with_name("day.csv")
    listed.write_text(f"clip,encoding,levels,in,out,stills\na.mov,LogC3,narrow,{cells or ',,'}\n")
    (clip,) = prepare(Request(clip_list=listed)).plan.clips
    known = Known(source="", fields={}, fonts={})
    (spec,) = output_specs(clip, parse_recipe(STILLS + settings), known)
    assert isinstance(spec, StillsSpec)
    return sorted({s.frame for s in spec.stills}), tuple(w for w in clip.warnings if "still" in w)


@pytest.mark.parametrize(
    ("settings", "cells", "wanted"),
    [
        ('kinds = ["jpeg"]', "", [20]),
        ('kinds = ["jpeg"]\nat = ["first", "last"]', "", [0, 39]),
        ('kinds = ["jpeg"]\nat = ["first", "middle", "last"]', "10,31,", [10, 20, 30]),
        ('kinds = ["jpeg"]\nevery = 0.5\nat = ["first"]', "", [0, 15, 30]),
        ('kinds = ["jpeg"]\nevery = 0.55\nat = ["first"]', "", [0, 16, 33]),  # 16.48 frames: not added up
        ('kinds = ["jpeg"]\nat = ["list"]', ",,00:00:59;21 00:01:00;02", [1, 10]),
    ],
)
def test_frames_of_stills(original: Path, settings: str, cells: str, wanted: list[int]) -> None:
    assert frames_of(original, settings, cells) == (wanted, ())


def test_a_still_outside_the_clip_is_said(original: Path) -> None:
    found, said = frames_of(original, 'kinds = ["jpeg"]\nat = ["list"]', ",,00:01:00;02 00:02:00;02")
    assert found == [10]
    assert said == ("no still at 00:02:00;02: the clip's frames are 00:00:59;20 to 00:01:01;01",)


def test_each_still_is_the_frame_of_its_number(original: Path, tmp_path: Path) -> None:
    """Every kind of file at every kind of place, the original's number read back from the picture."""
    (tmp_path / "day.csv").write_text(
        f"clip,encoding,levels,in,out,stills\n{original},LogC3,narrow,2,38,00:01:00;05\n"
    )
    (tmp_path / "r.toml").write_text(
        STILLS
        + 'kinds = ["jpeg", "png8", "png16", "tiff8", "tiff16"]\nat = ["first", "middle", "last", "list"]\nevery = 0.5\n'
    )
    out = tmp_path / "out"
    run = rushlight(
        "render", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml", "--out", out, "--workers", 1
    )
    assert run.returncode == 0, run.stdout + run.stderr
    (record,) = map(json.loads, (out / "log" / "jobs.jsonl").read_text().splitlines())
    entries = record["outputs"]
    assert {e["frame"] for e in entries} == {2, 13, 17, 20, 32, 37}
    assert len(entries) == 30 and len({e["path"] for e in entries}) == 30
    for entry in entries:
        luma = read_still(out / entry["path"]) @ [0.2126, 0.7152, 0.0722]
        codes = np.rint(np.clip(luma, 0, 1) * 219 + 16).astype(np.uint8)
        assert number_of(frame_of("yuv444p", codes, codes, codes)) == entry["frame"], entry["path"]


def test_what_a_slate_card_says_is_part_of_its_outputs_identity(original: Path) -> None:
    """A changed note remakes the movie whose card shows it, and none without a card."""
    listed = original.with_name("day.csv")
    listed.write_text("clip,encoding,levels\na.mov,LogC3,narrow\n")
    (clip,) = prepare(Request(clip_list=listed)).plan.clips
    output = '[[output]]\nname = "{0}"\nmake = "movie"\ncodec = "h264"\ncard = {1}\n[output.burnin]\nwatermark = "x"\n'
    recipe = parse_recipe(output.format("with", 24) + output.format("without", 0))
    carded, plain = zip(
        *(
            [o.identity for o in output_specs(clip, recipe, Known(source="", fields=fields, fonts={}))]
            for fields in (
                {"note": "lit"},
                {"day_title": "The Lamp Room, day 12"},
                {"note": "unlit"},
                {"weather": "rain"},
                {},
            )
        ),
        strict=True,
    )
    assert len(set(plain)) == 1
    assert len(set(carded)) == 4 and carded[3] == carded[4]  # what is not on the card is no part of it


def test_a_slate_card_has_the_days_title_where_there_is_one() -> None:
    first = Timecode.parse("01:00:00:00", FrameRate.parse(24))

    def facts(**fields: str) -> dict[str, str]:
        return dict(card_facts(fields, state="graded", first=first, count=24, encoding="LogC3"))

    assert facts(day_title="The Lamp Room, day 12")["Production"] == "The Lamp Room, day 12"
    assert facts()["Production"] == ""  # which is left out
