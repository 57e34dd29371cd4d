"""Time to limit, on lines and noise whose answers are written down first."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loganalyze import PHASES, ApproachSettings, Channel, FlightLog, LimitsSheet, Source, analyze
from loganalyze.explain import time_to_limit
from loganalyze.explain.time_to_limit import closings, shortest_time_to_limit
from loganalyze.record.units import FOOT, KNOT

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
CRUISE = PHASES.index("cruise")


def judged(time, kt, limits=(VMO,), step_kt=0.0, interval_s=None, **channels):
    time = np.asarray(time, dtype=float)
    kept = {"calibrated_airspeed": Channel(np.asarray(kt, dtype=float) * KNOT,
                                           resolution=step_kt * KNOT),
            "pressure_altitude": Channel(np.full(len(time), 5000 * FOOT))}
    kept |= {name: Channel(np.asarray(values, dtype=float)) for name, values in channels.items()}
    if interval_s is None:
        interval_s = float(np.median(np.diff(time)))
    return analyze(
        FlightLog(time, kept, Source(Path("made.csv")), interval_s=interval_s),
        LimitsSheet.model_validate({
            "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
            "limit": list(limits)}))


def shortest(analysis, phase="cruise", **settings):
    codes = np.full(len(analysis.log), PHASES.index(phase), dtype=np.uint8)
    return shortest_time_to_limit(analysis, codes, ApproachSettings(**settings))


@pytest.mark.parametrize("rate", [0.5, 1, 4, 16])
def test_a_steady_acceleration(rate):
    # 200 to 240 kt in 40 s: at the end 10 kt are left, at 1 kt/s.
    time = np.arange(0, 40 + 1e-9, 1 / rate)
    one = shortest(judged(time, 200 + time))
    assert (one.limit, one.time_s, one.phase) == ("VMO", 40.0, "cruise")
    assert one.seconds == pytest.approx(10, abs=1e-4)
    assert one.margin_kt == pytest.approx(10, abs=1e-4)
    assert one.closing_kt_s == pytest.approx(1, abs=1e-5)


def test_over_the_limit_nothing_is_approached_any_more():
    # Slow at first, then 5 kt/s: the fitted line still lies under the limit when the speed is over.
    time = np.arange(0, 20, 0.5)
    analysis = judged(time, 235 + 0.5 * time + np.maximum(time - 17, 0) * 5)
    found, = closings(analysis)
    assert (analysis.columns["margin_kt"][found.rows] > 0).all()
    assert analysis.columns["margin_kt"][found.rows[-1] + 1] < 0


def test_no_more_than_a_minute_is_told():
    # At 0.15 kt/s from 235 kt the limit is 60 s away at 241 kt, 40 s after the start.
    time = np.arange(0, 60.25, 0.25)
    found = np.concatenate([one.rows for one in closings(judged(time, 235 + 0.15 * time))])
    assert time[found[0]] == pytest.approx(40.25)
    assert shortest(judged(time[:100], 235 + 0.15 * time[:100])) is None


def test_the_window_is_8_s_back():
    # Steady until 20 s, then 1 kt/s; by hand, the slope of the last 8 s at 24 s.
    time = np.arange(0, 25.0)
    kt = np.where(time > 20, 200 + (time - 20), 200)
    (found,) = closings(judged(time, kt), ApproachSettings(longest_s=1000))
    at = list(found.rows).index(24)
    slope, offset = np.polyfit(time[16:25], 250 - kt[16:25], 1)
    assert found.closing_kt_s[at] == pytest.approx(-slope, abs=1e-5)
    assert found.margin_kt[at] == pytest.approx(slope * 24 + offset, abs=1e-4)
    assert found.seconds[at] == pytest.approx((slope * 24 + offset) / -slope, abs=1e-3)


def test_closing_counts_only_beyond_twice_its_uncertainty():
    """Noise alone is rarely closing: of independent windows, as Student's t has it beyond 2."""
    rng = np.random.default_rng(5)
    n = 40000
    time = np.arange(n) * 1.0
    analysis = judged(time, 248 + rng.normal(0, 1.0, n))
    found = np.concatenate([one.rows for one in closings(analysis,
                                                         ApproachSettings(longest_s=1e9))])
    share = np.isin(np.arange(8, n, 9), found).mean()
    # P(t > 2) with 7 degrees of freedom is .0428 (computed from Student's distribution); of
    # 4,443 windows two standard errors are .0061. Margins below zero are left out: P < .03.
    assert share == pytest.approx(0.0428, abs=0.0065)


