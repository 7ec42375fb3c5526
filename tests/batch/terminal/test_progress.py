"""What a person at a terminal, a pipe and a script see of a night, in unit steps and in a real terminal."""

import io
import json
import re
import time
from pathlib import Path
from typing import Any

import pytest

from at_terminal import at_a_terminal
from here import HereFarm, farm_here, run, rushlight, small_day  # noqa: F401
from recorded import movie, recorded
from rushlight.batch.records.events import Ended
from rushlight.batch.records.job_record import DeliveredRecord
from rushlight.batch.records.summary import FolderSums
from rushlight.batch.run.event_stream import EventStream
from rushlight.batch.run.events import Event, Phase
from rushlight.batch.terminal.progress import JsonView, LiveView, View, duration, summary_lines

RECIPE = '[[output]]\nname = "viewing"\nmake = "movie"\ncodec = "h264"\nsize = "320x180"\n'


def night(view: View) -> None:
    given = recorded("a", movie(path="viewing/a.mp4"), warnings=["ungraded: no decision"])
    record = DeliveredRecord.read(given)
    events = EventStream(view)
    events.begin(clips=3, frames=100, workers=2)
    events.event(Event(what="started", clip="a.mov", frames=10, of=60))
    events.event(Event(what="started", clip="b.mov"))
    events.event(Event(what="segment", clip="a.mov", frames=30))
    events.event(Event(what="done", clip="a.mov", record=record))
    events.event(Event(what="retry", clip="b.mov", text="a worker was lost"))
    events.event(Event(what="failed", clip="b.mov", text="does not decode"))


def test_a_day_whose_clips_join_later_promises_no_total(capsys: pytest.CaptureFixture[str]) -> None:
    record = DeliveredRecord.read(recorded("a", movie(path="viewing/a.mp4")))
    events = EventStream(View())
    events.begin(clips=0, frames=0, workers=2)
    events.event(Event(what="started", clip="a.mov", of=60))
    events.event(Event(what="segment", clip="a.mov", frames=30))
    events.event(Event(what="done", clip="a.mov", record=record))
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "waiting for clips to render, 2 workers"
    assert re.fullmatch(
        r"rendering: 30 frames made, [\d.]+ a second, time left not known yet; rendering a.mov \(50 %\)",
        said[1],
    )
    assert said[2] == "done a.mov (1 so far)"


def test_a_bar_whose_clips_join_later_shows_no_total(monkeypatch: pytest.MonkeyPatch) -> None:
    view = LiveView()
    monkeypatch.setattr("sys.stdout", io.StringIO())
    events = EventStream(view)
    events.begin(clips=0, frames=0, workers=2)
    events.event(Event(what="started", clip="a.mov", of=60))
    assert view._bar is not None
    (task,) = view._bar.tasks
    assert (task.total, task.description) == (None, "0 clips")
    view.end()


def test_the_last_words_where_nothing_was_to_be_made() -> None:
    sums = {"/o": FolderSums(lists=1, listed=4, delivered=4, set_aside=0, failed=0, not_yet=0, withdrawn=0)}
    ended = Ended.model_construct(
        folders=sums, missing=[], set_aside=[], failed=[], left=0, stopped_how="", done=[], unchanged=[]
    )
    assert summary_lines(ended, begun=False) == ["nothing new was to be made"]
    assert summary_lines(ended.model_copy(update={"folders": {}}), begun=False) == [
        "nothing to render: the list chooses no clip"
    ]


def test_paths_are_printed_resolved(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    farm_here: HereFarm,  # noqa: F811
) -> None:
    day = small_day(tmp_path / "day", {"A001C001": 2})
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    monkeypatch.chdir(tmp_path / "day")
    out = tmp_path / "real" / "out"
    told = []
    for arguments in (
        ("render", day.name, "--recipe", "two.toml", "--out", "../link/out"),
        ("render", day.name, "--recipe", "two.toml", "--out", "../link/out", "--json"),
        ("report", "../link/../link/out"),
        ("report", "../link/out", "--json"),
        ("queue", "list", "--queue", "../link/q.sqlite"),
        ("grades", day.name, "--to", "../link/grades"),
    ):
        code, said = run(*arguments)
        assert code == 0 and ".." not in said and "link" not in said, said
        told.append(said)
    assert f"report: {out}/report/index.html\n" in told[0] and f"to {out}\n" in told[0]
    assert json.loads(told[1].splitlines()[-1])["out"] == str(out)
    assert f"{tmp_path}/real/q.sqlite is empty" in told[4]


