"""A kind of limit that the program doesn't know, from one class and one line of registration."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import loganalyze
from loganalyze import Problem
from loganalyze.testing import engine

NAN = math.nan
UNDER, OVER, UNKNOWN, NOT_APPLICABLE = range(4)
NMAX = {"name": "nz", "quantity": "load_factor", "maximum": 2.5}
FLAPS = {"name": "nz flaps", "quantity": "load_factor", "maximum": 2.0,
         "when": {"flap_deg": {"above": 2}}}


def test_states_are_those_of_its_own_channel(pull_up, sheet, vmo):
    analysis = loganalyze.analyze(pull_up, sheet(vmo, NMAX, FLAPS))
    assert analysis.columns["state_0"].tolist() == [0, 0, 0, 1, 0, 0, 0, 0]
    assert analysis.columns["state_1"].tolist() == [0, 0, 1, 1, 0, 0, 2, 0]
    assert analysis.columns["state_2"].tolist() == [3, 3, 3, 3, 3, 0, 2, 0]
    assert analysis.columns["state"].tolist() == [0, 0, 1, 1, 0, 0, 2, 0]
    assert analysis.outcome == "exceeded"


def test_where_it_is_missing_no_verdict_is_counted(log, sheet, vmo):
    pull = np.full(200, 1.2)
    pull[50:90] = NAN
    flight = log(np.arange(200.0), calibrated_airspeed=200.0, pressure_altitude=5000.0,
                 load_factor=pull)
    for limits in ((vmo, NMAX), (NMAX, vmo)):
        analysis = loganalyze.analyze(flight, sheet(*limits))
        assert analysis.judged_s == pytest.approx(160.0, abs=1)
        assert analysis.judged_shares == pytest.approx({"VMO": 1.0, "nz": 0.8}, abs=0.01)


def test_the_excess_is_in_g_and_in_nothing_else(pull_up, sheet, vmo):
    analysis = loganalyze.analyze(pull_up, sheet(vmo, NMAX))
    one = next(one for one in analysis.exceedances if one.limit == "nz")
    assert one.worst_value - one.limit_value == pytest.approx(0.3, abs=1e-12)
    assert one.start_s == pytest.approx(1.5)  # 2.5 g lies half way from 2.4 to 2.6
    assert one.end_s == pytest.approx(3.5)
    assert np.isnan([one.worst_excess_kt, one.worst_excess_mach]).all()
    smallest = {one.limit: one for one in analysis.smallest}["nz"]
    assert smallest.margin == pytest.approx(-0.3, abs=1e-12)
    assert math.isnan(smallest.margin_kt)
    assert math.isnan(smallest.limit_airspeed_kt)


@pytest.mark.parametrize("other", [{}, {"by_pressure_altitude": [[0, 2.0], [10000, 3.0]],
                                        "outside": "hold"}])
def test_what_is_found_of_the_speeds_is_the_same_with_it_and_without(
        pull_up, sheet, vmo, mmo, other):
    """The limit airspeed and all that follows from it take no notice, to the bit."""
    stated = {key: NMAX[key] for key in ("name", "quantity")} | (other or {"maximum": 2.5})
    alone = loganalyze.analyze(pull_up, sheet(vmo, mmo))
    both = loganalyze.analyze(pull_up, sheet(vmo, mmo, stated))
    for name, values in alone.columns.items():
        if name != "state":
            assert both.columns[name].tobytes() == values.tobytes(), name
    assert [repr(replace(one, episode=0)) for one in both.exceedances if one.limit != "nz"] == [
        repr(replace(one, episode=0)) for one in alone.exceedances]


def test_it_is_judged_without_any_speed_limit(pull_up, sheet):
    analysis = loganalyze.analyze(pull_up, sheet(NMAX))
    assert [one.limit for one in analysis.exceedances] == ["nz"]
    assert np.isnan(analysis.columns["margin_kt"]).all()
    quiet = loganalyze.analyze(pull_up, sheet({**NMAX, "maximum": 4.0}))
    assert quiet.outcome == "not exceeded"
    assert quiet.smallest[1].margin == pytest.approx(1.2)


@pytest.mark.parametrize("which", ["compiled", "arrays"])
def test_many_blocks_give_what_each_row_gives(log, sheet, vmo, mmo, which):
    """A limit beside others, with a condition and gaps of its channel, over several blocks."""
    n, rng = 150_000, np.random.default_rng(7)
    g = np.where(rng.random(n) < 0.01, NAN, rng.uniform(0.5, 2.7, n))
    brake = np.repeat(rng.integers(0, 2, n // 1000 + 1) * 10.0, 1000)[:n]
    brakes = {**FLAPS, "when": {"speedbrake_deg": {"above": 2}}}
    speed = 245 + 8 * np.sin(np.arange(n) / 900)
    flight = log(np.arange(n), calibrated_airspeed=speed, pressure_altitude=5000, load_factor=g,
                 speedbrake=brake)
    with engine(which):
        analysis = loganalyze.analyze(flight, sheet(vmo, NMAX, brakes, mmo))
    own = np.where(np.isnan(g), UNKNOWN, np.where(g > 2.5, OVER, UNDER))
    over_2 = np.where(np.isnan(g), UNKNOWN, np.where(g > 2.0, OVER, UNDER))
    over_2[brake < 2] = NOT_APPLICABLE
    vmo_state = np.where(speed > 250, OVER, UNDER)
    known = brake == np.roll(brake, 1)  # what moves is looked at elsewhere
    assert (analysis.columns["state_1"] == own).all()
    assert (analysis.columns["state_2"] == over_2)[known].all()
    assert (analysis.columns["state_0"] == vmo_state).all()
    together = np.where((own == OVER) | (over_2 == OVER) | (vmo_state == OVER), OVER,
                        np.where((own == UNKNOWN) | (over_2 == UNKNOWN), UNKNOWN, UNDER))
    assert (analysis.columns["state"] == together)[known].all()
    alone = loganalyze.analyze(flight, sheet(vmo, mmo))
    for name in ("margin_kt", "margin_mach", "limit_airspeed_kt", "limit_pointer_kt", "mach"):
        assert analysis.columns[name].tobytes() == alone.columns[name].tobytes(), name


def test_a_frame_has_its_excess_and_unit(pull_up, sheet, vmo):
    frame = loganalyze.analyze(pull_up, sheet(vmo, NMAX)).exceedance_table.set_index("limit")
    assert frame.loc["nz", "worst_excess"] == pytest.approx(0.3, abs=1e-12)
    assert frame["unit"].to_dict() == {"nz": "g", "VMO": "kt"}


def test_without_its_channel_it_is_said_and_nothing_else_is_lost(log, sheet, vmo):
    flight = log(range(3), calibrated_airspeed=[240, 251, 240], pressure_altitude=5000)
    analysis = loganalyze.analyze(flight, sheet(vmo, NMAX))
    assert [(one.code, one.values) for one in analysis.findings if one.code.startswith("limit_")
            ] == [("limit_needs_channel", {"limit": "nz", "channels": ["load_factor"]})]
    assert [one.limit for one in analysis.exceedances] == ["VMO"]
    assert analysis.columns["state_1"].tolist() == [UNKNOWN] * 3


def test_an_impossible_value_is_no_value(log, sheet):
    flight = log(range(4), calibrated_airspeed=200, pressure_altitude=5000,
                 load_factor=[1, 99, 1, 1])
    assert loganalyze.analyze(flight, sheet(NMAX)).columns["state_0"].tolist() == [
        UNDER, UNKNOWN, UNDER, UNDER]


@pytest.mark.parametrize(("stated", "said"), [
    ({"maximum": 0.5}, "a limit of 0.5 g is outside 1 to 12 g"),
    ({"maximum_kt": 250, "maximum": None},
     "load_factor is a load factor, and maximum_kt isn't for it"),
    ({"on_pointer": True}, "the airspeed indicator's limit pointer can't show a load factor"),
])
def test_a_sheet_is_refused_in_its_words(tmp_path, stated, said):
    keys = {key: value for key, value in {**NMAX, **stated}.items() if value is not None}
    path = tmp_path / "s.toml"
    path.write_text('aircraft = "an invented twin"\n[airspeed]\nrecorded = "calibrated"\n'
                    "[[limit]]\n" + "\n".join(
                        f"{key} = {str(value).lower() if isinstance(value, bool) else repr(value)}"
                        .replace("'", '"') for key, value in keys.items()))
    with pytest.raises(Problem, match=said):
        loganalyze.read_limits(path)
