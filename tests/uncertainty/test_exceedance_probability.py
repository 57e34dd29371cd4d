"""How sure an exceedance is: by hand, against Monte Carlo, and calibrated over known truth."""

import math
from pathlib import Path

import calibration
import numpy as np
import pytest

from loganalyze import (
    NOT_DETERMINABLE,
    OVER_NOT_PROVEN,
    PROVEN_OVER,
    UNDER_NOT_PROVEN,
    AssuranceSettings,
    Channel,
    FlightLog,
    LimitsSheet,
    Prior,
    Source,
    analyze,
    prior_of_margins,
)
from loganalyze.air import airspeed
from loganalyze.record.channels import CHANNELS
from loganalyze.record.units import FOOT, KNOT
from loganalyze.screening.noise_estimation import noise_of
from loganalyze.simulate import pressures
from loganalyze.uncertainty import peak_fit
from loganalyze.uncertainty.exceedance_probability import (
    NO_UNCERTAINTY,
    OUTSIDE_PRIOR,
    PEAK_AT_GAP,
    assured,
    at_rows,
)
from loganalyze.uncertainty.near_misses import near_misses
from loganalyze.uncertainty.prior_models import Flat
from loganalyze.uncertainty.sample_uncertainty import uncertainty_of

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.6}
NOTHING = {"standard": 0.0}
SILENT = {**dict.fromkeys(
    ("airspeed", "pressure_altitude", "static_source", "position_correction",
     "displayed_airspeed", "displayed_altitude"), NOTHING),
    "display_quantum_kt": 0.0, "display_quantum_mach": 0.0, "display_lag_s": 0.0, "skew_s": 0.0}


def uncertain(time, cas, *limits, height=5000.0, recorded="calibrated", correction=None, **stated):
    """The uncertainty of a log, in which only what is stated errs."""
    stamps = np.asarray(time, dtype=float)
    kept = {}
    for name, values in ((f"{recorded}_airspeed", cas), ("pressure_altitude", height)):
        unit = CHANNELS[name].unit
        column = np.broadcast_to(np.asarray(values, dtype=float), stamps.shape)
        kept[name] = Channel(column * unit.factor, interval_s=float(np.median(np.diff(stamps))))
    log = FlightLog(stamps, kept, Source(Path("made.csv")),
                    interval_s=float(np.median(np.diff(stamps))))
    airspeed = {"recorded": recorded}
    if correction is not None:
        airspeed["instrument_correction"] = correction
    return uncertainty_of(analyze(log, LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": airspeed, "limit": list(limits or (VMO,)),
        "uncertainty": {**SILENT, **stated}})))


def bump(excess, time=None, depth=0.1):
    """A parabola that tops at `excess` over 250 kt, 20 s into 40 s at 4 Hz."""
    stamps = np.arange(0, 40, 0.25) if time is None else time
    return stamps, 250 + excess - depth * (stamps - 20) ** 2


# The local fit and the missed peak


@pytest.mark.parametrize("spacing", ["even", "uneven"])
@pytest.mark.parametrize("peak_s", [-0.4, 0.3, 2.6])
@pytest.mark.parametrize("curvature", [-0.02, -0.5, -8.0])
def test_a_parabola_is_found_wherever_and_however_flat_its_peak_is(curvature, peak_s, spacing):
    time = np.arange(-4.0, 5.0)
    if spacing == "uneven":
        time = time + np.array([0.2, 0.0, -0.3, 0.1, 0.0, 0.4, -0.2, 0.0, 0.3])
    excess = 7 + curvature / 2 * (time - peak_s) ** 2
    worst = int(excess.argmax())
    found = peak_fit.fit(time, excess, worst, noise=0.0)
    assert found.excess == pytest.approx(7.0)
    assert 2 * found.curvature == pytest.approx(curvature)
    added, bound = peak_fit.missed(time, excess, worst)
    assert added == pytest.approx(7.0 - excess[worst], abs=1e-9)
    beside = np.diff(time)[worst - 1 : worst + 1].max()
    assert bound == pytest.approx(-curvature * beside**2 / 8)
    assert added <= bound + 1e-9


