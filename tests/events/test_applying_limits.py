"""Two stretches over a limit with a time between in which it doesn't apply, or isn't known."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze import Problem, analyze
from loganalyze.air import airspeed
from loganalyze.record.units import FOOT, KNOT

VFE = {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180.0,
       "when": {"flap_deg": {"above": 1, "up_to": 20}}}


@pytest.mark.parametrize(("between", "parts"), [
    ((10.0, 179.5), 1), ((0.0, 179.5), 2), ((10.0, 176.5), 2)],
    ids=["just under", "not applicable", "well under"])
def test_chatter_is_joined_only_where_the_limit_applied_throughout(log, sheet, between, parts):
    # Over for 20 s, under by half a knot for 4 s, over for 20 s; in the middle 3 s of it differ.
    flap, kt = np.full(280, 10.0), np.full(280, 179.5)
    kt[20:120] = kt[140:240] = 182.0
    flap[122:137], kt[122:137] = between
    flight = log(np.arange(280) / 5, calibrated_airspeed=kt, flap=flap, pressure_altitude=5000.0)
    found = analyze(flight, sheet(VFE)).exceedances
    assert len(found) == parts
    assert {one.ended_by for one in found} == {"recovered"}
    assert sum(one.touches for one in found) == 2


@pytest.mark.parametrize(("step_s", "parts"), [(1.5, 1), (1.6, 2)])
def test_chatter_is_not_joined_across_a_gap(log, sheet, vmo, step_s, parts):
    time = np.arange(60.0)
    time[31:] += step_s - 1.0
    kt = np.full(60, 252.0)
    kt[:10] = kt[50:] = 240.0
    kt[30:32] = 249.5
    flight = log(time, calibrated_airspeed=kt, pressure_altitude=5000.0)
    assert len(analyze(flight, sheet(vmo)).exceedances) == parts


@pytest.mark.parametrize(("under", "parts"), [(0.0035, 1), (0.0045, 2)])
def test_how_far_under_a_mach_limit_chatter_may_go(log, sheet, mmo, under, parts):
    mach = np.full(60, 0.503)
    mach[:10] = mach[50:] = 0.48
    mach[30:32] = 0.5 - under
    cas = airspeed.cas_from_mach(mach, np.full(60, 20000 * FOOT)) / KNOT
    flight = log(range(60), calibrated_airspeed=cas, pressure_altitude=20000.0)
    assert len(analyze(flight, sheet(mmo)).exceedances) == parts


def test_a_sample_alone_stands_for_no_time(log, sheet, vmo):
    for kt in (240.0, np.nan):
        analysis = analyze(log([5.0], calibrated_airspeed=kt, pressure_altitude=5000.0),
                           sheet(vmo))
        assert analysis.recorded_s == analysis.judged_s == 0.0
        assert list(analysis.unknown) == list(analysis.bounded) == []


def test_a_log_without_samples_is_refused(log, sheet, vmo):
    with pytest.raises(Problem, match="no samples"):
        analyze(log([], 1.0, calibrated_airspeed=[], pressure_altitude=[]), sheet(vmo))


def test_a_flight_that_never_flew_has_no_share_of_its_time_judged(log, sheet, vmo):
    analysis = analyze(log(range(200), calibrated_airspeed=5.0, pressure_altitude=500.0),
                       sheet(vmo))
    assert analysis.airborne.duration == 0.0
    assert analysis.judged_shares == {}
    assert analysis.unjudged_limits == ()


@pytest.mark.parametrize(("lost", "listed"), [(40, True), (60, True), (110, False)])
def test_a_limit_judged_for_less_than_half_of_the_time_counts_as_not_judged(
        log, sheet, vmo, mmo, lost, listed):
    # 200 s, MMO known for so many of them: the altitude is lost for the rest.
    ft = np.full(200, 5000.0)
    ft[lost:] = np.nan
    analysis = analyze(log(range(200), calibrated_airspeed=200.0, pressure_altitude=ft),
                       sheet(vmo, mmo))
    assert analysis.unjudged_limits == (("MMO",) if listed else ())
    assert analysis.judged_shares["VMO"] == 1.0
    share = analysis.judged_shares["MMO"]
    assert share == pytest.approx(lost / 200, abs=0.01)


def test_when_and_for_how_long_the_temperature_was_lost(log, sheet, vmo):
    warm = np.full(60, -10.0)
    warm[[10, 20, 21, 40]] = np.nan
    analysis = analyze(log(range(60), calibrated_airspeed=200.0, pressure_altitude=5000.0,
                           static_air_temperature=warm), sheet(vmo))
    (values,) = [one.values for one in analysis.findings if one.code == "temperature_lost"]
    assert values == {"lost_s": 4.0, "first_s": 10.0, "last_s": 40.0}


def test_what_was_screened_out_before_stays_out_beside_an_excursion(log, sheet, vmo):
    # Frozen at 230 kt for a minute while Mach falls; later four samples that no aircraft flies.
    flown = np.concatenate([np.linspace(240, 230, 20), np.linspace(230, 180, 60),
                            np.full(60, 180.0) + np.arange(60) % 3])
    kt = flown.copy()
    kt[20:80] = 230.0
    kt[110:114] = [470.0, 480.0, 475.0, 490.0]
    flight = log(range(140), calibrated_airspeed=kt, mach=flown / 661.48 / 0.9123,
                 pressure_altitude=5000.0)
    analysis = analyze(flight, sheet(vmo))
    screened = analysis.screened
    assert screened["airspeed spike faster than plausible"] == 4
    assert screened["airspeed frozen while others moved"] >= 60
    assert np.isnan(analysis.columns["margin_kt"][25:80]).all()
    assert np.isnan(analysis.columns["margin_kt"][110:114]).all()
    assert not np.isnan(analysis.columns["margin_kt"][114:]).any()


@pytest.mark.parametrize(("kt", "questioned"), [(225.0, True), (185.0, False)])
def test_how_far_over_a_limit_makes_flaps_at_rest_questionable(log, sheet, kt, questioned):
    # The flaps rest at 2 degrees, and half of the noise of that is above them: VFE applies.
    flap = np.where(np.arange(1200) // 20 % 2, 2.1, 1.9)
    limit = {**VFE, "when": {"flap_deg": {"above": 2, "up_to": 20}}}
    analysis = analyze(log(range(1200), calibrated_airspeed=kt, pressure_altitude=5000.0,
                           flap=flap), sheet(limit))
    found = [one.values for one in analysis.findings if one.code == "limit_in_force_at_rest"]
    assert analysis.outcome == ("not judged" if questioned else "exceeded")
    assert len(found) == questioned
    for values in found:
        assert values["reading"] == pytest.approx(2.1)
        assert (values["unit"], values["low"]) == ("deg", pytest.approx(2.0))
        assert values["over_s"] == pytest.approx(600.0, abs=1)


@pytest.mark.parametrize(("known", "outcome"), [(40, "not judged"), (110, "not exceeded")])
def test_what_was_judged_for_less_than_half_of_the_time_is_no_verdict(
        log, sheet, mmo, known, outcome):
    ft = np.full(200, 5000.0)
    ft[known:] = np.nan
    analysis = analyze(log(range(200), calibrated_airspeed=200.0, pressure_altitude=ft),
                       sheet(mmo))
    assert analysis.judged_s >= known
    assert analysis.outcome == outcome
