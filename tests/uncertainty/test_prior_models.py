"""Priors by other routes: the likelihood's maximum, sums over a fine grid, their stated bounds."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import loganalyze as la

RNG = np.random.default_rng(4)
ERRORS = RNG.uniform(0.5, 2.0, 400)
MARGINS = np.where(RNG.random(400) < 0.3, RNG.normal(4.0, 1.5, 400), RNG.normal(20.0, 5.0, 400)
                   ) + ERRORS * RNG.normal(size=400)


def log_likelihood(normals, margins, errors):
    """Of measured margins under a mixture of normals of the excess."""
    spread = np.array([[sd**2 for _, _, sd in normals]]) + errors[:, None] ** 2
    gap = -margins[:, None] - np.array([[mean for _, mean, _ in normals]])
    weights = np.array([[weight for weight, _, _ in normals]])
    return np.log((weights * np.exp(-0.5 * gap**2 / spread) / np.sqrt(
        2 * np.pi * spread)).sum(axis=1) / weights.sum()).sum()


def test_a_fleets_prior_is_where_the_likelihood_is_greatest():
    found = la.prior_of_margins("a fleet", MARGINS, ERRORS, normals=2).normals
    assert sum(weight for weight, _, _ in found) == pytest.approx(1.0)
    best = log_likelihood(found, MARGINS, ERRORS)
    for k in range(2):
        for part in range(3):
            for factor in (0.99, 1.01):
                other = [list(one) for one in found]
                other[k][part] *= factor
                assert log_likelihood(other, MARGINS, ERRORS) < best


def test_a_single_normal_has_the_variance_that_is_no_error():
    (weight, mean, sd), = la.prior_of_margins("a fleet", MARGINS, 2.0, normals=1).normals
    assert weight == 1.0
    assert mean == pytest.approx(-MARGINS.mean())
    assert sd**2 == pytest.approx(MARGINS.var() - 4.0)


def test_margins_that_are_all_the_same_leave_no_spread():
    (_, mean, sd), = la.prior_of_margins("a fleet", np.full(30, 5.0), 1.0, normals=1).normals
    assert mean == -5.0
    assert sd == pytest.approx(1e-6, rel=1e-3)


def test_margins_that_are_not_known_are_left_out():
    lost, errors = MARGINS.copy(), ERRORS.copy()
    lost[:3], errors[3:6], errors[6], errors[7] = np.nan, np.nan, 0.0, np.inf
    found = la.prior_of_margins("a fleet", lost, errors)
    assert found == la.prior_of_margins("a fleet", MARGINS[8:], ERRORS[8:])
    assert len(la.prior_of_margins("a fleet", MARGINS[:30], 1.0).normals) <= 3
    with pytest.raises(ValueError, match="at least 30"):
        la.prior_of_margins("a fleet", MARGINS[:29], 1.0)


@pytest.mark.parametrize("bad", [[], [(0.0, 1.0, 1.0)], [(1.0, 0.0, 0.0)],
                                 [(1.0, 0.0, 1.0), (1.0, 0.0, -1.0)]])
def test_normals_without_weight_or_deviation_are_refused(bad):
    with pytest.raises(ValueError, match="positive"):
        la.Prior.of_normals("a fleet", bad)


@pytest.mark.parametrize(("edges", "counts"), [
    ([0, 1], [1, 1]), ([0, 0], [1]), ([1, 0], [1]), ([0, 1], [0]), ([0, 1, 2], [2, -1])])
def test_histograms_that_are_none_are_refused(edges, counts):
    with pytest.raises(ValueError, match="histogram"):
        la.Prior.of_histogram("a fleet", edges, counts)


PRIORS = {
    "histogram": la.Prior.of_histogram("a fleet", [-30.0, -1.0, 1.0, 5.0, 12.0], [0, 2, 9, 20]),
    "normals": la.Prior.of_normals("a fleet", [(0.6, 6.0, 3.0), (0.4, -1.0, 1.5)]),
    "both": replace(la.Prior.of_normals("a fleet", [(30, 6.0, 3.0)]),
                    pieces=((-3.0, -1.0, 12.0), (-1.0, 2.0, 5.0)))}


def posterior(prior, excess, u, added_u):
    """The excess's probability on a fine grid, by its definition; and the grid."""
    grid = np.arange(-45.0, 45.0, 0.005) + 0.0025
    density = np.zeros(len(grid))
    for weight, mean, sd in prior.normals:
        density += weight * np.exp(-0.5 * ((grid - mean) / sd) ** 2) / sd / math.sqrt(2 * math.pi)
    for low, high, weight in prior.pieces:
        density += weight / (high - low) * ((grid > low) & (grid < high))
    density *= np.exp(-0.5 * ((grid - excess) / u) ** 2)
    if added_u:
        kernel = np.exp(-0.5 * ((np.arange(-2400, 2401) * 0.005) / added_u) ** 2)
        density = np.convolve(density, kernel, "same")
    return grid, density / density.sum()


@pytest.mark.parametrize("kind", PRIORS)
@pytest.mark.parametrize(("excess", "u", "added_u"), [
    (0.5, 1.0, 0.0), (3.0, 2.0, 0.0), (-4.0, 0.7, 0.0), (1.0, 1.5, 1.2)])
def test_probability_and_interval_are_those_of_the_posterior(kind, excess, u, added_u):
    prior = PRIORS[kind]
    grid, share = posterior(prior, excess, u, added_u)
    rough = 2e-3  # a step of the grid
    assert prior.probability(excess, u, added_u) == pytest.approx(share[grid > 0].sum(), abs=rough)
    low, high = prior.interval(excess, u, 0.9, added_u)
    assert share[grid < low].sum() == pytest.approx(0.05, abs=rough)
    assert share[grid > high].sum() == pytest.approx(0.05, abs=rough)


def test_a_reading_that_a_histogram_excludes_has_no_probability():
    prior = PRIORS["histogram"]
    assert math.isnan(prior.probability(500.0, 1.0))
    assert all(math.isnan(one) for one in prior.interval(500.0, 1.0, 0.95))
    far = PRIORS["normals"]
    assert far.probability(500.0, 1.0) == pytest.approx(1.0)
