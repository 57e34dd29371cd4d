"""Contributions, held to what they must mean: a remainder term always adds up."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from loganalyze import Channel, FlightLog, LimitsSheet, Source, analyze, assess_flight
from loganalyze.air import airspeed, atmosphere
from loganalyze.explain import margin_contributions as contributions_module
from loganalyze.explain.margin_contributions import contributions
from loganalyze.record.units import FOOT, KNOT

PARTS = ("limit_moved_kt", "configuration_kt", "height_trade_kt", "energy_kt",
         "air_temperature_kt")
VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 245.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.48}


def judged(time, altitude_ft, cas_kt, deviation=0.0, limits=(VMO, MMO), **others):
    """Analyse a flight given by pressure altitude, CAS and ISA deviation [K]; None: no SAT."""
    time = np.asarray(time, dtype=float)
    altitude = np.broadcast_to(np.asarray(altitude_ft, dtype=float), time.shape) * FOOT
    channels = {
        "pressure_altitude": altitude,
        "calibrated_airspeed": np.broadcast_to(np.asarray(cas_kt, dtype=float), time.shape) * KNOT,
        **{name: np.broadcast_to(np.asarray(values, dtype=float), time.shape)
           for name, values in others.items()},
    }
    if deviation is not None:
        channels["static_air_temperature"] = atmosphere.temperature(altitude) + deviation
    log = FlightLog(time, {name: Channel(np.array(values)) for name, values in channels.items()},
                    Source(Path("made.csv")), interval_s=float(np.median(np.diff(time))))
    return analyze(log, LimitsSheet.model_validate(
        {"aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
         "limit": list(limits)}))


def told(one):
    return {name: getattr(one, name) for name in PARTS}


def cas_of_mach(mach, altitude_ft):
    return airspeed.cas_from_mach(mach, np.asarray(altitude_ft) * FOOT) / KNOT


def test_a_constant_cas_climb_above_the_crossover_is_all_limit():
    time = np.arange(0, 100, 0.25)
    altitude = 20000 + time * 30
    one = contributions(judged(time, altitude, 225.0), len(time) - 1)
    fall = cas_of_mach(0.48, altitude[0]) - cas_of_mach(0.48, altitude[-1])
    assert fall > 5
    assert one.limit_moved_kt == pytest.approx(fall, abs=1e-9)
    assert one.lost_kt == pytest.approx(fall, abs=1e-9)
    assert all(abs(getattr(one, name)) < 1e-9 for name in PARTS[1:])
    # Gross, height took speed away and power gave it back.
    assert one.gross_height_trade_kt < -10
    assert one.gross_energy_kt == pytest.approx(-one.gross_height_trade_kt, abs=1e-9)


def test_a_level_acceleration_is_all_energy():
    time = np.arange(0, 60, 0.25)
    speed = 200 + time * 0.8
    one = contributions(judged(time, 9000.0, speed, deviation=12.0), len(time) - 1)
    assert one.energy_kt == pytest.approx(speed[-1] - speed[0], abs=1e-9)
    assert all(abs(getattr(one, name)) < 1e-9 for name in PARTS if name != "energy_kt")


def test_a_dive_at_constant_energy_height_has_no_energy_part():
    time = np.arange(0, 40, 0.25)
    altitude = (15000 - time * 60) * FOOT
    warm = atmosphere.temperature(altitude) + 10.0
    # Geometric height by the same column of air, in steps far finer than the flight's.
    fine = np.linspace(altitude[0], altitude[-1], 200001)
    ratio = 1 + 10.0 / atmosphere.temperature(fine)
    height = np.concatenate([[0], np.cumsum((ratio[1:] + ratio[:-1]) / 2 * np.diff(fine))])
    fallen = np.interp(-altitude, -fine, -height)
    tas = np.sqrt((180 * KNOT) ** 2 + 2 * atmosphere.G0 * fallen)
    speed = airspeed.cas_from_tas(tas, altitude, warm) / KNOT
    one = contributions(judged(time, altitude / FOOT, speed, deviation=10.0), len(time) - 1)
    assert speed[-1] - speed[0] > 30
    assert one.energy_kt == pytest.approx(0.0, abs=1e-4)
    assert one.height_trade_kt == pytest.approx(speed[-1] - speed[0], abs=1e-3)


@pytest.fixture
def whole_log(monkeypatch):
    """Let every run-in start at the log's first sample, whatever the margin did."""
    monkeypatch.setattr("loganalyze.explain.margin_contributions._smoothed",
                        lambda time, margin: -np.arange(len(margin), dtype=float))


