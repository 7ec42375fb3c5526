"""Names by template through nights: what is there moves and is not made again, and log, pages, manifest and verify tell of the same."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from here import HereFarm, farm_here, files, run, small_day, write_list  # noqa: F401
from logged import latest, read_records

Rows = dict[str, dict[str, str]]
ROWS: Rows = {"A001C001": {"scene": "4", "camera": "A"}, "A001C002": {"scene": "5", "camera": "A"}}
NAMES = '\npath = "{camera}-cam/{unit}"\nfile = "{scene}_{clip}"\n'


@pytest.fixture
def night(tmp_path: Path, farm_here: HereFarm) -> Callable[..., set[str]]:  # noqa: F811
    """Render rows by a recipe with these names into `out`; gives the outputs that were made of each clip, as `clip output`."""
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    plain = (tmp_path / "day" / "two.toml").read_text()
    stills = '[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nsize = "128x72"\nat = ["first", "last"]\n'

    def render(rows: Rows, names: str = NAMES, still: str = "", *more: str) -> set[str]:
        recipe = plain.replace('size = "128x72"\n', f'size = "128x72"{names or chr(10)}')
        (tmp_path / "day" / "two.toml").write_text(recipe + stills + still)
        write_list(day, rows)
        farm_here.calls.clear()
        code, said = run("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", out, *more)
        assert code == 0, said
        found = [task.arguments[0] for task in farm_here.calls if task.function.endswith("finish_job")]
        return {f"{job['stem']} {output['output']}" for job in found for output in job["outputs"]}

    return render


def agree(out: Path) -> set[str]:
    """The delivered files, once log, folder, manifest, pages and verify are found to tell of the same."""
    records = latest(read_records(out)).values()
    logged = {each["path"] for record in records for each in record["outputs"]}
    tables = {f"{output}/clips.{kind}" for output in ("editorial", "viewing") for kind in ("csv", "otio")}
    there = set(files(out, "editorial", "viewing", "stills"))
    assert logged == there
    manifests = "".join(path.read_text() for path in (out / "ascmhl").glob("*.mhl"))
    assert sorted(re.findall("<path size=[^>]*>([^<]*)</path>", manifests)) == sorted(there | tables)
    listed = (out / "viewing" / "clips.csv").read_text()
    assert all(path.removeprefix("viewing/") in listed for path in there if path.startswith("viewing/"))
    page = (out / "report" / "index.html").read_text()
    assert all(path in page for path in there if not path.startswith("stills"))
    measured = json.loads(run("verify", out, "--json")[1])["clips"]  # pictures this small do not measure well
    assert {path for clip in measured for path in clip["files"]} == there
    assert {clip["checks"][name]["verdict"] for clip in measured for name in ("hash", "timecode")} == {"pass"}
    return there


def test_a_folder_made_before_templates_is_recognised_and_only_renamed(
    tmp_path: Path, night: Callable[..., set[str]]
) -> None:
    out = tmp_path / "out"
    assert len(night(ROWS, "")) == 6
    flat = files(out, "editorial", "viewing", "stills")
    assert set(flat) == agree(out) >= {"editorial/A001C001.mov", "stills/A001C002.000005.jpg"}
    assert night(ROWS, "") == set()  # nothing is made again for nothing
    assert night(ROWS, NAMES, 'file = "{clip}_{timecode}"\n') == set()  # nor for a name
    there = agree(out)
    assert there == {
        *("editorial/A-cam/4_A001C001.mov", "editorial/A-cam/5_A001C002.mov"),
        *("viewing/A-cam/4_A001C001.mp4", "viewing/A-cam/5_A001C002.mp4"),
        *("stills/A001C001_01.00.00.00.jpg", "stills/A001C001_01.00.00.03.jpg"),
        *("stills/A001C002_02.00.00.00.jpg", "stills/A001C002_02.00.00.05.jpg"),
    }
    assert sorted(files(out, "editorial", "viewing", "stills").values()) == sorted(flat.values())
    assert night(ROWS, NAMES, 'file = "{clip}_{timecode}"\n') == set()
    assert night(ROWS, "") == set() and agree(out) == set(flat)  # and back


def test_a_scene_that_changes_later(tmp_path: Path, night: Callable[..., set[str]]) -> None:
    """What shows no scene moves to its new name; what burns it in is made again under it, and the old file is a revision."""
    out = tmp_path / "out"
    night(ROWS)
    before = files(out, "editorial", "viewing")
    assert night({**ROWS, "A001C001": {"scene": "7", "camera": "B"}}) == {"A001C001 viewing"}
    there = agree(out)
    assert {p for p in there if "C001." in p and "stills" not in p} == {
        "editorial/B-cam/7_A001C001.mov",
        "viewing/B-cam/7_A001C001.mp4",
    }
    now = files(out, "editorial", "viewing")
    assert now["editorial/B-cam/7_A001C001.mov"] == before["editorial/A-cam/4_A001C001.mov"]
    old = "viewing/A-cam/4_A001C001.mp4"
    assert files(out, "revisions") == {f"revisions/1/{old}": before[old]}
    assert f"kept as revisions/1/{old}" in (out / "report" / "index.html").read_text()


def test_clips_that_change_their_scenes_with_each_other(
    tmp_path: Path,
    night: Callable[..., set[str]],
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """Each name goes to the other clip: no file is lost, and none is taken for the other's."""
    farm_here.slots = 1  # one whole clip after the other
    out, names = tmp_path / "out", '\nfile = "{scene}"\n'
    night(ROWS, names)
    before = files(out, "editorial", "viewing")
    swapped = {
        "A001C001": {"scene": "5", "camera": "A"},
        "A001C002": {"scene": "4", "camera": "A"},
    }
    assert night(swapped, names) == {"A001C001 viewing", "A001C002 viewing"}
    agree(out)
    now = files(out, "editorial")
    assert (
        now["editorial/4.mov"] == before["editorial/5.mov"]
        and now["editorial/5.mov"] == before["editorial/4.mov"]
    )
    kept = {f"revisions/1/viewing/{n}.mp4": before[f"viewing/{n}.mp4"] for n in (4, 5)}
    assert files(out, "revisions") == kept
    records = {r["clip"]: r for r in latest(read_records(out)).values()}
    for clip, old in (("A001C001.mov", "4"), ("A001C002.mov", "5")):
        assert [r["kept"] for r in records[clip]["replaced"]] == [f"revisions/1/viewing/{old}.mp4"]
        assert records[clip]["revision"] == 2 and not records[clip].get("error")
    assert night(swapped, names) == set()


