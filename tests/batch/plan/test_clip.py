"""Plans: ranges, signals and who says so, twins, rates; nothing guessed."""

import unicodedata
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from here import rushlight
from pictures import numbered, write_movie, write_sequence
from rushlight.batch.api.plan_document import plan_document
from rushlight.batch.decisions.decision import GradeFiles, row_decision
from rushlight.batch.decisions.grade_lookup import GradeBook, Wanted
from rushlight.batch.lists.clip_list import read_csv
from rushlight.batch.plan.clip import frame_range, resolve_signal
from rushlight.batch.plan.model import Stated
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.colour.cdl import CDL
from rushlight.pipelines.errors import EncodingError, GradeError, TimecodeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode
from rushlight.pipelines.originals.probe import probe

START = Timecode.parse("01:00:00:00", FrameRate.parse(24))


def wanted_of(*names: str) -> Wanted:
    return Wanted(names=names, reel="A001", start=START, frames=24)


@pytest.mark.parametrize(
    ("point_in", "point_out", "handles", "wanted"),
    [
        ("", "", 0, (0, 100)),
        ("", "", 8, (0, 100)),
        ("01:00:01:00", "01:00:02:00", 0, (24, 24)),
        ("01:00:01:00", "01:00:02:00", 8, (16, 40)),
        ("10", "20", 0, (10, 10)),
        ("", "01:00:00:10", 0, (0, 10)),
    ],
)
def test_ranges(point_in: str, point_out: str, handles: int, wanted: tuple) -> None:
    assert frame_range(point_in, point_out, start=START, frames=100, handles=handles)[:2] == wanted


def test_handles_are_clipped_and_said() -> None:
    first, count, notes = frame_range("4", "98", start=START, frames=100, handles=8)
    assert (first, count) == (0, 100)
    assert "head handle is 4 of 8" in notes[0] and "tail handle is 2 of 8" in notes[1]


@pytest.mark.parametrize(
    ("point_in", "point_out", "key"),
    [("100", "", "in"), ("", "101", "out"), ("20", "20", "out"), ("02:00:00:00", "", "in"), ("x", "", "in")],
)
def test_points_outside(point_in: str, point_out: str, key: str) -> None:
    with pytest.raises(TimecodeError) as caught:
        frame_range(point_in, point_out, start=START, frames=100)
    assert caught.value.key == key


@given(st.integers(0, 99), st.integers(1, 100), st.integers(0, 50))
def test_any_range_lies_inside(a: int, b: int, handles: int) -> None:
    if a >= b:
        return
    first, count, _ = frame_range(str(a), str(b), start=START, frames=100, handles=handles)
    assert 0 <= first <= a and b <= first + count <= 100


def test_who_says_what_the_signal_is(tmp_path: Path) -> None:
    facts = probe(write_movie(tmp_path / "a.mov", [numbered(0)]))
    row, recipe = Stated(who="the list"), Stated(who="the recipe", encoding="V-Log")
    signal, warnings = resolve_signal([row, recipe], facts)
    assert (signal.encoding.name, signal.encoding_from, signal.levels, signal.chroma) == (
        "V-Log/V-Gamut",
        "the recipe",
        "full",
        "narrow",
    )
    assert "maker's rule" in signal.levels_from and "tag says narrow" in warnings[0]
    signal, warnings = resolve_signal([Stated(who="the list", levels="narrow"), recipe], facts)
    assert (signal.levels, signal.levels_from, signal.chroma, warnings) == (
        "narrow",
        "the list",
        "narrow",
        (),
    )
    signal, _ = resolve_signal([Stated(who="x", encoding="log3g10")], facts)
    assert (signal.levels, signal.levels_from) == ("narrow", "the file's tag")
    with pytest.raises(EncodingError, match="is not stated"):
        resolve_signal([row], facts)


CC = "<ColorCorrectionCollection><ColorCorrection id='one'/><ColorCorrection id='two'><SatNode><Saturation>0.5</Saturation></SatNode></ColorCorrection></ColorCorrectionCollection>"


