"""Several looks and displays of a recipe, from list to delivery: each file as an FFmpeg that is not ours decodes it, held to what
OpenColorIO makes of the clip's codes for that look and display, and to no other's."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import OpenImageIO as oiio
import opentimelineio as otio
import pytest

import independent
import ocio
from here import rushlight
from logged import latest, read_records
from pictures import write_sequence
from rushlight.pipelines.render import segment

WIDTH, HEIGHT = 256, 144
CODES = np.array(
    [(c, c, c) for c in (150, 300, 400, 500, 600)] + [(500, 330, 280), (300, 480, 320), (310, 330, 520)]
)
SLOPE, OFFSET = (1.1, 1.0, 0.92), (0.01, 0.0, -0.02)
RECIPE = """
[look]
show_lut = "show.cube"

[looks.producer]
show_lut = "warm.cube"

[looks.hdr]
show_lut = "none"
display = "PQ BT.2100"

[[output]]
name = "editorial"
make = "movie"
codec = "dnxhr-hqx"
size = "256x144"

[[output]]
name = "copy"
make = "movie"
codec = "prores-422"
size = "256x144"
look = "producer"

[[output]]
name = "small copy"
make = "movie"
codec = "h264"
container = "mp4"
size = "256x144"
look = "producer"
[output.burnin]
text = [{ at = "bottom", text = "{look}", size = 0.06 }]

[[output]]
name = "p3"
make = "movie"
codec = "dnxhr-hqx"
size = "256x144"
display = "P3-D65"

[[output]]
name = "hdr"
make = "movie"
codec = "hevc-10"
container = "mp4"
size = "256x144"
quality = 4
preset = "superfast"
look = "hdr"

[[output]]
name = "sdr"
make = "movie"
codec = "dnxhr-hqx"
size = "256x144"
lut = "none"

[[output]]
name = "flat"
make = "movie"
codec = "dnxhr-hqx"
size = "256x144"
state = "log"

[[output]]
name = "stills"
make = "stills"
kinds = ["png16"]
at = ["first"]
size = "256x144"

[[output]]
name = "producer stills"
make = "stills"
kinds = ["png16", "exr"]
at = ["first"]
size = "256x144"
look = "producer"
"""
SHOW = ((0.9, 0.05, 0.0), (0.02, 0.85, 0.05), (0.0, 0.1, 0.8))
WARM = ((0.95, 0.05, 0.0), (0.1, 0.7, 0.02), (0.05, 0.1, 0.5))
P3 = "P3-D65 - Display"
REC709 = "Rec.1886 Rec.709 - Display"


def cube(path: Path, matrix: tuple[tuple[float, ...], ...]) -> Path:
    """A LUT of two points a side: between them a matrix, by tetrahedra and trilinearly alike."""
    rows = [np.array(matrix) @ (r, g, b) + 0.03 for b in (0, 1) for g in (0, 1) for r in (0, 1)]
    path.write_text("LUT_3D_SIZE 2\n" + "".join("{:.6f} {:.6f} {:.6f}\n".format(*row) for row in rows))
    return path


def patches(picture: np.ndarray) -> np.ndarray:
    """Means (8, n) of the middles of eight patches side by side."""
    step = WIDTH // len(CODES)
    return np.array(
        [picture[20:100, k * step + 8 : (k + 1) * step - 8].mean((0, 1)) for k in range(len(CODES))]
    )


class Day:
    def __init__(self, folder: Path) -> None:
        self.folder, self.out = folder, folder / "out"
        picture = np.repeat(np.repeat(CODES[None], HEIGHT, 0), WIDTH // len(CODES), 1).astype(np.uint16)
        write_sequence(folder / "A001C001", [picture] * 3)
        cube(folder / "show.cube", SHOW)
        cube(folder / "warm.cube", WARM)
        (folder / "r.toml").write_text(RECIPE)
        cells = ["A001C001", "LogC3", "full", "A001", *(" ".join(map(str, v)) for v in (SLOPE, OFFSET))]
        (folder / "day.csv").write_text("clip,encoding,levels,reel,slope,offset\n" + ",".join(cells) + "\n")
        self.opened = 0
        whole = segment.open_source

        def counted(*arguments: Any, **options: Any) -> Any:
            self.opened += 1
            return whole(*arguments, **options)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(segment, "open_source", counted)
            self.run = self.render()
        assert self.run.returncode == 0, self.run.stdout + self.run.stderr

    def render(self, *options: object) -> Any:
        given = options or (self.folder / "day.csv", "--recipe", self.folder / "r.toml", "--out", self.out)
        return rushlight("render", *given, "--workers", 1)

    @property
    def record(self) -> dict[str, Any]:
        (record,) = latest(read_records(self.out)).values()
        return record

    def entry(self, output: str) -> dict[str, Any]:
        return next(e for e in self.record["outputs"] if e["output"] == output)

    def shown(self, output: str) -> np.ndarray:
        """R'G'B' of each patch of the middle frame, as FFmpeg decodes it, by the matrix that the file's tags name."""
        entry = self.entry(output)
        path = self.out / entry["path"]
        y, cb, cr = (
            independent.raw(path, "yuv444p10le", WIDTH, HEIGHT, 1).reshape(3, HEIGHT, WIDTH).astype(float)
        )
        y, cb, cr = (y - 64) / 876, (cb - 512) / 896, (cr - 512) / 896
        said = independent.said(path)
        kr, kb = (0.2627, 0.0593) if "bt2020nc" in said else (0.2126, 0.0722)
        assert "bt2020nc" in said or "bt709" in said, said
        red, blue = y + 2 * (1 - kr) * cr, y + 2 * (1 - kb) * cb
        return patches(np.stack([red, (y - kr * red - kb * blue) / (1 - kr - kb), blue], -1))


def exact(folder: Path) -> dict[str, np.ndarray]:
    """R'G'B' of each patch by OpenColorIO, for each look."""
    graded = np.clip(CODES / 1023 * SLOPE + OFFSET, 0, 1)
    show, warm = (ocio.through_file(graded, folder / f"{name}.cube") for name in ("show", "warm"))
    hdr = ("Rec.2100-PQ - Display", "ACES 2.0 - HDR 1000 nits (Rec.2020)")
    return {
        "editorial": show,
        "copy": warm,
        "small copy": warm,
        "p3": ocio.converted(show, REC709, P3),
        "hdr": ocio.displayed(graded, "ARRI LogC3 (EI800)", *hdr),
        "sdr": ocio.displayed(graded, "ARRI LogC3 (EI800)"),
        "flat": CODES / 1023,
    }


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Day]:
    yield Day(tmp_path_factory.mktemp("looks"))


