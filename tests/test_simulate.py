"""The simulation: its physics against published values, its truth against itself, its files."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

from loganalyze.simulate import (
    FILL_DEGC,
    LESSON,
    MMO,
    SAMPLES,
    VMO_KT,
    Recorder,
    Segment,
    Weather,
    fly,
    pressures,
    write_lesson,
    write_samples,
)

FOOT = 0.3048
KNOT = 1852 / 3600
ON_DISK = Path(__file__).parents[1] / "sample_logs"


@pytest.fixture(scope="module")
def truths():
    return {sample.name: sample.truth() for sample in SAMPLES}


@pytest.mark.parametrize(
    ("height_ft", "kelvin", "pascal"),
    [  # ISO 2533:1975 (ICAO Doc 7488/3), from its constants in closed form to 30 digits
        (-1000, 290.1312, 105040.581),
        (0, 288.15, 101325),
        (5000, 278.244, 84307.2645),
        (10000, 268.338, 69681.6416),
        (25000, 238.620, 37600.8903),
        (36089.2388451, 216.65, 22632.0401),
        (45000, 216.65, 14747.6622),
        (65616.7979003, 216.65, 5474.8774),
    ],
)
def test_barometric_integration(height_ft, kelvin, pascal):
    assert pressures.standard_temperature(height_ft * FOOT) == pytest.approx(kelvin, abs=1e-4)
    assert pressures.static_pressure(height_ft * FOOT) == pytest.approx(pascal, rel=6e-9)


def test_pressure_altitude_is_the_inverse():
    height = np.linspace(-5000, 32000, 9973)
    pressure = pressures.static_pressure(height)
    np.testing.assert_allclose(pressures.pressure_altitude(pressure), height, atol=1e-7)
    for outside in (-5000.1, 32000.1):
        with pytest.raises(ValueError, match="outside"):
            pressures.static_pressure(outside)
    with pytest.raises(ValueError, match="outside"):
        pressures.pressure_altitude(800.0)
    assert np.isnan(pressures.static_pressure(np.nan))


@pytest.mark.parametrize(
    ("cas_kt", "height_ft", "mach"),
    [  # computed in closed form to 30 digits
        (30, 2000, 0.0470327261),
        (250, 10000, 0.452275117),
        (320, 28000, 0.806485440),
        (700, 0, 1.05823530),
        (600, 30000, 1.48898537),  # CAS below, Mach number above the speed of sound
        (750, 40000, 2.35175788),
    ],
)
def test_mach_from_cas_and_altitude(cas_kt, height_ft, mach):
    ratio = pressures.impact_pressure(cas_kt * KNOT) / pressures.static_pressure(height_ft * FOOT)
    assert pressures.mach_of(ratio) == pytest.approx(mach, rel=2e-9)


def test_published_impact_pressure():
    """0.2 psi is 105.882752 mph, and 15 inHg 518.966376 kt.

    Both from the documentation of a general airspeed library, whose pounds and inches are
    rounded a little.
    """
    mph = pressures.calibrated_airspeed(0.2 * 6894.757293168361) / 0.44704
    assert mph == pytest.approx(105.882752, rel=2e-8)
    knots = pressures.calibrated_airspeed(15 * 3386.389) / KNOT
    assert knots == pytest.approx(518.966376, rel=2e-6)


def test_mach_is_the_inverse_of_the_impact_ratio():
    mach = np.concatenate([[0.0], np.geomspace(1e-3, 4, 4001), [1.0]])
    np.testing.assert_allclose(pressures.mach_of(pressures.impact_ratio(mach)), mach, rtol=1e-9)


def test_true_height_and_static_pressure_in_warm_air():
    """In air everywhere 20 K warmer a pressure altitude foot is T/(T - 20) of true height."""
    flight = fly([Segment(30, 0, 150), Segment(600, 1500, 150)], Weather(deviation=20),
                 start_altitude_ft=1000)
    rate = np.gradient(flight.pressure_altitude, flight.time)[-3200:]
    ratio = 1500 * FOOT / 60 / rate
    expected = (flight.static_temperature / (flight.static_temperature - 20))[-3200:]
    np.testing.assert_allclose(ratio, expected, rtol=1e-3)


def test_schedules_hold_cas_below_and_mach_above():
    flight = fly([Segment(1500, 2000, 240, mach=0.45)], Weather(), start_altitude_ft=3000,
                 start_cas_kt=240)
    low, high = flight.pressure_altitude < 9000 * FOOT, flight.pressure_altitude > 16000 * FOOT
    np.testing.assert_allclose(flight.calibrated_airspeed[low] / KNOT, 240, atol=0.01)
    # The limit of the schedule sinks while the speed seeks it with a lag of 8 s.
    np.testing.assert_allclose(flight.mach[high], 0.45, atol=0.005)
    assert np.all(np.diff(flight.mach[high]) < 1e-4)


def test_crossings_are_where_the_limits_are_crossed(truths):
    for truth in truths.values():
        for limit, value in (({"cas_kt": VMO_KT}, lambda t: t.calibrated_airspeed / KNOT / VMO_KT),
                             ({"mach": MMO}, lambda t: t.mach / MMO)):
            over = truth.over(**limit)
            np.testing.assert_allclose(value(truth.at(over.ravel())), 1, rtol=1e-12)
            inside = np.searchsorted(over.ravel(), truth.time, side="left") % 2 == 1
            assert np.array_equal(value(truth) > 1, inside)


def test_over_at_the_ends_of_the_flight():
    flight = fly([Segment(20, 0, 200)], Weather(), start_altitude_ft=5000, start_cas_kt=200)
    assert flight.over(cas_kt=190).tolist() == [[flight.time[0], flight.time[-1]]]
    assert flight.over(cas_kt=210).shape == (0, 2)
    with pytest.raises(ValueError, match="not both"):
        flight.over(cas_kt=190, mach=0.4)


def test_turbulence_has_its_size_and_its_seed():
    def gusts(seed, gust):
        flight = fly([Segment(600, 0, 220)], Weather(gust=gust), start_altitude_ft=9000,
                     start_cas_kt=220, seed=seed)
        return flight.true_airspeed

    calm = gusts(1, 0.0)
    assert np.std(gusts(1, 0.8) - calm) == pytest.approx(0.8, rel=0.15)
    assert np.array_equal(gusts(1, 0.8), gusts(1, 0.8))
    assert not np.array_equal(gusts(1, 0.8), gusts(2, 0.8))


def test_recorder_keeps_the_truth_when_it_has_no_faults(truths):
    truth = truths["climb_into_the_limit"]
    rows = Recorder(rate_hz=4).record(truth)
    seen = truth.at(rows["time_s"])
    np.testing.assert_allclose(rows["pressure_altitude_ft"] * FOOT, seen.pressure_altitude)
    np.testing.assert_allclose(rows["airspeed_kt"] * KNOT, seen.calibrated_airspeed)
    np.testing.assert_allclose(rows["outside_air_temperature_degc"] + 273.15,
                               seen.static_temperature)
    np.testing.assert_allclose(np.diff(rows["time_s"]), 0.25)


def test_recorder_faults(truths):
    recorder = Recorder(rate_hz=2, altitude_step_ft=4, airspeed_step_kt=0.5, recovery_factor=0.8,
                        jitter_s=0.02, dropped=0.05, gaps=((100.0, 130.0),), probe_dead_from=200.0)
    truth = truths["gaps_and_dead_probe"]
    rows = recorder.record(truth, seed=9)
    time, probe = rows["time_s"], rows["outside_air_temperature_degc"]
    assert not np.any((time >= 100) & (time < 130))
    whole = truth.time[-1] * 2 + 1
    assert len(time) == pytest.approx((whole - 60) * 0.95, rel=0.02)
    assert np.all(np.diff(time) > 0)
    assert np.all(probe[(time >= 200) & (time < 220)] == FILL_DEGC)
    assert np.isnan(probe[time >= 220]).all()
    healthy = truth.at(time[time < 200])
    ram_rise = healthy.static_temperature * (1 + 0.16 * healthy.mach**2)
    np.testing.assert_allclose(probe[time < 200] + 273.15, ram_rise)
    assert np.all(rows["pressure_altitude_ft"] % 4 == 0)
    assert np.all(rows["airspeed_kt"] % 0.5 == 0)


def test_sample_logs_show_what_they_promise(truths):
    def over(name, **limit):
        return truths[name].over(**limit)

    assert len(over("clean_flight", cas_kt=VMO_KT)) == len(over("clean_flight", mach=MMO)) == 0

    descent = "descent_through_mmo_and_vmo"
    mmo, vmo = over(descent, mach=MMO), over(descent, cas_kt=VMO_KT)
    assert mmo[0, 0] < vmo[0, 0] < mmo[-1, 1] < vmo[-1, 1]

    climb = truths["climb_into_the_limit"]
    assert len(over("climb_into_the_limit", cas_kt=VMO_KT)) == 0
    start = over("climb_into_the_limit", mach=MMO)[0, 0]
    before = (climb.time > start - 400) & (climb.time < start + 60)
    held = climb.calibrated_airspeed[before] / KNOT
    assert held.max() - held.min() < 3
    at_limit = float(climb.at(np.array([start])).calibrated_airspeed[0] / KNOT)
    assert at_limit == pytest.approx(held.mean(), abs=1)

    gaps = over("gaps_and_dead_probe", cas_kt=VMO_KT)
    recorder = next(s.recorder for s in SAMPLES if s.name == "gaps_and_dead_probe")
    inside = [any(start < a and b < end for start, end in gaps) for a, b in recorder.gaps]
    assert inside == [False, True]
    assert gaps[0, 0] > recorder.probe_dead_from


def test_sample_logs_on_disk_are_what_the_module_writes(tmp_path):
    paths = write_samples(tmp_path / "new")
    assert {path.name for path in paths} == {path.name for path in ON_DISK.glob("*.csv")}
    for path in paths:
        written = path.read_bytes()
        assert written == (ON_DISK / path.name).read_bytes(), path.name
        assert len(written) < 1_000_000


def test_command_writes_the_sample_logs(tmp_path):
    done = subprocess.run([sys.executable, "-m", "loganalyze.simulate", tmp_path], check=True,
                          capture_output=True, text=True)
    assert [Path(line).name for line in done.stdout.splitlines()] == [
        f"{sample.name}.csv" for sample in SAMPLES]
    assert (tmp_path / "clean_flight.csv").read_bytes() == (
        ON_DISK / "clean_flight.csv").read_bytes()


def test_limits_sheet_has_the_limits_of_the_simulation():
    sheet = tomllib.loads((ON_DISK / "ouzelwing_240.toml").read_text(encoding="utf-8"))
    limits = {limit["name"]: limit for limit in sheet["limit"]}
    assert limits["VMO"]["maximum_kt"] == VMO_KT
    assert limits["MMO"]["maximum"] == MMO
    assert sheet["temperature"]["recovery_factor"] == SAMPLES[0].recorder.recovery_factor


def test_the_lessons_flights_on_disk_are_what_the_module_writes(tmp_path):
    paths = write_lesson(tmp_path / "new")
    assert [path.stem for path in paths] == [flight.name for flight in LESSON]
    for path in paths:
        assert path.read_bytes() == (ON_DISK / "lesson" / path.name).read_bytes(), (
            "run python -m loganalyze.simulate --lesson sample_logs/lesson")