def test_a_rows_own_decision(tmp_path: Path) -> None:
    (tmp_path / "g.ccc").write_text(CC)
    text = "clip,slope,cdl\na,1.1 1 1,\nb,,g.ccc#two\nc,,\nd,1 1 1,g.ccc#two\ne,,g.ccc\nf,,g.ccc#three\ng,,none.cc\n"
    rows = read_csv(text, file=str(tmp_path / "day.csv")).rows
    files = GradeFiles()
    one, two, three = (row_decision(r, files) for r in rows[:3])
    assert one and one.cdl and one.cdl.slope[0] == 1.1 and one.source.endswith("day.csv:2")
    assert two and two.cdl and two.cdl.saturation == 0.5 and two.source.endswith("g.ccc#two")
    assert three is None
    for row, words in zip(
        rows[3:], ["remove one of them", "say which", "one, two", "cannot be read"], strict=True
    ):
        with pytest.raises(GradeError, match=words) as caught:
            row_decision(row, files)
        assert (caught.value.line, caught.value.key) == (row.line, "cdl")


def test_twins_go_to_folders_and_keep_their_stem(tmp_path: Path) -> None:
    for card, reel in (("card1", "A001"), ("card2", "A002")):
        (tmp_path / card).mkdir()
        write_movie(tmp_path / card / "C001.mov", [numbered(0)], reel=reel)
    (tmp_path / "day.csv").write_text(
        "clip,encoding\ncard1/C001.mov,v-log\ncard2/C001.mov,v-log\ncard2/C001.mov,v-log\nC001.mov,v-log\n"
    )
    prepared = prepare(Request(clip_list=tmp_path / "day.csv"))
    assert [(c.stem, c.folder) for c in prepared.plan.clips] == [("C001", "A001"), ("C001", "A002")]
    assert any("with the same settings" in w for w in prepared.plan.warnings)
    assert len(prepared.plan.wrong) == 1
    document = plan_document(prepared)
    counts = document["counts"]
    assert counts["rows"] == 4 and counts["planned"] == 2 and counts["set_aside"] == 1


def test_off_speed(tmp_path: Path) -> None:
    write_movie(
        tmp_path / "fast.mov", [numbered(n) for n in range(4)], rate=Fraction(48), timecode="10:00:00:40"
    )
    (tmp_path / "day.csv").write_text("clip,encoding\nfast.mov,v-log\n")
    outputs = '[[output]]\nname = "a"\nmake = "movie"\ncodec = "prores-lt"\n'
    for policy in ("keep", "frame for frame", "refuse"):
        (tmp_path / "r.toml").write_text(f'show_rate = "23.976"\noff_speed = "{policy}"\n{outputs}')
        plan = prepare(Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"))).plan
        if policy == "refuse":
            assert "48" in str(plan.broken[0][1])
            continue
        (clip,) = plan.clips
        assert (str(clip.rate), clip.retimed) == (("48", False) if policy == "keep" else ("23.976", True))
        assert clip.count == 4
        if policy != "keep":
            assert str(clip.timecode) == "10:00:00:23" and any(
                "without the camera's sound" in w for w in clip.warnings
            )


def test_sequences_take_a_stated_rate_and_reels_come_from_names(tmp_path: Path) -> None:
    write_sequence(
        tmp_path / "B001_C002", [__import__("numpy").zeros((8, 8, 3))] * 3, timecode=False, rate=0, first=50
    )
    (tmp_path / "day.csv").write_text("clip,encoding,rate\nB001_C002,v-log,25\n")
    (clip,) = prepare(Request(clip_list=tmp_path / "day.csv")).plan.clips
    assert (str(clip.rate), str(clip.timecode), clip.reel) == ("25", "00:00:02:00", "B001")


def test_decisions_by_id(tmp_path: Path) -> None:
    (tmp_path / "g").mkdir()
    (tmp_path / "g" / "one.ccc").write_text(
        CC.replace("'one'", "'A001C003'").replace("'two'", "'b001c002.mov'")
    )
    book = GradeBook([tmp_path / "g"], GradeFiles())
    found = book.decision(wanted_of("card/a001c003.mov", "a001c003"))
    assert found and found.cdl == CDL(id="A001C003") and found.source.endswith("one.ccc#A001C003")
    other = book.decision(wanted_of("B001C002"))
    assert other and other.cdl and other.cdl.saturation == 0.5
    assert book.decision(wanted_of("C001.mov")) is None
    (tmp_path / "g" / "two.cc").write_text(
        "<ColorCorrection id='A001C003'><SatNode><Saturation>2</Saturation></SatNode></ColorCorrection>"
    )
    with pytest.raises(GradeError, match="2 different decisions"):
        GradeBook([tmp_path / "g"], GradeFiles()).decision(wanted_of("A001C003.mov"))


def test_a_display_encoded_original_takes_only_what_its_row_states(tmp_path: Path) -> None:
    for number in (1, 2, 3):
        write_movie(tmp_path / f"A001C00{number}.mov", [numbered(0)])
    (tmp_path / "day.csv").write_text(
        "clip,encoding,saturation\nA001C001.mov,video,\nA001C002.mov,video,0.7\nA001C003.mov,LogC3,\n"
    )
    (tmp_path / "g.csv").write_text("id,saturation\nA001C001,0.5\nA001C003,0.5\n")
    (tmp_path / "show.cube").write_text(
        "LUT_3D_SIZE 2\n" + "".join(f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1))
    )
    (tmp_path / "r.toml").write_text(
        '[look]\nshow_lut = "show.cube"\nexposure = "1"\n'
        '[[output]]\nname = "viewing"\nmake = "movie"\ncodec = "h264"\ncontainer = "mp4"\n'
    )
    request = Request(
        clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"), grades=(tmp_path / "g.csv",)
    )
    plan = prepare(request).plan
    assert not plan.wrong
    recorded, stated, log = plan.clips
    assert (recorded.look.grade, recorded.look.lut, recorded.look.transform) == (None, None, "none")
    assert recorded.look.exposure == 0 and any("display-encoded" in w for w in recorded.warnings)
    assert stated.look.grade and stated.look.grade.saturation == 0.7 and stated.look.lut is None
    assert log.look.grade and log.look.grade.saturation == 0.5 and log.look.lut and log.look.exposure == 1


