"""Identities of files and digests of recipes as earlier versions wrote them: what is delivered is not made again unasked.

The values were written down by the version before a recipe could have several looks (November 2026).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from here import write_list
from pictures import numbered, write_movie
from rushlight.batch.plan.jobs import Known, output_specs
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.job.spec import MovieSpec, digest_of
from rushlight.pipelines.recipe.read_recipe import parse_recipe, shipped_recipes

WHOLE = """
handles = 2
[look]
display = "P3-D65"
show_lut = "show.cube"
lut_input = "LogC3 narrow"
lut_output = "Rec.709 BT.1886 full"
exposure = 0.5
white_balance = "5600K"
printer_points = "1 0 -1"
size = 33

[[output]]
name = "editorial"
make = "movie"
codec = "prores-proxy"
size = "128x72"
[output.frame]
mode = "fill"

[[output]]
name = "show"
make = "movie"
codec = "dnxhr-lb"
size = "256x144"
state = "show"
sound = "mix"

[[output]]
name = "flat"
make = "movie"
codec = "dnxhr-hqx"
state = "log"
size = "256x144"

[[output]]
name = "viewing"
make = "movie"
codec = "h264"
container = "mp4"
size = "128x72"
card = 24
[output.burnin]
watermark = "VIEWING"
text = [{ at = "bottom", text = "{look} {grade} {timecode}" }]
[output.guides]
aspect = 2.39

[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg", "exr", "png16"]
at = ["first", "middle"]
path = "{reel}"
"""
CUBE = "LUT_3D_SIZE 2\n" + "".join(f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
DIGESTS = {
    "editorial": "36379ffc9bcc6d19",
    "editorial-mxf": "29fd47d49a311ded",
    "editorial-prores": "2a5a8fc93a77d91d",
    "frames": "9ea028ee9b16fd5e",
    "hdr-hlg": "5d6f51ce7cfb6c8c",
    "hdr-pq": "8f1a244c173ae43c",
    "overnight": "901e25a88ed9ff37",
    "remote": "82540ad68b2fb8fc",
    "slated": "ba6945aa54cf4c26",
    "states": "c8d8ed96fa7e5e3d",
    "stills": "dd892367fb5426be",
    "viewing": "9534a7337a610b4a",
    "whole": "ea7cdfb1224c4127",
}
IDENTITIES = {
    "editorial/editorial": "906b436fff9b7fd0",
    "editorial-mxf/editorial": "cf51dfd75e5920e2",
    "editorial-prores/editorial": "f0520fd19894fe93",
    "frames/frames": "bd636de9e8c23e20",
    "hdr-hlg/hdr": "2340d047174f7bba",
    "hdr-pq/hdr": "01b8227fd903559a",
    "overnight/editorial": "906b436fff9b7fd0",
    "overnight/viewing": "93b6fed85337f2a8",
    "overnight/stills": "1d0dfbaf1929c077",
    "remote/remote": "6b97991e59215869",
    "slated/slated": "ed35f44f9d04c63d",
    "states/log picture": "7f6f786018e58c5a",
    "states/show": "c8082c585ed294c0",
    "states/graded": "8159cf4c942b566e",
    "stills/stills": "1d0dfbaf1929c077",
    "viewing/viewing": "93b6fed85337f2a8",
    "whole/editorial": "9de3d448c5429314",
    "whole/show": "9e24c39a0a9321d3",
    "whole/flat": "fc2a8ef387d5c8d1",
    "whole/viewing": "126143f96aee7017",
    "whole/stills": "86d67e3e97ac0e79",
}


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("day")
    write_movie(folder / "A001C001.mov", [numbered(n) for n in range(3)], timecode="01:00:00:00")
    (folder / "show.cube").write_text(CUBE)
    (folder / "whole.toml").write_text(WHOLE)
    cells = {"reel": "A001", "scene": "12", "slope": "1.1 1 0.9", "offset": "0 0.01 0", "power": "1 1 1.05"}
    return write_list(folder / "day.csv", {"A001C001": cells})


def recipes() -> dict[str, str]:
    return {**shipped_recipes(), "whole": WHOLE}


def test_digests_of_recipes() -> None:
    found = {name: parse_recipe(text).digest()[7:23] for name, text in recipes().items()}
    assert {name: found[name] for name in DIGESTS} == DIGESTS


def test_identities_of_files(day: Path) -> None:
    """All that makes each file of each recipe what it is: not a byte of the original, so on any machine."""
    found = {}
    for name, text in recipes().items():
        recipe = str(day.with_name("whole.toml")) if name == "whole" else name
        (clip,) = prepare(Request(clip_list=day, recipe=recipe)).plan.clips
        known = Known(source="xxh3_128:0", fields={"look": "a look", "scene": "12"}, fonts={})
        for spec in output_specs(clip, parse_recipe(text), known):
            also = [spec.picture_identity] if isinstance(spec, MovieSpec) else []
            found[f"{name}/{spec.output}"] = digest_of([spec.identity, *also], 16)
    assert {name: found[name] for name in IDENTITIES} == IDENTITIES
