"""How sure, how serious and why, for a kind of limit that the program doesn't know."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from load_factor import LoadFactor

import loganalyze
from loganalyze import LimitsSheet, Problem

NMAX = {"name": "nz", "quantity": "load_factor", "maximum": 2.5}
VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}


def stated(*limits, **tables):
    return LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
        "limit": list(limits), **tables})


def assessed(log, *limits, **tables):
    return loganalyze.assess_flight(loganalyze.analyze(log, stated(*limits, **tables)))


def test_its_own_tolerance_alone_makes_its_uncertainty(long_pull_up):
    found = assessed(long_pull_up, VMO, NMAX, uncertainty={
        "channels": {"load_factor": {"standard": 0.1}}, "airspeed": {"limits": 40}})
    [one] = found.exceedances
    assert one.flown.reading == pytest.approx(0.4, abs=1e-9)
    assert one.flown.common_u == pytest.approx(0.1, abs=1e-12)
    assert one.flown.probability == pytest.approx(NormalDist().cdf(
        one.flown.excess / math.hypot(0.1, one.flown.random_u)), abs=1e-9)
    assert one.flown.word == "proven over"
    assert one.flown.greatest.code == "load_factor"
    assert ("load_factor", "the limits sheet", 0.1) in found.tolerances


def test_without_a_tolerance_its_uncertainty_is_unknown(long_pull_up):
    [one] = assessed(long_pull_up, NMAX).exceedances
    assert (one.flown.word, one.flown.reason) == ("not determinable", "no uncertainty")
    assert one.flown.reading == pytest.approx(0.4, abs=1e-9)


def test_a_kind_brings_what_its_channel_errs_by(long_pull_up, monkeypatch):
    """Where the sheet is silent: a typical error, and the widest that rules allow."""
    monkeypatch.setattr(LoadFactor, "typical_errors", {"load_factor": (0.06, "a rule")})
    monkeypatch.setattr(LoadFactor, "widest_errors", {"load_factor": (0.3, "another rule")})
    found = assessed(long_pull_up, NMAX)
    [one] = found.exceedances
    assert one.flown.common_u == pytest.approx(0.06 / math.sqrt(3), abs=1e-9)
    assert ("load_factor", "a rule", pytest.approx(0.06 / math.sqrt(3))) in found.tolerances
    assert one.flown.widest.high - one.flown.widest.low == pytest.approx(
        2 * NormalDist().inv_cdf(0.975) * math.hypot(0.3 / math.sqrt(3), one.flown.random_u),
        rel=0.02)
    # What the sheet states is what counts.
    [own] = assessed(long_pull_up, NMAX, uncertainty={
        "channels": {"load_factor": {"standard": 0.1}}}).exceedances
    assert own.flown.common_u == pytest.approx(0.1, abs=1e-12)


def test_away_from_any_excess_of_speed_it_is_an_episode_of_its_own(log):
    time = np.arange(200.0)
    flight = log(
        time, calibrated_airspeed=np.interp(time, [0, 20, 30, 40, 200], [230, 230, 258, 230, 230]),
        pressure_altitude=5000.0, load_factor=np.interp(
            time, [0, 100, 110, 120, 150, 160, 170, 200], [1, 1, 2.9, 1, 1, 2.9, 1, 1]))
    found = loganalyze.analyze(flight, stated(VMO, NMAX)).exceedances
    assert [(one.limit, one.episode) for one in found] == [("VMO", 1), ("nz", 2), ("nz", 3)]


def test_nobody_saw_it_displayed(long_pull_up):
    [one] = assessed(long_pull_up, NMAX).exceedances
    assert (one.displayed.word, one.displayed.reason) == ("not determinable", "not displayed")


def test_no_cause_is_made_up_in_knots(long_pull_up):
    found = assessed(long_pull_up, VMO, NMAX)
    [one] = found.exceedances
    assert one.contributions is None
    assert one.worsening is None
    assert one.evidence.references == ()
    assert one.evidence.reason == ""
    assert found.warnings == ()


def test_severity_goes_by_its_own_unit_and_by_no_knots(long_pull_up):
    rules = [{"name": "any", "level": "low"},
             {"name": "knots", "level": "high", "excess_kt": 0.1},
             {"name": "integral", "level": "high", "integral_kt_s": 0.1},
             {"name": "0.3 g", "level": "medium", "limits": ["nz"], "excess": 0.3, "time_s": 1}]
    told = {"channels": {"load_factor": {"standard": 0.01}}}
    [one] = assessed(long_pull_up, VMO, NMAX, severity=rules, uncertainty=told).exceedances
    assert (one.severity.level, one.severity.rule) == ("medium", "0.3 g")
    assert one.ladder_kt == one.ladder_mach == one.ladder_probability_kt == ()
    (step, seconds), (_, quarter), (_, half) = one.ladder
    assert seconds > quarter > half == 0.0
    # 1.9 exp(-(t/6)^2) = 1.5: half the time over is 6 sqrt(ln(1.9 / 1.5)).
    assert (step, seconds) == (0.0, pytest.approx(12 * math.sqrt(math.log(1.9 / 1.5)), abs=0.02))
    assert one.ladder_probability[0][1] > 0.999


def test_what_stays_under_it_by_little_is_near(long_pull_up):
    told = {"channels": {"load_factor": {"standard": 0.1}}}
    found = assessed(long_pull_up, VMO, {**NMAX, "maximum": 2.95}, uncertainty=told)
    [near] = found.near
    assert near.margin == pytest.approx(0.05, abs=1e-9)
    assert math.isnan(near.margin_kt)
    assert near.flown.probability == pytest.approx(NormalDist().cdf(-0.5), abs=0.02)


def test_its_measures_are_in_its_own_unit(long_pull_up):
    measure = assessed(long_pull_up, VMO, NMAX).measures[2]
    assert measure.limit == "nz"
    assert measure.smallest_margin == pytest.approx(-0.4, abs=1e-9)
    assert math.isnan(measure.smallest_margin_kt)
    (band, seconds), (_, within) = measure.within_s
    assert within > seconds
    assert band == 0.0
    assert seconds == pytest.approx(12 * math.sqrt(math.log(1.9 / 1.5)), abs=0.25)
    assert sum(time for _, time in measure.histogram) == 0.0
    assert measure.judged_s == pytest.approx(120, abs=0.5)


def test_what_is_said_of_the_speeds_is_the_same_with_it_and_without(log):
    flight = log(range(40), calibrated_airspeed=[*range(240, 260), *range(260, 240, -1)],
                 pressure_altitude=5000, static_air_temperature=5.0,
                 load_factor=[1.0] * 8 + [2.6, 2.7, 2.6] + [1.0] * 29)
    told = {"channels": {"load_factor": {"standard": 0.01}}}
    alone, both = assessed(flight, VMO, uncertainty=told), assessed(
        flight, VMO, NMAX, uncertainty=told)
    kept = [one for one, found in zip(both.exceedances, both.analysis.exceedances, strict=True)
            if found.limit == "VMO"]
    renumbered = [repr(replace(one, number=1)) for one in kept]
    assert renumbered == [repr(one) for one in alone.exceedances]
    for name, values in alone.columns.items():
        assert both.columns[name].tobytes() == values.tobytes(), name
    assert repr(both.measures[:2]) == repr(alone.measures)
    assert repr(both.shortest_time_to_limit) == repr(alone.shortest_time_to_limit)


@pytest.mark.parametrize(("tables", "said"), [
    ({"warning": {"limits": ["nz"]}}, "the overspeed warning doesn't watch a load factor"),
    ({"severity": [{"name": "a", "level": "low", "excess": 1}]},
     "the limits that the rule is for are in g and kt"),
    ({"uncertainty": {"channels": {"pitch": {"limits": 1}}}}, 'no limit takes the channel "pitch"'),
])
def test_a_sheet_that_asks_the_impossible_is_refused(tmp_path, tables, said):
    def table(name, one):
        rows = "".join(f"{key} = {str(value).replace(chr(39), chr(34))}\n"
                       if not isinstance(value, str) else f'{key} = "{value}"\n'
                       for key, value in one.items() if not isinstance(value, dict))
        inner = "".join(
            f"[{name}.{key}]\n" + "".join(f"{k} = {{ limits = 1 }}\n" for k in value)
            for key, value in one.items() if isinstance(value, dict))
        return rows, inner

    text = 'aircraft = "an invented twin"\n[airspeed]\nrecorded = "calibrated"\n'
    for limit in (VMO, NMAX):
        text += "[[limit]]\n" + table("limit", limit)[0]
    for name, content in tables.items():
        for one in content if isinstance(content, list) else [content]:
            rows, inner = table(name, one)
            header = f"[[{name}]]" if isinstance(content, list) else f"[{name}]"
            text += f"{header}\n{rows}{inner}"
    path = tmp_path / "s.toml"
    path.write_text(text)
    with pytest.raises(Problem, match=said):
        loganalyze.read_limits(path)
