"""The whole assessment of one flight, through the public door."""

import gc
import weakref
from pathlib import Path

import numpy as np
import pytest

import loganalyze
from loganalyze import PHASES, Channel, FlightLog, Source, assess_flight

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def judged(name, **changes):
    log = loganalyze.read_log(SAMPLES / f"{name}.csv")
    channels = {key: channel for key, channel in log.channels.items() if key not in changes}
    log = FlightLog(log.time, channels | {k: v for k, v in changes.items() if v is not None},
                    log.source, log.utc_start, log.interval_s, log.steps)
    return loganalyze.analyze(log, loganalyze.read_limits(SAMPLES / "ouzelwing_240.toml"))


@pytest.fixture(scope="module")
def descent():
    return assess_flight(judged("descent_through_mmo_and_vmo"))


def test_every_exceedance_is_assessed_in_order(descent):
    analysis = descent.analysis
    assert len(descent.exceedances) == len(analysis.exceedances) == 2
    for i, (one, found) in enumerate(
            zip(descent.exceedances, analysis.exceedances, strict=True)):
        assert one.number == i + 1
        assert one.phase == "descent"
        assert one.contributions.end_s == one.crossing_s
        assert 0 <= one.crossing_s - found.start_s < analysis.log.interval_s
        assert one.worsening.end_s == found.worst_time_s
        assert one.ladder_kt[0][1] == pytest.approx(found.time_over_s, abs=2e-3)
        assert one.displayed.common_u < one.flown.common_u
        assert 0.5 < one.flown.probability < one.displayed.probability <= 1
        assert {"flap_deg", "gear_down"} <= set(one.context)


def test_columns_cover_every_sample(descent):
    size = len(descent.analysis.time)
    assert all(len(column) == size for column in descent.columns.values())
    assert {PHASES[code] for code in np.unique(descent.columns["phase"])} == {"cruise", "descent"}
    known = ~np.isnan(descent.analysis.columns["margin_kt"])
    assert not np.isnan(descent.columns["margin_u_kt"][known]).any()


def test_smallest_margins_say_why(descent):
    together = descent.measures[0]
    assert together.limit == ""
    assert together.contributions is not None
    assert together.contributions.end_s == together.time_s


def test_the_run_in_never_reaches_into_an_earlier_exceedance():
    analysis = judged("climb_into_the_limit")
    found = assess_flight(analysis)
    for one in found.exceedances:
        worst = analysis.exceedances[one.number - 1].worst_time_s
        earlier = [e.end_s for e in analysis.exceedances if e.end_s <= worst]
        if one.contributions is not None and earlier:
            assert one.contributions.start_s >= max(earlier)


def test_without_temperature_nothing_else_changes(descent):
    cold = assess_flight(judged("descent_through_mmo_and_vmo", outside_air_temperature=None))
    for one, other in zip(cold.exceedances, descent.exceedances, strict=True):
        assert (one.phase, one.displayed, one.flown, one.severity, one.ladder_kt) == (
            other.phase, other.displayed, other.flown, other.severity, other.ladder_kt)
        assert not one.contributions.split
    assert "true_airspeed_u_kt" not in cold.columns


def test_a_second_source_is_compared_and_kept_as_context():
    log = loganalyze.read_log(SAMPLES / "descent_through_mmo_and_vmo.csv")
    second = Channel(log.channels["indicated_airspeed"].values + 1.0)
    found = assess_flight(judged("descent_through_mmo_and_vmo", indicated_airspeed_2=second))
    (check,) = [one for one in found.checks if one.code == "two_sources"]
    assert check.values["median_difference"] == pytest.approx(-1.0 / (1852 / 3600), abs=1e-3)
    assert check.consistent is True
    assert "indicated_airspeed_2_kt" in found.exceedances[0].context


@pytest.mark.parametrize("rows", [1, 2])
def test_a_log_of_next_to_nothing_is_assessed_too(rows):
    time = np.arange(float(rows))
    channels = {name: Channel(np.full(rows, value)) for name, value in
                (("pressure_altitude", 3000.0), ("calibrated_airspeed", 120.0))}
    log = FlightLog(time, channels, Source(Path("made.csv")))
    found = assess_flight(loganalyze.analyze(
        log, loganalyze.read_limits(SAMPLES / "ouzelwing_240.toml")))
    assert found.exceedances == ()
    assert found.near == ()
    assert len(found.columns["phase"]) == rows


def test_assessing_changes_nothing_in_the_analysis(descent):
    again = judged("descent_through_mmo_and_vmo")
    assert repr(again.exceedances) == repr(descent.analysis.exceedances)
    for name, column in again.columns.items():
        np.testing.assert_array_equal(column, descent.analysis.columns[name])


@pytest.mark.parametrize("name", ["descent_through_mmo_and_vmo", "clean_flight"])
def test_a_flight_leaves_memory_as_soon_as_nobody_holds_it(name):
    """What refers to itself stays until garbage is collected: the flights of a worker add up."""
    gc.collect()
    gc.disable()
    try:
        found = assess_flight(judged(name))
        assert len(found.columns["margin_u_kt"])
        alive = weakref.ref(found.analysis.log)
        del found
        assert alive() is None
    finally:
        gc.enable()
