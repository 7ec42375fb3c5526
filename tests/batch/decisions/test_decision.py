"""Which decision belongs to a clip: order of trust, names as the trade writes them, and never a guess."""

import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pictures import numbered, write_movie
from rushlight.batch.decisions.decision import Decision, GradeFiles
from rushlight.batch.decisions.grade_lookup import Entry, GradeBook, Wanted, _place_fits
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

RATE = FrameRate.parse(24)


def book(tmp_path: Path, text: str, name: str = "grades.csv") -> GradeBook:
    (tmp_path / name).write_text(text)
    return GradeBook([tmp_path / name], GradeFiles())


def shot(name: str = "x", **given: object) -> Wanted:
    start = Timecode.parse(str(given.pop("start", "01:00:00:00")), RATE)
    known = {"names": (name,), "reel": "", "start": start, "frames": 240, "count": 240, **given}
    return Wanted(**known)  # type: ignore[arg-type]


def saturation(found: Decision | None) -> float | None:
    return found.cdl.saturation if found and found.cdl else None


@pytest.mark.parametrize(
    ("ident", "clip", "fits"),
    [
        ("A001C003", "a001c003.MOV", True),
        ("A001C003", "A001_C003_1125AB.mov", True),
        ("A001_C003_1125AB", "A001C003", True),
        ("A001C003_231125_R1AB.mxf", "A001C003_231125_R1AB", True),
        ("A001C003_1125AB", "A001C003_1126CD", False),
        ("A001C003", "A001C0031", False),
        ("A001C003", "B001C003", False),
        ("day1/A001C003.mov", "card\\A001C003.mov", True),
        ("scene 4", "scene 4.mov", True),
    ],
)
def test_names_as_they_are_written(tmp_path: Path, ident: str, clip: str, fits: bool) -> None:
    grades = book(tmp_path, f"clip,saturation\n{ident},0.5\n")
    assert saturation(grades.decision(shot(clip))) == (0.5 if fits else None)


def test_an_exact_name_beats_one_without_suffix(tmp_path: Path) -> None:
    grades = book(tmp_path, "clip,saturation\nA001C003,0.5\nA001C003_1125AB,0.6\n")
    assert saturation(grades.decision(shot("A001C003_1125AB.mov"))) == 0.6


def test_reel_and_timecode_come_after_the_name_and_before_the_scene(tmp_path: Path) -> None:
    text = "clip,reel,timecode,scene,take,saturation\n,A001,01:00:05:00,,,0.2\n,,,12A,,0.3\n,,,12A,4,0.4\nx,,,,,0.1\n"
    grades = book(tmp_path, text)
    assert saturation(grades.decision(shot("x", reel="A001"))) == 0.1
    found = grades.decision(shot("y", reel="a001"))
    assert found and saturation(found) == 0.2 and found.source.endswith("grades.csv:2")
    assert grades.decision(shot("y", reel="A001", start="01:00:05:01")) is None
    assert grades.decision(shot("y", reel="A001", start="00:59:55:00")) is None
    assert grades.decision(Wanted(names=("y",), reel="A001", start=None, frames=9)) is None
    assert saturation(grades.decision(shot("y", scene="12a", take="4"))) == 0.4
    assert saturation(grades.decision(shot("y", scene="12A", take="5"))) == 0.3
    assert grades.decision(shot("y", scene="13")) is None