def test_names_that_one_file_system_takes_for_one_are_twins(tmp_path: Path) -> None:
    """Case, and composed or decomposed letters: one name on macOS and Windows. Stems stay as they are."""
    names = ["Caf\u00e9", "Cafe\u0301", "CAF\u00c9", "other"]
    for name in names:
        write_movie(tmp_path / f"{name}.mov", [numbered(0)], reel="", timecode="")
    (tmp_path / "day.csv").write_text("clip,encoding\n" + "".join(f"{n}.mov,v-log\n" for n in names), "utf-8")
    clips = prepare(Request(clip_list=tmp_path / "day.csv")).plan.clips
    assert [c.stem for c in clips] == names
    places = [unicodedata.normalize("NFC", f"{c.folder}/{c.stem}").casefold() for c in clips]
    assert len(set(places)) == 4 and clips[3].folder == ""


def test_an_output_without_a_size_needs_a_raster_that_its_codec_takes(tmp_path: Path) -> None:
    write_movie(tmp_path / "a.mov", [numbered(0, 640, 360)])
    (tmp_path / "day.csv").write_text("clip,encoding,levels\na.mov,LogC3,narrow\n")
    output = '[[output]]\nname = "hd"\nmake = "movie"\ncodec = "dnxhd"\n'
    for more, wrong in (("", 1), ('size = "1920x1080"\n', 0), ("only = { reel = 'none' }\n", 0)):
        (tmp_path / "r.toml").write_text(output + more)
        (tmp_path / "day.csv").write_text("clip,encoding,levels,reel\na.mov,LogC3,narrow,A001\n")
        plan = prepare(Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"))).plan
        assert len(plan.wrong) == wrong
        if wrong:
            error = plan.wrong[0][1]
            assert error.key == "output[0].size" and "1920x1080 and 1280x720 only, not 640x360" in error.text


@pytest.mark.parametrize("reels", [("A001", "A002"), ("A001", "A001"), ("", "")])
def test_twins_go_to_a_folder_by_reel_or_else_by_card(tmp_path: Path, reels: tuple[str, str]) -> None:
    """The card is the folder that sets them apart, however deep the trees below it are."""
    for card, reel, hour in (("card 1", reels[0], "10"), ("card 2", reels[1], "11")):
        (tmp_path / card / "PRIVATE" / "CLIP").mkdir(parents=True)
        write_movie(
            tmp_path / card / "PRIVATE" / "CLIP" / "C0001.mov",
            [numbered(0)],
            reel=reel,
            timecode=f"{hour}:00:00:00",
        )
    plan = prepare(Request(clip_list=tmp_path, encoding="LogC3")).plan
    assert [c.folder for c in plan.clips] == (
        ["A001", "A002"] if reels[0] != reels[1] else ["card 1", "card 2"]
    )
    assert {c.stem for c in plan.clips} == {"C0001"}


def test_a_folder_is_in_order_of_reel_and_timecode(tmp_path: Path) -> None:
    for name, reel, hour in (
        ("a", "B001", "10"),
        ("b", "A001", "12"),
        ("c", "A001", "11"),
        ("d", "B001", "09"),
    ):
        write_movie(tmp_path / f"{name}.mov", [numbered(0)], reel=reel, timecode=f"{hour}:00:00:00")
    assert [c.stem for c in prepare(Request(clip_list=tmp_path, encoding="LogC3")).plan.clips] == [
        "c",
        "b",
        "d",
        "a",
    ]


def test_headers_are_read_and_no_frame_is_decoded(tmp_path: Path) -> None:
    """An original whose pictures are all overwritten, but for the first one's own header, plans as before."""
    path = write_movie(tmp_path / "a.mov", [numbered(n) for n in range(3)])
    (tmp_path / "day.csv").write_text("clip,encoding\na.mov,v-log\n")
    (before,) = prepare(Request(clip_list=tmp_path / "day.csv")).plan.clips
    data = bytearray(path.read_bytes())
    at = data.index(b"icpf") + 200
    data[at : data.index(b"moov") - 4] = bytes(data.index(b"moov") - 4 - at)
    path.write_bytes(data)
    (after,) = prepare(Request(clip_list=tmp_path / "day.csv")).plan.clips
    assert (after.facts.frames, after.facts.codec, after.timecode) == (3, "prores", before.timecode)


CUBE = "LUT_3D_SIZE 2\n" + "".join(f"{r} {g} {{}}\n" for _ in (0, 1) for g in (0, 1) for r in (0, 1))


CLF = """<ProcessList id="x" compCLFversion="3">
<Matrix inBitDepth="32f" outBitDepth="32f"><Array dim="3 3">{} 0 0 0 1 0 0 0 1</Array></Matrix>
</ProcessList>
"""


def test_show_luts_of_other_kinds_are_found_by_name_and_others_refused(tmp_path: Path) -> None:
    luts = ("warm", "cold.clf", "curve.cube", "own.3dl", "torn.clf", "mixed", "legal")
    for n in range(len(luts)):
        write_movie(tmp_path / f"A001C00{n}.mov", [numbered(0)])
    rows = "".join(f"A001C00{n}.mov,v-log,{name}\n" for n, name in enumerate(luts))
    (tmp_path / "day.csv").write_text("clip,encoding,lut\n" + rows)
    grades = tmp_path / "luts"
    grades.mkdir()
    (grades / "warm.clf").write_text(CLF.format(1.1))
    (grades / "cold.clf").write_text("\ufeff" + CLF.format(0.9))
    (grades / "torn.clf").write_text(CLF.format(0.9)[:80])
    (grades / "curve.cube").write_text("LUT_1D_SIZE 2\n0 0 0\n1 1 1\n")
    (grades / "legal.cube").write_text("# day\nLUT_IN_LEGAL_RANGE\n" + CUBE.format(*[0.5] * 8))
    (tmp_path / "own.3dl").write_text("0 512 1023\n")
    (grades / "mixed.clf").write_text(CLF.format(0.8))
    (grades / "mixed.cube").write_text(CUBE.format(*[0.5] * 8))
    prepared = prepare(Request(clip_list=tmp_path / "day.csv", grades=(grades,)))
    found = [c.look.lut for c in prepared.plan.clips]
    assert [lut and lut.name for lut in found] == ["warm", "cold", "curve"]
    for lut, file in zip(found, ("warm.clf", "cold.clf", "curve.cube"), strict=True):
        assert lut and lut.path == f"log/inputs/{lut.digest.partition(':')[2]}{Path(file).suffix}"
        assert (
            prepared.luts.kept[Path(lut.path).name] == (grades / file).read_bytes()
        )  # as it is, mark and all
    wrong = {row.clip: error for row, error in prepared.plan.wrong}
    assert ".clf" in str(wrong["A001C003.mov"]) and "own.3dl" in str(wrong["A001C003.mov"])
    assert "torn.clf:2: is not whole XML" in str(wrong["A001C004.mov"])
    assert "2 different LUTs are called 'mixed'" in str(wrong["A001C005.mov"])
    assert (
        "LUT_IN_LEGAL_RANGE' in line 2" in str(wrong["A001C006.mov"])
        and wrong["A001C006.mov"].key == "lut_input"
    )


def test_show_luts_are_found_by_name_under_grades(tmp_path: Path) -> None:
    for n in (1, 2, 3, 4, 5):
        write_movie(tmp_path / f"A001C00{n}.mov", [numbered(0)])
    (tmp_path / "day.csv").write_text(
        "clip,encoding,lut\nA001C001.mov,v-log,Farrow\nA001C002.mov,v-log,farrow.cube\nA001C003.mov,v-log,beside\n"
        "A001C004.mov,v-log,twice\nA001C005.mov,v-log,nowhere\n"
    )
    for name, blue in (
        ("luts/farrow", 0.5),
        ("beside", 0.6),
        ("luts/beside", 0.7),
        ("luts/twice", 0.1),
        ("luts/x/twice", 0.2),
    ):
        (tmp_path / f"{name}.cube").parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / f"{name}.cube").write_text(CUBE.format(*[blue] * 8))
    prepared = prepare(Request(clip_list=tmp_path / "day.csv", grades=(tmp_path / "luts",)))
    plan = prepared.plan
    assert [c.look.lut and c.look.lut.name for c in plan.clips] == ["farrow", "farrow", "beside"]
    read = prepared.luts.read
    assert (
        plan.clips[0].look.lut
        and plan.clips[0].look.lut.digest == read(tmp_path / "luts" / "farrow.cube").digest
    )
    assert plan.clips[2].look.lut and plan.clips[2].look.lut.digest == read(tmp_path / "beside.cube").digest
    assert [(row.line, error.key) for row, error in plan.wrong] == [(5, "lut"), (6, "lut")]
    assert "2 different LUTs are called 'twice'" in str(plan.wrong[0][1])
    assert (tmp_path / "luts" / "farrow.cube").absolute() in prepared.grade_files
    alone = prepare(Request(clip_list=tmp_path / "day.csv", grades=(tmp_path / "luts" / "farrow.cube",)))
    assert len(alone.plan.clips) == 3