def test_plain_lines(capsys: pytest.CaptureFixture[str]) -> None:
    view = View()
    night(view)
    out, err = capsys.readouterr()
    assert "rendering 3 clips, 100 frames, 2 workers" in out and "\x1b" not in out + err
    pace = next(line for line in out.splitlines() if " of 100 frames" in line)
    assert re.fullmatch(
        r"rendering: 40 of 100 frames, [\d.]+ a second, .+ left; 1 clip waiting; rendering a\.mov \(66 %\), b\.mov \(0 frames\)",
        pace,
    )
    assert "done a.mov (1 of 3)\n  note: ungraded: no decision" in out
    assert "trying b.mov again: a worker was lost" in err and "failed b.mov: does not decode" in err
    assert view.in_hand_line() == "1 clip waiting; none is being rendered yet" and view.noted == 1


def test_frames_as_they_are_made_and_the_clock_time_of_the_end(capsys: pytest.CaptureFixture[str]) -> None:
    view = View()
    events = EventStream(view)
    events.begin(clips=2, frames=100, workers=2)
    for clip in ("a.mov", "b.mov"):
        events.event(Event(what="started", clip=clip, of=50))
    ends = time.time() + 90
    clips = (("a.mov", 21, 50), ("b.mov", 4, 50))
    phase = Phase(name="rendering", done=0, total=0, ends=ends, clips=clips)
    events.event(Event(what="phase", frames=25, phase=phase))
    view.next_line = 0.0
    assert (view.frames, view.in_hand) == (25, {"a.mov": 21, "b.mov": 4})
    until = time.strftime("%H:%M", time.localtime(ends))
    pace = view.pace()
    assert pace.startswith("rendering: 25 of 100 frames, ")
    assert re.search(rf" 1 min [123]\d s left, until {until}; ", pace)  # however slow this machine is
    assert pace.endswith("0 clips waiting; rendering a.mov (42 %), b.mov (8 %)")
    events.event(Event(what="phase", frames=3, phase=phase))  # a segment ended, and is not told yet
    assert view.frames == 25
    events.event(Event(what="segment", clip="a.mov", frames=48))
    assert view.frames == 48 and view.in_hand["a.mov"] == 48
    assert f"until {until}" in capsys.readouterr().out


def test_the_bar_of_a_terminal_shows_the_clock_time_of_the_end() -> None:
    view = LiveView()
    events = EventStream(view)
    events.begin(clips=1, frames=100, workers=1)
    ends = time.time() + 7200
    phase = Phase(name="rendering", done=0, total=0, ends=ends, clips=(("a.mov", 21, 50),))
    events.event(Event(what="phase", frames=21, phase=phase))
    assert view._bar is not None
    (_, under) = view._bar.get_renderables()
    events.end()
    until = time.strftime("%H:%M", time.localtime(ends))
    assert re.match(rf"(2 h 00|1 h 59) min left, until {until}; 0 clips waiting; ", str(under))


def test_what_an_earlier_run_made_is_no_speed_of_this_one(capsys: pytest.CaptureFixture[str]) -> None:
    view, told = View(), list[dict[str, Any]]()

    def both(document: Any) -> None:
        told.append(document)
        view(document)

    events = EventStream(both)
    events.begin(clips=1, frames=100, workers=1)
    events.event(Event(what="started", clip="a.mov", frames=90, of=100))
    assert view.pace().startswith("rendering: 90 of 100 frames, 0.0 a second, time left not known yet; ")
    ends = time.time() + 1
    phase = Phase(name="rendering", done=0, total=0, ends=ends, clips=(("a.mov", 90, 100),))
    events.event(Event(what="phase", phase=phase))
    assert ", time left not known yet; " in view.pace()
    view.started -= 10
    events._started -= 10
    events.event(Event(what="segment", clip="a.mov", frames=5))
    assert view.pace().startswith("rendering: 95 of 100 frames, 0.5 a second, ") and " left" in view.pace()
    assert told[-1]["per_second"] <= 0.5
    events.event(Event(what="segment", clip="a.mov", frames=5))
    assert ", all frames made, their files are being finished; " in view.pace()
    assert " 0 s left" not in view.pace() + capsys.readouterr().out


