"""`render --from`: any part of an output folder made again from what it keeps, byte for byte."""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from here import RECIPE, HereFarm, farm_here, files, run, small_day  # noqa: F401
from logged import latest, read_records
from rushlight.batch.run.kept_inputs import kept_requests, read_requests
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.grading import bake
from rushlight.pipelines.grading.bake import Baked

BOTH = ("editorial", "viewing")
CCC = """<ColorCorrectionCollection xmlns="urn:ASC:CDL:v1.2"><ColorCorrection id="warm"><SOPNode>
<Slope>1.1 1 0.9</Slope><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode></ColorCorrection>
</ColorCorrectionCollection>"""


def cube(gain: float) -> str:
    rows = [f"{r * gain:.4f} {g:.4f} {b:.4f}" for b in (0, 0.5, 1) for g in (0, 0.5, 1) for r in (0, 0.5, 1)]
    return "LUT_3D_SIZE 3\n" + "\n".join(rows) + "\n"


def everything(folder: Path) -> tuple[object, ...]:
    """A day whose request is spread over as many files as there are kinds; gives the command without --out."""
    import matplotlib

    small_day(folder / "card", {"A001C001": 4, "A001C002": 4, "B001C001": 3})
    paper = folder / "paper"
    (paper / "grades").mkdir(parents=True)
    shutil.copy(Path(matplotlib.get_data_path(), "fonts/ttf/DejaVuSans.ttf"), paper / "given.ttf")
    (paper / "row.ccc").write_text(CCC)
    (paper / "grades" / "more.csv").write_text("id,slope,offset,power\nA001C002,1 1.1 1,0 0 0,1 1 1\n")
    (paper / "row.cube").write_text(cube(0.9))
    (paper / "show.cube").write_text(cube(0.8))
    (paper / "cam.cube").write_text(cube(0.7))
    (paper / "day.toml").write_text('[[default]]\ncamera = "B"\nlut = "cam.cube"\nlevels = "narrow"\n')
    recipe = RECIPE.replace("[output.burnin]", f'[output.burnin]\nfont = "{paper / "given.ttf"}"')
    (paper / "two.toml").write_text('[look]\nshow_lut = "show.cube"\n' + recipe.replace('name = "two"', ""))
    (paper / "day.csv").write_text(
        "clip,scene,cdl,lut\n"
        f"{folder / 'card' / 'A001C001.mov'},4,row.ccc#warm,row.cube\n"  # by its absolute path
        "A001C002.mov,5,,\nB001C001.mov,,,\n"
    )
    return (
        *("render", paper / "day.csv", "--recipe", paper / "two.toml", "--media", folder / "card"),
        *("--grades", paper / "grades", "--defaults", paper / "day.toml"),
        *("--encoding", "LogC3", "--levels", "narrow"),
    )


def drifted(real: Callable[..., Baked], *arguments: Any) -> Baked:
    """As a later version of a library bakes: the same look, with other last digits."""
    made = real(*arguments)
    return replace(made, lattice=made.lattice + np.float32(1e-4), digest="sha256:another")


