"""Severities and ladders of tiny logs, the answers written down first."""

from __future__ import annotations

from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest

from loganalyze import Assurance, Channel, FlightLog, LimitsSheet, Source, analyze
from loganalyze.air import airspeed
from loganalyze.explain.severity import grade
from loganalyze.record.units import FOOT, KNOT

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.5}
TRIANGLE = [240, 250, 260, 270, 260, 250, 240]
"""Up at 10 kt/s, down at 10 kt/s: over from 1 s to 5 s, at worst by 20 kt at 3 s."""


def graded(kt, *rules, **how):
    analysis = judged(kt, *rules, **how)
    found = grade(analysis)
    assert len(found) == len(analysis.exceedances)
    return found


def judged(kt, *rules, limits=(VMO,), time=None, interval_s=1.0, ft=5000.0, ladder=None):
    stamps = np.arange(len(kt)) * 1.0 if time is None else np.array(time, dtype=float)
    channels = {
        "calibrated_airspeed": Channel(np.array(kt, dtype=float) * KNOT),
        "pressure_altitude": Channel(np.broadcast_to(np.array(ft) * FOOT, stamps.shape) * 1.0),
    }
    log = FlightLog(stamps, channels, Source(Path("made.csv")), interval_s=interval_s)
    sheet = LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
        "limit": list(limits), "severity": list(rules), **({"ladder": ladder} if ladder else {}),
    })
    return analyze(log, sheet)


def rule(level="low", **keys):
    return {"name": keys.pop("name", f"{level} {keys}"[:60].strip()), "level": level, **keys}


def level(kt, *rules, **more):
    (one,) = graded(kt, *rules, **more)
    return None if one.severity is None else one.severity.level


def test_the_ladder_of_a_triangle():
    # Over by more than s between 1 + s/10 and 5 - s/10 s: 4 - s/5 s.
    (one,) = graded(TRIANGLE)
    assert [step for step, _ in one.ladder_kt] == [0, 5, 10, 15, 20]
    assert [time for _, time in one.ladder_kt] == pytest.approx([4, 3, 2, 1, 0], abs=1e-5)
    assert one.ladder_mach == ()
    # Half of 4 s times 20 kt.
    assert one.integral_kt_s == pytest.approx(40, abs=1e-9)


def test_a_ladder_of_one_s_own():
    (one,) = graded(TRIANGLE, ladder={"kt": [2.5, 19]})
    assert one.ladder_kt == (pytest.approx((2.5, 3.5)), pytest.approx((19, 0.2), abs=1e-5))


def test_a_flat_top_at_a_step_has_reached_it_for_ladder_and_rules_alike():
    (one,) = graded([250, 255, 255, 255, 250], rule(excess_kt=5, time_s=2))
    assert dict(one.ladder_kt)[5] == pytest.approx(2, abs=1e-4)
    assert one.severity.level == "low"
    # But being at the limit is not being over it.
    assert graded([250, 250, 250]) == ()
    assert dict(one.ladder_kt)[0] == pytest.approx(4, abs=1e-4)


TOUCHES = [240, *[252, 249, 249] * 6, 240]
"""Six touches of less than two seconds each, some 7 s in all."""


def test_time_counts_at_a_stretch_unless_the_rule_adds_it_up():
    assert level(TOUCHES, rule(time_s=5)) is None
    assert level(TOUCHES, rule(time_s=5, time_counts="in all")) == "low"
    assert level(TOUCHES, rule(time_s=1)) == "low"
    assert level([240, *[255] * 9, 240], rule(time_s=5)) == "low"


def sure(excess, u):
    return Assurance("as flown", excess, u, 0.0, 0.5, excess - 2 * u, excess + 2 * u, "proven over")