@pytest.mark.parametrize("output", ["editorial", "copy", "small copy", "p3", "hdr", "sdr"])
def test_each_file_is_its_own_look_for_its_own_display(day: Day, output: str) -> None:
    found, wanted = day.shown(output), exact(day.folder)
    # Of the signal. 8 bits and long-GOP are coarser, and so is a baked lattice of ACES 2.0 in its darkest colours.
    least = 0.006 if output in ("small copy", "sdr") else 0.003
    assert np.abs(found - np.clip(wanted[output], 0, 1)).max() < least, found - wanted[output]
    others = [name for name in wanted if not np.array_equal(wanted[name], wanted[output])]
    assert all(np.abs(found - wanted[name]).max() > 5 * least for name in others)


def test_a_log_picture_beside_graded_ones_has_the_original_s_codes(day: Day) -> None:
    path = day.out / day.entry("flat")["path"]
    y, cb, cr = independent.raw(path, "yuv444p10le", WIDTH, HEIGHT, 1).reshape(3, HEIGHT, WIDTH).astype(float)
    red, blue = y + 1.5748 * (cr - 512), y + 1.8556 * (cb - 512)  # BT.709 on the codes themselves
    found = patches(np.stack([red, (y - 0.2126 * red - 0.0722 * blue) / 0.7152, blue], -1))
    assert np.abs(found - CODES).max() < 2


@pytest.mark.parametrize(("output", "look"), [("stills", "editorial"), ("producer stills", "copy")])
def test_stills_have_the_look_of_their_output(day: Day, output: str, look: str) -> None:
    path = next((day.out / output).rglob("*.png"))
    picture = np.asarray(oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT), np.float64)
    assert np.abs(patches(picture) - exact(day.folder)[look]).max() < 2e-4


def test_scene_light_is_the_same_under_any_look(day: Day) -> None:
    path = next((day.out / "producer stills").rglob("*.exr"))
    light = patches(np.asarray(oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT), np.float64))
    assert light == pytest.approx(
        ocio.converted(CODES / 1023, "ARRI LogC3 (EI800)", "ACES2065-1"), rel=2e-3, abs=2e-4
    )


def test_one_decode_feeds_all(day: Day) -> None:
    assert day.opened == 1


def test_tags_are_of_each_display(day: Day) -> None:
    wanted = {"editorial": (1, 1), "copy": (1, 1), "p3": (12, 2), "hdr": (9, 16), "flat": (2, 2)}
    found = {name: day.entry(name)["tags"] for name in wanted}
    assert {name: (tags["primaries"], tags["transfer"]) for name, tags in found.items() if name != "p3"} == {
        name: codes for name, codes in wanted.items() if name != "p3"
    }
    assert found["p3"]["primaries"] == 12
    assert day.entry("hdr")["light"]["max_cll"] > 0


