"""What is measured on every flight, added up by hand."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from loganalyze import PHASES, Channel, FlightLog, LimitsSheet, MeasureSettings, Source, analyze
from loganalyze.air import airspeed
from loganalyze.explain import flight_measures
from loganalyze.explain.flight_measures import highest, measures_of
from loganalyze.record.units import DEGREE, FOOT, KNOT

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.5}
VFE = {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 180.0,
       "when": {"flap_deg": {"above": 1}}}
NAN = math.nan


def judged(time, kt, ft, limits=(VMO,), interval_s=1.0, **channels):
    time = np.asarray(time, dtype=float)
    kept = {"calibrated_airspeed": Channel(np.asarray(kt, dtype=float) * KNOT),
            "pressure_altitude": Channel(np.broadcast_to(np.asarray(ft) * FOOT, time.shape) * 1.0)}
    kept |= {name: Channel(np.asarray(values, dtype=float)) for name, values in channels.items()}
    return analyze(
        FlightLog(time, kept, Source(Path("made.csv")), interval_s=interval_s),
        LimitsSheet.model_validate({
            "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
            "limit": list(limits)}))


def measured(analysis, **settings):
    codes = np.arange(len(analysis.log)).astype(np.uint8) % len(PHASES)
    return {one.limit: one for one in measures_of(analysis, codes, MeasureSettings(**settings))}


def filled(histogram):
    return {edge: time for edge, time in histogram if time}


def test_by_hand():
    # Margins 50, 8, 3, -2, 20 kt, held for 1, 1, 1.5 (gap), 1, 1 s.
    analysis = judged([0, 1, 2, 6, 7], [200, 242, 247, 252, 230], 5000.0)
    found = measured(analysis)
    one = found["VMO"]
    assert (one.smallest_margin_kt, one.time_s) == (pytest.approx(-2), 6.0)
    assert one.pressure_altitude_ft == pytest.approx(5000)
    assert one.phase == PHASES[3]
    assert math.isnan(one.smallest_margin_mach)
    assert dict(one.within_s) == {0: 1, 5: 2.5, 10: 3.5, 20: 3.5}
    assert filled(one.histogram) == {-5: 1, 0: 1.5, 5: 1, 20: 1, 50: 1}
    assert (one.judged_s, one.unknown_s) == (5.5, 2.5)
    assert found[""].within_s == one.within_s
    assert found[""].histogram == one.histogram
    assert (found[""].judged_s, found[""].unknown_s) == (analysis.judged_s, analysis.unknown_s)


def test_what_is_beyond_the_histogram_is_in_its_last_bins():
    one = measured(judged([0, 1, 2], [300, 250, 100], 5000.0))["VMO"]
    assert filled(one.histogram) == {-30: 1, 0: 1, 100: 1}
    assert sum(time for _, time in one.histogram) == pytest.approx(one.judged_s)
    own = measured(judged([0, 1, 2], [300, 250, 100], 5000.0), lowest_kt=-60, highest_kt=0,
                   width_kt=20, bands_kt=(-10, 5))["VMO"]
    assert filled(own.histogram) == {-60: 1, 0: 2}
    assert dict(own.within_s) == {-10: 1, 5: 2}


def test_mach_bands_are_in_mach():
    mach = np.array([0.4, 0.485, 0.495, 0.505])
    kt = airspeed.cas_from_mach(mach, np.full(4, 25000 * FOOT)) / KNOT
    found = measured(judged(range(4), kt, 25000.0, (VMO, MMO)))
    one = found["MMO"]
    assert one.smallest_margin_mach == pytest.approx(-0.005)
    assert dict(one.within_s) == {0: 1, 0.01: 2, 0.02: 3, 0.05: 3}
    limit_kt = float(airspeed.cas_from_mach(0.5, 25000 * FOOT)) / KNOT
    expected = {}
    for value in limit_kt - kt:
        edge = float(5 * np.floor(value / 5))
        expected[edge] = expected.get(edge, 0) + 1
    assert filled(one.histogram) == expected
    assert filled(found[""].histogram) == expected


def test_exactly_at_the_limit_is_not_over_it():
    # A Mach number of .49 isn't one in float32.
    mmo = {**MMO, "maximum": 0.49}
    kt = airspeed.cas_from_mach(np.full(3, 0.49), np.full(3, 20000 * FOOT)) / KNOT
    assert dict(measured(judged(range(3), kt, 20000.0, (mmo,)))["MMO"].within_s)[0] == 0


def test_only_while_it_applies_and_is_known():
    flap = np.array([0, 0, 10, 10, NAN, 0]) * DEGREE
    found = measured(judged(range(6), [240, 240, 160, 170, 170, 200], 5000.0, (VMO, VFE),
                            flap=flap))
    one = found["VFE"]
    assert (one.judged_s, one.unknown_s) == (2, 1)
    assert dict(one.within_s) == {0: 0, 5: 0, 10: 0, 20: 1}
    assert filled(one.histogram) == {10: 1, 20: 1}
    assert one.phase == PHASES[3]
    assert found["VMO"].judged_s == 6


def test_a_limit_that_never_applied():
    one = measured(judged(range(3), [200.0] * 3, 5000.0, (VMO, VFE), flap=np.zeros(3)))["VFE"]
    assert math.isnan(one.smallest_margin_kt)
    assert (one.judged_s, one.unknown_s, one.phase) == (0, 0, "unknown")
    assert filled(one.histogram) == {}


@pytest.mark.parametrize(("fastest", "seconds"), [(230.05, 1), (229.95, 0), (229.8, 0), (190, 0)])
def test_a_flight_that_comes_just_into_the_widest_band_or_stays_away(fastest, seconds):
    one = measured(judged(range(3), [200.0, fastest, 210.0], 5000.0))["VMO"]
    assert one.smallest_margin_kt == pytest.approx(250 - max(fastest, 210))
    assert dict(one.within_s) == {0: 0, 5: 0, 10: 0, 20: seconds}
    assert sum(time for _, time in one.histogram) == one.judged_s == 3


@pytest.mark.parametrize(("maximum", "seconds"), [(0.40, 1), (0.42, 0)])
def test_the_bands_of_a_mach_limit_of_a_flight_that_comes_near_or_stays_away(maximum, seconds):
    fastest = float(airspeed.cas_from_mach(0.36, 5000 * FOOT) / KNOT)
    one = measured(judged(range(3), [200.0, fastest, 210.0], 5000.0,
                          ({"name": "MMO", "quantity": "mach", "maximum": maximum},)))["MMO"]
    assert dict(one.within_s) == {0: 0, 0.01: 0, 0.02: 0, 0.05: seconds}


@pytest.mark.parametrize("tables", [{}, {"position_correction": [[60, 2], [300, 5]]}])
def test_tables_give_what_the_exact_computation_gives(monkeypatch, tables):
    rng = np.random.default_rng(4)
    n = 3000
    kt = 225 + 20 * np.sin(np.arange(n) / 50) + rng.normal(0, 1, n)
    ft = 15000 + 9000 * np.sin(np.arange(n) / 200)
    kt[rng.random(n) < 0.02] = NAN
    ft[rng.random(n) < 0.02] = NAN
    table = {"name": "VRA", "quantity": "calibrated_airspeed",
             "by_pressure_altitude": [[0, 220], [20000, 190]]}
    eas = {"name": "VA", "quantity": "equivalent_airspeed", "maximum_kt": 230.0}
    analysis = analyze(
        FlightLog(np.arange(n) * 1.0, {
            "indicated_airspeed": Channel(kt * KNOT), "pressure_altitude": Channel(ft * FOOT),
            "flap": Channel((np.arange(n) % 100 < 30) * 10 * DEGREE)},
            Source(Path("made.csv")), interval_s=1.0),
        LimitsSheet.model_validate({
            "aircraft": "an invented twin", "airspeed": {"recorded": "indicated", **tables},
            "limit": [VMO, MMO, VFE, table, eas]}))
    codes = np.zeros(n, dtype=np.uint8)
    quick = measures_of(analysis, codes)
    monkeypatch.setattr(flight_measures, "_margins", lambda analysis, limit, _, rows: (
        flight_measures._direct(analysis, limit, rows)))
    monkeypatch.setattr(flight_measures, "_near", lambda *of: np.array(True))
    monkeypatch.setattr(flight_measures, "BLOCK", 700)
    for one, plain in zip(quick, measures_of(analysis, codes), strict=True):
        assert one.judged_s == pytest.approx(plain.judged_s)
        assert [time for _, time in one.within_s] == pytest.approx(
            [time for _, time in plain.within_s])
        assert [time for _, time in one.histogram] == pytest.approx(
            [time for _, time in plain.histogram])


def test_highest():
    analysis = judged(range(3), [200, NAN, 240], 10000.0)
    speed, mach = highest(analysis)
    assert speed == pytest.approx(240)
    assert mach == pytest.approx(float(airspeed.mach_from_cas(240 * KNOT, 10000 * FOOT)), rel=1e-6)
    assert all(math.isnan(value) for value in highest(judged([0], [NAN], 1000.0)))


def test_a_lone_sample_stands_for_no_time():
    one = measured(judged([0.0], [240.0], 5000.0, interval_s=NAN))["VMO"]
    assert (one.judged_s, one.smallest_margin_kt) == (0, pytest.approx(10))


@pytest.mark.parametrize("settings", [
    {"width_kt": 0}, {"lowest_kt": 100, "highest_kt": 0}, {"bands_kt": (5, 5)}])
def test_settings_that_make_no_sense(settings):
    with pytest.raises(ValueError, match=r"rise|rising"):
        MeasureSettings(**settings)