def analysed(kt, *rules, limits=(VMO,)):
    stamps = np.arange(len(kt)) * 1.0
    log = FlightLog(stamps, {
        "calibrated_airspeed": Channel(np.array(kt, dtype=float) * KNOT),
        "pressure_altitude": Channel(np.full(len(kt), 5000.0) * FOOT),
    }, Source(Path("made.csv")), interval_s=1.0)
    return analyze(log, LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
        "limit": list(limits), "severity": list(rules)}))


def test_the_level_is_stated_with_its_probability():
    """One sample of many stands at exactly +10.0 kt; the estimate is +9.8."""
    rules = (rule("high", excess_kt=10), rule("low", excess_kt=2))
    analysis = analysed([240, *[258] * 20, 260, *[258] * 20, 240], *rules)
    (one,) = grade(analysis, [sure(9.8, 1.0)])
    assert one.severity.level == "low"
    assert dict(one.levels)["high"] == pytest.approx(NormalDist().cdf(-0.2), abs=1e-3)
    assert dict(one.levels)["low"] == pytest.approx(1.0, abs=1e-6)
    assert dict(one.reached_kt)[10] == pytest.approx(NormalDist().cdf(-0.2), abs=1e-6)
    # One step of the recorder moves it gradually.
    shares = [dict(grade(analysis, [sure(excess, 1.0)])[0].levels)["high"]
              for excess in (9.6, 9.8, 10.0, 10.2, 10.4)]
    assert np.all(np.diff(shares) > 0.05)
    assert np.all(np.diff(shares) < 0.1)
    # Without uncertainty the reading decides, as it always did.
    assert grade(analysis)[0].severity.level == "high"


def test_where_nothing_is_uncertain_a_step_is_reached_or_not():
    analysis = analysed([240, *[260.4] * 20, 240])
    (one,) = grade(analysis, [sure(10.4, 0.0)])
    assert one.reached_kt == ((0, 1.0), (5, 1.0), (10, 1.0), (15, 0.0), (20, 0.0))


def test_a_rule_of_excess_and_time_has_the_probability_of_the_shift_that_meets_it():
    # A ramp to +20 kt and back at 2 kt/s: beyond +10 kt for 10 s; 8 s take 2 kt less.
    kt = [*range(240, 271, 2), *range(268, 239, -2)]
    analysis = analysed(kt, rule("medium", excess_kt=10, time_s=12))
    (one,) = grade(analysis, [sure(20.0, 1.0)])
    # 12 s beyond +10 kt need the course 2 kt higher.
    assert dict(one.levels)["medium"] == pytest.approx(NormalDist().cdf(-2.0), abs=1e-3)
    assert one.severity is None


