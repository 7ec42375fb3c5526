"""`render --from`: any part of an output folder made again from what it keeps, byte for byte."""

import csv
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import rushlight
from here import RECIPE, HereFarm, farm_here, files, run, small_day, write_list  # noqa: F401
from logged import latest, read_records
from rushlight.batch.again.render_from import requests_again
from rushlight.batch.api.handover import handover
from rushlight.batch.farm import dask_farm as farms
from rushlight.batch.plan.request import Differing
from rushlight.batch.run.kept_inputs import kept_requests, read_requests
from rushlight.pipelines import library_versions
from rushlight.pipelines.errors import OptionError
from rushlight.pipelines.grading import bake
from rushlight.pipelines.grading.bake import Baked

BOTH = ("editorial", "viewing")
NOW = dict(library_versions.versions())
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


@pytest.mark.parametrize("place", ["in place", pytest.param("elsewhere", marks=pytest.mark.slow)])
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


# --- a part of it


@pytest.fixture(scope="module")
def delivered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A day `day/day.csv`, rendered whole to `out`; a test takes a copy."""
    top = tmp_path_factory.mktemp("delivered")
    day = small_day(top / "day", {"A001C001": 52, "A001C002": 6})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(farms, "DaskFarm", lambda **options: HereFarm())
        code, said = run("render", day, "--recipe", day.parent / "two.toml", "--out", top / "out")
    assert code == 0, said
    return top


@pytest.fixture
def top(delivered: Path, tmp_path: Path, farm_here: HereFarm) -> Path:  # noqa: F811
    """A delivery of its own, and the originals where they were."""
    shutil.copytree(delivered / "out", tmp_path / "out", copy_function=shutil.copy2)
    (tmp_path / "day").symlink_to(delivered / "day")
    return tmp_path


def command(top: Path, *more: object) -> tuple[object, ...]:
    day = (top / "day").resolve()
    return ("render", day / "day.csv", "--recipe", day / "two.toml", "--out", top / "out", *more)


def record_of(out: Path, clip: str) -> dict[str, Any]:
    return {r["clip"]: r for r in latest(read_records(out)).values()}[clip]


def frames_of(out: Path, record: dict[str, Any]) -> set[tuple[int, int, str]]:
    """Picture, number in the original and digest of each frame of a clip."""
    (place,) = {picture["frames"] for picture in record["colour"]["pictures"]}
    lines = map(json.loads, (out / place).read_text().splitlines())
    return {(line["picture"], line["frame"], line["digest"]) for line in lines}


RANGE = ("--range", "A001C001=01:00:00:05-01:00:02:04")
NAME = "A001C001_01.00.00.05-01.00.02.04"


def test_a_range_and_a_still_beside_the_whole_clip(top: Path) -> None:
    out, before = top / "out", files(top / "out", *BOTH)
    parts = (*RANGE, "--still", "a001c002.MOV=02:00:00:03")
    code, said = run(*command(top, *parts))
    assert code == 0 and f"editorial/{NAME}.mov, viewing/{NAME}.mp4; the whole clip is left as it is" in said
    now = files(out, *BOTH, "stills")
    new = sorted(now.keys() - before.keys())
    still = "stills/A001C002_02.00.00.03"
    assert new == [f"editorial/{NAME}.mov", f"{still}.jpg", f"{still}.tif", f"viewing/{NAME}.mp4"]
    assert {path: now[path] for path in before} == before
    part = record_of(out, "A001C001.mov 01:00:00:05-01:00:02:04")
    whole = record_of(out, "A001C001.mov")
    assert (part["excerpt"], part["first_frame"], part["frames"]) == ("01:00:00:05-01:00:02:04", 5, 47)
    assert "excerpt" not in whole and part["look"]["digest"] == whole["look"]["digest"]
    assert len(frames_of(out, part)) == 2 * 47
    assert frames_of(out, part) < frames_of(out, whole)  # the colour is the whole clip's, frame for frame
    report = json.loads((out / "report" / "batch.json").read_text())
    assert report["counts"]["listed"] == report["counts"]["delivered"] == 4
    assert "A001C001.mov 01:00:00:05-01:00:02:04" in (out / "report" / "index.html").read_text()
    with (out / "editorial" / "clips.csv").open() as stream:
        table = {line["file"]: line["start"] for line in csv.DictReader(stream)}
    assert table[f"{NAME}.mov"] == "01:00:00:05" and len(table) == 3

    for again in (parts, RANGE, ()):  # the same again, a part of it, and the whole list later
        code, said = run(*command(top, *again))
        assert code == 0 and "nothing to render" in said, said
    for again in ((), RANGE):
        code, said = run("render", "--from", out, *again)
        assert code == 0 and "nothing to render" in said, said
    assert files(out, *BOTH, "stills") == now
    (out / f"{still}.jpg").unlink()  # what is damaged is made again, the still too
    assert run("render", "--from", out)[0] == 0 and files(out, *BOTH, "stills") == now


def test_a_part_goes_to_a_folder_of_its_own_from_one_original(
    top: Path,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    """The others are on tape; what the new folder keeps makes the part again, and the whole if that is asked for."""
    (top / "card").mkdir()
    shutil.copy2(top / "day" / "A001C001.mov", top / "card")
    kept = top / "out" / "log" / "inputs" / "requests.jsonl"
    kept.write_text(kept.read_text().replace(str((top / "day").resolve()), "/archive"))  # no original there
    inputs = ("--media", top / "card", "--out", top / "new")
    code, said = run("render", "--from", top / "out", *inputs, *RANGE, "--output", "Viewing")
    assert code == 0, said
    assert list(files(top / "new", *BOTH)) == [f"viewing/{NAME}.mp4"]
    farm_here.calls.clear()
    code, said = run("render", "--from", top / "new", "--media", top / "card")
    assert code == 0 and "nothing to render" in said and not farm_here.calls
    code, said = run(
        "render", "--from", top / "new", "--media", top / "card", *RANGE, "--output", "editorial"
    )
    assert code == 0 and sorted(files(top / "new", *BOTH)) == [f"editorial/{NAME}.mov", f"viewing/{NAME}.mp4"]
    (again,) = requests_again(top / "new", Differing(out=top / "new"), print, print)
    assert again.outputs == ("Viewing", "editorial") and again.ranges == (RANGE[1],)


def test_one_output_of_a_recipe(top: Path, tmp_path: Path) -> None:
    """The others stay as they are, and say so where the grade was revised; a later run makes them as well."""
    day, out = small_day(tmp_path / "other"), tmp_path / "made"
    whole = ("render", day, "--recipe", day.parent / "two.toml", "--out", out)
    assert run(*whole, "--output", "viewing")[0] == 0
    assert [path.partition("/")[0] for path in files(out, *BOTH)] == ["viewing", "viewing"]
    assert run(*whole)[0] == 0
    first = files(out, *BOTH)
    grade = {"slope": "1.2 1 1", "offset": "0 0 0", "power": "1 1 1"}
    write_list(day, {"A001C001": grade, "A001C002": dict.fromkeys(grade, "")})
    code, said = run(*whole, "--output", "viewing")
    assert code == 0 and "left as it was before: editorial; what is asked for now differs" in said, said
    second = files(out, *BOTH)
    assert {path for path in first if first[path] != second[path]} == {"viewing/A001C001.mp4"}
    record = record_of(out, "A001C001.mov")
    assert [(e["output"], e["revision"]) for e in record["outputs"]] == [("editorial", 1), ("viewing", 2)]
    assert run(*whole)[0] == 0
    third = files(out, *BOTH)
    assert {path for path in second if second[path] != third[path]} == {"editorial/A001C001.mov"}
    kept = out / "revisions" / "1" / "editorial" / "A001C001.mov"
    assert kept.read_bytes() == first["editorial/A001C001.mov"]
    assert not any("left as it was" in text for text in record_of(out, "A001C001.mov")["warnings"])


def test_parts_of_two_lists_go_each_to_its_own(top: Path, tmp_path: Path) -> None:
    other = small_day(tmp_path / "second", {"B001C001": 6})
    assert run("render", other, "--recipe", other.parent / "two.toml", "--out", top / "out")[0] == 0
    code, said = run(
        *("render", "--from", top / "out", "--out", top / "new", "--output", "editorial"),
        *("--range", "A001C002=1-3", "--range", "B001C001=2-5"),
    )
    assert code == 0, said
    assert len(files(top / "new", *BOTH)) == 2
    code, said = run("render", "--from", top / "out", "--out", top / "x", "--range", "Z=1-2", *RANGE)
    assert (
        code == 2 and "--range 'Z=1-2': no list has a clip of that name" in said and not (top / "x").exists()
    )


def test_a_part_follows_its_clip_when_it_is_asked_for_again(top: Path, tmp_path: Path) -> None:
    """A full render after a revision says that it stays; the folder made again brings it up to date."""
    day, out = small_day(tmp_path / "other"), tmp_path / "made"
    whole = ("render", day, "--recipe", day.parent / "two.toml", "--out", out)
    part = ("--range", "A001C001=1-3", "--output", "editorial")
    assert run(*whole)[0] == 0 and run(*whole, *part)[0] == 0
    first = files(out, *BOTH)
    name = "editorial/A001C001_01.00.00.01-01.00.00.03.mov"
    grade = {"slope": "1.2 1 1", "offset": "0 0 0", "power": "1 1 1"}
    write_list(day, {"A001C001": grade, "A001C002": dict.fromkeys(grade, "")})
    code, said = run(*whole)
    said = " ".join(said.split())
    assert (
        code == 0
        and "A001C001.mov is made anew; 1 part of it made before (01:00:00:01-01:00:00:03) stay" in said
    )
    assert files(out, *BOTH)[name] == first[name]
    assert run("render", "--from", out)[0] == 0
    now = files(out, *BOTH)
    assert now[name] != first[name]
    part, clip = record_of(out, "A001C001.mov 01:00:00:01-01:00:00:03"), record_of(out, "A001C001.mov")
    assert part["revision"] == 2 and part["look"]["digest"] == clip["look"]["digest"]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--output", "vewing"), "has no such output; it has editorial, viewing"),
        (
            ("--still", "A001C001=5", "--output", "viewing"),
            "--still takes an output of stills; --output names viewing",
        ),
        (("--range", "A001C001=50-60"), "'60' lies outside: A001C001.mov is delivered from 01:00:00:00 to"),
        (("--range", "A001C003=5-9"), "the list has no clip 'A001C003'"),
    ],
)
def test_a_part_that_is_none_makes_nothing(top: Path, more: tuple[str, ...], words: str) -> None:
    log = (top / "out" / "log" / "jobs.jsonl").read_bytes()
    for start in (command(top), ("render", "--from", top / "out"), ("plan", "--from", top / "out")):
        code, said = run(*start, *more)
        assert code == 2 and words in " ".join(said.split()), said
    assert (top / "out" / "log" / "jobs.jsonl").read_bytes() == log


def test_parts_from_a_script(top: Path) -> None:
    planned = rushlight.plan(from_=top / "out", range=RANGE[1], still=["A001C002=3", "A001C001=7"])
    assert [(clip.called, clip.count) for clip in planned.clips] == [
        ("A001C001.mov 01:00:00:05-01:00:02:04", 47),
        ("A001C002.mov 02:00:00:03", 1),
        ("A001C001.mov 01:00:00:07", 1),
    ]
    done = rushlight.render(from_=top / "out", out=top / "new", range="A001C002=-4", output="viewing")
    assert done.delivered == ("A001C002.mov 02:00:00:00-02:00:00:04",) and done.code == 0
    with pytest.raises(rushlight.InputError, match="--write takes whole clips"):
        rushlight.plan(from_=top / "out", range=RANGE[1], write=top / "list.csv")


def test_a_folder_is_planned_again_as_it_would_be_made(top: Path) -> None:
    code, said = run("plan", "--from", top / "out", *RANGE, "--output", "viewing", "--json")
    (clip,) = json.loads(said)["clips"]
    assert code == 0 and clip["outputs"] == ["viewing"] and clip["files"] == [f"viewing/{NAME}.mp4"]
    assert clip["excerpt"] == "01:00:00:05-01:00:02:04" and clip["frames"] == 47
    assert len(json.loads(run("plan", "--from", top / "out", "--json")[1])["clips"]) == 2
    code, said = run("plan", "--from", top / "out", "--grades", "x")
    assert code == 2 and "--grades does not go with --from" in said


# --- a year later


@pytest.fixture
def closed(top: Path) -> Path:
    """A delivery that was closed; the folder that it was made of is gone since."""
    found = handover(top / "out", name="Post", to=top / "sent", copy=True).folder
    assert found is not None
    shutil.rmtree(top / "out")
    return found


def digests(out: Path) -> dict[str, str]:
    return {r["clip"]: r["colour"]["digest"] for r in latest(read_records(out)).values()}


def test_a_closed_delivery_and_the_originals_give_the_same_colour(top: Path, closed: Path) -> None:
    before = {
        path.relative_to(closed): path.read_bytes() for path in sorted(closed.rglob("*")) if path.is_file()
    }
    media = ("--media", (top / "day").resolve())
    code, said = run("render", "--from", closed, *media, "--out", top / "new")
    assert code == 0, said
    assert said.index("colour: 2 clips") < said.index("delivered 2 clips")  # the summary is last
    said = " ".join(said.split())
    assert "2 clips made with the versions of today" in said
    assert f"colour: 2 clips as in {closed}, every frame to the last bit" in said
    assert digests(top / "new") == digests(closed)
    assert files(top / "new", *BOTH) == files(closed, *BOTH)
    code, said = run(
        "render", "--from", closed, *media, "--out", top / "part", *RANGE, "--still", "A001C002=3"
    )
    assert code == 0 and "A001C001.mov 01:00:00:05-01:00:02:04" in digests(top / "part"), said
    code, said = run("render", "--from", closed, *media)
    assert code == 2 and "closed delivery" in said  # never into itself
    assert {
        path.relative_to(closed): path.read_bytes() for path in sorted(closed.rglob("*")) if path.is_file()
    } == before


def test_other_versions_are_named_with_what_they_may_change(
    top: Path, closed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And a decoder that gives other pictures is found by what comes out, once."""
    others = {"rushlight": "9.0", "opencolorio": "9.1", "numba": "9.2", "libavcodec": "99.0.0"}
    monkeypatch.setattr(library_versions, "versions", lambda: NOW | others)
    library_versions.made_with.cache_clear()
    monkeypatch.setattr("rushlight.pipelines.render.picture.frame_digest", lambda planes: "0" * 32)
    media = ("--media", (top / "day").resolve())
    code, said = run("plan", "--from", closed, *media, "--json")
    document = json.loads(said)
    (then,) = document["versions"]
    assert code == 0 and then["clips"] == 2 and then["versions"]["libavcodec"] == NOW["libavcodec"]
    ours, looks, movies = then["may_change"]
    assert (
        ours == f"rushlight {NOW['rushlight']} then and 9.0 now may change anything; CHANGELOG.md says what"
    )
    assert looks.startswith(
        f"OpenColorIO {NOW['opencolorio']} then and 9.1 now, numba {NOW['numba']} then and 9.2 now may change looks"
    )
    assert movies == (
        f"libavcodec {NOW['libavcodec']} then and 99.0.0 now may change how FFmpeg decodes, scales and encodes movies"
    )
    assert then["names"] == ["A001C001.mov", "A001C002.mov"] and "editorial" in then["outputs"]
    assert any("other versions than those of today" in text for text in document["warnings"])
    code, said = run("render", "--from", closed, *media, "--out", top / "new", "--only", "clip=A001C002.mov")
    said = " ".join(said.split())
    assert code == 0 and f"colour: 1 clip not as in {closed}: A001C002.mov;" in said, said
    page = (top / "new" / "report" / "index.html").read_text()
    assert "libavcodec 99.0.0" in page and "1 clip made with the versions of today" in page
    library_versions.made_with.cache_clear()


