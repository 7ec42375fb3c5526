"""Warnings on delivered pictures: only where the original was not so."""

import numpy as np
import pytest

from rushlight.batch.records.job_record import SCHEMA, JobRecord
from rushlight.batch.verify.picture_warnings import colour_warnings, extremes, frame_warnings


def record(**original: object) -> JobRecord:
    kept = {"black": [], "repeated": [], "held": [], "clipped": 0.01} | original
    return logged(original=kept, counts={"over": 30, "under": 20, "pixels": 1000})


def logged(**given: object) -> JobRecord:
    return JobRecord.read({"schema": SCHEMA, "job": "a", "clip": "a.mov", "status": "done", **given})


def moving(count: int = 24) -> np.ndarray:
    """Cells of a picture that brightens by a code every frame."""
    return 60.0 + np.arange(count)[:, None] + np.arange(16)


def test_black_frames() -> None:
    made = moving()
    found = made.copy()
    found[5:8] = 16.4
    (text,) = frame_warnings(found, made, 16.0, record())
    assert text == "3 frames, the first number 5, are black, and the original is not"
    assert not frame_warnings(found, made, 16.0, record(black=[[4, 9]]))
    (text,) = frame_warnings(found, made, 16.0, record(black=[[5, 6]]))
    assert text.startswith("1 frame, the first number 7, is black")
    found[5:8, 3] = 40  # one cell has something in it
    assert not frame_warnings(found, made, 16.0, record())


def test_frozen_stretches() -> None:
    made = moving()
    found = made.copy()
    found[10:15] = found[9]
    (text,) = frame_warnings(found, made, 16.0, record())
    assert text == "5 frames, the first number 10, are frozen, and the original is not"
    assert not frame_warnings(found, made, 16.0, record(repeated=[[10, 14]]))
    locked = np.full((24, 16), 80.0) + np.random.default_rng(0).normal(0, 0.005, (24, 16))
    assert not frame_warnings(locked, locked, 16.0, record())  # nothing moves, and nothing did
    (text,) = frame_warnings(locked, locked, 16.0, record(held=[[6, 9]], repeated=[[1, 5], [10, 23]]))
    assert text.startswith("4 frames, the first number 6, are frozen")
    found = made.copy()
    found[10:12] = found[9]
    assert not frame_warnings(found, made, 16.0, record())  # too short for a stretch; `frames` fails it


def test_clipped_and_out_of_range() -> None:
    rgb = np.full((10, 10, 3), 0.5)
    rgb[:2], rgb[2:3, :, 2], rgb[3:4, :, 0] = 1.0, -0.1, np.nan
    everywhere = np.ones((10, 10), bool)
    assert extremes(rgb, everywhere) == pytest.approx((0.2, 0.1))
    assert extremes(rgb, np.arange(100).reshape(10, 10) >= 20) == pytest.approx((0.0, 0.125))
    assert extremes(rgb, ~everywhere) == (0.0, 0.0)
    clipped, beyond = colour_warnings([(0.2, 0.0), (0.1, 0.3)], record())
    assert clipped == "15% of the pixels are clipped at white, of the original's 1%"
    assert beyond == "15% of the pixels are out of range, of the original's 5%"
    assert not colour_warnings([(0.2, 0.09)], record(clipped=0.16))
    assert not colour_warnings([], record()) and not colour_warnings([(0.9, 0.0)], logged())