def test_a_name_that_another_clip_would_have_as_well(tmp_path: Path, night: Callable[..., set[str]]) -> None:
    """The one that has it keeps it, the other has its own name behind; both are said by plan before the night."""
    out, names = tmp_path / "out", '\nfile = "{scene}"\n'
    night(ROWS, names)
    rows = {**ROWS, "A001C001": {"scene": "5", "camera": "A"}}
    write_list(tmp_path / "day" / "day.csv", rows)
    code, said = run(
        "plan",
        tmp_path / "day" / "day.csv",
        "--recipe",
        tmp_path / "day" / "two.toml",
        "--out",
        out,
        "--json",
    )
    clips = {clip["clip"]: clip for clip in json.loads(said)["clips"]}
    assert clips["A001C001.mov"]["files"][0] == "editorial/5_A001C001.mov" and code == 0
    words = "the template gives editorial/5.mov, which is A001C002.mov's as well; this clip's is editorial/5_A001C001.mov"
    assert any(words in each for each in clips["A001C001.mov"]["warnings"])
    night(rows, names)
    assert agree(out) >= {
        "editorial/5.mov",
        "editorial/5_A001C001.mov",
        "viewing/5.mp4",
        "viewing/5_A001C001.mp4",
    }


def test_what_is_delivered_and_no_row_asks_for_any_more_keeps_its_names(
    tmp_path: Path, night: Callable[..., set[str]]
) -> None:
    out, names = tmp_path / "out", '\nfile = "{scene}"\n'
    night({"A001C001": {"scene": "4"}}, names)
    before = files(out, "editorial", "viewing")
    night({"A001C002": {"scene": "4"}}, names)
    assert agree(out) >= {"editorial/4.mov", "editorial/4_A001C002.mov", "viewing/4_A001C002.mp4"}
    assert files(out, "editorial", "viewing").items() >= before.items()
