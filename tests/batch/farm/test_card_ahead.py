"""CuPy is loaded ahead where a card may grade, by the process that workers are forks of, which asks no card."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from rushlight.batch.farm import dask_farm, worker_options
from rushlight.batch.farm.worker_options import CARD_AHEAD, Crew

TOY = Path(__file__).parents[2] / "support" / "toy_card"


@pytest.mark.parametrize(
    ("graphics", "more"), [("auto", [CARD_AHEAD]), ("require", [CARD_AHEAD]), ("off", [])]
)
def test_it_is_loaded_where_a_card_may_grade(
    graphics: str, more: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    loaded: list[str] = []
    monkeypatch.setattr(worker_options, "fork_ahead", loaded.extend)
    monkeypatch.setattr(dask_farm, "DaskFarm", lambda **options: None)
    crew = Crew(workers=1, graphics=graphics)
    crew.farm(1, tell=print, gone=print, ahead=["work"])
    assert loaded == ["work", *more]


def test_a_card_is_not_asked(tmp_path: Path) -> None:
    """Of CuPy it is imported alone."""
    code, log = f"import sys, {CARD_AHEAD}; print('cupy' in sys.modules)", tmp_path / "log"
    env = {**os.environ, "PYTHONPATH": str(TOY), "TOY_CARD_LOG": str(log)}
    run = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True)
    assert run.stdout.strip() == "True", run.stderr
    assert [line.split()[0] for line in log.read_text().splitlines()] == ["import"]