@pytest.mark.parametrize("way", [1, -1])
def test_no_peak_is_sought_beyond_the_samples(way):
    """A parabola whose top lies outside of them counts at its last sample."""
    time = np.arange(5.0)
    excess = 3 - 0.1 * (time - 9) ** 2
    found = peak_fit.fit(time, excess[::way], 4 if way > 0 else 0, noise=0.0)
    assert found.excess == pytest.approx(excess[-1])
    valley = peak_fit.fit(time, (time - 2) ** 2, 2, noise=0.0)
    assert valley.excess == pytest.approx(0.0, abs=1e-9)  # it opens upwards: no top at all


def test_a_parabola_is_fitted_exactly():
    time = np.array([0.0, 0.9, 2.0, 3.1, 4.0])
    excess = 3 - 0.5 * (time - 2.3) ** 2
    found = peak_fit.fit(time, excess, 2, noise=0.0)
    assert found.excess == pytest.approx(3)
    assert found.curvature == pytest.approx(-0.5)
    assert found.error == pytest.approx(0, abs=1e-9)


def test_the_fits_standard_error_by_hand():
    # Five samples a second apart, 1/35 of the residuals' square: (X'X)^-1 at the middle is 17/35.
    time = np.arange(5.0)
    excess = -((time - 2) ** 2) + np.array([0.1, -0.4, 0.6, -0.4, 0.1])
    found = peak_fit.fit(time, excess, 2, noise=1e-9)
    residual = np.array([0.1, -0.4, 0.6, -0.4, 0.1])  # orthogonal to 1, t and t^2
    assert found.excess == pytest.approx(0)
    assert found.error == pytest.approx(math.sqrt(residual @ residual / 2 * 17 / 35))


def test_the_noise_bounds_the_error_from_below():
    time = np.arange(9.0)
    found = peak_fit.fit(time, 5 - 2 * (time - 4) ** 2, 4, noise=0.3)
    # Nine samples: (X'X)^-1 at the middle is 59/231.
    assert found.error == pytest.approx(0.3 * math.sqrt(59 / 231))
    assert found.samples == 9


def test_values_on_one_step_share_their_rounding():
    noise = 1 / math.sqrt(12)
    found = peak_fit.fit(np.arange(9.0), np.full(9, 2.0), 4, noise)
    assert (found.excess, found.error) == pytest.approx((2, noise))


def test_a_gust_is_not_smoothed_away():
    time = np.arange(9.0) / 8
    gust = np.array([0, 0, 0, 0.5, 6, 0.5, 0, 0, 0])
    wide = peak_fit._parabola(time - time[4], gust.astype(float), 0.1)[0]
    found = peak_fit.fit(time, gust.astype(float), 4, noise=0.1)
    assert found.samples == 5
    assert found.excess > wide.excess


def test_too_few_samples_leave_the_greatest():
    found = peak_fit.fit(np.arange(3.0), np.array([1.0, 2.0, 1.0]), 1, noise=0.2)
    assert (found.excess, found.error, found.samples) == (2, 0.2, 1)
    assert math.isnan(found.curvature)


@pytest.mark.parametrize(("interval", "rows"), [
    (1.0, (18, 23)), (0.5, (16, 25)), (0.25, (16, 25)), (0.125, (16, 25)), (4.0, (18, 23)),
    (float("nan"), (16, 25))])
def test_the_window_rule(interval, rows):
    assert peak_fit.window(0, 100, 20, interval) == rows


def test_the_window_stays_inside_its_stretch():
    assert peak_fit.window(19, 21, 20, 0.25) == (19, 22)


def test_the_missed_peak_by_hand():
    # y- = 1, y0 = 3, y+ = 2: (2 - 1)^2 / (8 |2 - 6 + 1|) = 1/24; acceleration 3 over 1 s.
    assert peak_fit.missed(np.arange(3.0), np.array([1.0, 3.0, 2.0]), 1) == pytest.approx(
        (1 / 24, 3 / 8))