def test_two_of_one_rank_are_an_error_unless_range_or_reel_tell_them_apart(tmp_path: Path) -> None:
    text = "".join(
        f"00{n}  A001  V  C  {a} {b} 00:00:00:00 00:00:01:00\n* FROM CLIP NAME: X.MOV\n*ASC_SAT 0.{n}\n"
        for n, a, b in ((2, "01:00:00:00", "01:00:04:00"), (3, "01:00:04:00", "01:00:10:00"))
    )
    grades = book(tmp_path, text, "grades.edl")
    with pytest.raises(GradeError, match=r"2 different decisions.*grades.edl:1.*sat 0.2.*grades.edl:4"):
        grades.decision(shot("x"))
    assert saturation(grades.decision(shot("x", count=96))) == 0.2
    assert saturation(grades.decision(shot("x", first=96, count=10))) == 0.3
    assert grades.decision(shot("x", reel="B001")) is None
    alike = book(tmp_path, "clip,saturation\nx,0.2\nX.mov,0.20\n", "b.csv")
    assert saturation(alike.decision(shot("x"))) == 0.2


def test_an_edls_comments_by_name_and_by_reel(tmp_path: Path) -> None:
    head = "TITLE: day\nFCM: NON-DROP FRAME\n"
    event = "{n:03}  {reel}  V  C  01:00:0{n}:00 01:00:0{e}:00 00:00:00:00 00:00:01:00\n"
    sop = "*ASC_SOP (1.1 1 1)(0 0 0)(1 1 1)\n* ASC_SAT: 0.{n}\n"
    text = head + event.format(n=1, e=2, reel="A001") + "* FROM CLIP NAME: X.MOV\n" + sop.format(n=5)
    text += event.format(n=4, e=5, reel="B002") + sop.format(n=6)
    grades = book(tmp_path, text, "grades.edl")
    named, by_reel = grades.decision(shot("x")), grades.decision(shot("y", reel="B002"))
    assert named and named.cdl and (named.cdl.slope, named.cdl.saturation) == ((1.1, 1, 1), 0.5)
    assert saturation(by_reel) == 0.6 and by_reel and "reel" in by_reel.reason
    assert grades.decision(shot("y", reel="B002", start="01:00:05:00")) is None


@given(st.integers(0, 23 * 90000), st.integers(1, 500), st.integers(-600, 600), st.integers(1, 300))
def test_ranges_fit_as_sets_of_frames_do(start: int, frames: int, ahead: int, length: int) -> None:
    day = 24 * 86400
    first = (start + ahead) % day
    entry = Entry(
        cdl=CDL(),
        place="",
        first=str(Timecode(frames=first, rate=RATE)),
        end=str(Timecode(frames=first + length, rate=RATE)),
    )
    event = {(first + n) % day for n in range(length)}
    taken = {(start + n) % day for n in range(frames)}
    clip = shot("x", start=Timecode(frames=start, rate=RATE), frames=frames, count=frames)
    assert _place_fits(entry, clip) == bool(event & taken)


@pytest.mark.parametrize("text", ["clip,saturation\nx,zero\n", "\0", "", "clip,slope\nx,1 2\n"])
def test_malformed_grades_name_their_file(tmp_path: Path, text: str) -> None:
    with pytest.raises(Exception, match=r"grades\.csv"):
        book(tmp_path, text)


def planned(tmp_path: Path, rows: str, grades: str, recipe: str = "") -> Prepared:
    (tmp_path / "day.csv").write_text(f"clip,encoding,scene\n{rows}")
    (tmp_path / "g.csv").write_text(grades)
    (tmp_path / "r.toml").write_text(
        recipe + '\n[[output]]\nname = "o"\nmake = "movie"\ncodec = "prores-proxy"\n'
    )
    return prepare(
        Request(clip_list=tmp_path / "day.csv", grades=(tmp_path / "g.csv",), recipe=str(tmp_path / "r.toml"))
    )


