"""A measured chart in words and in colours."""

from __future__ import annotations

import pytest

from recorded import movie, recorded
from rushlight.batch.records.job_record import DeliveredRecord, read_record
from rushlight.batch.report.chart_drawing import drawn_chart


@pytest.mark.parametrize(
    ("exposure", "words"),
    [(0.0, "exposed as published"), (-1.25, "1.25 stops darker"), (0.5, "0.50 stops brighter")],
)
def test_the_words(exposure: float, words: str) -> None:
    patch = {"ap0": [0.1] * 3, "lab": [50.0, 0.0, 0.0], "difference": 2.0}
    chart = {
        "corners": [[0, 0], [9, 0], [9, 9], [0, 9]],
        "frame": 1,
        "timecode": "01:00:00:01",
        "exposure": exposure,
        "cct": 6450,
        "duv": 0.003,
        "mean": 2.0,
        "worst": 2.0,
        "neutral": 0.5,
        "patches": {"dark skin": patch},
    }
    record = read_record(recorded("A", movie(), chart=chart))
    assert isinstance(record, DeliveredRecord)
    drawn = drawn_chart(record)
    assert drawn and words in drawn.words and "greys of 6450 K, neutral, Duv +0.0030" in drawn.words
    assert drawn.patches == [("dark skin", 2.0, "#777777", "none")]


def test_a_record_without_a_chart_draws_none() -> None:
    record = read_record(recorded("A", movie()))
    assert isinstance(record, DeliveredRecord) and drawn_chart(record) is None
