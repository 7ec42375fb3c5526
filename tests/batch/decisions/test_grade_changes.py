"""The record of grade changes: what held at the cut, against a slow reference that counts label by label."""

import datetime
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from pictures import numbered, write_movie
from rushlight.batch.decisions.grade_change_files import read_changes
from rushlight.batch.decisions.grade_changes import ChangeRecord, Rolled
from rushlight.batch.plan.prepare import prepare
from rushlight.batch.plan.request import Request
from rushlight.pipelines.errors import GradeError
from rushlight.pipelines.formats.timecode import FrameRate, Timecode

D = datetime.date(2026, 5, 4)
HEAD = "date,timecode,rate,camera,saturation\n"


def rolled(start: str, frames: int, rate: str = "24", camera: str = "A", day: int = 0) -> Rolled:
    parsed = FrameRate.parse(rate)
    return Rolled(
        start=Timecode.parse(start, parsed), date=D + datetime.timedelta(day), frames=frames, camera=camera
    )


def sat(record: ChangeRecord, clip: Rolled) -> float | None:
    found = record.decision(clip)
    return found.cdl.saturation if found and found.cdl else None


def test_held_at_the_cut_or_the_first_frame_and_the_rest_is_said() -> None:
    rows = "2026-05-04,10:00:00:00,24,,0.1\n2026-05-04,10:00:05:00,24,,0.2\n2026-05-04,10:00:10:00,24,,0.3\n"
    clip = rolled("10:00:00:00", 240)
    found = ChangeRecord(read_changes(HEAD + rows, file="r.csv")).decision(clip)
    assert found and found.cdl and found.cdl.saturation == 0.2 and found.source == "r.csv:3"
    assert "while the clip was rolling" in found.warnings[0] and "r.csv:3" in found.warnings[0]
    assert [(x.cdl.saturation, x.source) for x in found.later] == [(0.3, "r.csv:4")]
    assert sat(ChangeRecord(read_changes(HEAD + rows), held_at="first frame"), clip) == 0.1
    assert sat(ChangeRecord(read_changes(HEAD + rows)), rolled("09:00:00:00", 10)) is None


@pytest.mark.parametrize("others", ["", "2026-05-04,13:30:00:00,25,,0.9\n"])
def test_what_came_in_the_twelve_hours_after_the_cut_is_in_order(others: str) -> None:
    """From the cut on, up to twelve hours less a frame, whatever the order of the rows; beside one that counts otherwise too."""
    times = [
        "12:00:00:00",
        "22:00:09:23",
        "11:00:00:00",
        "10:00:10:00",
        "22:00:10:00",
        "09:00:00:00",
        "10:00:09:23",
    ]
    rows = "".join(f"2026-05-04,{time},24,,0.{n + 1}\n" for n, time in enumerate(times)) + others
    record = ChangeRecord(read_changes(HEAD + rows))
    found = [later.cdl.saturation for later in record.later(rolled("10:00:00:00", 240))]
    assert found == ([0.4, 0.3, 0.1, 0.9, 0.2] if others else [0.4, 0.3, 0.1, 0.2])


def test_cameras_midnight_and_a_camera_whose_timecode_is_ahead() -> None:
    rows = "2026-05-04,23:59:58:00,24,,0.1\n2026-05-05,00:00:02:00,24,B,0.2\n"
    record = ChangeRecord(read_changes(HEAD + rows))
    assert sat(record, rolled("23:59:59:00", 24 * 5, camera="A")) == 0.1
    assert sat(record, rolled("23:59:59:00", 24 * 5, camera="b")) == 0.2
    assert (
        sat(record, rolled("23:59:59:00", 24 * 3, camera="B")) == 0.1
    )  # at the instant of the cut: after it
    ahead = ChangeRecord(read_changes(HEAD + rows), ahead={"B": 0.5})
    assert sat(ahead, rolled("23:59:59:00", 24 * 3 + 12, camera="B")) == 0.1
    assert sat(ahead, rolled("23:59:59:00", 24 * 3 + 13, camera="B")) == 0.2


def test_the_clock_and_the_drift_of_23_976() -> None:
    """Jammed at 07:00; at label 17:00:00:00 ten hours of 23.976 have taken 36036 s: the clock says 17:00:36."""
    head = "date,clock,utc_offset,jammed,saturation\n"
    rows = "2026-05-04,06:00,+00:00,07:00,0.1\n2026-05-04,15:00:{},+00:00,07:00,0.2\n"
    clip = rolled("17:00:00:00", 24, "23.976")
    for second, wanted in (("36", 0.2), ("37", 0.2), ("37.001", 0.1), ("38", 0.1)):
        record = ChangeRecord(read_changes(head + rows.format(second)), utc_offset=7200)
        assert sat(record, clip) == wanted, second
    with pytest.raises(GradeError, match="jammed"):
        ChangeRecord(read_changes(head + rows.format("36").replace("07:00", "")), utc_offset=7200).decision(
            clip
        )
    with pytest.raises(GradeError, match="utc_offset"):
        ChangeRecord(read_changes(head + rows.format("36"))).decision(clip)


