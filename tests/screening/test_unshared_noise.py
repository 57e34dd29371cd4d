"""Noise of one channel by what it doesn't share with another."""

import numpy as np
import pytest

from loganalyze.screening.noise_estimation import unbroken
from loganalyze.screening.unshared_noise import unshared

INTERVAL = 0.5


def correlated(rng, count, standard, seconds):
    values = rng.normal(0, standard, count)
    keep = np.exp(-INTERVAL / seconds)
    for i in range(1, count):
        values[i] = keep * values[i - 1] + np.sqrt(1 - keep**2) * values[i]
    return values


def motion(seconds):
    """A climb to a level and back, 20 kt each way, and gusts of a knot on it."""
    time = np.arange(0, seconds, INTERVAL)
    away = np.maximum(0, np.maximum(60 - time, time - seconds + 60))
    return 250 - away / 3 + np.sin(time / 6)


@pytest.mark.parametrize("seconds", [2.0, 5.0, 10.0])
def test_the_noise_is_found_beside_a_second_channel_with_noise_of_its_own(seconds):
    rng = np.random.default_rng(1)
    true = motion(900)
    standards, times, before, after = [], [], [], []
    for _ in range(24):
        own = true + correlated(rng, len(true), 1.0, seconds)
        other = true + 2.0 + correlated(rng, len(true), 0.4, 2.0)
        found = unshared(own, other, INTERVAL)
        standards.append(found.noise.standard)
        times.append(found.noise.correlation_s)
        before.append(np.std(own - true))
        after.append(np.std(own - found.expected - true))
        # What is left is what is said to be left, and the level stays.
        assert np.hypot(found.left.standard, found.slow) == pytest.approx(after[-1], rel=0.35)
        assert abs(found.expected.mean()) < 1e-9
    assert np.mean(standards) == pytest.approx(1.0, abs=0.1)
    assert np.mean(times) == pytest.approx(seconds, rel=0.25)
    assert np.mean(after) < 0.6 * np.mean(before)


def test_the_other_channels_noise_is_not_taken_for_its_own():
    rng = np.random.default_rng(2)
    true = motion(900)
    for white in (0.05, 0.5):
        taken = [found.noise.standard if found.noise else 0.0 for found in (
            unshared(true + rng.normal(0, white, len(true)),
                     true + correlated(rng, len(true), 0.8, 3.0), INTERVAL) for _ in range(24))]
        assert np.mean(taken) < 0.12


def test_a_difference_in_scale_or_a_drift_is_no_noise():
    rng = np.random.default_rng(3)
    true = motion(900)
    other = 1.01 * true + np.linspace(0, 3, len(true)) + rng.normal(0, 0.1, len(true))
    found = unshared(true + rng.normal(0, 0.1, len(true)), other, INTERVAL)
    assert found.noise is None or found.noise.standard < 0.1
    slow = np.convolve(found.expected, np.full(21, 1 / 21), "valid")
    assert np.abs(slow).max() < 0.1


def test_channels_that_never_differ_have_no_noise():
    found = unshared(motion(300), motion(300), INTERVAL)
    assert found.noise is None
    assert not found.expected.any()


def test_the_run_that_holds_a_sample():
    time = np.array([0, 1, 2, 5, 6, 7, 8, 20.0])
    values = np.array([1, 2, 3, 4, 5, np.nan, 7, 8.0])
    assert unbroken(time, values)[:2] == (0, 3)
    assert [unbroken(time, values, at)[:2] for at in range(8)] == [
        (0, 3), (0, 3), (0, 3), (3, 5), (3, 5), (0, 0), (6, 7), (7, 8)]
