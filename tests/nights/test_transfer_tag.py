"""A movie tagged otherwise than its display: plan and record say so, only tags change, and the colour digest is that of before."""

from __future__ import annotations

from pathlib import Path

import numpy as np

import independent
from here import RECIPE, HereFarm, farm_here, run, small_day  # noqa: F401
from logged import read_records
from rushlight.batch.verify.deliveries import verify
from rushlight.pipelines.outputs.readback import read_back


def test_only_the_tags_change(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day, found = small_day(tmp_path / "media", {"A001C001": 4}), []
    for name, more in (("plain", ""), ("tagged", "transfer_tag = 13\n")):
        recipe, out = tmp_path / f"{name}.toml", tmp_path / name
        recipe.write_text(RECIPE.replace('preset = "veryfast"\n', f'preset = "veryfast"\n{more}'))
        code, said = run("plan", day, "--recipe", recipe)
        assert code == 0 and ("tagged as transfer 13 (sRGB) instead of 1" in " ".join(said.split())) == bool(
            more
        ), said
        assert run("render", day, "--recipe", recipe, "--out", out)[0] == 0
        (record,) = read_records(out)
        assert any("transfer 13 (sRGB)" in text for text in record["warnings"]) == bool(more)
        (viewing,) = [entry for entry in record["outputs"] if entry["output"] == "viewing"]
        found.append((record, viewing, out / viewing["path"]))
        checks = [checks for clip in verify(out) for checks in clip.files.values()]
        assert len(checks) == 2 and all(each["tags"].verdict == "pass" for each in checks)
    (plain, before, one), (tagged, after, other) = found
    assert plain["colour"]["digest"] == tagged["colour"]["digest"]
    assert [p["outputs"] for p in plain["colour"]["pictures"]] == [
        p["outputs"] for p in tagged["colour"]["pictures"]
    ]
    assert before["tags"]["transfer"] == before["picture_tags"]["transfer"] == 1
    assert after["tags"] == after["picture_tags"] == {**before["tags"], "transfer": 13}
    assert read_back(other).tags == (1, 13, 1, "narrow")
    pixels = [independent.raw_frames(path, "yuv420p", 128, 72) for path in (one, other)]
    assert np.array_equal(*pixels) and pixels[0].size == 4 * 128 * 72 * 3 // 2
    editorial = [e["identity"] for r in (plain, tagged) for e in r["outputs"] if e["output"] == "editorial"]
    assert editorial[0] == editorial[1] and before["identity"] != after["identity"]
