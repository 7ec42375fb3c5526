"""Level and loudness over time: what left its range is marked where it did, and said by its timecode."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from recorded import movie, recorded
from rushlight.batch.records.colour import Level
from rushlight.batch.records.finished import few_levels
from rushlight.batch.records.job_record import DeliveredRecord, read_record
from rushlight.batch.records.sound import loudness_record
from rushlight.batch.report.level_charts import HEIGHT, WIDTH, level_chart, loudness_chart
from rushlight.batch.report.page_templates import environment
from rushlight.pipelines.measure.loudness import RATE, loudness

DISPLAY = {"layer": "display", "name": "Rec.709 BT.1886"}


def second(frame: int, outside: float = 0.0, high: float = 0.9) -> dict[str, Any]:
    return {"frame": frame, "luma": [0.02, high], "rgb": [-0.01, high], "outside": outside}


def record_of(levels: list[dict[str, Any]], display: str = "", **entry: Any) -> DeliveredRecord:
    picture = {"digest": "d", "outputs": ["editorial"], "display": display, "level": levels}
    colour = {"digest": "d", "pictures": [picture], "tiles": {}, "sensitivity": {}}
    look = {"digest": "d", "description": "x", "grade": None, "layers": [DISPLAY]}
    record = read_record(recorded("A", movie(**entry), colour=colour, look=look, first_frame=100))
    assert isinstance(record, DeliveredRecord)
    return record


def test_a_second_that_leaves_r_103_is_marked_and_named() -> None:
    chart = level_chart(record_of([second(100), second(124, 0.023, 1.2), second(148, 0.01)]))
    assert chart and chart.left and chart.marks == [WIDTH / 2]
    assert "leaves EBU R 103 at 01:00:01:00 (2.3 % of the picture)" in chart.words
    assert "luma 2 to 120 %, R'G'B' -1 to 120 %" in chart.words
    assert len(chart.rules) == 6
    assert chart.rules[0] == (pytest.approx(HEIGHT * 1.15 / 1.3, abs=0.01), "0")


def test_what_stays_inside_says_so_and_many_places_are_counted() -> None:
    inside = level_chart(record_of([second(100), second(124)]))
    assert inside and not inside.left and not inside.marks
    assert "inside EBU R 103 in every second" in inside.words
    many = level_chart(record_of([second(100 + 24 * k, 0.5) for k in range(9)]))
    assert many and many.words.endswith("and 5 more.")


def test_no_limit_of_sdr_is_held_to_hdr() -> None:
    chart = level_chart(record_of([second(100, 0.5)], display="PQ BT.2100"))
    assert chart and not chart.left and not chart.marks and len(chart.rules) == 2
    assert "is not applied" in chart.words


def test_records_of_before_have_neither() -> None:
    record = record_of([])
    assert level_chart(record) is None and loudness_chart(record) is None
    assert "level" not in read_record(recorded("A", movie())).plain()["outputs"][0]  # type: ignore[index]


def test_a_long_clip_keeps_its_furthest_second() -> None:
    levels = [
        Level.read(second(k, 0.3 if k == 7777 else 0.0, 1.4 if k == 7777 else 0.9)) for k in range(10_000)
    ]
    few = few_levels(levels)
    assert len(few) <= 240
    (worst,) = [each for each in few if each.outside]
    assert worst.luma == [0.02, 1.4] and worst.outside == 0.3 and worst.frame <= 7777 < worst.frame + 42
    assert few_levels([]) == [] and few_levels(levels[:3]) == levels[:3]


def test_loudness_is_drawn_with_its_peaks_marked() -> None:
    at = np.arange(RATE * 6) / RATE
    sound = 0.1 * np.sin(2 * np.pi * 997 * at)
    sound[RATE * 2 : RATE * 2 + 4800] *= 9.5  # -0.4 dBFS from 2.0 to 2.1 s
    kept = loudness_record(loudness([np.stack([sound, sound])]), 2)
    assert (kept.step, len(kept.momentary), kept.over) == (0.1, 60, [20])
    assert kept.momentary[:4] == [None, None, None, pytest.approx(-20.0, abs=0.1)]
    assert kept.short_term[28] is None and kept.short_term[29] is not None
    chart = loudness_chart(record_of([], loudness=kept.plain()))
    assert chart and chart.left and chart.marks == [pytest.approx(WIDTH * 20.5 / 60, abs=0.01)]
    assert f"{kept.integrated:.1f} LUFS integrated" in chart.words and "above -1 dBTP" in chart.words


def test_long_sound_is_thinned_and_silence_is_no_number() -> None:
    quiet = loudness_record(loudness([np.zeros((1, RATE * 60))]), 1)
    assert quiet.integrated is None and quiet.true_peak is None and set(quiet.momentary) == {None}
    assert (len(quiet.momentary), quiet.step) == (200, 0.3)
    chart = loudness_chart(record_of([], loudness=quiet.plain()))
    assert chart and not chart.left and "silence" in chart.words
    nothing = loudness_record(loudness([]), 2)
    assert nothing.momentary == [] and loudness_chart(record_of([], loudness=nothing.plain()))


def test_the_page_says_in_words_what_it_draws() -> None:
    clip = SimpleNamespace(charts=[("level", level_chart(record_of([second(100, 0.5)])))])
    drawn = str(environment().get_template("clip_parts.jinja").module.charts(clip))  # type: ignore[attr-defined]
    assert 'role="img"' in drawn and drawn.count("leaves EBU R 103 at 01:00:00:00") == 3
    assert 'class="left"' in drawn and "style=" not in drawn