@pytest.mark.parametrize(
    ("clips", "frames", "parts", "said"),
    [
        (3, 100, 3, "rendering 3 clips, 100 frames, 1 worker"),
        (3, 100, 0, "rendering 3 clips, 100 frames, 1 worker"),
        (3, 200, 6, "rendering 3 clips in 6 parts, 200 frames, 1 worker"),
        (1, 0, 1, "finishing 1 clip, no frame to render, 1 worker"),
    ],
)
def test_what_work_begins_with(
    clips: int, frames: int, parts: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    EventStream(View()).begin(clips=clips, frames=frames, workers=1, parts=parts)
    assert capsys.readouterr().out == said + "\n"


def test_a_list_in_the_queue_says_set_aside_and_failed_apart(capsys: pytest.CaptureFixture[str]) -> None:
    EventStream(View()).queued(Path("day.csv"), clips=1, unchanged=1, set_aside=2, failed=3)
    said = "day.csv: 1 clip queued, 1 made earlier, 2 set aside, 3 failed\n"
    assert capsys.readouterr().out == said


def test_quiet_hides_all_but_what_matters(capsys: pytest.CaptureFixture[str]) -> None:
    night(View(quiet=True))
    out, err = capsys.readouterr()
    assert out == "" and "failed b.mov: does not decode" in err


def test_events_are_one_json_document_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    night(JsonView())
    out, err = capsys.readouterr()
    events = [json.loads(line) for line in out.splitlines()]
    assert [e["event"] for e in events] == [
        "begin",
        "started",
        "started",
        "segment",
        "done",
        "retry",
        "failed",
    ]
    assert events[3] == {**events[3], "clip": "a.mov", "frames": 40, "of": 100}
    assert events[4]["warnings"] == ["ungraded: no decision"] and err == ""


@pytest.mark.parametrize(
    ("seconds", "text"), [(3.6, "4 s"), (200, "3 min 20 s"), (7500, "2 h 05 min"), (0, "0 s")]
)
def test_durations(seconds: float, text: str) -> None:
    assert duration(seconds) == text


def test_a_real_terminal_shows_queue_clips_in_hand_pace_and_a_last_summary(tmp_path: Path) -> None:
    day = small_day(tmp_path / "day", {"A001C003": 60, "A001C007": 12})
    with day.open("a") as stream:
        stream.write("gone.mov,LogC3,narrow\n")
    (tmp_path / "small.toml").write_text(RECIPE)
    request = ("render", day, "--recipe", tmp_path / "small.toml")
    code, seen = at_a_terminal(*request, "--out", tmp_path / "out", "--workers", 1)
    assert code == 1
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", seen)
    assert re.search(r"[01]/2 clips .*\d+/\d+ frames +[\d.]+ a second", plain)
    assert re.search(r"left(, until \d\d:\d\d)?; 1 clip waiting; rendering A001C00\d\.mov \(\d+ %", plain)
    assert re.search(r"done A001C007\.mov \(\d of 2\)", plain) and "  note: ungraded" in plain
    last = plain.replace("\r", "").rstrip().splitlines()
    assert any(line.startswith("SET ASIDE: 1 clip") for line in last[-6:])
    assert any(line.startswith("delivered 2 clips") for line in last[-4:])
    assert "2 clips with notes: see " in "".join(last[-3:])
    piped = rushlight(*request, "--out", tmp_path / "out")
    assert piped.returncode == 1 and "\x1b" not in piped.stdout + piped.stderr
    assert "2 clips made earlier and unchanged" in piped.stdout
    code, seen = at_a_terminal("verify", tmp_path / "out", "--no-hash", columns=100)
    assert code == 0 and max(len(line) for line in seen.replace("\r", "").splitlines()) <= 100