def test_a_descent_at_constant_mach_moves_the_limit_and_trades_height(whole_log):
    # Mach .46 from FL220 to FL180 in ISA, VMO 245, MMO .48 (computed in closed form).
    time = np.arange(0, 100.25, 0.25)
    altitude = 22000 - time * 40
    one = contributions(judged(time, altitude, cas_of_mach(0.46, altitude)), len(time) - 1)
    assert one.limit_moved_kt == pytest.approx(-17.8, abs=0.05)
    assert one.height_trade_kt == pytest.approx(17.1, abs=0.05)
    assert one.energy_kt == 0.0
    assert abs(one.remainder_kt) < 1e-9


def test_where_margin_only_grew_nothing_was_lost():
    time = np.arange(0, 100.25, 0.25)
    altitude = 22000 - time * 40
    assert contributions(judged(time, altitude, cas_of_mach(0.44, altitude)), 0) is None


def wandering(step, seed=3):
    """A flight that turns every knob: height, speed, warmth and flap; smooth at 20 Hz."""
    random = np.random.default_rng(seed)
    time = np.arange(0, 90, step)

    def wander(size):
        turns, amplitudes = random.uniform(0, 6, 4), random.uniform(0.3, 1, 4)
        return size * sum(a * np.sin(t + time / 90 * (k + 1) * 3)
                          for k, (t, a) in enumerate(zip(turns, amplitudes, strict=True)))

    flap = np.radians(np.clip((time - 40) * 2, 0, 10))
    vfe = {"name": "VFE 10", "quantity": "indicated_airspeed", "maximum_kt": 230.0,
           "when": {"flap_deg": {"above": 5.0}}}
    return {"time": time, "altitude_ft": 16500 + wander(700), "cas_kt": 215 + wander(9),
            "deviation": 6 + wander(3), "limits": (VMO, MMO, vfe), "flap": flap}


@pytest.mark.parametrize("seed", range(5))
def test_the_parts_add_up_whatever_is_flown(seed):
    one = contributions(judged(**wandering(0.25, seed)), 359)
    assert sum(told(one).values()) == pytest.approx(one.lost_kt, abs=1e-6)
    assert abs(one.remainder_kt) < 1e-6
    assert one.height_trade_kt * one.energy_kt >= 0


@pytest.mark.parametrize("seed", range(5))
def test_a_reversed_log_negates_every_part(seed, whole_log):
    flown = wandering(0.25, seed)
    turned = {name: values[::-1] if isinstance(values, np.ndarray) and name != "time" else values
              for name, values in flown.items()}
    forth, back = (contributions(judged(**one), len(flown["time"]) - 1)
                   for one in (flown, turned))
    for name in (*PARTS, "lost_kt", "gross_energy_kt", "gross_height_trade_kt"):
        assert getattr(back, name) == pytest.approx(-getattr(forth, name), abs=1e-6), name


@pytest.mark.parametrize("seed", range(5))
def test_thinning_from_4_to_1_hertz_changes_no_part_by_more_than_three_tenths(seed, whole_log):
    flown = wandering(0.25, seed)
    every = {name: values[::4] if isinstance(values, np.ndarray) else values
             for name, values in flown.items()}
    fine = contributions(judged(**flown), 356)
    coarse = contributions(judged(**every), 89)
    for name in PARTS:
        assert getattr(coarse, name) == pytest.approx(getattr(fine, name), abs=0.3), name