def test_a_peak_between_uneven_samples():
    time = np.array([0.0, 0.7, 1.9, 2.6])
    excess = 4 - 0.8 * (time - 1.2) ** 2
    worst = int(excess.argmax())
    interpolated, bound = peak_fit.missed(time, excess, worst)
    assert excess[worst] + interpolated == pytest.approx(4)
    assert interpolated <= bound == pytest.approx(1.6 * 1.2**2 / 8)


def test_a_peak_at_the_end_can_only_be_bounded():
    interpolated, bound = peak_fit.missed(np.arange(4.0), np.array([0.0, 1.0, 3.0, 4.0]), 3)
    assert math.isnan(interpolated)
    assert bound == pytest.approx(1 / 8)
    assert all(map(math.isnan, peak_fit.missed(np.arange(2.0), np.array([0.0, 1.0]), 1)))


def test_the_missed_peak_never_exceeds_its_bound():
    rng = np.random.default_rng(12)
    for _ in range(200):
        excess = rng.normal(0, 1, 9).cumsum()
        worst = int(excess.argmax())
        interpolated, bound = peak_fit.missed(np.cumsum(rng.uniform(0.5, 1.5, 9)), excess, worst)
        assert math.isnan(interpolated) or 0 <= interpolated <= bound + 1e-12


def test_the_noise_of_samples():
    rng = np.random.default_rng(2)
    time = np.arange(400) / 8
    assert noise_of(5 - 0.2 * (time - 20) ** 2 + rng.normal(0, 0.3, 400)) == pytest.approx(
        0.3, rel=0.15)
    assert noise_of(np.ones(5)) == 0


# One exceedance

@pytest.mark.parametrize(("excess", "u", "probability", "word"), [
    (2, 1, 0.977250, PROVEN_OVER), (1, 1, 0.841345, OVER_NOT_PROVEN),
    (1, 4, 0.598706, OVER_NOT_PROVEN), (4, 2, 0.977250, PROVEN_OVER),
    (1.9, 1, 0.971283, OVER_NOT_PROVEN)])
def test_the_probability_by_hand(excess, u, probability, word):
    # Phi(2) = .977250, Phi(1) = .841345, Phi(1/4) = .598706, Phi(1.9) = .971283.
    only, = assured(uncertain(*bump(excess), airspeed={"standard": u}))
    assert only.flown.excess == pytest.approx(excess)
    assert only.flown.common_u == pytest.approx(u)
    assert only.flown.random_u < 1e-6
    assert only.flown.probability == pytest.approx(probability, abs=2e-6)
    assert (only.flown.low, only.flown.high) == pytest.approx(
        (excess - 1.959964 * u, excess + 1.959964 * u))
    assert (only.flown.word, only.flown.prior, only.flown.reason) == (word, "flat", "")
    assert only.displayed.word == PROVEN_OVER


def test_the_coverage_can_be_set():
    found = uncertain(*bump(1.9), airspeed={"standard": 1})
    only, = assured(found, AssuranceSettings(coverage=0.6826895))
    assert (only.flown.low, only.flown.high) == pytest.approx((0.9, 2.9), abs=1e-6)
    assert (only.flown.word, only.flown.coverage) == (PROVEN_OVER, 0.6826895)


@pytest.mark.parametrize("wrong", [{"coverage": 1.0}, {"near_probability": 0.5},
                                   {"near_join_s": -1.0}])
