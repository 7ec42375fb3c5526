"""Looks baked today beside those that a delivery keeps."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from here import HereFarm, farm_here, run, small_day  # noqa: F401
from rushlight.batch.again.looks_then import looks_then
from rushlight.batch.again.render_from import requests_again
from rushlight.batch.plan.prepare import Prepared, prepare
from rushlight.batch.plan.request import Differing
from rushlight.pipelines.grading import bake


def drifted(real: Any, *arguments: Any) -> Any:
    """As a later version of a library bakes: the same look, with other last digits."""
    made = real(*arguments)
    return replace(made, lattice=made.lattice + np.float32(1e-4), digest="sha256:another")


def test_the_same_and_other_last_digits(
    tmp_path: Path,
    farm_here: HereFarm,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    day, out = small_day(tmp_path / "day"), tmp_path / "out"
    assert run("render", day, "--recipe", day.parent / "two.toml", "--out", out)[0] == 0

    def planned(**given: Any) -> Prepared:
        (request,) = requests_again(out, Differing(out=None, **given), print, print)
        return prepare(request)

    assert looks_then(planned(), out) == "1 look of movies come out today: 1 with the numbers of then"
    said = run("plan", "--from", out)[1]
    assert "1 look of movies come out today" in " ".join(said.split())
    monkeypatch.setattr(bake, "bake", partial(drifted, bake.bake))
    assert "1 with other last digits than then (movies take those of then" in looks_then(planned(), out)
    for kept in (out / "log" / "inputs" / "looks").glob("*.of"):
        kept.unlink()
    assert looks_then(planned(), out).endswith("1 of which none is kept")
    assert looks_then(planned(stills=("A001C001=1",)), out) == ""  # no movie