def test_the_record_says_each_picture_s_look(day: Day) -> None:
    record = day.record
    pictures = {tuple(p["outputs"]): p for p in record["colour"]["pictures"]}
    assert "look" not in pictures[("editorial",)] and "look" not in day.entry("editorial")
    named = {name: p for outputs, p in pictures.items() for name in outputs if "look" in p}
    assert {name: (p["look"], p["display"]) for name, p in named.items()} == {
        "copy": ("producer", "Rec.709 BT.1886"),
        "small copy": ("producer", "Rec.709 BT.1886"),
        "p3": ("display P3-D65", "P3-D65"),
        "hdr": ("hdr", "PQ BT.2100"),
        "sdr": ("lut none", "Rec.709 BT.1886"),
    }
    assert {e["output"]: e.get("look", "") for e in record["outputs"]}["producer stills"] == "producer"
    assert all(p["look_digest"] == record["looks"][p["look"]]["digest"] for p in named.values())
    assert list(record["looks"]) == ["producer", "display P3-D65", "hdr", "lut none"]
    digests = [record["look"]["digest"], *(look["digest"] for look in record["looks"].values())]
    assert len(set(digests)) == 5
    assert len({record["colour"]["digest"], *(look["colour"] for look in record["looks"].values())}) == 5
    white = [look["patches"]["white 90 %"]["lab"] for look in (record["colour"], *record["looks"].values())]
    assert white[0] != white[1]
    assert white[0] == pytest.approx(white[2], abs=0.1)  # the same light for another display
    assert 'show LUT "warm"' in record["looks"]["producer"]["description"]


def test_tables_tags_and_page_name_the_look_of_each_file(day: Day) -> None:
    looks, own = day.record["looks"], day.record["look"]
    for output, look in (("editorial", own), ("copy", looks["producer"]), ("p3", looks["display P3-D65"])):
        (row,) = csv.DictReader(io.StringIO((day.out / output / "clips.csv").read_text()))
        assert (row["look"], row["look_digest"]) == (look["description"], look["digest"])
        assert row["display"] == ("P3-D65" if output == "p3" else "Rec.709 BT.1886")
        (clip,) = otio.adapters.read_from_file(str(day.out / output / "clips.otio")).find_clips()
        assert clip.metadata["rushlight"]["look"]["digest"] == look["digest"]
        assert look["digest"] in independent.said(day.out / day.entry(output)["path"])
    page = (day.out / "report" / "index.html").read_text()
    for name, look in looks.items():
        assert f"<td>{name}</td>" in page and look["digest"] in page and look["colour"] in page


def test_verify_holds_each_file_to_its_own_look(day: Day) -> None:
    run = rushlight("verify", day.out, "--json")
    assert run.returncode == 0, run.stdout + run.stderr
    (clip,) = json.loads(run.stdout)["clips"]
    found = {
        Path(path).parts[0]: checks["colour"] for path, checks in clip["files"].items() if "colour" in checks
    }
    assert {check["verdict"] for check in found.values()} <= {"pass", "cannot tell"}
    assert {"editorial", "copy", "p3", "hdr", "sdr", "flat", "stills", "producer stills"} <= found.keys()


def test_verify_tells_a_file_that_has_another_s_look(day: Day, tmp_path: Path) -> None:
    """The producer's copy in the place of the editor's: the same picture through the other LUT."""
    out = tmp_path / "out"
    shutil.copytree(day.out, out)
    right, wrong = (out / day.entry(name)["path"] for name in ("editorial", "sdr"))
    shutil.copyfile(wrong, right)
    run = rushlight("verify", out, "--json", "--no-hash")
    (clip,) = json.loads(run.stdout)["clips"]
    assert run.returncode == 1
    assert clip["files"]["editorial/A001C001.mov"]["colour"]["verdict"] == "fail"


def test_nothing_is_made_again_until_a_look_changes(day: Day) -> None:
    before = {e["output"]: e["hash"] for e in day.record["outputs"]}
    assert "unchanged" in day.render().stdout
    assert {e["output"]: e["hash"] for e in day.record["outputs"]} == before


def test_made_again_from_the_folder_every_colour_is_the_same(day: Day) -> None:
    run = day.render("--from", day.out, "--out", day.folder / "again")
    assert run.returncode == 0, run.stdout + run.stderr
    (again,) = latest(read_records(day.folder / "again")).values()
    was = day.record
    assert again["colour"]["digest"] == was["colour"]["digest"]
    assert {n: (x["digest"], x["colour"]) for n, x in again["looks"].items()} == {
        n: (x["digest"], x["colour"]) for n, x in was["looks"].items()
    }
