"""`plan --write`: a list that says everything itself plans to the same clips, looks and faults, with no grades beside it."""

import resource
from fractions import Fraction
from pathlib import Path

import numpy as np

from here import rushlight
from logged import read_records
from pictures import numbered, write_movie, write_sequence
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.cdl import CDL, format_ccc


def test_the_written_list_plans_alike(tmp_path: Path) -> None:
    for name in ("A001C001", "A001C002"):
        write_movie(tmp_path / f"{name}.mov", [numbered(n) for n in range(4)])
    (tmp_path / "day.csv").write_text(
        "clip,in,out,scene,mood\nA001C001.mov,1,3,7,calm\nA001C002.mov,,,,\nnone.mov,,,,\nA001C001.mov,3,4,8,\n"
    )
    (tmp_path / "g.csv").write_text(
        "id,slope,offset,saturation\nA001C001,1.1 1 0.95,0.1 0.2 -0.0300000001,0.9\n"
    )
    (tmp_path / "elsewhere").mkdir()
    written = tmp_path / "elsewhere" / "full.csv"
    ran = rushlight(
        "plan",
        tmp_path / "day.csv",
        "--grades",
        tmp_path / "g.csv",
        "--encoding",
        "v-log",
        "--write",
        written,
    )
    assert written.exists(), ran
    was = prepare(
        Request(clip_list=tmp_path / "day.csv", grades=(tmp_path / "g.csv",), encoding="v-log")
    ).plan
    now = prepare(Request(clip_list=written)).plan

    def told(plan: object) -> list[tuple[object, ...]]:
        return [
            (
                c.path,
                c.first,
                c.count,
                c.timecode,
                c.reel,
                c.look.identity(),
                c.signal.levels,
                c.signal.chroma,
                c.row["scene"],
                c.row["mood"],
            )
            for c in plan.clips  # type: ignore[attr-defined]
        ]

    assert told(now) == told(was) and len(now.clips) == 3
    assert [row.clip for row, _ in now.wrong] == ["none.mov"]
    before = written.read_bytes()
    again = rushlight("plan", written, "--write", written)
    assert written.read_bytes() == before
    assert "a new file is needed" in str(again)


def test_a_list_that_does_not_fit_on_the_disk_leaves_nothing_behind(tmp_path: Path) -> None:
    write_movie(tmp_path / "A001C001.mov", [numbered(0)], timecode="01:00:00:00")
    (tmp_path / "day.csv").write_text("clip,encoding\nA001C001.mov,v-log\n")
    (tmp_path / "full").mkdir()
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(
        resource.RLIMIT_FSIZE, (40, before[1])
    )  # a write that fails half way, as on a full disk
    try:
        made = rushlight("plan", tmp_path / "day.csv", "--write", tmp_path / "full" / "w.csv")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert made.returncode == 2 and "nothing was written: make room" in made.stderr, made
    assert list((tmp_path / "full").iterdir()) == []
    absent = rushlight("plan", tmp_path / "day.csv", "--write", tmp_path / "none" / "w.csv")
    assert absent.returncode == 2 and "its folder is not there" in absent.stderr, absent


def test_files_taken_one_by_one_are_rows_of_their_own(tmp_path: Path) -> None:
    for number in (1, 2):
        write_movie(
            tmp_path / f"C_00{number}.mov", [numbered(n) for n in range(3)], timecode=f"0{number}:00:00:00"
        )
    (tmp_path / "day.csv").write_text("clip,encoding\nC_###.mov,v-log\n")
    (tmp_path / "r.toml").write_text(
        'several_files = "each"\n[[output]]\nname = "o"\nmake = "movie"\ncodec = "prores-proxy"\n'
    )
    ran = rushlight(
        "plan", tmp_path / "day.csv", "--recipe", tmp_path / "r.toml", "--write", tmp_path / "w.csv"
    )
    assert ran.returncode == 0 and "1 row + 1 for files one by one = 2 planned" in ran.stdout, ran
    plan = prepare(Request(clip_list=tmp_path / "w.csv")).plan
    assert [(c.stem, str(c.timecode)) for c in plan.clips] == [
        ("C_001", "01:00:00:00"),
        ("C_002", "02:00:00:00"),
    ]