def test_the_slope_and_its_uncertainty_are_those_of_least_squares():
    rng = np.random.default_rng(9)
    time = np.cumsum(rng.choice([0.2, 0.25, 0.4], 400))
    kt = 220 + 8 * np.sin(time / 15) + rng.normal(0, 0.3, 400)
    analysis = judged(time, kt, interval_s=0.4)
    found = list(closings(analysis))
    rows = np.concatenate([one.rows for one in found])
    seconds = np.concatenate([one.seconds for one in found])
    expected = {}
    for i in range(400):
        some = np.flatnonzero((time >= time[i] - 8 - 1e-7) & (time <= time[i]))
        if len(some) < 4 or time[i] - time[some[0]] < 6:
            continue
        t, m = time[some] - time[i], 250 - kt[some]
        (slope, here), covariance = np.polyfit(t, m, 1, cov="unscaled")
        sse = ((m - here - slope * t) ** 2).sum()
        u = np.sqrt(sse / (len(some) - 2) * covariance[0, 0])
        if -slope > 2 * u and 0 < here < -slope * 60:
            expected[i] = here / -slope
    assert len(expected) > 50
    assert dict(zip(rows.tolist(), seconds.tolist(), strict=True)) == pytest.approx(
        expected, rel=1e-4)


def test_a_recorder_s_step_is_no_closing():
    # One step of 1 kt in an 8-s window: on its face 0.15 kt/s, with no more behind it than a step.
    kt = np.array([245.0] * 12 + [246.0] * 2)
    assert shortest(judged(np.arange(14.0), kt, step_kt=8.0)) is None
    assert shortest(judged(np.arange(14.0), kt)) is not None


def test_blocks_don_t_matter(monkeypatch):
    rng = np.random.default_rng(2)
    time = np.cumsum(rng.choice([0.25, 0.3, 3.0], 3000, p=[0.6, 0.395, 0.005]))
    kt = 225 + 12 * np.sin(time / 20) + rng.normal(0, 0.2, 3000)
    analysis = judged(time, kt, interval_s=0.25)
    whole = [np.concatenate([getattr(one, name) for one in closings(analysis)])
             for name in ("rows", "seconds")]
    monkeypatch.setattr(time_to_limit, "BLOCK", 64)
    pieces = [np.concatenate([getattr(one, name) for one in closings(analysis)])
              for name in ("rows", "seconds")]
    assert np.array_equal(whole[0], pieces[0])
    assert whole[1] == pytest.approx(pieces[1], rel=1e-6)


def test_never_across_a_gap_or_a_lost_sample():
    # 20 kt faster after a gap of 5 s: that isn't 4 kt/s.
    time = np.concatenate([np.arange(0, 20.0), np.arange(25, 45.0)])
    kt = np.where(time < 22, 200.0, 240.0)
    assert shortest(judged(time, kt)) is None
    # Every seventh sample lost: no window of 6 s in one piece.
    kt = 200 + np.arange(60.0)
    kt[::6] = np.nan
    assert shortest(judged(np.arange(60.0), np.minimum(kt, 249))) is None


def test_a_limit_that_begins_to_apply_is_no_closing():
    vfe = {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180.0,
           "when": {"flap_deg": {"above": 1}}}
    time = np.arange(0, 60.0)
    flap = np.where(time > 30, 0.2, 0.0)
    assert shortest(judged(time, np.full(60, 170.0), (VMO, vfe), flap=flap)) is None
    # Closing on it afterwards is, and names it.
    one = shortest(judged(time, np.where(time > 45, 170 + 0.5 * (time - 45), 170), (VMO, vfe),
                          flap=flap))
    assert one.limit == "VFE"


def test_not_on_the_take_off_roll():
    time = np.arange(0, 40.0)
    analysis = judged(time, 200 + time)
    assert shortest(analysis, "take-off") is None
    codes = np.full(40, PHASES.index("take-off"), dtype=np.uint8)
    codes[:20] = PHASES.index("climb")
    one = shortest_time_to_limit(analysis, codes)
    assert (one.time_s, one.phase) == (19.0, "climb")


@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_too_few_samples(n):
    assert shortest(judged(np.arange(n) * 1.0, np.full(n, 240.0), interval_s=1.0)) is None


def test_a_recorder_slower_than_the_window_has_no_time_to_limit():
    time = np.arange(0, 400, 4.0)
    assert shortest(judged(time, 200 + 0.1 * time)) is None
