"""Turns that tell an error of the airspeed from the wind: which count, and the fit by another way.

The fit is held to generalized least squares with whole covariance matrices, and Student's
distribution of scipy.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from loganalyze import analyze
from loganalyze.air import airspeed, atmosphere
from loganalyze.crosscheck.wind_triangle import TurnSettings, scale_error
from loganalyze.testing import make_log, make_sheet

KNOT, FOOT = 1852 / 3600, 0.3048
VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 300.0}


def turned(through_deg=180.0, rate_deg_s=2.0, climb_ft=0.0, hz=1.0, turns=1, noise_kt=0.0, seed=1,
           high_kt=5.0, straight_s=60.0, missing=()):
    """Turns at 240 kt and 10,000 ft, in a wind of 30 kt, with straight flight before and after."""
    rng = np.random.default_rng(seed)
    one = round(through_deg / rate_deg_s * hz)
    straight = round(straight_s * hz)
    moved = np.concatenate([np.zeros(straight), *[np.concatenate([
        np.full(one, rate_deg_s / hz), np.zeros(straight)])] * turns])
    heading = np.radians(20 + np.cumsum(moved))
    n = len(heading)
    time = np.arange(n) / hz
    climbed = climb_ft * np.cumsum(moved) / (through_deg * turns)
    ft = 10000 + climbed
    warm = atmosphere.temperature(ft * FOOT)
    tas = airspeed.tas_from_cas(np.full(n, 240 * KNOT), ft * FOOT, warm) / KNOT
    north = tas * np.cos(heading) + 30 + rng.normal(0, noise_kt, n)
    east = tas * np.sin(heading) - 10 + rng.normal(0, noise_kt, n)
    channels = {
        "calibrated_airspeed": 240 + high_kt, "pressure_altitude": ft,
        "static_air_temperature": warm - 273.15, "heading": np.degrees(heading) % 360,
        "track": np.degrees(np.arctan2(east, north)) % 360, "ground_speed": np.hypot(north, east)}
    return analyze(make_log(time, 1 / hz, **{name: values for name, values in channels.items()
                                             if name not in missing}), make_sheet(VMO))


@pytest.mark.parametrize(("flown", "counts"), [
    ({"through_deg": 58.0}, False), ({"through_deg": 64.0}, True),
    ({"rate_deg_s": 0.45, "through_deg": 90.0}, False),
    ({"rate_deg_s": 0.55, "through_deg": 90.0}, True),
    ({"rate_deg_s": -0.55, "through_deg": -90.0}, True),
    ({"climb_ft": 980.0}, True), ({"climb_ft": 1030.0}, False), ({"climb_ft": -1030.0}, False),
    ({"rate_deg_s": 0.45, "through_deg": 90.0, "hz": 4.0}, False),
    ({"rate_deg_s": 0.55, "through_deg": 90.0, "hz": 4.0}, True),
    ({"missing": ("ground_speed",)}, False), ({"missing": ("track",)}, False),
    ({"missing": ("heading",)}, False), ({"missing": ("static_air_temperature",)}, False),
])
def test_which_turns_count(flown, counts):
    found = scale_error(turned(**flown))
    assert (found is not None) == counts
    if found is not None:
        assert found.turns == 1
        assert found.reads_high_kt == pytest.approx(5 * 1.14, abs=0.1)


@pytest.mark.parametrize(("flown", "samples"), [
    ({}, 45), ({"hz": 4.0}, 45), ({"through_deg": 64.0}, 33),
    ({"through_deg": 64.0, "hz": 4.0}, 33), ({"turns": 3}, 135)])
def test_samples_are_a_second_apart_and_at_most_45_a_turn(flown, samples):
    found = scale_error(turned(**flown))
    assert found.samples == pytest.approx(samples, abs=1)
    assert found.turns == flown.get("turns", 1)


def test_a_turn_ends_at_a_gap_and_where_it_goes_the_other_way():
    there = turned(through_deg=100.0, turns=1, straight_s=0.0, high_kt=5.0)
    assert scale_error(there).turns == 1
    log = there.log
    parted = np.asarray(log.time) + np.where(np.arange(len(log)) >= 25, 5.0, 0.0)
    channels = {name: log.aligned(name) for name in log.channels}
    units = {"pressure_altitude": FOOT, "calibrated_airspeed": KNOT, "ground_speed": KNOT}
    kept = {name: values / units.get(name, 1.0) for name, values in channels.items()}
    kept |= {name: np.degrees(kept[name]) for name in ("heading", "track")}
    kept["static_air_temperature"] = kept["static_air_temperature"] - 273.15
    cut = analyze(make_log(parted, 1.0, **kept), make_sheet(VMO))
    assert scale_error(cut) is None  # two halves of 50 deg


GRID = [(0.0, 1.0), *((share, lasting) for share in (0.4, 0.8, 0.95, 0.99)
                      for lasting in (8.0, 25.0, 80.0, 250.0))]


@pytest.mark.parametrize(("turns", "noise_kt"), [(1, 1.0), (2, 3.0)])
def test_the_fit_by_whole_covariance_matrices(turns, noise_kt):
    """Each pair of the grid by itself, weighed by its restricted likelihood."""
    settings = TurnSettings(most_samples=18)
    analysis = turned(turns=turns, noise_kt=noise_kt)
    found = scale_error(analysis, settings)
    log = analysis.log
    first = [np.unique(np.linspace(59 + k * 150, 59 + k * 150 + 90, 18).round().astype(int))
             for k in range(turns)]
    rows, which = np.concatenate(first), np.repeat(np.arange(turns), 18)
    assert found.samples == len(rows)
    at = analysis.evaluation.air_data_at(rows)
    tas = airspeed.tas_from_mach(at.mach, at.temperature)
    psi = log.aligned("heading")[rows] + np.radians(found.heading_offset_deg)
    ground = log.aligned("ground_speed")[rows]
    track = log.aligned("track")[rows]
    own = np.eye(turns)[which]
    zero = np.zeros_like(own)
    design = np.block([
        [(tas * np.cos(psi))[:, None], (-tas * np.sin(psi))[:, None], own, zero],
        [(tas * np.sin(psi))[:, None], (tas * np.cos(psi))[:, None], zero, own]])
    wanted = np.concatenate([ground * np.cos(track) - tas * np.cos(psi),
                             ground * np.sin(track) - tas * np.sin(psi)])
    free = len(wanted) - design.shape[1]
    logs, means, spreads, freedoms = [], [], [], []
    apart = np.abs(np.subtract.outer(log.time[rows], log.time[rows]))
    together = np.equal.outer(which, which)
    for share, lasting in GRID:
        of_one = ((1 - share) * np.eye(len(rows)) + share * np.exp(-apart / lasting)) * together
        inverse = np.linalg.inv(np.kron(np.eye(2), of_one))
        normal = design.T @ inverse @ design
        fit = np.linalg.solve(normal, design.T @ inverse @ wanted)
        rest = wanted - design @ fit
        left = rest @ inverse @ rest
        logs.append(-np.linalg.slogdet(of_one)[1] - np.linalg.slogdet(normal)[1] / 2
                    - free / 2 * math.log(left))
        means.append(fit[0])
        spreads.append(math.sqrt(np.linalg.inv(normal)[0, 0] * left / (free - 2)))
        freedoms.append(np.inf if share == 0 else 2 * turns * (1 + 90 / lasting))
    weights = np.array([0.5, *[0.5 / 16] * 16]) * np.exp(np.array(logs) - max(logs))
    weights /= weights.sum()
    scale = weights @ means
    assert found.scale == pytest.approx(scale, rel=1e-4, abs=1e-9)

    def outside(half):
        inside = [stats.t.cdf((half - (mean - scale)) / u, df)
                  - stats.t.cdf((-half - (mean - scale)) / u, df)
                  for mean, u, df in zip(means, spreads, freedoms, strict=True)]
        return weights @ inside - 0.95

    half = optimize.brentq(outside, 0, 20 * max(spreads))
    assert found.scale_u == pytest.approx(half / 1.96, rel=0.01)
    assert found.reads_high_kt == pytest.approx(-scale * tas.mean() / KNOT, rel=1e-4)
