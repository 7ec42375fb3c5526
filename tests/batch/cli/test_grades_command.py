"""`rushlight grades` as its user runs it: every file is read back equal, by us and by OpenTimelineIO."""

import json
import warnings
from pathlib import Path

import numpy as np
import opentimelineio as otio
import pytest

import ocio
from here import rushlight
from pictures import numbered, write_movie
from rushlight.batch.api.grades import graded_clips
from rushlight.batch.decisions.decision import GradeFiles
from rushlight.batch.decisions.grade_lookup import GradeBook, Wanted
from rushlight.batch.plan.prepare import prepare, read_list
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.cdl import parse_cdl
from rushlight.pipelines.luts.cube_lut import parse_cube

LIST = """clip,encoding,levels,slope,offset,power,saturation,reel,timecode
A001C001.mov,LogC3,narrow,1.1 1 0.95,0.01 0 -0.01,1.02 1 0.98,0.9,A001,01:00:00:00
A001C002.mov,LogC3,narrow,,,,,A001,02:00:00:00
A001C003.mov,LogC3,narrow,0.9 1 1.2,0 0 0.02,1 1.1 1,1.05,A001,03:00:00:00
"""


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("grades")
    for number in (1, 2, 3):
        write_movie(folder / f"A001C00{number}.mov", [numbered(0), numbered(1)])
    (folder / "day.csv").write_text(LIST)
    return folder / "day.csv"


def test_what_the_command_writes_is_read_back_equal(day: Path, tmp_path: Path) -> None:
    to = tmp_path / "grades"
    done = rushlight("grades", day, "--to", to, "--json")
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    assert sorted(p.name for p in to.iterdir()) == sorted(said["files"])
    clips = graded_clips(prepare(Request(clip_list=day)))
    wanted = {c.name: c.look.cdl for c in clips}
    assert [c.look.cdl is None for c in clips] == [False, True, False]
    assert not (to / "A001C002.cdl").exists()
    batch = {c.id: c for c in parse_cdl((to / "day.ccc").read_text())}
    assert set(batch) == {"A001C001", "A001C003"}
    for name, found in batch.items():
        (single,) = parse_cdl((to / f"{name}.cdl").read_text())
        assert wanted[name] is not None
        assert found.numbers() == single.numbers() == wanted[name].numbers()

    rows, _ = read_list(to / "day.edl")  # our own reader of lists
    assert [(Path(r.clip).stem, r["in"], r["out"]) for r in rows.rows] == [
        (c.name, str(c.start), str(c.start + c.frames)) for c in clips
    ]
    book = GradeBook((to / "day.edl",), GradeFiles())  # and of decisions
    for c in clips:
        found = book.decision(
            Wanted(names=(c.name,), reel=c.reel, start=c.start, frames=c.frames, scene="", take="")
        )
        expected = c.look.cdl
        got = found.cdl if found else None
        assert (got.numbers() if got else None) == (expected.numbers() if expected else None)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own deprecations
        timeline = otio.adapters.read_from_file(str(to / "day.edl"), rate=24)
    events = [item for track in timeline.tracks for item in track]
    assert [e.name for e in events] == [c.name for c in clips]
    for c, event in zip(clips, events, strict=True):
        start = event.source_range.start_time
        assert otio.opentime.to_timecode(start, start.rate) == str(c.start)
        assert event.source_range.duration.value == c.frames
        assert event.metadata["cmx_3600"]["reel"] == c.reel
        cdl, grade = event.metadata.get("cdl"), c.look.cdl
        if grade is None:
            assert not cdl
        else:
            sop = cdl["asc_sop"]
            assert [tuple(sop[k]) for k in ("slope", "offset", "power")] == [
                grade.slope,
                grade.offset,
                grade.power,
            ]
            assert cdl["asc_sat"] == grade.saturation

    cubes = sorted(to.glob("*.cube"))
    assert len(cubes) == len({c.look.digest() for c in clips}) == 3
    points = np.random.default_rng(5).integers(0, 33, (40, 3)) / 32
    for c in clips:
        (cube,) = [p for p in cubes if c.look.digest().partition(":")[2][:8] in p.name]
        assert (
            np.abs(parse_cube(cube.read_text()).apply(points, "tetrahedral") - c.look.evaluate(points)).max()
            < 1e-5
        )
        clf = cube.with_suffix(".clf")
        assert np.abs(ocio.through_file(points, clf) - c.look.evaluate(points)).max() < 1e-5


def test_a_row_set_aside_is_named_and_the_rest_is_written(day: Path, tmp_path: Path) -> None:
    bad = day.parent / "bad.csv"
    bad.write_text(LIST + "A001C009.mov,LogC3,narrow,,,,,,\n")
    done = rushlight("grades", bad, "--to", tmp_path / "to")
    assert done.returncode == 1 and "A001C009" in done.stderr
    assert (tmp_path / "to" / "bad.edl").exists() and max(map(len, done.stdout.splitlines()[:-1])) <= 100
    (tmp_path / "file").touch()
    wrong = rushlight("grades", day, "--to", tmp_path / "file")
    assert wrong.returncode == 2 and "--to takes a folder" in wrong.stderr
