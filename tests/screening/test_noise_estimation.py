"""The noise of a series, against series of known noise."""

import math

import numpy as np
import pytest

from loganalyze.screening import noise_estimation, spectra
from loganalyze.screening.noise_estimation import noise_near


def correlated(rng, count, interval, sd, seconds):
    keep = math.exp(-interval / seconds)
    values = rng.normal(0, sd, count)
    for i in range(1, count):
        values[i] = keep * values[i - 1] + math.sqrt(1 - keep**2) * values[i]
    return values


def test_the_cosine_transform_against_its_definition():
    values = np.random.default_rng(1).normal(0, 1, 37)
    at = np.arange(37)
    by_sum = np.array([values @ np.cos(np.pi * k * (at + 0.5) / 37) for k in range(37)])
    by_sum *= math.sqrt(2 / 37)
    by_sum[0] /= math.sqrt(2)
    assert spectra.cosines(values) == pytest.approx(by_sum)
    assert spectra.from_cosines(spectra.cosines(values)) == pytest.approx(values)


@pytest.mark.parametrize(("interval", "count", "white", "step", "depth"), [
    (0.25, 2160, 0.5, 0.0, 0.0), (0.25, 160, 0.5, 0.25, 10.0), (1.0, 60, 0.8, 0.0, 5.0),
    (0.125, 4800, 0.1, 0.25, 15.0), (1.0, 120, 0.5, 1.0, 0.0)])
def test_white_noise_is_found_and_no_wander(interval, count, white, step, depth):
    rng = np.random.default_rng(7)
    time = np.arange(count) * interval
    found = []
    for _ in range(15):
        values = depth * np.sin(np.pi * time / time[-1]) + rng.normal(rng.random(), white, count)
        if step:
            values = np.round(values / step) * step
        found.append(noise_near(time, values, step))
    assert np.median([one.white for one in found]) == pytest.approx(
        math.hypot(white, step / math.sqrt(12)), rel=0.12 if count > 150 else 0.2)
    assert np.median([one.wander for one in found]) == 0
    assert all(one.samples == count for one in found if one.samples < noise_estimation.MOST)


@pytest.mark.parametrize(("interval", "count", "sd", "seconds"), [
    (1.0, 240, 0.8, 5.0), (0.25, 960, 0.8, 5.0), (0.25, 2000, 1.0, 2.0)])
def test_correlated_noise_is_told_from_white(interval, count, sd, seconds):
    rng = np.random.default_rng(8)
    time = np.arange(count) * interval
    found = [noise_near(time, correlated(rng, count, interval, sd, seconds)
                        + rng.normal(0, 0.2, count), 0.0) for _ in range(15)]
    assert np.median([one.wander for one in found]) == pytest.approx(sd, rel=0.25)
    assert np.median([one.wander_s for one in found]) == pytest.approx(seconds, rel=0.5)
    assert np.median([one.standard for one in found]) == pytest.approx(math.hypot(sd, 0.2), rel=0.2)


def test_rounding_is_the_least():
    assert noise_near(np.arange(50.0), np.full(50, 249.0), 1.0).white == pytest.approx(
        1 / math.sqrt(12))
    few = noise_near(np.arange(5.0), np.arange(5.0), 1.0)
    assert (few.white, few.wander, few.samples) == (pytest.approx(1 / math.sqrt(12)), 0, 0)
    assert noise_near(np.arange(50.0), np.full(50, np.nan)).samples == 0
    assert noise_near(np.arange(50.0), np.zeros(50)).standard == pytest.approx(0, abs=1e-12)


def test_one_outlier_is_no_noise():
    rng = np.random.default_rng(9)
    values = rng.normal(0, 0.3, 400)
    clean = noise_near(np.arange(400.0), values).standard
    values[200] += 64
    assert noise_near(np.arange(400.0), values).standard == pytest.approx(clean, rel=0.05)


def test_a_gap_parts_two_runs():
    rng = np.random.default_rng(10)
    time = np.concatenate([np.arange(100.0), 500 + np.arange(300.0)])
    values = np.concatenate([rng.normal(0, 5, 100), rng.normal(80, 0.5, 300)])
    found = noise_near(time, values)
    assert found.samples == 300
    assert found.white == pytest.approx(0.5, rel=0.15)
    lost = values.copy()
    lost[300] = np.nan
    assert noise_near(time, lost).samples == 200


def test_the_same_samples_give_the_same_answer():
    values = np.random.default_rng(11).normal(0, 1, 300)
    assert noise_near(np.arange(300.0), values) == noise_near(np.arange(300.0), values)
