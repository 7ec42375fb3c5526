"""Recursive filters: the numbers of scipy, in blocks of any length."""

import numpy as np
import pytest

from rushlight.pipelines.measure import loudness
from rushlight.pipelines.measure.biquads import filtered

SECTIONS = np.array(loudness.K_WEIGHTING)


def test_blocks_through_sections_are_what_scipy_makes_of_the_whole() -> None:
    from scipy.signal import sosfilt  # a second, which each process that collects the tests would take

    samples = np.random.default_rng(5).normal(0, 0.2, (2, 5000))
    state = np.zeros((2, 2, 2))
    made = [filtered(SECTIONS, state, block) for block in np.split(samples, [1, 700, 701, 4000], axis=1)]
    assert np.abs(np.concatenate(made, 1) - sosfilt(SECTIONS, samples, axis=1)).max() < 1e-12


def test_a_state_of_other_channels_is_refused() -> None:
    with pytest.raises(ValueError, match="for 2 channels"):
        filtered(SECTIONS, np.zeros((2, 1, 2)), np.zeros((2, 8)))
    with pytest.raises(ValueError, match="filters of"):
        filtered(SECTIONS[:, :5], np.zeros((2, 2, 2)), np.zeros((2, 8)))


def test_samples_between_are_those_of_scipy() -> None:
    from scipy.signal import resample_poly

    samples = np.random.default_rng(6).normal(0, 0.2, (2, 900))
    assert loudness._peak(samples) == pytest.approx(
        np.abs(resample_poly(samples, 4, 1, axis=1)).max(), abs=1e-14
    )
