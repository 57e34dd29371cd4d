"""How sure an excess is, as a person reads it."""

import ast
from dataclasses import replace
from pathlib import Path

import pytest

import loganalyze.uncertainty.exceedance_probability
from loganalyze import Assurance, MissedPeak, NearMiss, Presentation
from loganalyze.results import assessment_results
from loganalyze.sheets.sensor_tolerances import SUPPOSED
from loganalyze.text.language import assurance_text, decision_text, report_labels
from loganalyze.uncertainty import exceedance_probability, interval_bounds

NAN = float("nan")
OVER = Assurance("as flown", 4.0, 2.0, 0.3, 0.9761, 0.04, 7.96, assessment_results.PROVEN_OVER)


def test_an_excess():
    assert assurance_text.assurance(OVER, "VMO", "calibrated_airspeed") == (
        "As flown: 0.0 to 8.0 kt over (95 %), proven over. The probability that VMO was truly "
        "exceeded is more than 95 % (no excess is taken as likelier than "
        "another before the flight).")


def test_an_excess_in_mach_under_the_fleets_prior():
    one = replace(
        OVER,
        basis="as displayed",
        low=-0.0021,
        high=0.0123,
        probability=0.88,
        word=assessment_results.OVER_NOT_PROVEN,
        prior="the fleet's margins",
        coverage=0.9,
    )
    assert assurance_text.assurance(one, "MMO", "mach") == (
        "As displayed: Mach .002 under to Mach .012 over (90 %), over but not proven. The "
        "probability that MMO was truly exceeded is about 9 in 10 (prior: the fleet's margins).")
    assert decision_text.span(replace(one, low=0.0021), "mach", Presentation()) == (
        "Mach .002 to .012 over (90 %)")


def test_a_peak_beside_a_gap_is_bounded_from_below():
    one = replace(OVER, high=NAN, probability=0.71, word=assessment_results.NOT_DETERMINABLE,
                  reason=exceedance_probability.PEAK_AT_GAP, at_least=True)
    assert decision_text.likely(one, "calibrated_airspeed", Presentation()) == (
        "As flown: at least 0.0 kt over (95 %), not determinable, as the worst instant lies "
        "beside a gap or at an end of the recording; probability at least 7 in 10.")
    assert decision_text.sure(one, "calibrated_airspeed", Presentation()) == (
        "at least 0.0 kt over: not determinable (at least 7 in 10)")
    for known, said in ((0.999, "more than 99 %"), (0.03, "at least 3 %"), (0.001, "not known")):
        assert decision_text.chance(replace(one, probability=known)) == said
    assert decision_text.span(replace(one, low=-1.2), "calibrated_airspeed", Presentation()) == (
        "from 1.2 kt under upwards (95 %)")


def test_what_may_be_noise_or_gusts_is_given_both_ways():
    assert decision_text.noise_or_gusts(OVER, "calibrated_airspeed", Presentation()) == ""
    said = decision_text.noise_or_gusts(replace(OVER, if_noise=-0.5), "calibrated_airspeed",
                                   Presentation())
    assert ("4.0 kt over if the fluctuation was gusts, 0.5 kt under if it was noise; "
            "the interval" in said)


def test_what_surely_was_no_exceedance_is_not_told_as_one():
    # As the fleet's own margins may have it, or of a near stretch as displayed.
    one = replace(
        OVER, probability=0.002, low=-6.0, high=-0.9, word=assessment_results.PROVEN_UNDER
    )
    assert "0.9 to 6.0 kt under (95 %), proven under." in assurance_text.assurance(
        one, "VMO", "calibrated_airspeed")
    assert decision_text.sure(one, "calibrated_airspeed", Presentation()) == (
        "0.9 to 6.0 kt under: proven under (less than 1 %)")


def test_the_prior_is_named():
    assert decision_text.prior(OVER) == (
        "no excess is taken as likelier than another before the flight")
    assert decision_text.prior(replace(OVER, prior="our fleet")) == "prior: our fleet"


def test_nothing_known():
    one = replace(
        OVER,
        probability=NAN,
        low=NAN,
        high=NAN,
        word=assessment_results.NOT_DETERMINABLE,
        reason=exceedance_probability.NO_UNCERTAINTY,
    )
    assert assurance_text.assurance(one, "MMO", "mach") == (
        "As flown: not determinable, for nothing is known of the uncertainty.")


