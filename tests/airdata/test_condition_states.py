"""When a limit's conditions hold: edges, deadband, dwell, missing values, several channels."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze import analyze

NAN = math.nan
ANSWER = {"-": 0, "Y": 1, "?": 2}


@pytest.fixture
def holds(log, sheet):
    """Answer a condition at each second, as a word of - (no), Y (yes) and ? (unknown)."""

    def answer(when, declared=None, time=None, **channels):
        n = len(next(iter(channels.values())))
        stamps = range(n) if time is None else time
        flight = log(stamps, calibrated_airspeed=[100.0] * n, **channels)
        page = sheet({"name": "V", "quantity": "calibrated_airspeed", "maximum_kt": 99,
                      "when": when})
        judged = analyze(flight, page, declared=declared or {}).evaluation
        codes = judged.applies(page.limit[0], np.arange(n))
        return "".join("-Y?"[code] for code in codes)

    return answer


def test_edges(holds):
    angles = [0.9, 1, 1.0001, 20, 20.001]
    assert holds({"flap_deg": {"above": 1, "up_to": 20}}, flap=angles) == "--YY-"
    assert holds({"flap_deg": {"from": 1, "below": 20}}, flap=angles) == "-YY--"
    assert holds({"flap_deg": {"above": 1}}, flap=angles) == "--YYY"
    assert holds({"flap_deg": {"up_to": 1}}, flap=angles) == "YY---"


def test_a_state(holds):
    assert holds({"gear_down": {"is": True}}, gear_down=[0, 1, NAN, 1]) == "-Y?Y"
    assert holds({"gear_down": {"is": False}}, gear_down=[0, 1, NAN, 1]) == "Y-?-"


def test_a_deadband_holds_the_state_until_the_value_is_well_past_the_edge(holds):
    when = {"flap_deg": {"above": 1, "deadband": 0.5}}
    # Clean "zero" reads 1.2 degrees at times; 0.8 is no retraction.
    assert holds(when, flap=[0, 1.2, 1.4, 1.6, 1.2, 0.8, 0.6, 0.4, 1.2]) == "---YYYY--"
    # At first there is nothing to go by but the value itself.
    assert holds(when, flap=[1.2, 0.8, 1.2, 0.4, 1.2]) == "Y-Y--"


def test_a_deadband_at_both_edges(holds):
    when = {"flap_deg": {"above": 1, "up_to": 20, "deadband": 0.5}}
    assert holds(when, flap=[10, 20.3, 20.6, 20.3, 19.4, 20.3]) == "YY--YY"


def test_a_dwell_counts_the_state_once_it_has_lasted(holds):
    # A flap that is in for one second is an outlier; a speedbrake may be.
    when = {"speedbrake_deg": {"above": 1, "dwell_s": 2}}
    assert holds(when, speedbrake=[0, 5, 5, 5, 0, 5, 5, 0]) == "---Y----"
    when = {"flap_deg": {"above": 1, "dwell_s": 2}}
    assert holds(when, flap=[0, 5, 5, 5, 0, 5, 5, 0]) == "---YYYY-"
    assert holds(when, flap=[5, 5, 5, 5], time=[0, 1.9, 2, 2.1]) == "--YY"


def test_a_missing_value_is_unknown_and_no_sign_of_change(holds):
    assert holds({"flap_deg": {"above": 1}}, flap=[5, NAN, 0, NAN]) == "Y?-?"
    assert holds({"flap_deg": {"above": 1, "deadband": 0.5}},
                 flap=[5, NAN, 1.2, 0, NAN, 1.2]) == "Y?Y-?-"
    assert holds({"flap_deg": {"above": 1, "dwell_s": 2}},
                 flap=[5, 5, 5, NAN, 5, 0]) == "--Y?Y-"
    assert holds({"flap_deg": {"above": 1, "deadband": 0.5, "dwell_s": 2}},
                 flap=[NAN, 5, NAN, 5, NAN, 1.2, 0]) == "?-?Y?Y-"


def test_all_conditions_must_hold_and_one_that_fails_settles_it(holds):
    when = {"flap_deg": {"above": 1}, "gear_down": {"is": True}}
    for order in (when, dict(reversed(when.items()))):
        assert holds(order, flap=[0, 0, 0, 5, 5, 5, NAN, NAN, NAN], time=range(0, 180, 20),
                     gear_down=[0, 1, NAN] * 3) == "----Y?-??"


def test_a_channel_that_is_nowhere(holds):
    when = {"flap_deg": {"above": 1}, "gear_down": {"is": True}}
    assert holds(when, flap=[0, 5, NAN]) == "-??"
    assert holds(when, {"gear_down": 1.0}, flap=[0, 5, NAN]) == "-Y?"
    assert holds(when, {"gear_down": 0.0}, flap=[0, 5, NAN]) == "---"
    assert holds({"ladder_out": {"below": 0.5}}, ladder_out=[0, 1, NAN]) == "Y-?"


def test_many_rows_at_once_hold_as_each_row_alone(holds):
    # The extremes of many rows settle some of them at once.
    rng = np.random.default_rng(3)
    values = np.array([0.0, 0.9, 1.0, 1.0 + 5e-10, 1.0 - 5e-10, 10.0, 20.0, 20.0 + 5e-9, 25.0, NAN])
    for when in ({"above": 1, "up_to": 20}, {"from": 1, "below": 20}, {"above": 1}, {"up_to": 20}):
        alone = {str(value): holds({"flap_deg": when}, flap=[value]) for value in values}
        for _ in range(60):
            some = rng.choice(rng.choice(values, 3), 6)
            # So far apart that none is an outlier between its neighbours.
            assert holds({"flap_deg": when}, flap=some, time=range(0, 120, 20)) == "".join(
                alone[str(one)] for one in some)


def test_an_outlier_leaves_unknown_what_only_it_would_bring_about(holds):
    flap = [0, 0, 20, 0, 0]
    assert holds({"flap_deg": {"above": 1}}, flap=flap) == "--?--"
    assert holds({"flap_deg": {"above": 30}}, flap=flap) == "-----"
    assert holds({"flap_deg": {"up_to": 1}}, flap=flap) == "YYYYY"
    assert holds({"flap_deg": {"above": 1, "deadband": 3}}, flap=flap) == "--?--"
    assert holds({"flap_deg": {"above": 1, "dwell_s": 1}}, flap=flap) == "-----"
    assert holds({"flap_deg": {"above": 1}, "gear_down": {"is": True}}, {"gear_down": 0.0},
                 flap=flap) == "-----"
