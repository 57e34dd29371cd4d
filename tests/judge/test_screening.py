"""Samples that no verdict may rest on."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze.judge import margins
from loganalyze.judge.flight import analyze

NAN = math.nan
UNDER, OVER, UNKNOWN = 0, 1, 2
ALTITUDE = "pressure altitude"


@pytest.fixture
def judged(log, sheet, vmo):
    def judge(kt, ft=5000.0, time=None, **channels):
        flight = log(range(len(kt)) if time is None else time, calibrated_airspeed=kt,
                     pressure_altitude=ft, **channels)
        return analyze(flight, sheet(vmo))

    return judge


def test_a_clean_log_has_nothing_against_it(judged):
    assert judged([200, 210, 220, 230]).screened == {}


@pytest.mark.parametrize("fill", [NAN, -9999, 9999, 1000.1, -0.1, math.inf])
def test_missing_or_implausible_airspeed_is_unknown(judged, fill):
    analysis = judged([200, fill, fill, 200])
    assert analysis.columns["state"].tolist() == [UNDER, UNKNOWN, UNKNOWN, UNDER]
    reason = "missing" if math.isnan(fill) else "outside its plausible range"
    assert analysis.screened == {f"airspeed {reason}": 2}


def test_missing_temperature_is_counted_and_takes_nothing_away(judged):
    analysis = judged([200, 200, 200], static_air_temperature=[0, NAN, 500])
    assert analysis.columns["state"].tolist() == [UNDER] * 3
    assert analysis.screened == {"temperature missing": 1,
                                 "temperature outside its plausible range": 1}
    assert np.isnan(analysis.columns["true_airspeed_kt"]).tolist() == [False, True, True]


@pytest.mark.parametrize("jump", [60, -60])
def test_one_sample_out_and_at_once_back_is_a_spike(judged, jump):
    analysis = judged([200, 200, 200 + jump, 200, 200])
    assert analysis.columns["state"].tolist() == [UNDER, UNDER, UNKNOWN, UNDER, UNDER]
    assert analysis.screened == {"airspeed spike faster than plausible": 1}
    assert np.isnan(analysis.columns["calibrated_airspeed_kt"]).tolist() == [
        False, False, True, False, False]
    assert analysis.exceedances == ()


def test_a_step_of_two_samples_is_none(judged):
    analysis = judged([200, 200, 260, 260, 200])
    assert analysis.columns["state"].tolist() == [UNDER, UNDER, OVER, OVER, UNDER]
    assert analysis.screened == {}


def test_a_spike_is_faster_than_plausible(judged):
    # 40 kt/s over 1 s, and 2 kt for the noise; over 2 s twice the rate is allowed.
    assert judged([200, 241.9, 200]).screened == {}
    assert judged([200, 242.1, 200]).columns["state"].tolist() == [UNDER, UNKNOWN, UNDER]
    assert judged([200, 270, 200], time=[0, 2, 4]).screened == {}


def test_a_spike_of_the_altitude(judged):
    # 600 ft/s, and 30 m for the noise. A constant CAS limit is judged all the same.
    analysis = judged([200] * 5, ft=[5000, 5000, 5720, 5000, 5000])
    assert analysis.screened == {f"{ALTITUDE} spike faster than plausible": 1}
    assert analysis.columns["state"].tolist() == [UNDER] * 5
    assert np.isnan(analysis.columns["mach"]).tolist() == [False, False, True, False, False]
    assert judged([200] * 5, ft=[5000, 5000, 5690, 5000, 5000]).screened == {}


def test_a_fill_value_beside_it_makes_no_good_sample_a_spike(judged):
    analysis = judged([200, -9999, 200, -9999, 260, -9999])
    assert analysis.columns["state"].tolist() == [UNDER, UNKNOWN, UNDER, UNKNOWN, OVER, UNKNOWN]
    assert analysis.screened == {"airspeed outside its plausible range": 3}


def test_the_ends_of_the_log_are_no_spikes(judged):
    assert judged([260, 200, 200, 260]).screened == {}
    assert judged([200]).screened == {}


@pytest.mark.parametrize("row", [62, 63, 64, 65, 127, 128])
def test_spikes_and_steps_across_the_boundary_of_blocks(judged, monkeypatch, row):
    monkeypatch.setattr(margins, "BLOCK", 64)
    kt = np.full(200, 200.0)
    kt[row] = 270
    assert np.flatnonzero(judged(kt).columns["state"]).tolist() == [row]
    assert judged(kt).screened == {"airspeed spike faster than plausible": 1}
    kt[row + 1] = 270
    assert np.flatnonzero(judged(kt).columns["state"] == OVER).tolist() == [row, row + 1]
    assert judged(kt).screened == {}
    kt[row - 1 : row + 2] = [200, NAN, 200]
    assert np.flatnonzero(judged(kt).columns["state"] == UNKNOWN).tolist() == [row]