def test_order_of_trust_and_one_decision_for_two_clips(tmp_path: Path) -> None:
    for card in "12":
        (tmp_path / card).mkdir()
        write_movie(tmp_path / card / "A001C001.mov", [numbered(0), numbered(1)])
    write_movie(tmp_path / "B001C001.mov", [numbered(0), numbered(1)])
    (tmp_path / "house.cc").write_text(
        "<ColorCorrection id='house'><SatNode><Saturation>0.9</Saturation></SatNode></ColorCorrection>"
    )
    rows = "1/A001C001.mov,v-log,\n2/A001C001.mov,v-log,\nB001C001.mov,v-log,7\n"
    plan = planned(tmp_path, rows, "clip,scene,saturation\nA001C001,,0.5\n,7,0.7\n").plan
    assert [c.decision.cdl and c.decision.cdl.saturation for c in plan.clips] == [0.7]
    assert [r.line for r, _ in plan.wrong] == [2, 3]
    assert all("fits" in e.text and e.key == "cdl" for _, e in plan.wrong)
    plan = planned(tmp_path, rows, "clip,scene,saturation\n,7,0.7\n", 'grade = "house.cc"').plan
    assert [c.decision.cdl and c.decision.cdl.saturation for c in plan.clips] == [0.9, 0.9, 0.7]
    assert plan.clips[0].decision.reason == "the recipe's default"


BOMB = (
    '<!DOCTYPE c [<!ENTITY a "1 1 1">'
    + "".join(
        f'<!ENTITY a{n} "{"&a" + (str(n - 1) if n else "") + ";"}{"&a" + (str(n - 1) if n else "") + ";"}">'
        for n in range(30)
    )
    + "]><ColorCorrection id='x'><SOPNode><Slope>&a29;</Slope></SOPNode></ColorCorrection>"
)
EXTERNAL = (
    '<!DOCTYPE c [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
    "<ColorCorrection id='x'><SOPNode><Slope>&a;</Slope></SOPNode></ColorCorrection>"
)


@pytest.mark.parametrize("text", [BOMB, EXTERNAL])
@pytest.mark.parametrize("suffix", [".cc", ".ccc", ".cdl"])
def test_entities_are_refused_at_once(tmp_path: Path, text: str, suffix: str) -> None:
    began = time.process_time()
    with pytest.raises(GradeError, match="refused") as caught:
        book(tmp_path, text, f"x{suffix}")
    assert caught.value.file == str(tmp_path / f"x{suffix}") and "root:" not in str(caught.value)
    assert time.process_time() - began < 2


def test_a_document_type_is_not_fetched(tmp_path: Path) -> None:
    text = f'<!DOCTYPE c SYSTEM "file://{tmp_path}/none.dtd"><ColorCorrection id="x"/>'
    assert saturation(book(tmp_path, text, "x.cc").decision(shot("x"))) == 1


@given(
    st.text(max_size=200),
    st.sampled_from(["x.csv", "x.tsv", "x.edl", "x.cc", "x.ccc", "x.cdl"]),
    st.booleans(),
)
def test_junk_is_decisions_or_a_clear_error(
    tmp_path_factory: pytest.TempPathFactory, text: str, name: str, heads: bool
) -> None:
    """Bare, and behind the beginning of a good file."""
    head = {
        "csv": "id,date,slope,saturation\n",
        "tsv": "id\tslope\n",
        "edl": "001 A V C 01:00:00:00 01:00:01:00 01:00:00:00 01:00:01:00\n",
    }.get(name[2:], "<ColorCorrection id='x'><SOPNode><Slope>")
    path = tmp_path_factory.mktemp("junk") / name
    path.write_bytes((head * heads + text).encode("utf-8", "surrogatepass"))
    try:
        GradeBook([path], GradeFiles())
    except GradeError as error:
        assert error.file == str(path)


@pytest.mark.parametrize("unit", [b"<a>", b' a{}=""'])
def test_tags_and_attributes_out_of_proportion_are_refused_at_once(tmp_path: Path, unit: bytes) -> None:
    (tmp_path / "x.cc").write_bytes(b"<ColorCorrection" + unit * 600_000 + b"/>")
    began = time.process_time()
    with pytest.raises(GradeError, match="far too large"):
        GradeBook([tmp_path / "x.cc"], GradeFiles())
    assert time.process_time() - began < 2
