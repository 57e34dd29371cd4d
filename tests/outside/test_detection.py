"""The detection matrix, held to the thresholds stated in detection.py before its first run."""

from __future__ import annotations

from pathlib import Path

import detection
import flight_model
import numpy as np
import pytest

import loganalyze
from loganalyze import Channel, FlightLog, LimitsSheet, Source


@pytest.fixture(scope="module")
def cells():
    return list(detection.matrix(4))


def test_every_pass_that_a_sample_is_bound_to_show_is_found(cells):
    bound = [one for one in cells if one.bound]
    assert len(bound) > len(cells) / 2
    assert [one for one in bound if one.found < one.flown] == []


def test_the_matrix_shows_what_is_missed(cells):
    """Half a second at 1 Hz is mostly missed: a matrix that finds everything tests nothing."""
    short = [one for one in cells if one.duration == 0.5 and one.rate_hz == 1.0]
    assert 0.2 < sum(one.found for one in short) / sum(one.flown for one in short) < 0.9


@pytest.mark.parametrize("quantum", detection.QUANTA)
def test_turbulence_under_the_limit_makes_no_false_episode(quantum):
    assert detection.false_episodes(8.0, quantum) == 0


def test_a_pass_in_a_gap_is_unknown_not_under():
    flown, unknown = detection.in_a_gap()
    assert unknown == flown


def test_a_pass_under_a_frozen_airspeed_is_unknown_not_under():
    flown, unknown = detection.frozen()
    assert unknown == flown


def test_spikes_that_no_aircraft_flies_are_no_exceedances():
    assert detection.with_spikes() == 0


def test_a_bias_hides_and_shows_what_it_must():
    assert detection.biased(-3.0, 1.0)[1] == 0
    assert detection.biased(-1.0, 5.0) == (30, 30)
    assert detection.biased(+3.0, 1.0) == (30, 30)


@pytest.fixture(scope="module")
def flown():
    return flight_model.fly()


@pytest.mark.parametrize("rate_hz", [1, 4, 8])
@pytest.mark.parametrize("excess_kt", [0.5, 1.0, 2.0, 5.0, 15.0])
def test_passes_of_the_flight_model_are_found(flown, excess_kt, rate_hz):
    """A limit laid `excess_kt` under the model's own greatest airspeed, the log in steps."""
    step_kt, knot, foot = 0.25, detection.KNOT, detection.FOOT
    vmo = float(np.max(flown["cas_kt"])) - excess_kt
    over = flown["cas_kt"] > vmo
    edges = flown["time"][np.flatnonzero(np.diff(over.astype(int), prepend=0, append=0)[:-1])]
    kept = slice(None, None, flight_model.RATE_HZ // rate_hz)
    channels = {
        "calibrated_airspeed": np.round(flown["cas_kt"][kept] / step_kt) * step_kt * knot,
        "pressure_altitude": np.round(flown["altitude_ft"][kept] / 4) * 4 * foot,
    }
    log = FlightLog(flown["time"][kept], {n: Channel(v) for n, v in channels.items()},
                    Source(Path("made.csv")), interval_s=1 / rate_hz)
    sheet = LimitsSheet.model_validate({
        "aircraft": "an invented aircraft", "airspeed": {"recorded": "calibrated"},
        "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": vmo}]})
    found = loganalyze.analyze(log, sheet).exceedances
    spans = [(one.start_s - 1 / rate_hz, one.end_s + 1 / rate_hz) for one in found]
    stretches = list(zip(edges[::2], [*edges[1::2], flown["time"][-1]], strict=False))
    assert stretches
    told = 0
    for start, end in stretches:
        inside = (flown["time"] >= start) & (flown["time"] < end)
        sampled = flown["cas_kt"][kept][inside[kept]]
        if len(sampled) and sampled.max() - vmo > step_kt / 2:
            told += 1
            assert any(a < end and b > start for a, b in spans), (start, end)
    assert told >= 1
    # And nothing is found where the model never was over.
    for a, b in spans:
        assert any(a < end and b > start for start, end in stretches), (a, b)
