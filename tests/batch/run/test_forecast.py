"""What will be ready by a moment: the arithmetic, the watch over a run, and the commands that say it."""

import json
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from here import HereFarm, farm_here, run, small_day, write_list  # noqa: F401
from rushlight.batch.run import forecast as forecasts
from rushlight.batch.run.forecast import WEIGHT, Deadline, cost_of, forecast, moment_text, next_time, speed
from rushlight.pipelines.errors import OptionError

WORK = [("a", 100.0), ("b", 50.0), ("a", 30.0), ("c", 20.0)]


def test_a_clip_is_ready_with_the_last_of_its_parts() -> None:
    found = forecast(WORK, rate=2.0, now=1000.0, by=1090.0)  # ends: a 50, b 75, a 90, c 100
    assert found.ready == ("a", "b") and found.late == ("c",) and found.end == 1100.0
    assert forecast([], rate=2.0, now=1000.0, by=1000.0).end == 1000.0
    stuck = forecast(WORK, rate=0.0, now=1000.0, by=1e9)
    assert stuck.ready == () and stuck.end < 1e9  # and no infinity that a clock could not show
    assert "2 of the 3 clips left will be ready" in found.text() and "not: c" in found.text()
    assert set(found.document()) == {"ready_by", "all_ready", "ready", "late"}


@given(st.floats(0, 1e6), st.floats(0, 1e6), st.floats(0, 100))
def test_speed_goes_from_the_guess_to_what_was_measured(done: float, seconds: float, guess: float) -> None:
    found = speed(done, seconds, guess)
    measured = done / seconds if seconds else guess
    assert min(guess, measured) - 1e-9 <= found or seconds == 0
    assert speed(0.0, 0.0, guess) == pytest.approx(guess)
    assert speed(1e6 * 3, 1e6, guess) == pytest.approx(3, abs=0.01)
    assert speed(0.0, -5.0, guess) == pytest.approx(guess)  # a clock that was set back


def test_the_watch_says_what_is_news_and_no_more() -> None:
    watch = Deadline(by=2000.0)
    work = [("a", 500.0), ("b", 500.0)]
    assert watch.look(work, workers=2, now=1000.0) is None  # 1000 s of work for two: ready at 1500
    assert watch.look(work, workers=2, now=1020.0) is None
    watch.done = 20.0
    assert (
        watch.look([("a", 480.0), ("b", 500.0)], workers=2, now=1060.0) is None
    )  # slow, but the guess still counts
    watch.done = 40.0
    news = watch.look(
        [("a", 460.0), ("b", 500.0)], workers=2, now=1120.0
    )  # (40 + 120) / 180 a second: at 2200
    assert news is not None and news[0] == "late" and news[1].late == ("b",) and watch.measured
    assert watch.look([("a", 460.0), ("b", 500.0)], workers=2, now=1121.0) is None  # said
    assert watch.look([("a", 455.0), ("b", 500.0)], workers=2, now=1500.0)[0] == "late"  # and far later still
    watch.done = 4000.0
    news = watch.look([("b", 100.0)], workers=2, now=1600.0)
    assert news is not None and news[0] == "in time"
    assert watch.look([], workers=2, now=1601.0) is None


def test_late_by_the_guess_is_said_again_when_it_is_measured() -> None:
    watch = Deadline(by=1100.0)
    news = watch.look([("a", 500.0)], workers=1, now=1000.0)
    assert news is not None and news[0] == "late" and not watch.measured
    assert watch.look([("a", 500.0)], workers=1, now=1010.0) is None
    watch.done = 30.0
    news = watch.look([("a", 470.0)], workers=1, now=1000.0 + WEIGHT / 2)
    assert news is not None and news[0] == "late" and watch.measured


def test_a_time_of_day_is_the_next_one() -> None:
    now = datetime(2026, 11, 25, 21, 30, tzinfo=UTC).astimezone()
    for text in ("00:00", f"{now:%H:%M}", "23:59"):
        found = next_time(text, now)
        assert f"{found:%H:%M}" == text and 0 < (found - now).total_seconds() <= 86400
    for text in ("", "25:00", "5", "noon"):
        with pytest.raises(OptionError, match="no time of day"):
            next_time(text, now)
    zone = time.strftime("%Z", time.localtime(0))
    assert zone in moment_text(0.0)


