"""A chart that a row names is measured as its clip is finished, and said on its page and in its record; it changes no picture."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from here import HereFarm, farm_here, run  # noqa: F401
from rushlight.batch.job_log import latest, read_records
from rushlight.batch.records.job_record import DeliveredRecord

SAMPLES = Path(__file__).resolve().parents[3] / "sample_frames"
RECIPE = """
name = "one"
[[output]]
name = "stills"
make = "stills"
kinds = ["jpeg"]
at = ["first"]
size = "96x54"
"""
CORNERS = "110 150 402 150 403 342 116 342"  # of the card in A001C007, read off its picture


def rendered(tmp_path: Path, chart: str, name: str = "out") -> tuple[DeliveredRecord, str, Path]:
    day, recipe, out = tmp_path / "day.csv", tmp_path / "one.toml", tmp_path / name
    row = f"{SAMPLES / 'A001C007.mov'},LogC3,narrow,10:05:59;12,10:05:59;16,{chart}"
    day.write_text(f"clip,encoding,levels,in,out,chart\n{row}\n")
    recipe.write_text(RECIPE)
    code, said = run("render", day, "--recipe", recipe, "--out", out)
    assert code == 0, said
    (record,) = latest(read_records(out)).values()
    assert isinstance(record, DeliveredRecord)
    return record, (out / "report" / "index.html").read_text(), out


def test_the_chart_of_a_scene_is_measured(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """The scene's own light at each patch is known, as it was before the camera encoded it."""
    record, page, _ = rendered(tmp_path, CORNERS)
    chart = record.chart
    assert chart and (chart.frame, chart.timecode) == (2, "10:05:59;14")
    truth = json.loads((SAMPLES / "truth.json").read_text())["A001C007.mov"]["patches"]
    found = np.array([patch.ap0 for patch in chart.patches.values()])
    wanted = np.array([patch["ap0"] for patch in truth.values()])
    assert np.abs(found / wanted - 1).max() < 0.03 and np.abs(found / wanted - 1).mean() < 0.006
    assert abs(chart.exposure) < 0.03 and chart.cct and 8000 < chart.cct < 8400  # a bluish morning
    assert 1 < chart.mean < chart.worst < 8 and chart.neutral > 3
    assert "greys of 82" in page and "bluer than neutral" in page and "Nothing was corrected by it." in page
    assert page.count("<title>dark skin: CIEDE2000") == 1
    plain, without, _ = rendered(tmp_path, "", "other")
    assert plain.chart is None and "chart" not in plain.plain() and "bluer than neutral" not in without
    assert plain.colour.digest == record.colour.digest
    assert [e.identity for e in plain.outputs] == [e.identity for e in record.outputs]


def test_a_chart_outside_its_clip_is_said_and_costs_nothing(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    record, _, _ = rendered(tmp_path, f"{CORNERS} @ 10:06:05;00")
    assert record.chart is None
    assert record.warnings[1:] == [
        "no chart at 10:06:05;00: the clip's frames are 10:05:59;12 to 10:05:59;15"
    ]


def test_a_chart_outside_the_picture_is_said_and_costs_nothing(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    record, _, _ = rendered(tmp_path, CORNERS.replace("402", "4020"))
    _ungraded, said = record.warnings
    assert record.chart is None and "not measured: its corners leave the picture, which is 960x540" in said


def test_a_cell_that_is_no_chart_is_the_rows_fault(tmp_path: Path) -> None:
    day, recipe = tmp_path / "day.csv", tmp_path / "one.toml"
    day.write_text(f"clip,encoding,levels,chart\n{SAMPLES / 'A001C007.mov'},LogC3,narrow,middle\n")
    recipe.write_text(RECIPE)
    code, said = run("plan", day, "--recipe", recipe)
    assert code == 1 and "chart" in said and "takes eight numbers" in " ".join(said.split())