def test_the_page_says_with_which_versions_and_a_year_later_whether_they_differ(
    top: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = (top / "out" / "report" / "index.html").read_text()
    assert (
        f"2 clips: rushlight {NOW['rushlight']}" in text and "2 clips made with the versions of today" in text
    )
    monkeypatch.setattr(library_versions, "versions", lambda: {**NOW, "rushlight": "9.0"})
    library_versions.made_with.cache_clear()
    assert run("report", top / "out")[0] == 0
    library_versions.made_with.cache_clear()
    text = (top / "out" / "report" / "index.html").read_text()
    assert f"2 clips: rushlight {NOW['rushlight']}" in text
    assert f"rushlight {NOW['rushlight']} then and 9.0 now may change anything" in text


def test_a_record_of_an_older_version_says_that_it_does_not_know(top: Path) -> None:
    log = top / "out" / "log" / "jobs.jsonl"
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    log.write_text(
        "".join(json.dumps({k: v for k, v in line.items() if k != "made_with"}) + "\n" for line in lines)
    )
    code, said = run("plan", "--from", top / "out")
    assert code == 0 and "which recorded OpenColorIO" in " ".join(said.split())


def test_each_output_keeps_the_versions_that_made_it(top: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = top / "out"
    (out / "viewing" / "A001C002.mp4").unlink()
    monkeypatch.setattr(library_versions, "versions", lambda: {**NOW, "rushlight": "9.0"})
    library_versions.made_with.cache_clear()
    assert run("render", "--from", out)[0] == 0
    library_versions.made_with.cache_clear()
    made = record_of(out, "A001C002.mov")["made_with"]
    assert {(*m["outputs"], m["versions"]["rushlight"]) for m in made} == {
        ("viewing", "9.0"),
        ("editorial", NOW["rushlight"]),
    }
    assert len(record_of(out, "A001C001.mov")["made_with"]) == 1