def test_all_that_is_wrong_with_decisions_is_said_at_once(tmp_path: Path) -> None:
    write_movie(tmp_path / "A001C001.mov", [numbered(0)])
    (tmp_path / "day.csv").write_text("clip,encoding\nA001C001.mov,v-log\nnowhere.mov,v-log\n")
    (tmp_path / "g").mkdir()
    (tmp_path / "g" / "a.csv").write_text("id,saturation\nA001C001,0.5\nx,high\ny,-1\n")
    (tmp_path / "g" / "b.cc").write_text("<ColorCorrection id='z'>")
    (tmp_path / "g" / "c.csv").write_text(
        "date,timecode,rate,saturation\n2026-05-04,10:00:00:00,24,1\n4 May,x,24,1\n2026-05-04,x,24,1\n"
    )
    request = Request(clip_list=tmp_path / "day.csv", grades=(tmp_path / "g",))
    with pytest.raises(GradeError) as caught:
        prepare(request)
    document = plan_document(prepare(request, all_faults=True))
    places = [(Path(p["file"]).name, p["line"]) for p in document["problems"]]
    assert places == [("a.csv", 3), ("a.csv", 4), ("b.cc", None), ("c.csv", 3), ("c.csv", 4), ("day.csv", 3)]
    for name, line in places[:-1]:
        assert f"{name}:{line}" in str(caught.value) if line else name in str(caught.value)
    ran = rushlight("plan", tmp_path / "day.csv", "--grades", tmp_path / "g", "--write", tmp_path / "w.csv")
    assert ran.returncode == 2 and not (tmp_path / "w.csv").exists() and "a.csv:3" in ran.stderr
    ran = rushlight("plan", "day.csv", "--grades", "g", cwd=tmp_path)
    assert ran.returncode == 2 and ran.stdout.count("REFUSED") == 5 and "1 planned" in ran.stdout


