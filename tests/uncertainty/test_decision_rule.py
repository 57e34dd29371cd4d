"""The decision rule, held to its definition: guard bands of one expanded uncertainty."""

import math
from statistics import NormalDist

import numpy as np
import pytest

from loganalyze import (
    NOT_DETERMINABLE,
    OUTCOMES,
    OVER_NOT_PROVEN,
    PROVEN_OVER,
    PROVEN_UNDER,
    UNDER_NOT_PROVEN,
)
from loganalyze.uncertainty.decision_rule import RULE, decided

U95 = NormalDist().inv_cdf(0.975)


@pytest.mark.parametrize(("excess", "outcome"), [
    (2.0, PROVEN_OVER), (1.9, OVER_NOT_PROVEN), (0.1, OVER_NOT_PROVEN), (-0.1, UNDER_NOT_PROVEN),
    (-1.9, UNDER_NOT_PROVEN), (-2.0, PROVEN_UNDER)])
def test_the_four_outcomes_by_hand(excess, outcome):
    # u = 1: the guard band is 1.96.
    assert decided(excess, excess - U95, excess + U95) == outcome


@pytest.mark.parametrize(("excess", "low", "high", "outcome"), [
    (1.0, 0.0, 2.0, OVER_NOT_PROVEN), (-1.0, -2.0, 0.0, UNDER_NOT_PROVEN),
    (0.0, -1.0, 1.0, UNDER_NOT_PROVEN)])
def test_an_interval_that_touches_the_limit_proves_nothing(excess, low, high, outcome):
    assert decided(excess, low, high) == outcome


def test_an_end_that_is_not_known_proves_nothing():
    assert decided(3.0, math.nan, math.nan) == OVER_NOT_PROVEN
    assert decided(-3.0, math.nan, math.nan) == UNDER_NOT_PROVEN


def test_a_proof_is_wrong_in_at_most_one_case_of_forty():
    # Truths all about the limit, readings with u = 1: of 200,000 flights on the limit's wrong
    # side by a hair, the share that is proven otherwise is the rule's risk.
    rng = np.random.default_rng(5)
    for truth, wrong in ((-1e-9, PROVEN_OVER), (1e-9, PROVEN_UNDER)):
        readings = truth + rng.normal(size=200_000)
        said = [decided(one, one - U95, one + U95) == wrong for one in readings.tolist()]
        assert np.mean(said) == pytest.approx(0.025, abs=4 * math.sqrt(0.025 * 0.975 / 2e5))


def test_every_outcome_has_one_word_and_the_rule_its_source():
    assert len(set(OUTCOMES)) == 5
    assert NOT_DETERMINABLE in OUTCOMES
    assert "JCGM 106:2012, 8.3" in RULE