def test_a_flap_lever_is_configuration():
    time = np.arange(0, 30, 0.5)
    vfe = {"name": "VFE 20", "quantity": "indicated_airspeed", "maximum_kt": 180.0,
           "when": {"flap_deg": {"above": 5.0}}}
    one = contributions(judged(time, 5000.0, 170.0, limits=(VMO, vfe),
                               flap=np.radians(np.where(time < 20, 0.0, 20.0))), 59)
    assert one.configuration_kt == pytest.approx(65.0, abs=1e-9)
    assert one.lost_kt == pytest.approx(65.0, abs=1e-9)
    assert one.energy_kt == pytest.approx(0.0, abs=1e-9)


def test_warming_air_at_a_held_mach_number_takes_no_margin():
    # At a Mach limit warmth moves TAS and the speed of sound together: what warmth takes from
    # the Mach number, the energy that keeps it must give back.
    time = np.arange(0, 60, 1.0)
    one = contributions(judged(time, 24000.0, 200 + 1e-3 * time, deviation=time / 6), 59)
    assert one.air_temperature_kt == pytest.approx(-one.energy_kt, abs=0.1)
    assert one.air_temperature_kt < -2


def test_a_temperature_limit_moves_with_the_air():
    # A constant true airspeed limit: colder air raises the CAS at which it lies, by density.
    tas = {"name": "VT", "quantity": "true_airspeed", "maximum_kt": 300.0}
    time = np.arange(0, 60, 1.0)
    analysis = judged(time, 20000.0, 200.0, deviation=time / 6, limits=(tas,))
    one = contributions(analysis, 59)
    assert one.limit_moved_kt == pytest.approx(0.0, abs=1e-9)
    assert sum(told(one).values()) == pytest.approx(one.lost_kt, abs=1e-9)
    assert one.lost_kt > 2


def test_without_temperature_the_speed_change_is_told_unsplit():
    time = np.arange(0, 60, 0.25)
    altitude = 20000 + time * 20
    one = contributions(judged(time, altitude, 210 + time * 0.2, deviation=None), 239)
    assert not one.split
    assert one.speed_change_kt == pytest.approx(0.2 * 59.75, abs=1e-9)
    assert one.limit_moved_kt + one.speed_change_kt == pytest.approx(one.lost_kt, abs=1e-9)
    assert abs(one.remainder_kt) < 1e-9
    assert np.isnan(one.energy_kt)


def test_the_run_in_stops_at_a_gap_and_at_an_earlier_exceedance():
    time = np.concatenate([np.arange(0, 30, 1.0), np.arange(60, 100, 1.0)])
    analysis = judged(time, 9000.0, 180 + time * 0.5)
    row = len(time) - 1
    assert contributions(analysis, row).start_s == 60.0
    assert contributions(analysis, row, after_s=80.0).start_s == 80.0
    assert contributions(analysis, 30) is None


def test_of_several_breaks_the_last_counts():
    """Of gaps and of samples that couldn't be judged, before the crossing and after it."""
    time = np.concatenate([np.arange(0, 20, 1.0), np.arange(40, 60, 1.0), np.arange(70, 100, 1.0)])
    kt = 200 + time * 0.55
    analysis = judged(time, 9000.0, kt)
    row = len(time) - 1
    assert contributions(analysis, row).start_s == 70.0
    crossing = int(np.searchsorted(kt, 220.0))  # between 20 s and 40 s
    assert contributions_module.worsening(analysis, crossing - 5, row, 0).start_s == 70.0
    kt[-20] = np.nan
    lost = judged(time, 9000.0, kt)
    assert contributions(lost, row).start_s == time[-19]
    assert contributions_module.worsening(lost, crossing - 5, row, 0).start_s == time[-19]
    assert contributions_module.worsening(lost, crossing - 5, row - 20, 0) is not None
    assert contributions_module.worsening(lost, row - 19, row, 0).start_s == time[-19]
    assert contributions_module.worsening(lost, row, row, 0) is None