def test_a_lost_sample_lowers_no_severity():
    """198 s over with a rule of 120 s, one blank cell in the middle."""
    kt = np.array([*np.linspace(230, 262, 33), *[262.0] * 180, *np.linspace(262, 230, 33)])
    rules = (rule("high", time_s=120), rule("low", time_s=1))
    for lost in (None, len(kt) // 2):
        some = kt.copy()
        if lost is not None:
            some[lost] = np.nan
        assert level(some, *rules) == "high"


def test_irregular_stamps():
    # 0 to 4 s up from 250 to 258, to 5 s down to 254, to 9 s down to 250.
    (one,) = graded([240, 250, 258, 254, 250], time=[0, 1, 5, 6, 10], interval_s=4.0,
                    ladder={"kt": [0, 4, 6]})
    assert dict(one.ladder_kt) == pytest.approx({0: 9, 4: 3, 6: 1.5}, abs=1e-4)
    assert one.integral_kt_s == pytest.approx(16 + 6 + 8, abs=1e-9)


def test_across_a_gap_a_sample_stands_for_one_and_a_half_intervals():
    # Over by 10 kt from 0.5 to 3.5 s, then unknown; again from 10 s to 10.5.
    one, other = graded([240, 260, 260, 260, 240], time=[0, 1, 2, 10, 11])
    assert dict(one.ladder_kt)[0] == pytest.approx(0.5 + 1 + 1.5, abs=1e-5)
    assert dict(one.ladder_kt)[5] == pytest.approx(0.25 + 1 + 1.5, abs=1e-5)
    assert dict(other.ladder_kt)[0] == pytest.approx(0.5, abs=1e-5)
    assert one.integral_kt_s == pytest.approx(0.5 * 5 + 10 + 15, abs=1e-6)


def test_the_last_sample_stands_for_an_interval_and_a_lost_one_ends_it():
    (one,) = graded([240, 260, 260])
    assert dict(one.ladder_kt)[5] == pytest.approx(0.25 + 1 + 1, abs=1e-5)
    one, other = graded([260, np.nan, 260])
    assert (dict(one.ladder_kt)[5], dict(other.ladder_kt)[5]) == pytest.approx((1, 1))


def test_a_limit_that_begins_and_ceases_to_apply_is_a_step():
    vle = {**VMO, "name": "VLE", "maximum_kt": 200,
           "when": {"gear": {"is": 1}}}
    stamps = np.arange(6.0)
    log = FlightLog(stamps, {
        "calibrated_airspeed": Channel(np.full(6, 230 * KNOT)),
        "gear": Channel(np.array([0, 0, 1, 1, 0, 0.0])),
    }, Source(Path("made.csv")), interval_s=1.0)
    sheet = LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"}, "limit": [vle]})
    (one,) = grade(analyze(log, sheet))
    assert dict(one.ladder_kt) == pytest.approx({0: 2, 5: 2, 10: 2, 15: 2, 20: 2})


def test_step_zero_is_the_time_over():
    rng = np.random.default_rng(3)
    kt = 245 + 10 * np.sin(np.arange(600) / 9) + rng.normal(0, 2, 600)
    kt[rng.random(600) < 0.02] = np.nan
    stamps = np.cumsum(rng.choice([1, 1.2, 5.0], 600, p=[0.8, 0.18, 0.02]))
    log = FlightLog(stamps, {
        "calibrated_airspeed": Channel(kt * KNOT),
        "pressure_altitude": Channel(np.full(600, 1500.0))}, Source(Path("made.csv")),
        interval_s=1.0)
    sheet = LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"}, "limit": [VMO]})
    analysis = analyze(log, sheet)
    assert len(analysis.exceedances) > 10
    for one, found in zip(analysis.exceedances, grade(analysis), strict=True):
        assert dict(found.ladder_kt)[0] == pytest.approx(one.time_over_s, abs=1e-3)


def test_a_mach_limit_has_both_ladders():
    # Mach .48 to .53 and back in 10 s each way: beyond .5 + s for 20 (.03 - s) / .05 s.
    mach = np.interp(np.arange(21), [0, 10, 20], [0.48, 0.53, 0.48])
    cas = airspeed.cas_from_mach(mach, np.full(21, 20000 * FOOT)) / KNOT
    (one,) = graded(cas, limits=(MMO,), ft=20000.0)
    assert dict(one.ladder_mach) == pytest.approx({0.01: 8, 0.02: 4, 0.03: 0}, abs=1e-5)
    # In CAS the limit lies where the excess of Mach is zero; the ladder in knots starts there.
    assert dict(one.ladder_kt)[0] == pytest.approx(12, abs=1e-4)
    limit_kt = float(airspeed.cas_from_mach(0.5, 20000 * FOOT)) / KNOT
    kt = np.linspace(0, 20, 200001)
    beyond = float((np.interp(kt, np.arange(21), cas) > limit_kt + 10).mean()) * 20
    assert dict(one.ladder_kt)[10] == pytest.approx(beyond, abs=1e-3)


@pytest.mark.parametrize(("keys", "met"), [
    ({}, True),
    ({"excess_kt": 20}, True), ({"excess_kt": 20.1}, False),
    ({"time_s": 4}, True), ({"time_s": 4.1}, False),          # beyond the limit for 4 s
    ({"excess_kt": 10, "time_s": 2}, True),                   # beyond + 10 kt for 2 s
    ({"excess_kt": 10, "time_s": 2.1}, False),
    ({"integral_kt_s": 40}, True), ({"integral_kt_s": 40.1}, False),
    ({"excess_kt": 15, "integral_kt_s": 30}, True), ({"excess_kt": 21, "integral_kt_s": 30}, False),
    ({"limits": ["VMO"]}, True),
])
def test_each_kind_of_rule(keys, met):
    assert level(TRIANGLE, rule(**keys)) == ("low" if met else None)


def test_the_highest_rule_that_is_met_counts():
    rules = (rule("high", excess_kt=25), rule("low", excess_kt=5), rule("medium", excess_kt=10),
             rule("medium", time_s=1))
    assert level(TRIANGLE, *rules) == "medium"
    assert level([240, 256, 256, 240], *rules) == "medium"  # over for 1.75 s, by 6 kt
    assert level([240, 256, 240], *rules) == "low"          # for 0.75 s
    assert level([230, 255, 230], *rules) == "low"
    assert level([230, 254, 230], *rules) is None


def test_a_rule_is_for_its_limits_alone():
    vd = {**VMO, "name": "VD", "maximum_kt": 260.0}
    found = graded(TRIANGLE, rule("high", limits=["VD"]), limits=(VMO, vd))
    assert [one.severity and one.severity.level for one in found] == [None, "high"]


def test_an_example_is_called_one():
    (one,) = graded(TRIANGLE, rule(name="any", example=True))
    assert (one.severity.rule, one.severity.example) == ("any", True)


def test_mach_limits_take_the_excess_in_mach_before_knots():
    mach = np.array([0.48, 0.515, 0.48])
    cas = airspeed.cas_from_mach(mach, np.full(3, 20000 * FOOT)) / KNOT
    over_kt = float(cas[1] - airspeed.cas_from_mach(0.5, 20000 * FOOT) / KNOT)
    assert 5 < over_kt < 8

    def met(**keys):
        return level(cas, rule(**keys), limits=(MMO,), ft=20000.0) is not None

    assert met(excess_mach=0.015)
    assert not met(excess_mach=0.0151)
    assert met(excess_mach=0.01, excess_kt=50)
    assert met(excess_kt=5)
    assert not met(excess_kt=8)


def test_a_rule_in_mach_alone_passes_airspeed_limits_by():
    found = graded(TRIANGLE, rule(excess_mach=0.0), limits=(VMO, MMO))
    assert [one.severity for one in found] == [None]


def test_nothing_over_nothing_graded():
    assert graded([240, 241, 240]) == ()
    (one,) = graded([260.0], rule(excess_kt=5), interval_s=float("nan"))
    assert one.severity.level == "low"


def test_a_severity_says_what_its_rule_asks_for_and_what_was_recorded():
    (one,) = graded(TRIANGLE, rule(excess_kt=5, time_s=2, integral_kt_s=20))
    assert [(each.key, each.least) for each in one.severity.criteria] == [
        ("excess_kt", 5), ("time_s", 2), ("integral_kt_s", 20)]
    assert [each.value for each in one.severity.criteria] == pytest.approx([20, 3, 40], abs=1e-5)


def test_a_severity_says_nothing_that_its_rule_does_not_ask_for():
    (one,) = graded(TRIANGLE, rule(excess_kt=5))
    assert [each.key for each in one.severity.criteria] == ["excess_kt"]


def test_beyond_the_limit_itself_it_was_for_the_time_over():
    # In knots CAS and in Mach the crossings are interpolated a little apart.
    kt = np.linspace(255, 300, 20).tolist() + np.linspace(300, 255, 20).tolist()
    (flight,) = graded(kt, limits=(MMO,), ft=np.linspace(16000, 20000, 40))
    (one,) = judged(kt, limits=(MMO,), ft=np.linspace(16000, 20000, 40)).exceedances
    assert dict(flight.ladder_kt)[0] == one.time_over_s
