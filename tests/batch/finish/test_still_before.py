"""The log picture beside a clip's still is of the same frame, framed alike, and in log."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from here import HereFarm, farm_here, run, small_day  # noqa: F401
from rushlight.batch.job_log import latest, read_records
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.report.page_pictures import PICTURES, pictures_there, shown_of
from rushlight.pipelines.outputs.stills import read_still

STILLS = """
[[output]]
name = "stills"
make = "stills"
kinds = ["png8"]
at = ["first"]
size = "128x96"
"""


def number_seen(picture: np.ndarray, top: int, height: int) -> int:
    """The number that the upper half of a picture (h, w, 3) carries as sixteen bars."""
    bars = picture[top + height // 8 : top + height // 3].mean((0, 2)).reshape(16, -1)[:, 2:-2].mean(1)
    return sum(1 << bit for bit, bar in enumerate(bars) if bar > (bars.min() + bars.max()) / 2)


@pytest.mark.parametrize("stills", ["", STILLS], ids=["of the strip", "of a still"])
def test_before_and_after_are_one_frame(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    stills: str,
) -> None:
    day, out = small_day(tmp_path / "day", {"A001C001": 4, "A001C002": 7}), tmp_path / "out"
    recipe = tmp_path / "day" / "two.toml"
    recipe.write_text(recipe.read_text() + stills)
    code, said = run("render", day, "--recipe", recipe, "--out", out)
    assert code == 0, said
    for record in latest(read_records(out)).values():
        assert isinstance(record, DeliveredRecord)
        names, shown = pictures_there(out, record), shown_of(record)
        assert shown and names["before"]
        before, after = (read_still(out / PICTURES / names[key]) for key in ("before", "still"))
        assert before.shape == after.shape
        top, high = shown[0].picture[1], shown[0].picture[3]
        carried = 100 * (record.clip == "A001C002.mov") + shown[1]
        assert number_seen(before, top, high) == number_seen(after, top, high) == carried
        assert np.abs(before[:top]).max(initial=0) < 0.02  # framed alike: black above is no picture
        bars = before[top : top + high // 3]
        assert {round(float(q), 2) for q in np.quantile(bars, [0.01, 0.99])} <= {0.11, 0.84, 0.83, 0.12}
        assert names["before"] in (out / "report" / "index.html").read_text()


def test_an_original_that_is_gone_costs_no_clip(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("rushlight.batch.finish.still_before.open_source", None)
    day, out = small_day(tmp_path / "day", {"A001C001": 2}), tmp_path / "out"
    code, said = run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out)
    assert code == 0 and "delivered 1 clip" in said
    assert "before.jpg" not in (out / "report" / "index.html").read_text()