def test_one_instant_with_two_grades_and_counts_that_differ() -> None:
    rows = "2026-05-04,10:00:00:00,24,,0.1\n2026-05-04,10:00:00:00,24,A,0.2\n"
    record = ChangeRecord(read_changes(HEAD + rows))
    with pytest.raises(GradeError, match="one instant"):
        record.decision(rolled("10:00:00:00", 24))
    assert sat(record, rolled("10:00:00:00", 24, camera="B")) == 0.1
    assert sat(record, rolled("10:00:00:00", 24, "48", "B")) == 0.1


@pytest.mark.parametrize("rate", ["23.976", "29.97", "59.94"])
def test_a_record_at_24_and_cameras_whose_timecode_is_late(rate: str) -> None:
    """Jammed at 07:00, so that at label 10:00:00:00 the clock and 24 say 10:00:10.8. Unknown: up to 86.4 s late."""
    rows = "2026-05-04,09:00:00:00,24,,0.1\n2026-05-04,{},24,,0.2\n"
    clip = rolled("10:00:00:00", 24, rate)
    for label, wanted in (
        ("10:00:11:00", 0.2),
        ("10:00:12:00", 0.1),
        ("10:02:00:00", 0.1),
        ("09:59:00:00", 0.2),
    ):
        changes = read_changes(HEAD + rows.format(label))
        assert sat(ChangeRecord(changes, jammed=7 * 3600), clip) == wanted
        if label.startswith("10:00"):  # it depends on when they were jammed, and nobody said
            with pytest.raises(GradeError, match="state `jammed`"):
                ChangeRecord(changes).decision(clip)
        else:
            found = ChangeRecord(changes).decision(clip)
            assert found and found.cdl and found.cdl.saturation == wanted
            assert any("drifts from the record by up to 86 s" in w for w in found.warnings)


@seed(11)
@settings(max_examples=300, deadline=None)
@given(
    jam=st.integers(0, 86399),
    gone=st.integers(0, 80000),
    frames=st.integers(1, 4000),
    near=st.lists(
        st.tuples(st.integers(-9000, 9000), st.sampled_from(["", "A"])), max_size=6, unique_by=lambda t: t[0]
    ),
    rates=st.tuples(
        st.sampled_from(["24", "25", "23.976", "29.97df"]), st.sampled_from(["24", "25", "23.976", "29.97df"])
    ),
    said=st.booleans(),
)
def test_devices_jammed_together_are_never_given_a_wrong_grade(
    jam: int, gone: int, frames: int, near: list[tuple[int, str]], rates: tuple[str, str], said: bool
) -> None:
    """Two devices count from one jam, each at its own rate, as a simulation in real time has it. With `jammed` the answer is
    the true one; without, it is the true one or an error that asks for it."""

    def counting(text: str, real: Fraction) -> tuple[Timecode, int]:
        """What a device shows so many real seconds after the jam, and days since the jam's date."""
        rate, drop = FrameRate.parse(text.removesuffix("df")), text.endswith("df")
        first = Timecode.parse(
            f"{jam // 3600:02}:{jam // 60 % 60:02}:{jam % 60:02}{';' if drop else ':'}02", rate
        )
        days, rest = divmod(first.frames - 2 + int(real * rate.fraction), rate.day(drop=drop))
        return Timecode(frames=rest, rate=rate, drop=drop), days

    start, day = counting(rates[0], Fraction(gone))
    begun = (int(Fraction(gone) * start.rate.fraction)) / start.rate.fraction
    rows, truth = [], []
    for number, (offset, who) in enumerate(near):
        moment = Fraction(gone) + Fraction(offset, 10)
        if moment < 0:
            continue
        label, its_day = counting(rates[1], moment)
        shown = int(moment * label.rate.fraction) / label.rate.fraction
        date = D + datetime.timedelta(its_day)
        rows.append(f"{date},{label},{label.rate},{who},0.{number + 1}")
        truth.append((shown, float(f"0.{number + 1}")))
    clip = Rolled(start=start, date=D + datetime.timedelta(day), frames=frames, camera="A")
    end = begun + frames / start.rate.fraction
    if any(abs(shown - end) < Fraction(1, 10) for shown, _ in truth) or len({t for t, _ in truth}) < len(
        truth
    ):
        return  # within the frame that a label covers
    held = sorted(t for t in truth if t[0] < end)
    record = ChangeRecord(read_changes(HEAD + "\n".join(rows) + "\n"), jammed=jam if said else None)
    try:
        assert sat(record, clip) == (held[-1][1] if held else None)
    except GradeError as error:
        assert not said and rates[0] != rates[1] and "jammed" in str(error)