@pytest.mark.parametrize("rate_hz", [1, 4])
def test_the_run_in_starts_at_the_middle_of_a_peak_of_the_margin(rate_hz):
    # The airspeed falls to its least at 40 s and rises again as fast: the margin peaks there.
    time = np.arange(0, 80, 1 / rate_hz)
    kt = 180 + np.abs(time - 40.0)
    one = contributions(judged(time, 9000.0, kt), len(time) - 1)
    assert one.start_s == 40.0
    # One sample of 30 kt less is noise: over five seconds the mean is greatest elsewhere.
    kt[np.searchsorted(time, 60.0)] -= 3.0 * rate_hz
    assert contributions(judged(time, 9000.0, kt), len(time) - 1).start_s == 40.0


def test_the_run_in_is_at_most_two_minutes():
    time = np.arange(0, 400, 1.0)
    one = contributions(judged(time, 9000.0, 100 + time * 0.3), 399)
    assert one.start_s == 279.0


def test_a_limit_that_another_undercuts_is_told_without_it():
    time = np.arange(0, 60, 1.0)
    analysis = judged(time, 30000.0, 150 + time, limits=(VMO, MMO))
    high = contributions(analysis, 59, 0)
    assert high.lost_kt == pytest.approx(59.0, abs=1e-9)
    low = dataclasses.replace(contributions(analysis, 59, 1))
    assert low.limit_moved_kt == pytest.approx(0.0, abs=1e-9)


def test_a_changing_wind_is_told_apart_from_power():
    # Ground speed held while the headwind grows: all the gain is the wind's.
    time = np.arange(0, 40, 0.5)
    ground = 250 * KNOT
    tas = ground + 0.4 * time
    altitude = np.full(len(time), 8000 * FOOT)
    warm = atmosphere.temperature(altitude)
    speed = airspeed.cas_from_tas(tas, altitude, warm) / KNOT
    one = contributions(judged(time, 8000.0, speed, ground_speed=ground, track=1.0, heading=1.0),
                        len(time) - 1)
    assert one.wind_kt == pytest.approx(one.energy_kt, abs=0.01)
    still = contributions(judged(time, 8000.0, speed, ground_speed=tas, track=1.0, heading=1.0),
                          len(time) - 1)
    assert still.wind_kt == pytest.approx(0.0, abs=1e-9)
    assert still.energy_kt == pytest.approx(one.energy_kt, abs=1e-12)


def test_load_factor_adds_a_word_never_knots():
    time = np.arange(0, 40, 0.5)
    speed = 200 + time * 0.5
    bare = contributions(judged(time, 8000.0, speed), 79)
    pulled = contributions(judged(time, 8000.0, speed, load_factor=1 + time / 40), 79)
    assert pulled.greatest_load_factor == pytest.approx(1 + 39.5 / 40)
    assert told(bare) == told(pulled)


def own_margin(analysis, limit, row):
    """Margin to one limit as CAS [kt], from the columns and the sheet's own numbers."""
    altitude, speed = (float(analysis.columns[name][row]) for name in (
        "pressure_altitude_ft", "calibrated_airspeed_kt"))
    at = {"VMO": 245.0, "MMO": cas_of_mach(0.48, altitude)}
    return at[limit] - speed


def test_two_stretches_are_told_and_their_sum_is_the_whole_loss():
    # Level at the crossover's height and faster, then down a dive that ends 20 kt over VMO.
    time = np.arange(0, 200, 0.5)
    speed = np.interp(time, [0, 80, 180, 200], [215, 250, 265, 230])
    altitude = np.interp(time, [0, 90, 180, 200], [11000, 11000, 5000, 4800])
    analysis = judged(time, altitude, speed, deviation=4.0)
    assessment = assess_flight(analysis)
    assert [one.limit for one in analysis.exceedances] == ["VMO"]
    (found,), (one,) = analysis.exceedances, assessment.exceedances
    first, worst = np.searchsorted(time, [found.start_s, found.worst_time_s])
    assert one.crossing_s == one.contributions.end_s == one.worsening.start_s == time[first]
    assert one.worsening.end_s == found.worst_time_s == time[worst] > time[first] + 60
    began = int(np.searchsorted(time, one.contributions.start_s))
    for stretch, low, high in ((one.contributions, began, first), (one.worsening, first, worst)):
        lost = own_margin(analysis, "VMO", low) - own_margin(analysis, "VMO", high)
        assert stretch.lost_kt == pytest.approx(lost, abs=1e-3)
        assert sum(told(stretch).values()) + stretch.remainder_kt == pytest.approx(lost, abs=1e-3)
        assert abs(stretch.remainder_kt) < 1e-6
    # Level: power. Down: height.
    assert one.contributions.energy_kt == pytest.approx(one.contributions.lost_kt, abs=1e-6)
    assert one.worsening.height_trade_kt == pytest.approx(one.worsening.lost_kt, rel=0.2)