RECIPE = """
[look]
transform = "colorimetric"
exposure = 0.25
size = 17
[changes]
jammed = "08:00"
[[output]]
name = "editorial"
make = "movie"
codec = "prores-proxy"
size = "128x72"
[[output]]
name = "viewing"
make = "movie"
codec = "h264"
size = "128x72"
only = {circled = "yes"}
[output.burnin]
text = [{text = "{clip} {look} {grade}", at = "bottom", size = 0.08}, {text = "{scene} {timecode}", at = "top", size = 0.08}]
[[output]]
name = "stills"
make = "stills"
kinds = ["png8"]
at = ["list", "first"]
size = "128x72"
only = {circled = "yes", unit = "main"}
"""
SIDE = """
[[default]]
camera = "A"
encoding = "ARRI LogC3"
exposure_index = 400
rotation = 180
[[default]]
reel = "B*"
encoding = "V-Log"
levels = "full"
lut = "show.cube"
desqueeze = 1.5
"""
ROWS = """clip,in,out,date,scene,circled,unit,exposure,stills
A001C001,1,3,2026-05-04,7,yes,main,,01:00:00:02
A001C002,,,2026-05-04,7,no,main,0.5,
B001C001,,,2026-05-04,8,Y,second,,
B001C002,,,2026-05-04,9,x,main,,00:00:03:11
C001C001,,,2026-05-04,9,yes,other,,
"""


def test_the_written_list_renders_to_the_same_bytes(tmp_path: Path) -> None:
    """Grades by record and by name, defaults, corrections, a stated rate: none of them beside the written list, all of them
    in it. Each output's `only`, and `--only` twice, take what they say."""
    media, grades = tmp_path / "media" / "card", tmp_path / "grades"
    media.mkdir(parents=True)
    grades.mkdir()
    for name, rate in (("A001C001", 24), ("A001C002", 24), ("B001C001", 25), ("C001C001", 24)):
        write_movie(
            media / f"{name}.mov", [numbered(n) for n in range(4)], rate=Fraction(rate), reel=name[:4]
        )
    write_sequence(
        media / "B001C002",
        [np.full((72, 128, 3), 300 + 100 * n, np.uint16) for n in range(3)],
        first=85,
        rate=0,
        timecode=False,
    )
    (grades / "record.csv").write_text(
        "date,timecode,rate,camera,saturation\n2026-05-04,00:30:00:00,24,A,0.5\n"
    )
    (grades / "b.ccc").write_text(
        format_ccc([CDL(id="B001C001", slope=(1.1, 1.0, 0.9)), CDL(id="B001C002", saturation=1.3)])
    )
    (tmp_path / "show.cube").write_text(
        "LUT_3D_SIZE 2\n" + "".join(f"{r} {g * 0.9} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
    )
    (tmp_path / "day.csv").write_text(ROWS)
    (tmp_path / "side.toml").write_text(SIDE)
    (tmp_path / "r.toml").write_text(RECIPE)
    (tmp_path / "written").mkdir()
    given = [
        tmp_path / "day.csv",
        "--recipe",
        tmp_path / "r.toml",
        "--media",
        tmp_path / "media",
        "--grades",
        grades,
    ]
    given += [
        "--defaults",
        tmp_path / "side.toml",
        "--rate",
        "23.976",
        "--only",
        "date=2026-05-04",
        "--only",
        "unit=main",
    ]
    one, two = tmp_path / "one", tmp_path / "two"
    planned = rushlight("plan", *given, "--write", tmp_path / "written" / "full.csv")
    assert planned.returncode == 0, planned.stdout + planned.stderr
    for list_and_options, out in (
        (given, one),
        ([tmp_path / "written" / "full.csv", "--recipe", tmp_path / "r.toml"], two),
    ):
        run = rushlight("render", *list_and_options, "--out", out, "--workers", 1)
        assert run.returncode == 0, run.stdout + run.stderr

    def made(out: Path) -> dict[str, bytes]:
        names = ("editorial", "viewing", "stills")
        return {
            str(p.relative_to(out)): p.read_bytes()
            for n in names
            for p in (out / n).rglob("*")
            if p.is_file()
        }

    first = made(one)
    assert sorted(first) == [
        "editorial/A001C001.mov",
        "editorial/A001C002.mov",
        "editorial/B001C002.mov",
        "editorial/clips.csv",
        "editorial/clips.otio",
        "stills/A001C001.000000.png",
        "stills/A001C001.000001.png",
        "stills/B001C002.000000.png",
        "viewing/A001C001.mp4",
        "viewing/B001C002.mp4",
        "viewing/clips.csv",
        "viewing/clips.otio",
    ]
    assert made(two) == first

    def told(out: Path) -> dict[str, object]:
        return {
            Path(r["clip"]).name.partition(".")[0]: (r["colour"], r["look"]["digest"], r["frames"])
            for r in read_records(out)
        }

    assert told(one) == told(two)
    again = rushlight(
        "render",
        tmp_path / "written" / "full.csv",
        "--recipe",
        tmp_path / "r.toml",
        "--out",
        one,
        "--workers",
        1,
    )
    assert "nothing to render" in again.stdout, again.stdout