def test_cost_counts_what_is_decoded_and_made() -> None:
    hd, uhd, over = 1920 * 1080, 3840 * 2160, forecasts.FINISH
    assert cost_of(uhd, [hd], 10) > cost_of(hd, [hd], 10) > cost_of(hd, [hd // 4], 10) > over
    assert cost_of(hd, iter([hd, hd]), 10) == pytest.approx(10 * (0.009 + 0.044) * hd / 1e6 + over)


def test_cost_knows_stills_and_scene_linear_originals() -> None:
    hd, over = 1920 * 1080, forecasts.FINISH
    alone = cost_of(hd, [], 5000, stills=[hd])  # a still of a long clip: one frame of it is decoded
    assert alone == pytest.approx((0.009 + 1.0) * hd / 1e6 + over) == cost_of(hd, [], 48, stills=[hd])
    assert cost_of(hd, [hd], 48, stills=iter([hd, hd])) == pytest.approx(cost_of(hd, [hd], 48) + 2 * hd / 1e6)
    assert cost_of(hd, [hd], 48, scene_linear=True) > 3 * cost_of(hd, [hd], 48)
    assert cost_of(hd, [], 48) == over


def test_plan_says_what_will_be_ready(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day = small_day(tmp_path / "day")
    given_ = ("plan", day, "--recipe", tmp_path / "day" / "two.toml", "--out", tmp_path / "out")
    soon = (datetime.now() + timedelta(hours=2)).strftime("%H:%M")
    code, said = run(*given_, "--ready-by", soon, "--workers", 3)
    zone = time.strftime("%Z")
    assert code == 0, said
    text = " ".join(said.split())
    assert f"by {soon} {zone} on" in text and "2 of the 2 clips left will be ready" in text
    assert "with 3 workers from now" in text
    code, said = run(*given_, "--ready-by", soon, "--json")
    found = json.loads(said)["forecast"]
    assert found["ready"] == ["A001C002.mov", "A001C001.mov"] and found["late"] == []  # long clips first
    assert run("render", *given_[1:])[0] == 0
    assert (
        json.loads(run(*given_, "--ready-by", soon, "--json")[1])["forecast"]["ready"] == []
    )  # made already
    code, said = run(*given_, "--ready-by", "8")
    assert code == 2 and "'8' is no time of day" in said


def test_plan_knows_whether_this_machine_is_warm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    ends: list[datetime] = []
    day = small_day(tmp_path / "day")
    for missing in (0, 2):

        def kinds(found: list[object], missing: int = missing) -> list[object]:
            asked.append(len(found))
            return found[:1] * missing

        monkeypatch.setattr("rushlight.pipelines.render.compiled.missing_kinds", kinds)
        monkeypatch.setattr("rushlight.batch.api.plan.seconds_to_prepare", lambda n: 3600.0 * n)
        given_ = ("plan", day, "--recipe", tmp_path / "day" / "two.toml", "--ready-by", "23:59", "--json")
        ends.append(datetime.fromisoformat(json.loads(run(*given_)[1])["forecast"]["all_ready"]))
    assert asked == [2, 2]  # ten-bit ProRes and eight-bit H.264
    assert timedelta(minutes=118) < ends[1] - ends[0] < timedelta(minutes=122)


def test_a_night_that_slips_says_so_and_rings_once(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A farm that does one task a second, and a moment that the plan would keep but the farm will not."""
    monkeypatch.setattr(forecasts, "WEIGHT", 0.2)
    monkeypatch.setattr(forecasts, "DECODE", 30.0)  # the small clips count as much as long ones
    monkeypatch.setattr("rushlight.batch.run.events.Deadline", lambda by: Deadline(by=time.time() + 3.0))
    day = small_day(tmp_path / "day", {f"A001C00{n}": 2 for n in range(1, 6)})
    farm_here.before = lambda task: time.sleep(1.1)
    told = tmp_path / "told.json"
    script = tmp_path / "ring.py"
    script.write_text(f"import sys; open({str(told)!r}, 'a').write(sys.stdin.read())")
    command = ("render", day, "--recipe", tmp_path / "day" / "two.toml", "--out", tmp_path / "out")
    code, said = run(*command, "--ready-by", "08:00", "--on-late", f"{sys.executable} {script}")
    assert code == 0, said
    assert f"to be ready by 08:00 {time.strftime('%Z')}" in said and "late: by " in said
    deadline = time.monotonic() + 20
    while not told.exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    document = json.loads(told.read_text())  # one document: it rang once
    assert document["status"] == "late" and document["measured"] and document["late"]
    assert set(document) >= {"ready_by", "all_ready", "ready", "host", "time", "schema"}


def test_circled_takes_and_named_outputs_go_first(tmp_path: Path, farm_here: HereFarm) -> None:  # noqa: F811
    day = small_day(tmp_path / "day", {"A001C001": 6, "A001C002": 3, "A001C003": 4})
    rows = {c: {"circled": "yes" if c == "A001C002" else ""} for c in ("A001C001", "A001C002", "A001C003")}
    write_list(day, rows)
    recipe = tmp_path / "day" / "two.toml"
    plain = recipe.read_text()

    def order(first: str, out: str) -> list[tuple[str, str]]:
        recipe.write_text(first + plain)
        farm_here.calls.clear()
        code, said = run("render", day, "--recipe", recipe, "--out", tmp_path / out)
        frames = 26 if "editorial" in first else 13  # each output for itself: all that is rendered
        assert code == 0 and f"delivered 3 clips, {frames} frames" in said, said
        made = [t.arguments[0] for t in farm_here.calls if t.function.endswith("finish_job")]
        assert (
            run("render", day, "--recipe", recipe, "--out", tmp_path / out)[1].count(
                "made earlier and unchanged"
            )
            == 1
        )
        return [(p["stem"][-1], "+".join(o["output"][0] for o in p["outputs"])) for p in made]

    farm_here.slots = 1
    assert order("", "a") == [("1", "e+v"), ("3", "e+v"), ("2", "e+v")]  # long clips first
    assert order('first = ["circled"]\n', "b") == [("2", "e+v"), ("1", "e+v"), ("3", "e+v")]
    both = [("2", "e"), ("1", "e"), ("3", "e"), ("2", "v"), ("1", "v"), ("3", "v")]
    assert order('first = ["editorial", "circled"]\n', "c") == both
    takes = order(
        'first = ["circled", "editorial"]\n', "d"
    )  # another job may start while a finish is written down
    assert takes[0] == ("2", "e") and takes.index(("2", "v")) < takes.index(("3", "e"))
    assert takes[-2:] == [("1", "v"), ("3", "v")]
    recipe.write_text('first = ["editorail"]\n' + plain)
    code, said = run("render", day, "--recipe", recipe, "--out", tmp_path / "e")
    assert code == 2 and "'editorail'" in said
