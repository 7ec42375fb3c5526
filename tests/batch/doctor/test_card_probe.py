"""A card tried, of which a toy stands here."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from card_as_c import needs_compiler
from rushlight.batch.doctor import card_probe
from rushlight.batch.doctor.card_probe import probe
from toy_cupy import toy_cupy


def test_without_cupy_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cupy", None)  # type: ignore[arg-type]
    assert list(probe()) == ["why_not"] and "CuPy is not installed" in str(probe()["why_not"])


@needs_compiler
def test_a_card_that_grades_is_measured(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    failing: list[str] = []

    def told(what: str) -> None:
        if what in failing:
            raise MemoryError("out of memory")

    monkeypatch.setitem(sys.modules, "cupy", toy_cupy(told))  # type: ignore[arg-type]
    monkeypatch.setattr(card_probe, "RUNS", {"card": 1, "processor": 1})
    found = probe((64, 36))
    assert found["name"] == "Toy" and found["cupy"] == "14.2.0" and found["free_bytes"] == 3_000_000_000
    assert found["card_ms"] and found["processor_ms"] and found["why_not"] == ""
    failing.append("alloc")
    assert probe((64, 36)) == {"why_not": "the card failed: out of memory"}
