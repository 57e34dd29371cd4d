"""How sure an excess is, as a person reads it."""

import ast
from dataclasses import replace
from pathlib import Path

import pytest

import loganalyze.assess.probability
from loganalyze.assess import probability, results
from loganalyze.assess.results import Assurance, MissedPeak, NearMiss
from loganalyze.show.wording import labels, report
from loganalyze.show.wording.assurance import BASES, assurance, missed_peak, near

NAN = float("nan")
OVER = Assurance("as flown", 4.0, 2.0, 0.3, 0.9761, 0.04, 7.96, results.BEYOND)


def test_an_excess():
    assert assurance(OVER, "VMO", "calibrated_airspeed") == (
        "As flown, VMO was truly exceeded with a probability of 97.6 % (flat prior); the excess "
        "lies between 0.04 kt and 8.0 kt (95 %): beyond measurement uncertainty.")


def test_an_excess_in_mach_under_the_fleets_prior():
    one = replace(OVER, basis="as displayed", low=-0.0021, high=0.0123, word=results.WITHIN,
                  prior="the fleet's margins", coverage=0.9)
    assert assurance(one, "MMO", "mach") == (
        "As displayed, MMO was truly exceeded with a probability of 97.6 % (prior: the fleet's "
        "margins); the excess lies between Mach -.002 and Mach .012 (90 %): within measurement "
        "uncertainty.")


def test_a_peak_beside_a_gap():
    one = replace(OVER, high=NAN, word=results.NOT_DETERMINABLE, reason=probability.PEAK_AT_GAP)
    assert assurance(one, "VMO", "calibrated_airspeed") == (
        "As flown, VMO was truly exceeded with a probability of 97.6 % (flat prior); the excess "
        "was at least 0.04 kt (95 %), as the worst instant lies beside a gap or at an end of the "
        "recording: not determinable.")


def test_what_surely_was_no_exceedance_is_not_told_as_one():
    # As the fleet's own margins may have it, or of a near stretch as displayed.
    one = replace(OVER, probability=0.002, low=-6.0, high=-0.9)
    assert assurance(one, "VMO", "calibrated_airspeed").endswith(
        "(95 %): under the limit beyond measurement uncertainty.")
    assert report.sure(one) == "under the limit beyond measurement uncertainty (0.2 %)"
    assert report.likely(one) == "0.2 %, under the limit beyond measurement uncertainty"
    assert report.with_reason(one) == "under the limit beyond measurement uncertainty"


def test_what_is_not_determinable_says_why_and_the_prior_is_named():
    one = replace(OVER, high=NAN, word=results.NOT_DETERMINABLE, reason=probability.PEAK_AT_GAP)
    assert report.likely(one) == ("97.6 %, not determinable (the worst instant lies beside a gap "
                                  "or at an end of the recording)")
    assert report.prior(one) == "flat prior"
    assert report.prior(replace(one, prior="our fleet")) == "prior: our fleet"


def test_nothing_known():
    one = replace(OVER, probability=NAN, low=NAN, high=NAN, word=results.NOT_DETERMINABLE,
                  reason=probability.NO_UNCERTAINTY)
    assert assurance(one, "MMO", "mach") == (
        "As flown: not determinable, for nothing is known of the uncertainty.")


def test_a_near_stretch():
    flown = replace(OVER, probability=0.21, low=-4.2, high=1.7, word=results.WITHIN)
    one = NearMiss("VMO", 60.0, 70.0, 65.5, 1.25, 1.25, 8000.0, "climb",
                   replace(flown, basis="as displayed"), flown, None)
    said = near(one, "calibrated_airspeed")
    assert said.startswith(
        "VMO may have been exceeded at 0:01:05.5, 8,000 ft, though the recording stays 1.2 kt "
        "under it. As displayed, VMO was truly exceeded with a probability of 21 % (flat prior); "
        "the excess lies between -4.2 kt and 1.7 kt (95 %): within measurement uncertainty. As ")
    in_mach = near(replace(one, margin=0.004), "mach")
    assert "stays Mach .004 under it" in in_mach


@pytest.mark.parametrize(("one", "said"), [
    (MissedPeak(0.1, 0.44), "A peak between samples may have added up to 0.4 kt, 0.1 kt by "
     "interpolation; gusts faster than the sampling can't be bounded."),
    (MissedPeak(NAN, 0.44), "A peak between samples may have added up to 0.4 kt; gusts faster "
     "than the sampling can't be bounded."),
    (MissedPeak(NAN, NAN), "What a peak between samples may have added isn't known: too few "
     "samples about it."),
])
def test_a_missed_peak(one, said):
    assert missed_peak(one, "calibrated_airspeed") == said


def test_every_reason_and_basis_and_sensor_has_its_words():
    reasons = {probability.NO_UNCERTAINTY, probability.PEAK_AT_GAP, probability.OUTSIDE_PRIOR}
    assert reasons <= set(labels.REASONS)
    assert {probability.DISPLAYED, probability.FLOWN} == set(BASES)
    source = Path(loganalyze.assess.probability.__file__).with_name("budget.py")
    codes = {node.args[0].value for node in ast.walk(ast.parse(source.read_text("utf-8")))
             if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Entry"}
    assert len(codes) >= 10
    sized = {"skew", "display_lag", "display_quantum", "display_quantum_mach"}
    assert codes | sized <= set(labels.TOLERANCES)
