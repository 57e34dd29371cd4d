"""Channels that stand still: frozen, stale, or flying level."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze import Channel, Settings, analyze
from loganalyze.record.quality_flags import FLAG_CODES
from loganalyze.record.units import FOOT, KNOT
from loganalyze.screening import stuck_channels
from loganalyze.simulate import pressures

UNDER, OVER, UNKNOWN = 0, 1, 2
FROZEN = "airspeed frozen while others moved"
RNG = np.random.default_rng(4)


@pytest.fixture
def judged(log, sheet, vmo):
    def judge(kt, ft=5000.0, settings=None, interval_s=1.0, time=None, **channels):
        time = interval_s * np.arange(len(kt)) if time is None else time
        flight = log(time, interval_s, indicated_airspeed=kt,
                     pressure_altitude=ft, **channels)
        return analyze(flight, sheet(vmo, recorded="indicated"), settings=settings)

    return judge


def plain_standstills(values, least):
    found, first = [], 0
    for row in range(1, len(values) + 1):
        if row == len(values) or values[row] != values[first]:
            if row - first >= least and values[first] == values[first]:
                found.append([first, row - 1])
            first = row
    return found


@pytest.mark.parametrize("least", [2, 3, 5, 20, 36, 144])
@pytest.mark.parametrize("shape", ["walk", "coarse", "still", "missing"])
def test_standstills_as_walked_through(least, shape):
    rng = np.random.default_rng(least)
    values = np.repeat(rng.integers(0, 4, 400), rng.integers(1, 2 * least, 400)).astype(float)
    if shape == "walk":
        values += np.where(rng.random(len(values)) < 0.05, rng.random(len(values)), 0)
    elif shape == "coarse":
        values = np.floor(values / 3)
    elif shape == "missing":
        values[rng.random(len(values)) < 0.01] = np.nan
    else:
        values[:] = 3.0
    assert stuck_channels.standstills(values, least).tolist() == plain_standstills(values, least)


# 60 s gathering speed, then 60 s in which the airspeed must have gone from 240 to 252 kt, which
# isn't so far that the two sources would disagree.
TRUE = np.concatenate([np.linspace(200, 240, 61), np.linspace(240, 252, 60)])
STUCK = np.minimum(TRUE, 240.0)


def test_frozen_while_a_second_source_moved(judged):
    analysis = judged(STUCK, indicated_airspeed_2=TRUE - 2.0)
    assert analysis.screened[FROZEN] == 61
    assert analysis.columns["state"].tolist() == [UNDER] * 60 + [UNKNOWN] * 61


def test_frozen_while_the_recorded_mach_number_moved(judged):
    mach = TRUE / 661.478594 / 0.9123  # near enough at 5000 ft
    assert judged(STUCK, mach=mach).screened == {FROZEN: 61}


def test_frozen_while_ground_speed_moved_on_a_steady_track(judged):
    faster = np.concatenate([np.full(61, 250.0), np.linspace(250, 300, 60)])
    steady = {"ground_speed": faster, "track": 90.0}
    assert judged(STUCK, **steady).screened == {FROZEN: 61}
    # In a turn, or in a climb, the wind alone may do that.
    assert judged(STUCK, ground_speed=faster, track=np.linspace(0, 180, 121)).screened == {}
    assert judged(STUCK, np.linspace(5000, 9000, 121), **steady).screened == {}


def test_standing_still_is_not_frozen(judged):
    # Nothing says that it moved: neither a level cruise nor a climb at a constant airspeed.
    assert judged(STUCK).screened == {}
    assert judged(np.full(600, 240.0)).screened == {}
    assert judged(np.full(600, 240.0), np.linspace(0, 30000, 600)).screened == {}
    assert judged(STUCK, indicated_airspeed_2=STUCK + 4.0, mach=0.4).screened == {}


def test_too_short_to_tell(judged):
    kt = TRUE.copy()
    kt[61:80] = 240.0
    assert FROZEN not in judged(kt, indicated_airspeed_2=TRUE).screened
    assert FROZEN in judged(kt, indicated_airspeed_2=TRUE + 0.0 * kt,
                            settings=Settings(frozen_s=10, frozen_moved_kt=2,
                                              frozen_drift_kt=1)).screened


def test_one_bad_sample_of_a_reference_channel_changes_nothing(judged):
    other = np.full(121, 240.0)
    other[90] = 400.0  # too short for a disagreement either
    assert judged(STUCK, indicated_airspeed_2=np.where(TRUE < 240, TRUE, other)).screened == {}


def test_noise_that_stops_in_a_climb(judged):
    # Flickering in 0.1 kt all the way; stuck for 60 s while climbing 2000 ft.
    ft = np.linspace(3000, 23000, 600) + RNG.normal(0, 3, 600)
    kt = np.round(240 + RNG.normal(0, 0.6, 600), 1)
    assert judged(kt, ft).screened == {}
    kt[300:361] = kt[300]
    analysis = judged(kt, ft)
    assert analysis.screened == {FROZEN: 61}
    # In level flight nothing stirs it.
    assert judged(kt, 5000 + RNG.normal(0, 3, 600)).screened == {}
    # A coarse recorder repeats itself so often that 60 s may be chance.
    coarse = np.full(600, 240.0)
    coarse[::17] += 1
    coarse[300:361] = 240
    assert judged(coarse, ft).screened == {}
    # A ramp isn't noise.
    ramp = np.concatenate([np.linspace(180, 240, 300), np.full(60, 240.0),
                           np.linspace(240, 200, 240)])
    assert judged(ramp, ft).screened == {}
    # With steps of 1 kt the air may have been calm meanwhile, and on one side alone for good.
    rough = np.round(240 + RNG.normal(0, 3.0, 600))
    rough[300:361] = rough[300]
    assert judged(rough, ft).screened == {}
    kt[361:] = kt[300]
    assert judged(kt, ft).screened == {}


@pytest.mark.parametrize(("samples", "frozen"), [(35, False), (36, True)])
def test_how_long_a_standstill_noise_allows(judged, samples, frozen):
    """No change in 35 steps, at a probability of at most .45 each: 7e-13, less than 1e-12."""
    rng = np.random.default_rng(4)
    kt = np.round(240 + rng.normal(0, 0.25, 200), 1)
    kt[100 : 100 + samples] = 240.0
    kt[[99, 100 + samples]] = 240.3
    analysis = judged(kt, np.linspace(3000, 23000, 200) + rng.normal(0, 3, 200))
    assert analysis.screened == ({FROZEN: samples} if frozen else {})


def flags(analysis, name):
    return {one.channel: one for one in analysis.quality if one.name == name}


def test_what_may_be_frozen_and_may_be_flown_is_said_and_judged(judged):
    ft = np.linspace(3000, 23000, 600)
    kt = np.round(251.5 + RNG.normal(0, 0.4, 600))
    kt[299:362] = [251, *[252] * 61, 251]
    analysis = judged(kt, ft)
    assert (analysis.columns["state"] == OVER).sum() == (kt > 250).sum()
    ceased = flags(analysis, "ceased to flicker")["indicated_airspeed"]
    assert ceased.raised.edges.tolist() == [[300, 361]]
    assert not ceased.screened_out
    assert "ceased to flicker" in FLAG_CODES


MMO_80 = {"name": "MMO", "quantity": "mach", "maximum": 0.80}
VMO_300 = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 300.0}


def calibrated_kt(mach, ft):
    """Calibrated airspeed [kt] of a Mach number, by way of the pressures."""
    static = pressures.static_pressure(ft * FOOT)
    return pressures.calibrated_airspeed(pressures.impact_ratio(mach) * static) / KNOT


@pytest.mark.parametrize("seed", range(5))
def test_an_altitude_in_the_middle_of_its_step_hides_no_mach_number(log, sheet, seed):
    """Level at 30,050 ft it flickers at the edge of its steps of 100 ft, at 30,000 ft not at all,
    while the Mach number rises to .8074 for 131 s."""
    rng = np.random.default_rng(seed)
    time = np.arange(1200.0)
    flown = np.where(time < 600, 30050.0, 30000.0)
    mach = np.interp(time, [0, 650, 700, 831, 880, 1200], [.78, .78, .8074, .8074, .78, .78])
    kt = calibrated_kt(mach, flown) + rng.normal(0, 0.3, 1200)
    ft = np.round((flown + rng.normal(0, 10, 1200)) / 100) * 100
    assert len(set(ft[600:])) == 1 < len(set(ft[:600]))
    analysis = analyze(log(time, calibrated_airspeed=kt, pressure_altitude=ft), sheet(MMO_80))
    assert analysis.screened == {}
    over = np.flatnonzero(analysis.columns["state"] == OVER)
    assert np.isin(np.arange(700, 831), over).all()
    assert sum(one.time_over_s for one in analysis.exceedances) == pytest.approx(
        (mach > 0.80).sum(), abs=10)


@pytest.mark.parametrize("step_ft", [1.0, 100.0])
def test_an_airspeed_in_the_middle_of_its_step_hides_no_exceedance(log, sheet, step_ft):
    """In a climb: in steps of 1 kt it flickers at 297.5 kt, and stands still at 302.2."""
    for seed in range(20):
        rng = np.random.default_rng(seed)
        time = np.arange(800.0)
        kt = np.interp(time, [0, 300, 320, 460, 480, 800],
                       [297.5, 297.5, 302.2, 302.2, 297.5, 297.5])
        kt = np.round(kt + rng.normal(0, 0.2, 800))
        ft = np.round((5000 + 30 * time + rng.normal(0, 3, 800)) / step_ft) * step_ft
        analysis = analyze(log(time, calibrated_airspeed=kt, pressure_altitude=ft),
                           sheet(VMO_300))
        assert analysis.screened == {}
        assert (analysis.columns["state"] == OVER).tolist() == (kt > 300).tolist()


def test_a_reference_must_move_by_more_than_its_own_steps_and_noise(judged):
    still = np.full(200, 240.0)
    # Steps of Mach .02, some 12 kt: from .409 to .411 the number shows .40 and then .42.
    mach = 0.02 * np.round(np.linspace(0.409, 0.411, 200) / 0.02)
    assert np.ptp(mach) == pytest.approx(0.02)
    assert judged(still, mach=mach).screened == {}
    # A sample in 4 s, and noise of 8 kt: five samples are no movement.
    for seed in range(30):
        noisy = 240 + np.random.default_rng(seed).normal(0, 8, 200)
        found = judged(np.round(still + np.arange(200) // 6 % 2), indicated_airspeed_2=noisy,
                       interval_s=4.0)
        assert FROZEN not in found.screened


def test_wind_and_isobars_that_change_over_minutes_show_nothing(judged, log, sheet, mmo):
    still = np.full(900, 240.0)
    assert judged(still, ground_speed=np.linspace(400, 460, 900), track=90.0).screened == {}
    level = log(range(900), calibrated_airspeed=250.0 + np.arange(900) % 2,
                pressure_altitude=35000.0, satellite_altitude=np.linspace(35000, 36100, 900))
    assert analyze(level, sheet(mmo)).screened == {}


def test_a_new_altimeter_setting_moves_no_pressure_altitude(log, sheet, vmo):
    # The indicated altitude leaps at once; the setting is recorded every 64 s.
    n = 640
    setting = np.where(np.arange(n) < 300, 1013.25, 1033.25)
    shown = 9000 + np.where(np.arange(n) < 300, 0.0, 540.0)
    slow = Channel(100 * setting[::64], np.arange(0, n, 64, dtype=np.int32), 64.0)
    flight = log(range(n), calibrated_airspeed=200.0 + np.arange(n) % 2, pressure_altitude=9000.0,
                 indicated_altitude=shown, altimeter_setting=slow)
    assert analyze(flight, sheet(vmo)).screened == {}


def test_a_gap_is_no_standstill(judged):
    # Two seconds of one value on either side of a minute without a row.
    kt = 240.0 + np.arange(200) % 7
    kt[98:103] = 240.0
    time = np.arange(200.0)
    time[100:] += 60.0
    moved = np.where(time < 100, 240.0, 260.0)
    assert FROZEN not in judged(kt, indicated_airspeed_2=moved, time=time,
                                settings=Settings(sources_apart_kt=50)).screened


def test_a_frozen_altitude_takes_the_mach_limit_and_not_the_airspeed_limit(log, sheet, vmo, mmo):
    ft = np.concatenate([np.linspace(20000, 25000, 60), np.full(60, 25000.0)])
    true = np.linspace(20000, 30000, 120)
    flight = log(range(120), calibrated_airspeed=200.0, pressure_altitude=ft,
                 pressure_altitude_2=true)
    analysis = analyze(flight, sheet(vmo, mmo), settings=Settings(sources_apart_ft=9000))
    assert analysis.screened == {"pressure altitude frozen while others moved": 61}
    assert analysis.columns["state_0"].tolist() == [UNDER] * 120
    assert analysis.columns["state_1"].tolist() == [UNDER] * 59 + [UNKNOWN] * 61


def test_the_cause_of_a_frozen_temperature_is_not_the_verdicts(judged):
    ft = np.linspace(3000, 23000, 600) + RNG.normal(0, 3, 600)
    kt = np.round(240 + RNG.normal(0, 0.6, 600), 1)
    assert judged(kt, ft, static_air_temperature=10.0).screened == {}


def held_replies(n=1200, hold=12):
    """Airspeed as replies: a true value every few seconds, kept in place until the next."""
    true = 220 + 25 * np.sin(np.arange(n) / 60)
    return true[np.arange(n) // hold * hold]


def test_replies_held_and_then_off_are_stale(judged):
    kt = held_replies()
    analysis = judged(kt)
    steps = np.flatnonzero(np.abs(np.diff(kt)) > 4.0)
    expected = np.zeros(len(kt), dtype=bool)
    for row in steps:
        expected[row - 10 : row + 1] = True  # all but the first of twelve
    assert len(steps) > 10
    assert (analysis.columns["state"] == UNKNOWN).tolist() == expected.tolist()
    assert analysis.screened == {"airspeed stale": int(expected.sum())}


@pytest.mark.parametrize("interval_s", [0.5, 2.0])
def test_replies_are_stale_at_other_intervals(judged, interval_s):
    # Steps of more than 4 kt, or than 4 kt for each second that a sample is away from the next.
    kt = held_replies(hold=24)
    analysis = judged(kt, interval_s=interval_s)
    steps = np.flatnonzero(np.abs(np.diff(kt)) > 4.0 * max(interval_s, 1.0))
    assert len(steps) > 10
    assert analysis.screened == {"airspeed stale": 23 * len(steps)}


def test_a_few_steps_are_flown_and_not_stale(judged):
    kt = np.concatenate([np.full(30, 200.0), np.full(30, 240.0), np.full(30, 255.0)])
    analysis = judged(kt)
    assert analysis.screened == {}
    assert (analysis.columns["state"] == OVER).sum() == 30


def test_steps_up_and_back_to_the_same_value_are_flown(judged):
    """However many: a reply that was held meets no old value when it is renewed."""
    kt = np.full(2000, 230.0)
    for i in range(30):
        kt[50 + 60 * i : 60 + 60 * i] = 251.0 + i / 2
    analysis = judged(kt)
    assert analysis.screened == {}
    assert len(analysis.exceedances) == 30
    assert judged(np.tile([230.0] * 10 + [240.0] * 10, 60)).screened == {}


@pytest.mark.parametrize("rate_hz", [0.5, 1.0, 2.0, 4.0])
def test_gusts_that_end_a_rest_are_not_stale(judged, rate_hz):
    """In steps of 2 kt the airspeed rests between sharp gusts of 12 kt, a hundred times."""
    rng = np.random.default_rng(8)
    time = np.arange(0, 1800, 1 / rate_hz)
    kt = np.full(len(time), 251.0)
    at = 5.0
    while at < 1790:
        half = rng.uniform(0.5, 2.0)
        near = (time >= at) & (time < at + 2 * half)
        kt[near] += 6 * (1 - np.cos(np.pi * (time[near] - at) / half))
        at += 2 * half + rng.uniform(6, 15)
    kt = 2 * np.round(kt / 2)
    analysis = judged(kt, interval_s=1 / rate_hz)
    assert analysis.screened == {}
    assert (analysis.columns["state"] == OVER).tolist() == (kt > 250).tolist()


def test_small_steps_are_not_stale(judged):
    assert judged(np.round(220 + (held_replies() - 220) / 3)).screened == {}


def take_off(stuck_s):
    """Taxi, roll and climb away, the altitude in steps of 32 ft; stuck so long after the roll."""
    rng = np.random.default_rng(3)
    kt = np.concatenate([np.full(200, 12.0) + rng.integers(0, 3, 200), np.linspace(12, 120, 30),
                         np.linspace(121, 200, 200)])
    ft = np.concatenate([np.where(rng.random(200) < 0.5, 0.0, 32.0), np.full(30, 32.0),
                         32.0 * np.round(np.linspace(0, 7000, 200) / 32)])
    ft[229 : 229 + stuck_s] = 32.0
    return kt, ft


def test_an_altitude_that_stands_still_in_the_take_off_roll_is_not_frozen(judged):
    kt, ft = take_off(0)
    assert not judged(kt, ft).screened.get("pressure altitude frozen while others moved")


def test_one_that_stands_still_long_after_the_roll_is_where_a_second_source_climbs(judged):
    kt, ft = take_off(110)
    _, true = take_off(0)
    frozen_ft = "pressure altitude frozen while others moved"
    found = judged(kt, ft, pressure_altitude_2=true,
                   settings=Settings(sources_apart_ft=9000)).screened[frozen_ft]
    assert 40 < found < 110
    # Alone it may have been flown: level, in steps of 32 ft.
    assert frozen_ft not in judged(kt, ft).screened


# What another channel must show of a channel that stood still for 80 s. Of eight parts of 10
# samples the first and the last lie (70 - 9) / 79 of a ramp's whole movement apart.
APART = 61 / 79


def ramp(by, n=80):
    """Where a quantity was that moved by so much while its channel stood still."""
    return np.concatenate([np.linspace(-40, 0, 40, endpoint=False), np.linspace(0, by, n),
                           by + np.linspace(0, 3, 20)])


def hpa(pascal):
    return np.asarray(pascal) / 100


AIRSPEEDS = {
    "a second source": lambda kt: {"indicated_airspeed_2": kt},
    "another airspeed": lambda kt: {"calibrated_airspeed": kt},
    "impact pressure": lambda kt: {"impact_pressure": hpa(pressures.impact_pressure(kt * KNOT))},
    "total pressure less static pressure": lambda kt: {
        "total_pressure": hpa(pressures.static_pressure(5000 * FOOT)
                              + pressures.impact_pressure(kt * KNOT)),
        "static_pressure": hpa(pressures.static_pressure(5000 * FOOT))},
    "Mach number": lambda kt: {"mach": pressures.mach_of(
        pressures.impact_pressure(kt * KNOT) / pressures.static_pressure(5000 * FOOT))},
}
ALTITUDES = {
    "a second source": lambda ft: {"pressure_altitude_2": ft},
    "satellite altitude": lambda ft: {"satellite_altitude": ft},
    "static pressure": lambda ft: {"static_pressure": hpa(pressures.static_pressure(ft * FOOT))},
    # At a setting of one standard atmosphere the indicated altitude is the pressure altitude.
    "indicated altitude and setting": lambda ft: {
        "indicated_altitude": ft, "altimeter_setting": 1013.25},
}
LENIENT = Settings(sources_apart_kt=500, sources_apart_pct=500, sources_apart_ft=50_000,
                   frozen_drift_kt=1, frozen_drift_ft=50)


@pytest.mark.parametrize("reference", AIRSPEEDS)
@pytest.mark.parametrize(("moved", "frozen"), [(7.8, False), (8.2, True), (-8.2, True)])
def test_how_far_each_way_to_the_airspeed_must_move(judged, reference, moved, frozen):
    by = moved / APART
    stuck = 240 + np.where(np.arange(140) < 40, ramp(by), np.where(
        np.arange(140) < 120, 0.0, ramp(by)))
    channels = AIRSPEEDS[reference](240 + ramp(by))
    screened = judged(stuck, settings=LENIENT, **channels).screened
    assert screened == ({FROZEN: 80} if frozen else {})


@pytest.mark.parametrize("reference", ALTITUDES)
@pytest.mark.parametrize(("moved", "frozen"), [(294, False), (306, True), (-306, True)])
def test_how_far_each_way_to_the_altitude_must_move(judged, reference, moved, frozen):
    by = moved / APART
    n = 60 if reference == "satellite altitude" else 80  # it must move within a minute
    if n == 60:
        by = moved * 59 / (59 - 2 * 7 + 1)  # parts of 7 or 8 samples
    path = np.concatenate([np.linspace(-2000, 0, 40, endpoint=False), np.linspace(0, by, n),
                           by + np.linspace(0, 200, 20)])
    stuck = np.where((np.arange(n + 60) >= 40) & (np.arange(n + 60) < n + 40), 0.0, path)
    channels = ALTITUDES[reference](9000 + path)
    screened = judged(200.0 + np.arange(n + 60) % 2, 9000 + stuck, settings=LENIENT,
                      **channels).screened
    expected = {"pressure altitude frozen while others moved": n}
    assert screened == (expected if frozen else {})


@pytest.mark.parametrize(("drift", "frozen"), [(8.6, True), (9.4, False)])
def test_two_sources_may_drift_apart(judged, drift, frozen):
    """A ramp that moved by 10 kt surely shows more than the drift and the steps of both, 1 kt."""
    by = 10 / APART
    slope = by / 79
    stuck = 240 + np.where(np.arange(140) < 40, ramp(by), np.where(
        np.arange(140) < 120, 0.0, ramp(by)))
    stuck = np.where((np.arange(140) < 40) | (np.arange(140) >= 120), np.round(stuck), stuck)
    # The channel's own step is 1 kt, the other's smallest changes are those of its ramp.
    screened = judged(stuck, indicated_airspeed_2=240 + ramp(by), settings=Settings(
        sources_apart_kt=500, sources_apart_pct=500, frozen_drift_kt=drift - slope)).screened
    assert screened == ({FROZEN: 80} if frozen else {})


@pytest.mark.parametrize(("seconds", "frozen"), [(20, False), (21, True)])
@pytest.mark.parametrize("interval_s", [0.5, 1.0])
def test_how_long_a_channel_must_stand_still(judged, interval_s, seconds, frozen):
    """From its first sample to its last for at least 20 s."""
    rows = round(seconds / interval_s)
    path = np.concatenate([np.linspace(-40, 0, 40, endpoint=False), np.linspace(0, 40, rows),
                           np.linspace(40, 60, 20)])
    inside = (np.arange(rows + 60) >= 40) & (np.arange(rows + 60) < rows + 40)
    screened = judged(240 + np.where(inside, 0.0, path), indicated_airspeed_2=240 + path,
                      interval_s=interval_s, settings=LENIENT).screened
    assert screened == ({FROZEN: rows} if frozen else {})


def test_a_reference_that_holds_one_value_shows_nothing_by_a_bad_sample(judged):
    """It moved only where the channel did, and never changes by less than all that."""
    other = np.where(np.arange(140) < 100, 240.0, 260.0)
    stuck = np.full(140, 240.0)
    stuck[[0, 139]] = 239.0
    screened = judged(stuck, settings=LENIENT, indicated_airspeed_2=other).screened
    assert screened == {}  # one step of 20 kt is as far as it ever moves


@pytest.mark.parametrize(("rows", "frozen"), [(4, False), (5, True)])
def test_however_slow_the_log_five_samples_make_a_standstill(judged, rows, frozen):
    """At a sample in 8 s four of them last 24 s, too."""
    inside = (np.arange(rows + 40) >= 20) & (np.arange(rows + 40) < rows + 20)
    path = np.where(np.arange(rows + 40) < 22, 0.0, 60.0) + 0.5 * np.arange(rows + 40)
    screened = judged(240 + np.where(inside, 10.0, path), indicated_airspeed_2=240 + path,
                      interval_s=8.0, settings=LENIENT).screened
    assert screened == ({FROZEN: rows} if frozen else {})
