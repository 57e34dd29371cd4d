"""A clock that was misread shows in what the aircraft would have done; dirt and dives don't."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_exports import FT, KT, export, lines

from loganalyze import Channel, ColumnsFile, Problem, read_flights, read_log
from loganalyze.read.flights.clock_plausibility import doubt


def flight(hours: float = 2.0, rate: float = 1.0, quantum_ft: float = 4.0, ceiling: float = 35000,
           climb_fpm: float = 1500, noise_ft: float = 5.0, noise_kt: float = 0.7,
           seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return times [s], altitude [ft] and airspeed [kt] of a climb, a cruise and a descent."""
    rng = np.random.default_rng(seed)
    t = np.arange(0, 3600 * hours, 1 / rate)
    ramp = np.minimum(t, t[-1] - t) * climb_fpm / 60
    altitude = np.clip(ramp - 500, 0, ceiling) + rng.normal(0, noise_ft, len(t))
    speed = np.clip((ramp - 100) / 2, 40, 250) + rng.normal(0, noise_kt, len(t))
    return t, np.round(altitude / quantum_ft) * quantum_ft, np.round(speed, 1)


def channels(altitude: np.ndarray, speed: np.ndarray) -> dict[str, Channel]:
    return {"pressure_altitude": Channel(altitude * FT), "indicated_airspeed": Channel(speed * KT)}


KINDS = [{"rate": 1.0}, {"rate": 8.0, "hours": 0.7}, {"rate": 16.0, "hours": 0.4}, {"rate": 0.125},
         {"rate": 0.25, "quantum_ft": 100.0}, {"quantum_ft": 100.0},
         {"climb_fpm": 600, "hours": 1.0},
         {"hours": 10.0, "rate": 0.5}, {"noise_ft": 40.0, "noise_kt": 6.0}, {"climb_fpm": 8000}]


@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_a_flight_is_believed(kind: dict) -> None:
    t, altitude, speed = flight(**kind)
    assert doubt(t, channels(altitude, speed)) == ""


@pytest.mark.parametrize("kind", KINDS, ids=str)
@pytest.mark.parametrize("factor", [60, 1000, 3600, 86400, 1e6, 1e9])
def test_a_clock_that_runs_too_fast_is_doubted(factor: float, kind: dict) -> None:
    t, altitude, speed = flight(**kind)
    assert doubt(t / factor, channels(altitude, speed))


