"""Flags of quality: where each could be judged, and where it is true."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loganalyze import Channel, analyze
from loganalyze.record.quality_flags import FLAG_CODES
from loganalyze.record.units import FOOT, KNOT

NAN = math.nan


@pytest.fixture
def judged(log, sheet, vmo):
    def judge(kt, ft=5000.0, interval_s=1.0, **channels):
        n = len(kt)
        flight = log(interval_s * np.arange(n), interval_s, calibrated_airspeed=kt,
                     pressure_altitude=ft, **channels)
        return analyze(flight, sheet(vmo))

    return judge


def flag(analysis, name, channel):
    (one,) = [one for one in analysis.quality if (one.name, one.channel) == (name, channel)]
    return one


def test_every_flag_is_named_and_raised_inside_covered(judged):
    rng = np.random.default_rng(3)
    kt = 200 + np.cumsum(rng.normal(0, 2, 300))
    kt[rng.random(300) < 0.1] = NAN
    kt[rng.random(300) < 0.1] += 90
    ft = 9000 + np.cumsum(rng.normal(0, 30, 300))
    ft[rng.random(300) < 0.05] = 99999
    analysis = judged(kt, ft, mach=0.4, pitch=rng.normal(0, 80, 300), static_air_temperature=kt,
                      calibrated_airspeed_2=200.0, weight_on_wheels=rng.integers(0, 2, 300))
    assert {one.name for one in analysis.quality} <= set(FLAG_CODES)
    assert any(len(one.raised) for one in analysis.quality)
    for one in analysis.quality:
        assert one.raised - one.covered == one.raised & one.raised - one.covered
        assert (one.raised - one.covered).duration == 0, one.name


def test_missing_and_out_of_range(judged):
    analysis = judged([200, NAN, NAN, 200, 9999, 200], pitch=[0, 0, 95, 0, NAN, 0])
    missing = flag(analysis, "missing", "calibrated_airspeed")
    assert missing.covered.edges.tolist() == [[0, 6]]
    assert (missing.raised.edges.tolist(), missing.screened_out) == ([[1, 3]], True)
    outside = flag(analysis, "out of range", "calibrated_airspeed")
    assert outside.covered.edges.tolist() == [[0, 1], [3, 6]]
    assert outside.raised.edges.tolist() == [[4, 5]]
    pitch = flag(analysis, "out of range", "pitch")
    assert (pitch.covered.edges.tolist(), pitch.raised.edges.tolist(), pitch.screened_out) == (
        [[0, 4], [5, 6]], [[2, 3]], False)
    assert flag(analysis, "missing", "pitch").raised.edges.tolist() == [[4, 5]]


def test_faster_than_plausible_and_steps_that_stay(judged):
    analysis = judged([200, 260, 200, 200, 260, 260, 260])
    spike = flag(analysis, "faster than plausible", "calibrated_airspeed")
    assert (spike.raised.edges.tolist(), spike.screened_out) == ([[1, 2]], True)
    step = flag(analysis, "implausible step", "calibrated_airspeed")
    assert (step.raised.edges.tolist(), step.screened_out) == ([[4, 5]], False)


@pytest.mark.parametrize("interval_s", [0.25, 2.0])
@pytest.mark.parametrize(("channel", "rate", "noise"), [
    ("calibrated_airspeed", 40.0, 2.0), ("pressure_altitude", 600.0, 30 / FOOT)])
def test_a_step_is_implausible_by_its_rate(judged, channel, rate, noise, interval_s):
    for share, raised in ((0.98, 0), (1.02, 1)):
        step = np.where(np.arange(40) < 20, 0.0, share * (rate * interval_s + noise))
        kt, ft = (step, 0.0) if channel == "calibrated_airspeed" else (0.0, step)
        analysis = judged(200.0 + kt + 0 * step, 5000.0 + ft, interval_s)
        one = flag(analysis, "implausible step", channel)
        assert one.raised.duration == pytest.approx(raised * interval_s)


def test_frozen_could_be_judged_only_with_a_reference_channel(judged):
    kt = np.concatenate([np.linspace(200, 240, 61), np.full(60, 240.0)])
    alone = flag(judged(kt), "frozen", "calibrated_airspeed")
    assert (len(alone.covered), len(alone.raised)) == (0, 0)
    moving = np.concatenate([kt[:61], np.linspace(240, 252, 60)])
    seen = flag(judged(kt, calibrated_airspeed_2=moving), "frozen", "calibrated_airspeed")
    assert seen.covered.edges.tolist() == [[0, 121]]
    assert seen.raised.edges.tolist() == [[60, 121]]
    assert seen.values == {"witnesses": ("calibrated_airspeed_2",)}


def test_two_sources(judged):
    second = np.array([201, 201, 201, 220, 220, 220, 220, 220, 220, 201, NAN])
    one = flag(judged([200.0] * 11, calibrated_airspeed_2=second), "sources disagree",
               "calibrated_airspeed")
    assert one.covered.edges.tolist() == [[0, 10]]
    assert one.raised.edges.tolist() == [[3, 9]]
    assert one.values["sources"] == ("calibrated_airspeed_2",)
    assert one.values["mean"] == pytest.approx(12.4 * KNOT)
    assert one.values["greatest"] == pytest.approx(20 * KNOT)


def test_a_second_source_that_says_nothing_is_compared_nowhere(judged):
    one = flag(judged([200.0] * 5, calibrated_airspeed_2=[NAN] * 5), "sources disagree",
               "calibrated_airspeed")
    assert (len(one.covered), len(one.raised)) == (0, 0)
    assert one.values == {"sources": ("calibrated_airspeed_2",)}


@pytest.mark.parametrize("floor", [0.0, 30.0, 40.0])
def test_clamped_at_its_floor_is_at_most_that_and_so_under(judged, floor):
    kt = np.concatenate([np.full(20, floor), np.linspace(floor + 1, 120, 40), np.full(15, floor)])
    analysis = judged(kt)
    one = flag(analysis, "clamped", "calibrated_airspeed")
    assert one.raised.edges.tolist() == [[0, 20], [60, 75]]
    assert one.values == {"floor": pytest.approx(floor * KNOT)}
    assert not one.screened_out
    assert (analysis.columns["state"] == 0).all()


def test_a_slow_flight_isn_t_clamped(judged):
    kt = np.concatenate([np.full(20, 70.0), np.linspace(71, 120, 40)])
    assert not len(flag(judged(kt), "clamped", "calibrated_airspeed").raised)
    kt[:20] = 30 + np.arange(20) / 10
    assert not len(flag(judged(kt), "clamped", "calibrated_airspeed").raised)


def test_on_the_ground_by_the_wheels(judged):
    analysis = judged([0, 60, 120, 150, 100, 40.0], weight_on_wheels=[1, 1, 1, 0, 0, NAN])
    one = flag(analysis, "on the ground", "weight_on_wheels")
    assert one.covered.edges.tolist() == [[0, 5]]
    assert one.raised.edges.tolist() == [[0, 3]]
    assert analysis.airborne.edges.tolist() == [[3, 6]]


def test_on_the_ground_by_being_slow_and_level(judged):
    kt = np.concatenate([np.full(30, 20.0), np.linspace(20, 140, 30), np.full(30, 140.0)])
    ft = np.concatenate([np.full(60, 500.0), 500 + 30 * np.arange(30)])
    analysis = judged(kt, ft)
    ((start, end),) = flag(analysis, "on the ground", "").raised
    assert start == 0
    assert kt[int(end)] >= 50 > kt[int(end) - 1]
    # Slow, but sinking at 1800 ft/min: not on the ground.
    assert not len(flag(judged(np.full(60, 40.0), 9000 - 30.0 * np.arange(60)),
                        "on the ground", "").raised)


def test_shares_are_of_airborne_time(judged):
    kt = np.concatenate([np.full(50, NAN), np.full(50, 200.0)])
    kt[[60, 61, 80]] = NAN
    wheels = np.arange(100) < 50
    analysis = judged(kt, weight_on_wheels=wheels)
    assert analysis.airborne.duration == 50
    assert analysis.screened_s == {"": 3.0, "airspeed missing": 3.0}
    assert judged([200.0] * 9).screened_s == {}


STEPS = {"rounds": np.round, "truncates": np.floor}


@pytest.mark.parametrize("does", STEPS)
@pytest.mark.parametrize("by", ["calibrated_airspeed_2", "mach"])
def test_rounding_or_truncation_by_a_finer_reference_channel(judged, does, by):
    true = 200 + 40 * np.sin(np.arange(900) / 70)
    if by == "mach":
        # Mach number of a calibrated airspeed at sea level is its share of the speed of sound.
        finer = {"mach": true / 661.478594435}
    else:
        finer = {"calibrated_airspeed_2": np.round(true, 2)}
    one = flag(judged(STEPS[does](true), 0.0, **finer), "quantised", "calibrated_airspeed")
    assert one.values["step"] == pytest.approx(KNOT)
    assert (one.values["recorder"], one.values["by"]) == (does, by)
    assert one.values["left"] == pytest.approx(0.0 if does == "rounds" else 0.5, abs=0.05)


def test_the_first_reference_channel_that_is_fine_enough_decides(judged):
    true = 200 + 40 * np.sin(np.arange(900) / 70)
    noisy = true + np.random.default_rng(1).normal(0, 1, 900)
    for vague in (np.round(true), noisy, np.where(np.arange(900) < 199, true, NAN)):
        one = flag(judged(np.floor(true), 0.0, calibrated_airspeed_2=vague,
                          mach=true / 661.478594435), "quantised", "calibrated_airspeed")
        assert (one.values["recorder"], one.values["by"]) == ("truncates", "mach")


def test_what_a_recorder_does_is_not_determinable_otherwise(judged):
    true = 200 + 40 * np.sin(np.arange(900) / 70)
    for channels in (
        {},  # nothing finer
        {"calibrated_airspeed_2": np.round(true)},  # as coarse
        {"calibrated_airspeed_2": true + 0.27},  # half way between the two
        {"calibrated_airspeed_2": true + np.random.default_rng(1).normal(0, 1, 900)},  # noisy
    ):
        one = flag(judged(np.round(true), 0.0, **channels), "quantised", "calibrated_airspeed")
        assert one.values["recorder"] == "not determinable"


def test_the_step_is_estimated(judged):
    rng = np.random.default_rng(6)
    ft = 9000 + np.cumsum(rng.normal(0, 9, 500))
    one = flag(judged(np.full(500, 200.0), np.round(ft / 4) * 4), "quantised",
               "pressure_altitude")
    assert one.values["step"] == pytest.approx(4 * FOOT)
    assert math.isnan(flag(judged(np.full(500, 200.0), ft), "quantised",
                           "pressure_altitude").values["step"])
    stated = Channel(np.full(500, 100.0), resolution=7.0)
    assert flag(judged(np.full(500, 200.0), pressure_altitude_2=stated, mach=0.3), "quantised",
                "calibrated_airspeed").values["step"] != 7.0


def test_lost_synchronisation_is_of_the_whole(judged):
    kt, ft = np.full(30, 200.0), np.full(30, 5000.0)
    kt[[10, 12]], ft[[10, 12]] = 1500.0, 90000.0
    one = flag(judged(kt, ft), "synchronisation lost", "")
    assert (one.raised.edges.tolist(), one.screened_out) == ([[8, 15]], True)


def test_a_lone_sample_and_a_log_without_altitude(log, sheet, vmo):
    assert analyze(log([0.0], calibrated_airspeed=200.0), sheet(vmo)).quality
    flight = log(range(5), calibrated_airspeed=[200, 200, NAN, 200, 200])
    assert analyze(flight, sheet(vmo)).screened_s == {"": 1.0, "airspeed missing": 1.0}


def test_a_single_stale_run_is_shown_and_rejects_nothing(judged):
    kt = 200 + 20 * np.sin(np.arange(600) / 30)
    kt[300:312] = kt[300]
    analysis = judged(kt)
    stale = flag(analysis, "stale", "calibrated_airspeed")
    assert stale.values["times"] == 1
    assert len(stale.raised) == 1
    assert not stale.screened_out
    assert not any("stale" in reason for reason in analysis.screened)


def test_two_fast_steps_to_one_side_are_no_spike(judged):
    slat = np.zeros(20)
    slat[10], slat[11:] = 18.0, 36.0
    there = flag(judged([200.0] * 20, slat=slat), "faster than plausible", "slat")
    assert there.raised.duration == 0
    slat[11:] = 0.0
    back = flag(judged([200.0] * 20, slat=slat), "faster than plausible", "slat")
    assert back.raised.duration == pytest.approx(1.0)


def test_how_soon_a_slow_aircraft_that_sinks_no_more_is_on_the_ground(judged):
    # At 40 kt down 20 ft/s until 60 s, then level: five seconds either way must be level.
    time = np.arange(120.0)
    analysis = judged(np.full(120, 40.0), np.maximum(3000 - 20 * time, 1800.0))
    assert analysis.airborne.duration == pytest.approx(63.0, abs=2.0)