def labels(rate: str, drop: bool) -> dict[str, int]:
    """Every label of 20 minutes round midnight, counted one by one: the reference knows no formula."""
    nominal = {"24": 24, "23.976": 24, "25": 25, "29.97": 30}[rate]
    found, count = {}, 0
    for minute in [*range(23 * 60 + 50, 24 * 60), *range(10)]:
        for second in range(60):
            for frame in range(nominal):
                if drop and second == 0 and frame < 2 and minute % 10:
                    continue
                mark = ";" if drop else ":"
                found[f"{minute // 60:02}:{minute % 60:02}:{second:02}{mark}{frame:02}"] = count
                count += 1
    return found


KINDS = {k: labels(*k) for k in [("24", False), ("23.976", False), ("25", False), ("29.97", True)]}


@seed(20260504)
@settings(max_examples=200, deadline=None)
@given(st.sampled_from(sorted(KINDS)), st.data())
def test_any_record_is_as_the_slow_reference_says(kind: tuple[str, bool], data: st.DataObject) -> None:
    table = KINDS[kind]
    names = list(table)
    near = st.integers(14000, 14700)
    changes = data.draw(
        st.lists(st.tuples(near, st.sampled_from(["", "A", "B"])), max_size=8, unique_by=lambda t: t[0])
    )
    start, frames = data.draw(near), data.draw(st.integers(1, 500))
    held_at = data.draw(st.sampled_from(["cut", "first frame"]))
    camera = data.draw(st.sampled_from("AB"))

    def date(label: str) -> str:
        return "2026-05-04" if label.startswith("23") else "2026-05-05"

    rows = [f"{date(names[i])},{names[i]},{kind[0]},{who},0.{n + 1}" for n, (i, who) in enumerate(changes)]
    record = ChangeRecord(read_changes(HEAD + "\n".join(rows) + "\n"), held_at=held_at)
    clip = rolled(names[start], frames, kind[0], camera, day=0 if names[start].startswith("23") else 1)
    wanted = None
    for moment in range(
        0, start + (frames if held_at == "cut" else 1)
    ):  # frame by frame up to the last one held
        for n, (i, who) in enumerate(changes):
            if i == moment and who in ("", camera):
                wanted = float(f"0.{n + 1}")
    assert sat(record, clip) == wanted


@seed(7)
@settings(max_examples=200, deadline=None)
@given(
    st.integers(0, 23),
    st.integers(0, 86399),
    st.integers(1, 2000),
    st.integers(-5000, 5000),
    st.integers(-14, 14),
)
def test_the_clock_is_as_the_slow_reference_says(
    hour: int, at: int, frames: int, offset: int, zone: int
) -> None:
    """The reference lets datetime count, and lets 23.976 be late by a thousandth of what has gone by since the jam."""
    label = f"{at // 3600:02}:{at // 60 % 60:02}:{at % 60:02}"
    gone = (at - hour * 3600) % 86400
    utc = datetime.timezone(datetime.timedelta(hours=zone))
    jam = datetime.datetime.combine(D, datetime.time(hour), utc) - datetime.timedelta(days=at < hour * 3600)
    begin = jam + datetime.timedelta(milliseconds=gone * 1001)
    change = (begin + datetime.timedelta(seconds=offset / 100)).astimezone(datetime.UTC)
    row = f"{change.date()},{change.time().isoformat('milliseconds')},Z,{hour:02}:00,0.5\n"
    (found,) = read_changes("date,clock,utc_offset,jammed,saturation\n" + row)
    clip = rolled(f"{label}:00", frames, "23.976")
    record = ChangeRecord([found], utc_offset=zone * 3600)
    (line,) = record._lines(clip)
    after = record._set(line, 0, record._began(line, clip))
    assert after.least == after.most and abs(after.least - Fraction(offset, 100)) <= Fraction(1, 1000)


def test_the_record_stands_between_names_and_scenes(tmp_path: Path) -> None:
    for name in ("A001C001", "A001C002"):
        write_movie(tmp_path / f"{name}.mov", [numbered(0), numbered(1)], timecode="10:00:00:00")
    (tmp_path / "day.csv").write_text(
        "clip,encoding,date,scene\nA001C001.mov,v-log,2026-05-04,7\nA001C002.mov,v-log,2026-05-04,7\n"
        "A001C002.mov,v-log,2026-05-03,7\nA001C002.mov,v-log,,7\n"
    )
    grades = tmp_path / "grades"
    grades.mkdir()
    (grades / "changes.csv").write_text(HEAD + "2026-05-04,09:00:00:00,24,,0.4\n")
    (grades / "grades.csv").write_text("id,scene,saturation\nA001C001,,0.1\n,7,0.7\n")
    plan = prepare(Request(clip_list=tmp_path / "day.csv", grades=(grades,))).plan
    assert [c.decision.cdl and c.decision.cdl.saturation for c in plan.clips] == [0.1, 0.4, 0.7]
    assert [(row.line, error.key) for row, error in plan.wrong] == [(5, "date")]
