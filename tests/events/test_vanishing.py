"""A fixed small sample of `vanishing`, held to the rules stated there."""

from __future__ import annotations

from dataclasses import replace

import pytest
import vanishing


def test_no_true_exceedance_vanishes():
    tally = vanishing.passes(150)
    assert tally.whole > 100
    assert tally.wrong == []


@pytest.mark.parametrize("kind", vanishing.KINDS)
@pytest.mark.parametrize("gust_kt", vanishing.GUSTS_KT)
def test_gusts_are_judged_and_what_is_not_is_named(gust_kt, kind):
    tally = vanishing.gusts(15, gust_kt, kind)
    assert tally.samples_over > 1000
    assert tally.screened_over < vanishing.GUST_SHARE * tally.samples_over
    assert tally.wrong == []


@pytest.mark.parametrize("reference", ["second source", "Mach number"])
def test_a_frozen_airspeed_is_found_where_another_channel_shows_it(reference):
    found, flown = vanishing.frozen(40, reference)
    assert found >= vanishing.FROZEN_SHARE * flown


def test_the_rules_can_fail():
    """Of a record that shows nothing of the exceedance, it is hidden."""
    tally = vanishing.Tally()
    flown = vanishing.passing(0)
    hidden = replace(flown, kt=0 * flown.kt + 200.0)
    vanishing.check(0, hidden, tally)
    assert tally.hidden
    assert tally.as_flown