def test_a_long_exceedance_adds_up_over_fewer_steps():
    time = np.arange(0, 3000, 1.0)
    speed = np.interp(time, [0, 60, 3000], [230, 246, 262]) + 2 * np.sin(time / 40)
    analysis = judged(time, 9000 - time / 4, speed)
    one = assess_flight(analysis).exceedances[-1]
    crossing, worst = np.searchsorted(time, [one.crossing_s, one.worsening.end_s])
    assert worst - crossing > 2 * contributions_module.MOST_STEPS
    grown = own_margin(analysis, "VMO", crossing) - own_margin(analysis, "VMO", worst)
    assert one.worsening.lost_kt == pytest.approx(grown, abs=1e-3)
    assert sum(told(one.worsening).values()) == pytest.approx(grown, abs=1e-3)


def test_an_excess_that_is_worst_at_once_has_nothing_that_made_it_worse():
    time = np.arange(0, 60, 1.0)
    speed = np.where(time < 30, 240.0, 250 - time / 8)
    (one,) = assess_flight(judged(time, 9000.0, speed)).exceedances
    assert one.crossing_s == one.contributions.end_s
    assert one.worsening is None


def test_exceedances_in_quick_succession_have_the_run_in_to_the_first_crossing():
    time = np.arange(0, 240, 1.0)
    speed = np.interp(time, [0, 60, 120], [215, 244.5, 244.5])
    speed = speed + np.where(time > 60, 3.5 * np.sin((time - 60) / 20 * 2 * np.pi), 0)
    analysis = judged(time, 9000.0, speed)
    assessed = assess_flight(analysis).exceedances
    assert len(assessed) > 4
    assert {one.contributions for one in assessed} == {assessed[0].contributions}
    assert assessed[0].contributions.end_s == assessed[0].crossing_s
    assert assessed[0].contributions.lost_kt > 20
    for one, found in zip(assessed, analysis.exceedances, strict=True):
        assert one.crossing_s >= found.start_s
        assert one.worsening is None or one.worsening.start_s == one.crossing_s


def test_no_margin_is_lent_to_the_start_of_the_run_in():
    """The margin grows slightly for ten seconds first: the run-in is what follows."""
    time = np.arange(0, 60, 1.0)
    kt = 200 - 0.02 * np.minimum(time, 10.0) + 0.5 * np.maximum(time - 10.0, 0.0)
    assert 7.0 <= contributions(judged(time, 9000.0, kt), len(time) - 1).start_s <= 10.0


def test_each_run_in_begins_after_the_latest_exceedance_before_it():
    # Over 245 kt three times: down to 200 kt between, then to just under 245 kt before the third.
    time = np.arange(240.0)
    kt = np.interp(time, [0, 40, 50, 60, 85, 110, 120, 130, 145, 160, 170, 190, 239],
                   [220, 240, 250, 240, 200, 240, 250, 240, 240, 242, 250, 230, 230])
    found = assess_flight(judged(time, 5000, kt, limits=(VMO,)))
    _, second, third = found.exceedances
    ends = [one.end_s for one in found.analysis.exceedances]
    assert 80 < second.contributions.start_s < 90
    assert ends[1] <= third.contributions.start_s < 150


def test_an_excess_at_the_first_sample_has_nothing_that_led_to_it():
    time = np.arange(60.0)
    (one,) = assess_flight(judged(time, 5000, np.linspace(260, 230, 60), limits=(VMO,))).exceedances
    assert one.contributions is None