def test_settings_out_of_range(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        AssuranceSettings(**wrong)


def test_a_common_error_does_not_shrink_with_the_samples():
    for rate in (1, 8, 32):
        time = np.arange(0, 40, 1 / rate)
        only, = assured(uncertain(*bump(2, time), airspeed={"standard": 1}))
        assert only.flown.probability == pytest.approx(0.97725, abs=1e-5)


def test_what_varies_from_sample_to_sample_shrinks_by_the_fit_alone():
    only, = assured(uncertain(*bump(2), airspeed={"standard": 1, "varies": "sample"}))
    assert only.flown.common_u == 0
    # Values within two steps' worth of noise count as sharing it.
    assert only.flown.random_u == pytest.approx(1)
    steep, = assured(uncertain(*bump(20, depth=8), airspeed={"standard": 1, "varies": "sample"}))
    assert steep.flown.random_u == pytest.approx(math.sqrt(59 / 231), rel=1e-6)


def test_the_two_bases():
    only, = assured(uncertain(*bump(2), displayed_airspeed={"standard": 0.5},
                              airspeed={"standard": 2}, display_quantum_kt=1.0))
    assert only.displayed.common_u == pytest.approx(math.hypot(0.5, 1 / math.sqrt(12)))
    assert only.flown.common_u == pytest.approx(math.hypot(0.5, 2))
    assert (only.displayed.basis, only.flown.basis) == ("as displayed", "as flown")


def test_a_laggard_display_takes_the_top_off():
    # 1 kt/s^2 either side of the top (coefficient 0.5) and up to 0.4 s: 0.08 kt, rectangular.
    only, = assured(uncertain(*bump(2, depth=0.5), display_lag_s=0.4))
    assert only.displayed.common_u == pytest.approx(0.08 / math.sqrt(3))
    assert only.flown.common_u == 0


def test_the_crew_saw_the_instruments_error():
    # The sheet says that the instrument reads 3 kt too little: flown 2 kt over, seen 1 kt under.
    time, cas = bump(2)
    only, = assured(uncertain(time, cas - 3, recorded="indicated",
                              correction=[[50, 3], [400, 3]]))
    assert only.flown.excess == pytest.approx(2)
    assert only.displayed.excess == pytest.approx(-1)


def test_an_instrument_error_moves_what_was_displayed_by_its_mach_number():
    # The instrument reads 3 kt too little: the crew saw so much less, which at 25,000 ft is
    # 0.0064 of Mach.
    time, cas = bump(20)
    corrected = {"height": 25000.0, "recorded": "indicated", "airspeed": {"standard": 0.5}}
    found = assured(uncertain(time, cas, MMO, correction=[[50, 3], [400, 3]], **corrected))[0]
    mach = airspeed.mach_from_cas(np.array([270.0, 273.0]) * KNOT, 25000 * FOOT)
    assert found.flown.excess - found.displayed.excess == pytest.approx(
        float(mach[1] - mach[0]), rel=0.02)


def test_a_peak_beside_a_gap_may_have_been_more():
    time, cas = bump(3)
    lost = (time > 19.4) & (time < 25)
    # The recorded edge is 2.96 kt over and still rising.
    found = uncertain(time[~lost], cas[~lost], airspeed={"standard": 1})
    first = assured(found)[0].flown
    assert (first.word, first.reason) == (PROVEN_OVER, PEAK_AT_GAP)
    assert math.isnan(first.high)
    unsure = assured(uncertain(time[~lost], cas[~lost], airspeed={"standard": 2}))[0].flown
    assert (unsure.word, unsure.reason) == (NOT_DETERMINABLE, PEAK_AT_GAP)
    assert 0.5 < unsure.probability < 0.95


@pytest.mark.parametrize("back", [False, True], ids=["after it", "before it"])
@pytest.mark.parametrize("short", [True, False], ids=["a gap", "no gap"])
def test_a_peak_just_beside_a_gap_of_three_quarters_of_a_second(short, back):
    # The sample at the gap is a little lower than the one beside it, as noise makes it.
    time, cas = bump(3)
    cas = np.where(time > 19.5, cas - 1, cas - 0.1 * (time == 19.5))
    lost = (time > 19.5) & (time < 20.25) if short else np.zeros(len(time), dtype=bool)
    if back:
        time, cas, lost = 40 - time[::-1], cas[::-1], lost[::-1]
    found = assured(uncertain(time[~lost], cas[~lost], airspeed={"standard": 1}))[-back].flown
    assert found.at_least == short


def test_an_excess_that_begins_at_its_worst_is_known_where_nothing_is_missing():
    time = np.arange(0, 40, 0.25)
    cas = np.where(time < 20, 240.0, 258 - 0.5 * (time - 20))
    found = assured(uncertain(time, cas, airspeed={"standard": 1}))[0].flown
    assert found.reading == pytest.approx(8)
    assert not found.at_least


@pytest.mark.parametrize(("beside_s", "told"), [(4.75, True), (5.0, False)])
@pytest.mark.parametrize("back", [False, True], ids=["after it", "before it"])
def test_a_gap_counts_within_five_seconds_of_the_peak(back, beside_s, told):
    """The peak is flat enough for its place to be uncertain by less than a sample."""
    time, cas = bump(12, depth=0.4)
    lost = (time < 20 - beside_s) & (time > 20 - beside_s - 8)
    if back:
        time, cas, lost = 40 - time[::-1], cas[::-1], lost[::-1]
    found = assured(uncertain(time[~lost], cas[~lost], airspeed={"standard": 1}))[-1].flown
    assert (found.reason == PEAK_AT_GAP) == told
    assert math.isnan(found.high) == told


@pytest.mark.parametrize("lost", [0, 1, 5])
@pytest.mark.parametrize("back", [False, True], ids=["at the start", "at the end"])
def test_a_peak_at_an_end_of_the_log_may_have_been_more(back, lost):
    time, cas = bump(3)
    cas = cas[78:].copy()  # half a second before the top, and on
    cas[:lost] = np.nan
    if back:
        cas = cas[::-1]
    found = assured(uncertain(time[: len(cas)], cas, airspeed={"standard": 1}))[0].flown
    assert found.reason == PEAK_AT_GAP
    assert math.isnan(found.high)
    # Well inside the log it is known.
    inside = assured(uncertain(*bump(3), airspeed={"standard": 1}))[0].flown
    assert inside.reason != PEAK_AT_GAP
    assert math.isfinite(inside.high)


def test_without_an_altitude_a_mach_limit_is_not_determinable():
    found = uncertain(*bump(3), VMO, MMO, height=np.nan)
    one, = at_rows(found, 1, np.array([80]))
    assert (one.flown.word, one.flown.reason) == (NOT_DETERMINABLE, NO_UNCERTAINTY)
    assert math.isnan(one.flown.probability)


def test_no_exceedances_nothing_to_say():
    assert assured(uncertain(*bump(-20))) == ()


def test_nothing_errs_then_the_reading_is_the_truth():
    only, = assured(uncertain(*bump(0.5)))
    assert only.flown.probability > 0.999
    assert only.flown.word == PROVEN_OVER


@pytest.mark.parametrize(("cas", "height", "excess"), [
    (250.2, 25100.0, "over"), (248.5, 25000.0, "under"), (251.5, 24800.0, "over")])
def test_the_probability_against_monte_carlo(cas, height, excess):
    # JCGM 101:2008: under a flat prior the truth is the reading less an error; errors are drawn
    # in static and impact pressure by code that isn't the engine's.
    found = uncertain(np.arange(40.0), cas, VMO, {**MMO, "maximum": 0.604}, height=height,
                      airspeed={"standard": 1, "per_cent": True},
                      pressure_altitude={"standard": 80}, static_source={"standard": 1.5})
    stated = at_rows(found, 1, np.array([20]))[0].flown.probability
    rng = np.random.default_rng(44)
    draws, knot, foot = 200_000, 1852 / 3600, 0.3048
    speed = (cas - rng.normal(0, 0.01 * cas, draws)) * knot
    high = (height - rng.normal(0, 80, draws)) * foot
    moved = speed - rng.normal(0, 1.5, draws) * knot
    static = pressures.static_pressure(high) + (
        pressures.impact_pressure(speed) - pressures.impact_pressure(moved))
    over = pressures.mach_of(pressures.impact_pressure(moved) / static) > 0.604
    assert stated == pytest.approx(over.mean(), abs=0.006)
    assert (stated > 0.5) == (excess == "over")


# Priors

def test_a_normal_prior_by_hand():
    # Prior N(-4, 2^2), reading 1 with u = 2: posterior mean -1.5, variance 2.
    prior = Prior.of_normals("fleet", [(1, 4, 2)])
    assert prior.probability(1, 2) == pytest.approx(0.5 * math.erfc(1.5 / 2))
    low, high = prior.interval(1, 2, 0.95)
    assert (low, high) == pytest.approx((-1.5 - 1.959964 * math.sqrt(2),
                                         -1.5 + 1.959964 * math.sqrt(2)), abs=1e-6)


def test_a_wide_prior_is_flat():
    flat, wide = Flat(), Prior.of_normals("wide", [(1, 0, 1e4)])
    box = Prior.of_histogram("box", [-500, 0, 500], [1, 1])
    for prior in (wide, box):
        assert prior.probability(1.3, 1) == pytest.approx(flat.probability(1.3, 1), abs=1e-4)
        assert prior.interval(1.3, 1, 0.9) == pytest.approx(flat.interval(1.3, 1, 0.9), abs=1e-3)


def test_a_histogram_prior_by_hand():
    # Margins of 0 to 10 kt nine times as often as 0 to 10 kt over; a reading on the limit.
    prior = Prior.of_histogram("fleet", [-10, 0, 10], [1, 9])
    assert prior.probability(0, 1) == pytest.approx(0.1)
    assert Prior.of_histogram("sure", [0, 10], [1]).probability(3, 1) == pytest.approx(0, abs=1e-9)


def test_a_reading_that_the_prior_excludes():
    prior = Prior.of_histogram("fleet", [0, 10], [1])
    found = uncertain(*bump(90, depth=0.4), airspeed={"standard": 1})
    only, = assured(found, None, {"VMO": prior})
    assert (only.flown.word, only.flown.reason) == (NOT_DETERMINABLE, OUTSIDE_PRIOR)
    far = Prior.of_normals("fleet", [(1, 20, 1)])
    assert far.probability(500, 1) == pytest.approx(1)


def test_the_prior_is_named_beside_the_probability():
    prior = Prior.of_normals("the fleet's margins", [(1, 20, 8)])
    found = uncertain(*bump(2), airspeed={"standard": 2})
    flat, known = assured(found)[0].flown, assured(found, None, {"VMO": prior})[0].flown
    other = assured(found, None, {"MMO": prior})[0].flown
    assert (known.prior, other.prior) == ("the fleet's margins", "flat")
    assert known.probability < flat.probability == other.probability


PRIORS = {
    "normals": Prior("a", normals=((0.7, -8.0, 5.0), (0.3, 2.0, 1.5))),
    "pieces": Prior("b", pieces=((-30.0, -5.0, 6.0), (-5.0, 0.0, 3.0), (0.0, 4.0, 1.0))),
    "both": Prior("c", ((-20.0, 5.0, 0.4),), ((0.6, -3.0, 2.0),)),
}


@pytest.mark.parametrize("prior", PRIORS.values(), ids=PRIORS)
@pytest.mark.parametrize(("excess", "u"), [(1.0, 2.0), (-6.0, 0.7), (4.5, 3.0), (0.2, 0.3)])
def test_what_is_known_after_a_reading_by_summing_over_every_true_excess(prior, excess, u):
    true, step = np.linspace(-60, 40, 400_001, retstep=True)
    before = np.zeros(len(true))
    for low, high, weight in prior.pieces:
        before += weight / (high - low) * ((true > low) & (true <= high))
    for weight, mean, sd in prior.normals:
        before += weight / sd * np.exp(-(((true - mean) / sd) ** 2) / 2) / math.sqrt(2 * math.pi)
    after = before * np.exp(-(((excess - true) / u) ** 2) / 2)
    total = (np.cumsum(after) - after / 2) / after.sum()
    for level in (-7.0, -2.0, 0.0, 1.0, 3.9):
        assert prior.below(level, excess, u) == pytest.approx(
            float(np.interp(level, true, total)), abs=1e-4)
    assert prior.probability(excess, u) == pytest.approx(
        1 - float(np.interp(0.0, true, total)), abs=1e-4)
    low, high = prior.interval(excess, u, 0.9)
    assert (low, high) == pytest.approx(np.interp([0.05, 0.95], total, true), abs=2e-3 + step)


def test_a_prior_of_two_groups_from_margins_of_differing_uncertainty():
    """Two thirds of the flights at 30 kt, a third at 8 kt; unknown ones are left out."""
    rng = np.random.default_rng(9)
    true = np.where(rng.random(1500) < 2 / 3, rng.normal(30, 2, 1500), rng.normal(8, 1, 1500))
    u = rng.uniform(0.5, 3.0, 1500)
    margins = true + rng.normal(0, u)
    margins[:50], u[50:100], u[100:150] = np.nan, np.nan, 0.0
    found = sorted(prior_of_margins("fleet", margins, u, normals=2).normals)
    assert np.array(found) == pytest.approx(
        np.array([(1 / 3, -8.0, 1.0), (2 / 3, -30.0, 2.0)]), abs=0.2)


@pytest.mark.parametrize(("flights", "enough"), [(29, False), (30, True)])
def test_a_prior_takes_thirty_flights(flights, enough):
    margins = np.append(np.full(flights, 12.0), np.nan)
    if enough:
        ((weight, mean, sd),) = prior_of_margins("alike", margins, 1.0, normals=1).normals
        assert (weight, mean) == pytest.approx((1.0, -12.0))
        assert 0 < sd < 1e-5
    else:
        with pytest.raises(ValueError, match="30 flights"):
            prior_of_margins("few", margins, 1.0)


@pytest.mark.parametrize(("edges", "counts"), [
    ([0, 1], [1, 2]), ([1, 0], [1]), ([0, 1], [-1]), ([0, 1], [0])])
def test_bad_histograms(edges, counts):
    with pytest.raises(ValueError, match="histogram"):
        Prior.of_histogram("bad", edges, counts)


def test_bad_normals():
    with pytest.raises(ValueError, match="mixture"):
        Prior.of_normals("bad", [(1, 0, 0)])


def test_a_prior_is_estimated_free_of_the_measurements_error():
    rng = np.random.default_rng(6)
    true = rng.normal(20, 3, 4000)
    prior = prior_of_margins("fleet", true + rng.normal(0, 4, 4000), 4.0, normals=1)
    (weight, mean, sd), = prior.normals
    assert (weight, mean) == pytest.approx((1, -20), abs=0.2)
    assert sd == pytest.approx(3, abs=0.35)
    with pytest.raises(ValueError, match="30 flights"):
        prior_of_margins("few", [1.0] * 10, 1.0)


# Near misses

def test_a_near_stretch():
    # 1 kt under at the top, u 1 kt: Phi(-1) = .159.
    found = uncertain(*bump(-1), airspeed={"standard": 1})
    assert near_misses(found, AssuranceSettings(near_probability=0.17)) == ()
    assert near_misses(found) == ()  # at a fifth
    only, = near_misses(found, AssuranceSettings(near_probability=0.15))
    assert (only.limit, only.time_s) == ("VMO", 20.0)
    assert (only.margin, only.margin_kt) == pytest.approx((1, 1))
    assert only.flown.probability == pytest.approx(0.158655, abs=1e-5)
    assert only.flown.word == UNDER_NOT_PROVEN
    # It lasts while the probability is at least .075: 1.4395 u under, at 20 -+ 2.09 s.
    assert (only.start_s, only.end_s) == (18.0, 22.0)
    assert only.pressure_altitude_ft == pytest.approx(5000)


def test_a_near_mach_limit_has_its_margin_in_both():
    found = uncertain(np.arange(40.0), 247.0, MMO, height=25000.0, airspeed={"standard": 2})
    only, = near_misses(found)
    assert only.margin == pytest.approx(0.6 - found.analysis.columns["mach"][0], abs=1e-6)
    assert only.margin_kt == pytest.approx(found.analysis.columns["margin_kt"][0], abs=1e-4)


def test_what_runs_into_an_exceedance_is_no_near_miss():
    time = np.arange(0, 200, 0.5)
    cas = 240 + 11 * np.exp(-((time - 50) / 10) ** 2) + 9.5 * np.exp(-((time - 150) / 10) ** 2)
    found = uncertain(time, cas, airspeed={"standard": 1})
    assert len(found.analysis.exceedances) == 1
    only, = near_misses(found)
    assert only.time_s == 150.0


def test_near_stretches_are_joined_over_half_a_minute_but_never_over_a_gap():
    time = np.arange(0, 300, 0.5)
    cas = 249.5 - 10 * np.sin(2 * np.pi * time / 40) ** 2
    found = uncertain(time, cas, airspeed={"standard": 1})
    assert len(near_misses(found)) == 1
    assert len(near_misses(found, AssuranceSettings(near_join_s=1.0))) == 16
    kept = (time < 100) | (time > 120)
    parted = uncertain(time[kept], cas[kept], airspeed={"standard": 1})
    assert len(near_misses(parted)) == 1
    lost = np.where((time > 105) & (time < 115), np.nan, cas)
    assert len(near_misses(uncertain(time, lost, airspeed={"standard": 1}))) == 2


# Calibration

def test_calibrated_where_truth_is_flat():
    outcome = calibration.flat_truth(calibration.SETS["errors as stated"], 10_000, seed=4100)
    rows = calibration.reliability(outcome.probability, outcome.over)
    assert all(number > 150 for _, number, *_ in rows)
    assert all(z <= 3.29 for *_, z in rows), rows
    skills = calibration.skills(outcome)
    assert skills["over base rate"] > 0.75
    assert skills["over plain excess"] > 0.01


def test_skill_where_errors_are_unlike_the_sheets():
    together = None
    for k, unlike in enumerate(name for name in calibration.SETS if "stated" not in name):
        outcome = calibration.flat_truth(calibration.SETS[unlike], 3200, seed=4200 + 100 * k)
        together = outcome if together is None else together.joined(outcome)
        assert calibration.skills(outcome)["over base rate"] > 0.7
        # No tenth further off than a tenth, whatever chance adds.
        for _, number, expected, found, _ in calibration.reliability(
                outcome.probability, outcome.over):
            assert abs(found - expected) < 0.1 * number + 3 * math.sqrt(number) / 2, unlike
    assert calibration.skills(together)["over plain excess"] > 0


def test_a_flat_prior_reads_high_over_a_fleet_and_its_own_prior_does_not():
    now, _, posterior = calibration.fleet_halves(10_000, seed=77)
    flat = calibration.reliability(now.probability, now.over)
    stated = sum(expected for low, _, expected, *_ in flat if low >= 0.3)
    true = sum(found for low, _, _, found, _ in flat if low >= 0.3)
    assert stated > 1.15 * true
    own = calibration.reliability(posterior, now.over)
    assert all(z <= 3.29 for *_, z in own), own
    assert calibration.skills(now, posterior)["brier"] < calibration.skills(now)["brier"]


def test_a_prior_far_from_the_reading_draws_the_interval_after_it():
    # Two equal normals: the true excess is half way, its deviation 1 / sqrt(2) of theirs.
    prior = Prior.of_normals("narrow", [(1, 0, 0.5)])
    low, high = prior.interval(10.0, 0.5, 0.95)
    assert (low, high) == pytest.approx(
        (5 - 1.959964 * 0.5 / math.sqrt(2), 5 + 1.959964 * 0.5 / math.sqrt(2)), abs=1e-4)