def test_from_what_is_kept_and_the_originals_alone(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    out, again, new = tmp_path / "out", tmp_path / "again", tmp_path / "mount" / "new"
    code, said = run(*everything(tmp_path / "day"), "--out", out)
    assert code == 0, said
    before = files(out, *BOTH)
    assert len(before) == 6
    new.parent.mkdir()
    shutil.move(tmp_path / "day" / "card", new)
    shutil.rmtree(tmp_path / "day")  # list, recipe, decisions, LUTs, defaults, font
    monkeypatch.chdir(tmp_path)

    monkeypatch.setattr(bake, "bake", partial(drifted, bake.bake))  # the baked looks that are kept are taken
    code, said = run("render", "--from", out, "--media", new, "--out", again)
    assert code == 0, said
    assert files(again, *BOTH) == before
    grades = [
        {r["clip"]: r["look"]["digest"] for r in latest(read_records(o)).values()} for o in (out, again)
    ]
    assert grades[0] == grades[1] and len(set(grades[0].values())) == 3

    for name in (
        "viewing/A001C001.mp4",
        "editorial/B001C001.mov",
    ):  # into itself: what is missing, and no more
        (out / name).unlink()
    farm_here.calls.clear()
    code, said = run("render", "--from", out, "--media", new)
    assert code == 0 and files(out, *BOTH) == before, said
    done = [t.arguments[0] for t in farm_here.calls if t.function.endswith("finish_job")]
    assert {(p["stem"], o["output"]) for p in done for o in p["outputs"]} == {
        ("A001C001", "viewing"),
        ("B001C001", "editorial"),
    }

    code, said = run("render", "--from", again, "--media", new, "--only", "scene=5", "--out", tmp_path / "o")
    assert code == 0 and files(tmp_path / "o", *BOTH) == {p: b for p, b in before.items() if "C002" in p}
    (tmp_path / "other.toml").write_text(
        '[[output]]\nname = "stills"\nmake = "stills"\nkinds = ["jpeg"]\nsize = "128x72"\n'
    )
    farm_here.calls.clear()
    code, said = run("render", "--from", again, "--media", new, "--recipe", tmp_path / "other.toml")
    assert code == 0, said
    assert len(files(again, "stills")) == 3 and files(again, *BOTH) == before
    kept = read_requests(again)
    assert [Path(r.recipe).name for r in kept] == ["two.toml", "other.toml"]
    assert len(kept_requests(again)) == 2  # both recipes are asked for again
    code, said = run("render", "--from", again, "--media", new)
    assert code == 0 and files(again, *BOTH) == before and len(files(again, "stills")) == 3


def test_a_folder_as_list(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    small_day(tmp_path / "card")
    (tmp_path / "card" / "day.csv").unlink()
    recipe = shutil.move(tmp_path / "card" / "two.toml", tmp_path / "two.toml")
    out = tmp_path / "out"
    encoded = ("--encoding", "LogC3", "--levels", "narrow")
    assert run("render", tmp_path / "card", "--recipe", recipe, "--out", out, *encoded)[0] == 0
    before = files(out, *BOTH)
    shutil.move(tmp_path / "card", tmp_path / "moved")
    code, said = run("render", "--from", out, "--media", tmp_path / "moved", "--out", tmp_path / "again")
    assert code == 0, said
    assert files(tmp_path / "again", *BOTH) == before


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "LIST, or --from"),
        (["day.csv", "--from", "."], "LIST, or --from"),
        (["day.csv"], "--out is needed"),
        (["--from", "."], "that can be made again"),
        (["--from", ".", "--grades", "x"], "--grades does not go with --from"),
        (["--from", ".", "--encoding", "V-Log"], "--encoding does not go with --from"),
    ],
)
def test_what_does_not_go_together(
    arguments: list[str], words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    code, said = run("render", *arguments)
    assert code == 2 and words in said and not list(tmp_path.iterdir())


def test_a_torn_request_and_another_schema(tmp_path: Path) -> None:
    place = tmp_path / "log" / "inputs" / "requests.jsonl"
    place.parent.mkdir(parents=True)
    place.write_text('{"schema": "rushlight-request-1", "li')
    assert read_requests(tmp_path) == []
    with pytest.raises(OptionError, match="that can be made again"):
        kept_requests(tmp_path)
    place.write_text(json.dumps({"schema": "rushlight-request-9"}) + "\n")
    told: list[str] = []
    assert read_requests(tmp_path, told.append) == [] and "requests.jsonl:1: schema" in told[0]


@pytest.mark.parametrize("place", ["in place", "elsewhere"])
def test_what_was_taken_out_of_the_queue_is_not_made_again(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    place: str,
) -> None:
    """A clip of one list, a bad row of it, and another list as a whole; giving the list itself asks for them again."""
    day, queue, out = (
        small_day(tmp_path / "day", {"A": 2, "B": 2, "C": 2}),
        tmp_path / "q.sqlite",
        tmp_path / "out",
    )
    rows = day.read_text().splitlines(keepends=True)
    for name, chosen in (("one", [*rows[:3], "X.mov,LogC3,narrow\n"]), ("two", [rows[0], rows[3]])):
        (day.parent / f"{name}.csv").write_text("".join(chosen))
        given = ("--recipe", day.parent / "two.toml", "--out", out, "--queue", queue)
        run("queue", "add", day.parent / f"{name}.csv", *given)
    assert run("queue", "drop", "B.mov", "C.mov", "X.mov", "--queue", queue)[0] == 0
    code, said = run("queue", "run", "--queue", queue)
    assert code == 0, said
    new = out if place == "in place" else tmp_path / "new"
    (out / "viewing" / "A.mp4").unlink()
    for _ in range(2):  # and it is not forgotten by being made again
        code, said = run("render", "--from", out, *(() if new == out else ("--out", new)))
        assert code == 0 and "one.csv: 2 clips left out" in said and "two.csv: 1 clip left out" in said, said
        assert sorted(files(new, *BOTH)) == ["editorial/A.mov", "viewing/A.mp4"]
    report = json.loads((new / "report" / "batch.json").read_text())
    assert report["counts"]["listed"] == report["counts"]["delivered"] == 1, report["counts"]
    code, said = run("render", day.parent / "two.csv", "--recipe", day.parent / "two.toml", "--out", out)
    assert code == 0 and (out / "viewing" / "C.mp4").exists(), said
    run("queue", "drop", "--all", "--queue", queue)
    assert "two.csv" not in run("render", "--from", out)[1]


def test_a_folder_of_which_all_was_taken_out_says_so(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day, queue, out = small_day(tmp_path / "day", {"A": 2}), tmp_path / "q.sqlite", tmp_path / "out"
    run("queue", "add", day, "--recipe", day.parent / "two.toml", "--out", out, "--queue", queue)
    run("queue", "drop", "--all", "--queue", queue)
    with pytest.raises(OptionError, match="taken out of the queue by hand"):
        run("render", "--from", out, "--traceback")
