"""Rows that are safely below every limit: their states, and the time that counts as judged."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze import analyze

UNDER, OVER, UNKNOWN, NOT_APPLICABLE = range(4)
VFE = {"name": "VFE", "quantity": "calibrated_airspeed",
       "by_pressure_altitude": [[0, 180], [10000, 180]],
       "when": {"flap_deg": {"above": 1, "up_to": 20}}}
LONG = 70_000
"""More samples than are judged at once."""


def test_a_conditional_limit_beyond_the_end_of_its_table(log, sheet, vmo):
    flaps = np.repeat([0.0, 10.0, np.nan, 0.0, 10.0, np.nan], 5)
    flight = log(range(30), calibrated_airspeed=120.0, flap=flaps,
                 pressure_altitude=np.repeat([5000.0, 15000.0], 15))
    analysis = analyze(flight, sheet(vmo, VFE))
    inside, beyond = [NOT_APPLICABLE, UNDER, UNKNOWN], [NOT_APPLICABLE, UNKNOWN, UNKNOWN]
    assert analysis.columns["state_1"][::5].tolist() == inside + beyond
    assert analysis.columns["state"][::5].tolist() == [
        UNDER, UNDER, UNKNOWN, UNDER, UNKNOWN, UNKNOWN]
    assert analysis.judged_s == 15.0


@pytest.mark.parametrize(("ft", "state"), [
    (0.0, UNDER), (10000.0, UNDER), (-50.0, UNKNOWN), (10050.0, UNKNOWN)])
def test_a_limit_is_known_up_to_the_very_ends_of_its_table(log, sheet, vmo, ft, state):
    flight = log(range(4), calibrated_airspeed=120.0, flap=10.0, pressure_altitude=ft)
    assert analyze(flight, sheet(vmo, VFE)).columns["state_1"].tolist() == [state] * 4


@pytest.mark.parametrize("gap_s", [0.25, 60.0])
@pytest.mark.parametrize("gap_after", [1000, 32767, 32768, 65535, LONG - 2])
def test_a_sample_before_a_gap_stands_for_one_and_a_half_intervals(
        log, sheet, vmo, gap_after, gap_s):
    time = np.arange(LONG) * 0.25
    time[gap_after + 1 :] += gap_s
    analysis = analyze(log(time, calibrated_airspeed=200.0, pressure_altitude=5000.0), sheet(vmo))
    assert analysis.judged_s == pytest.approx(LONG * 0.25 + 0.125, abs=1e-6)


@pytest.mark.parametrize("lost", [slice(100, 200), slice(32700, 32800), slice(40000, 40100),
                                  slice(LONG - 100, LONG)])
def test_time_without_an_airspeed_is_not_judged(log, sheet, vmo, lost):
    kt = np.full(LONG, 200.0)
    kt[lost] = np.nan
    analysis = analyze(log(np.arange(LONG) * 0.25, calibrated_airspeed=kt,
                           pressure_altitude=5000.0), sheet(vmo))
    assert analysis.judged_s == pytest.approx((LONG - 100) * 0.25, abs=1e-6)


@pytest.mark.parametrize("lost", [slice(100, 200), slice(32700, 32800), slice(0, 32768)])
def test_time_without_a_condition_is_not_judged_however_slow(log, sheet, vmo, lost):
    flap = np.zeros(LONG)
    flap[lost] = np.nan
    analysis = analyze(log(np.arange(LONG) * 0.25, calibrated_airspeed=120.0, flap=flap,
                           pressure_altitude=5000.0), sheet(vmo, VFE))
    rows = lost.stop - lost.start
    assert (analysis.columns["state"] == UNKNOWN).sum() == rows
    assert analysis.judged_s == pytest.approx((LONG - rows) * 0.25, abs=1e-6)


def test_uneven_samples_within_the_time_that_one_stands_for(log, sheet, vmo):
    time = np.cumsum([0.0, 1.0, 1.4, 0.6, 1.0, 3.0, 1.0, 1.0])
    analysis = analyze(log(time, 1.0, calibrated_airspeed=200.0, pressure_altitude=5000.0),
                       sheet(vmo))
    # 1.5 s before the gap of 3 s, 1 s for the last sample.
    assert analysis.judged_s == pytest.approx(1 + 1.4 + 0.6 + 1 + 1.5 + 1 + 1 + 1)