def test_a_near_stretch():
    flown = replace(
        OVER, probability=0.21, low=-4.2, high=1.7, word=assessment_results.UNDER_NOT_PROVEN
    )
    one = NearMiss("VMO", 60.0, 70.0, 65.5, 1.25, 1.25, 8000.0, "climb",
                   replace(flown, basis="as displayed"), flown, None)
    said = assurance_text.near(one, "calibrated_airspeed")
    assert said.startswith(
        "VMO may have been exceeded at 0:01:05.5, 8,000 ft, though the recording stays 1.2 kt "
        "under it. As displayed: 4.2 kt under to 1.7 kt over (95 %), under but not proven. The "
        "probability that VMO was truly exceeded is about 2 in 10 (no excess is taken as ")
    in_mach = assurance_text.near(replace(one, margin=0.004), "mach")
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
    assert assurance_text.missed_peak(one, "calibrated_airspeed") == said


def test_every_reason_and_basis_and_sensor_has_its_words():
    reasons = {
        exceedance_probability.NO_UNCERTAINTY,
        exceedance_probability.PEAK_AT_GAP,
        exceedance_probability.OUTSIDE_PRIOR,
        assessment_results.NOT_DISPLAYED,
    }
    assert reasons <= set(report_labels.REASONS)
    assert {exceedance_probability.DISPLAYED, exceedance_probability.FLOWN} == (
        set(assurance_text.BASES))
    source = Path(loganalyze.uncertainty.exceedance_probability.__file__).with_name(
        "error_budget.py")
    codes = {node.args[0].value for node in ast.walk(ast.parse(source.read_text("utf-8")))
             if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Entry"
             and isinstance(node.args[0], ast.Constant)}  # those of further channels: CHANNELS
    assert len(codes) >= 10
    sized = {"skew", "display_lag", "display_quantum", "display_quantum_mach"}
    assert codes | sized <= set(report_labels.TOLERANCES)


def test_the_dominating_error_its_gain_and_the_widest_bound():
    how = Presentation()
    assert decision_text.greatest(OVER, "calibrated_airspeed", how) == ""
    assert decision_text.widest(OVER, "calibrated_airspeed", how) == ""
    one = replace(OVER, greatest=assessment_results.Greatest("airspeed", 0.617, 2.0, 3.04),
                  widest=assessment_results.Bound(-1.2, 9.2, assessment_results.OVER_NOT_PROVEN))
    assert decision_text.greatest(one, "calibrated_airspeed", how) == (
        "Most of the uncertainty as flown comes from one error (62 % of the variance): recorded "
        "airspeed. With a tolerance of 2 kt stated for it, the interval would be ±3.0 kt.")
    assert decision_text.widest(one, "calibrated_airspeed", how) == (
        "At the widest tolerances that the rules allow: 1.2 kt under to 9.2 kt over, over but not "
        "proven.")
    least = replace(one, greatest=assessment_results.Greatest("scatter", 0.4))
    assert decision_text.greatest(least, "mach", how) == (
        "The largest part of the uncertainty as flown comes from one error (40 % of the "
        "variance): scatter of the samples about the worst.")


def test_every_error_that_may_dominate_has_its_words():
    assert set(SUPPOSED) | {interval_bounds.SCATTER} <= set(report_labels.TOLERANCES)


def test_the_greatest_sample_and_the_worst_freed_of_noise_are_told_apart():
    how = Presentation()
    noisy = replace(OVER, excess=-1.0, reading=0.9)
    assert decision_text.noise_or_gusts(noisy, "calibrated_airspeed", how) == (
        "The greatest reading is 0.9 kt over; the estimate of the worst, free of noise, is 1.0 kt "
        "under.")
    assert decision_text.noise_or_gusts(
        replace(OVER, excess=3.0, reading=3.2), "calibrated_airspeed", how) == ""
    unsure = decision_text.noise_or_gusts(
        replace(OVER, excess=2.0, reading=2.3, if_noise=0.5), "calibrated_airspeed", how)
    assert "if the fluctuation was gusts" in unsure
    assert "0.5 kt over" in unsure