def test_one_decision_without_an_id_bears_its_files_name(tmp_path: Path) -> None:
    (tmp_path / "A001C003.cc").write_text(
        "<ColorCorrection><SatNode><Saturation>0.4</Saturation></SatNode></ColorCorrection>"
    )
    (tmp_path / "many.ccc").write_text(
        "<ColorCorrectionCollection><ColorCorrection/><ColorCorrection id='x'/></ColorCorrectionCollection>"
    )
    book = GradeBook([tmp_path], GradeFiles())
    found = book.decision(wanted_of("A001C003.mov"))
    assert found and found.cdl and found.cdl.saturation == 0.4 and found.source.endswith("A001C003.cc")
    assert book.warnings == [
        f"{tmp_path / 'many.ccc'}: a decision without an id belongs to no clip ({CDL().numbers()})"
    ]


LIST = """<ColorDecisionList xmlns="urn:ASC:CDL:v1.01">
<ColorDecision><MediaRef ref="file:///card/A001C003.mov"/><ColorCorrection id="one"><SatNode><Saturation>0.4</Saturation></SatNode></ColorCorrection></ColorDecision>
<ColorDecision><ColorCorrection id="A001C004"><SatNode><Saturation>0.5</Saturation></SatNode></ColorCorrection><MediaRef ref="A001C004.mov"/></ColorDecision>
<ColorDecision><ColorCorrection id="A001C005"/></ColorDecision></ColorDecisionList>"""