@pytest.mark.parametrize("kind", [one for one in KINDS if one.get("rate", 1.0) <= 8], ids=str)
@pytest.mark.parametrize("factor", [1000, 3600, 1e6])
def test_a_clock_that_runs_too_slow_is_doubted(factor: float, kind: dict) -> None:
    t, altitude, speed = flight(**kind)
    assert doubt(t * factor, channels(altitude, speed))


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("rate", [0.25, 1.0, 8.0])
def test_dirt_is_no_misread_clock(rate: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    t, altitude, speed = flight(hours=0.5 + rng.random(), rate=rate, seed=seed,
                                ceiling=rng.choice([3000.0, 35000.0]))
    bad = rng.random(len(t)) < 0.01
    altitude[bad] = rng.uniform(-2000, 60000, bad.sum())
    speed[rng.random(len(t)) < 0.01] *= 10
    stuck = slice(len(t) // 2, len(t) // 2 + int(8 * rate) + 1)
    altitude[stuck] += 4096
    speed[stuck] += 128
    assert doubt(t, channels(altitude, speed)) == ""


@pytest.mark.parametrize("rate", [1.0, 4.0])
def test_level_flight_with_nothing_but_dirt_is_no_misread_clock(rate: float) -> None:
    t = np.arange(0, 1200, 1 / rate)
    altitude, speed = np.full(len(t), 30000.0), np.full(len(t), 250.0)
    for bit in range(1, 14):
        at = len(t) * bit // 15
        altitude[at : at + int(8 * rate)] += 2.0**bit
        speed[at : at + int(8 * rate)] += 2.0 ** (bit % 8)
    assert doubt(t, channels(altitude, speed)) == ""


def test_a_real_dive_and_a_helicopter_are_believed() -> None:
    t = np.arange(0, 300, 0.25)
    dive = 35000 - np.clip((t - 120) * 500, 0, 25000)
    speed = 250 + np.clip((t - 120) * 4, 0, 200)
    assert doubt(t, channels(dive, speed)) == ""
    assert doubt(t, channels(1000 + 50 * t, np.zeros(len(t)))) == ""


def test_slow_channels_and_pressures_are_looked_at() -> None:
    t, altitude, speed = flight()
    slow = {"pressure_altitude": Channel(altitude[::4] * FT, np.arange(0, len(t), 4, np.int32)),
            "indicated_airspeed": Channel(speed[::2] * KT, np.arange(0, len(t), 2, np.int32))}
    assert doubt(t, slow) == ""
    assert "ft/min at a true airspeed of" in doubt(t / 60, slow)
    pressure = {"static_pressure": Channel(101325 * (1 - 2.25577e-5 * altitude * FT) ** 5.25588)}
    assert doubt(t, pressure) == ""
    assert "ft/min" in doubt(t / 60, pressure)
    assert "kt a second" in doubt(t / 150, {"indicated_airspeed": Channel(speed * KT)})
    assert doubt(t, {}) == doubt(t[:5] / 1e9, channels(altitude[:5], speed[:5])) == ""


def written(folder: Path, header: str, stamps: list[str], rate: float) -> Path:
    t = np.arange(len(stamps)) / rate
    rows = [f"{stamp};{altitude:.0f};{speed:.1f}" for stamp, altitude, speed in zip(
        stamps, 3000 + 25 * t, 200 + 40 * np.sin(t / 90), strict=True)]
    return export(folder, lines(f"{header};press_alt_ft;ias_kt", rows))


@pytest.mark.parametrize(("header", "stamps", "rate", "clause"), [
    ("Time", [f"{t / 2 / 60:.4f}" for t in range(600)], 2, "hardly one of seconds"),
    ("Time", [f"{t / 5:.1f}" for t in range(600)], 1 / 12, "ft/min at a true airspeed of"),
    ("Time [s]", [f"{t / 60:.4f}" for t in range(600)], 1, "ft/min at a true airspeed of"),
    ("Time [s]", [f"{t / 86400:.7f}" for t in range(600)], 1, "rows a second"),
    ("Time [s]", [f"{t * 1000}" for t in range(600)], 1, "only one row in 17 min"),
    ("Time [ms]", [f"{t * 8}" for t in range(600)], 1, "ft/min at a true airspeed of"),
    ("Time [us]", [f"{t * 1000}" for t in range(600)], 1, "rows a second"),
    ("Time", [f"10:{t // 2:02}" for t in range(120)], 1 / 30, "hours and minutes, or"),
    ("Time", [f"10:{t:02}" for t in range(60)], 1 / 60, "as minutes and seconds, the altitude"),
], ids=["minutes", "12 s in minutes", "stated wrongly", "days as s", "ms as s", "s as ms",
        "ms as us", "two a minute", "one a minute"])
def test_a_misread_clock_is_asked_for(header: str, stamps: list[str], rate: float, clause: str,
                                      tmp_path: Path) -> None:
    path = written(tmp_path, header, stamps, rate)
    for way in (lambda: read_log(path), lambda: list(read_flights(path))):
        with pytest.raises(Problem) as caught:
            way()
        assert clause in caught.value.sentence
        assert "columns file" in caught.value.sentence


def test_digits_whose_minute_ends_below_the_first_rows_are_no_seconds(tmp_path: Path) -> None:
    stamps = [f"{t // 3600:02}{t // 60 % 60:02}{t % 60:02}" for t in (
        36001 + i // 16 for i in range(8000))]
    path = written(tmp_path, "Time", stamps, 16)
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f'{path}: the time column "Time" was misread: as elapsed s, none of its numbers ends in 60 '
        "to 99, which shows hours, minutes and seconds in one number; state what it counts in a "
        'columns file, such as time = { column = "Time", unit = "min" }, or form = "hhmmss" or '
        'form = "time of day" under [clock].')
    log = read_log(path, ColumnsFile.model_validate({"clock": {"form": "hhmmss"}}))
    np.testing.assert_allclose(log.time, np.arange(8000) / 16, atol=1e-6)
