"""What of a clip is due once its original is another copy: all of it, under hashes of its own, in however many goes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from damaged_card import RECIPE, Card, card, day, listed, made, records, render
from here import HereFarm, farm_here, run

__all__ = ["card", "day", "farm_here"]


def test_parts_failures_and_whole_hashes(card: Card, day: Path, farm_here: HereFarm) -> None:
    listed(day, card, "intra.mov")
    still = (
        '[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nat = ["first"]\nsize = "256x144"\n'
    )
    (day / "r.toml").write_text(RECIPE + still)
    render(day, "--hash-originals")
    before = records(day)["intra.mov"]
    card.put(card.whole, "intra")

    def fails(task: Any) -> None:
        raise ZeroDivisionError("made to fail")

    farm_here.before = fails
    code, _ = run("render", day / "day.csv", "--recipe", day / "r.toml", "--out", day / "out")
    failed = records(day)["intra.mov"]
    assert code == 1 and failed["status"] == "failed" and failed["damage"] == before["damage"]
    farm_here.before = lambda task: None
    farm_here.calls.clear()
    # the first frame alone is made, and what it leaves is still to be made again
    said = render(day, "--output", "stills", "--hash-originals")
    assert "can be read now; made again" in said and made(farm_here) == ["intra"]
    half = records(day)["intra.mov"]
    assert half["source"]["mended"] == [[28, 28]] and half["damage"] == [
        before["damage"][0] | {"revision": 1}
    ]
    assert half["source"]["hash"] != before["source"]["hash"]
    render(day, "--hash-originals")
    assert made(farm_here) == ["intra"]
    after = records(day)["intra.mov"]
    assert after["damage"] == [] and len(after["outputs"]) == 2 and after["revision"] >= 2
    assert after["source"]["mended"] == [[28, 28]] and after["source"]["hash"] == half["source"]["hash"]
    kept = list((day / "out" / "revisions").rglob("intra*"))
    assert {path.suffix for path in kept} == {".jpg", Path(before["outputs"][0]["path"]).suffix}, kept
    render(day, "--hash-originals")
    assert made(farm_here) == []