def test_a_decision_is_for_the_media_that_its_list_names(tmp_path: Path) -> None:
    (tmp_path / "day.cdl").write_text(LIST)
    book = GradeBook([tmp_path], GradeFiles())
    found = [book.decision(wanted_of(f"A001C00{n}.mov")) for n in (3, 4, 5, 6)]
    assert [f and f.cdl and f.cdl.saturation for f in found] == [0.4, 0.5, 1.0, None]
    assert found[0] and found[0].source.endswith("day.cdl#one") and not book.warnings


def test_another_table_in_a_folder_of_decisions_is_passed_over_and_said(tmp_path: Path) -> None:
    (tmp_path / "report.csv").write_text("clip,lens\nA001C003,35\n")
    (tmp_path / "g.csv").write_text("clip,saturation\nA001C003,0.5\n")
    book = GradeBook([tmp_path], GradeFiles())
    found = book.decision(wanted_of("A001C003.mov"))
    assert found and found.cdl and found.cdl.saturation == 0.5
    assert book.warnings == [f"{tmp_path / 'report.csv'} has no column of numbers, so it is left out"]
    with pytest.raises(GradeError, match="no column of numbers"):
        GradeBook([tmp_path / "report.csv"], GradeFiles())


def test_an_ungraded_clip_has_the_show_transform_and_a_warning_or_is_refused(tmp_path: Path) -> None:
    write_movie(tmp_path / "a.mov", [numbered(0)])
    (tmp_path / "day.csv").write_text("clip,encoding\na.mov,LogC3\n")
    output = '[[output]]\nname = "o"\nmake = "movie"\ncodec = "prores-proxy"\n'
    for policy in ("warn", "refuse"):
        (tmp_path / "r.toml").write_text(f'ungraded = "{policy}"\n{output}')
        plan = prepare(Request(clip_list=tmp_path / "day.csv", recipe=str(tmp_path / "r.toml"))).plan
        if policy == "warn":
            (clip,) = plan.clips
            assert clip.look.grade is None and clip.look.transform == "aces2"
            assert any(w.startswith("ungraded:") for w in clip.warnings)
        else:
            ((_, error),) = plan.wrong
            assert error.key == "grade" and "refuses ungraded clips" in error.text and not plan.clips


def test_a_row_that_states_another_reel_than_its_file_is_heard_and_it_is_said(tmp_path: Path) -> None:
    write_movie(tmp_path / "B003C001.mov", [numbered(0)], reel="A001")
    (tmp_path / "day.csv").write_text(
        "clip,encoding,reel\nB003C001.mov,v-log,C007\nB003C001.mov,v-log,\nB003C001.mov,LogC9,\n"
    )
    plan = prepare(Request(clip_list=tmp_path / "day.csv")).plan
    assert [(row.line, error.key) for row, error in plan.wrong] == [(4, "encoding")]
    assert (
        plan.clips[0].reel == "C007"
        and "the list says reel C007, the file says A001" in plan.clips[0].warnings
    )
    (tmp_path / "day.csv").write_text("clip,encoding\nB003C001.mov,v-log\n")
    plan = prepare(Request(clip_list=tmp_path / "day.csv")).plan
    assert plan.clips[0].reel == "A001"  # the container's, before the name's
    assert plan.warnings == ["B003C001.mov: its reel is A001, its file name says B003"]
