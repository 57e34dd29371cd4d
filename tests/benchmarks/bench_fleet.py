"""Samples a second from a fleet's logs to a finished store, against plain pyarrow and pandas.

    python tests/benchmarks/bench_fleet.py [--flights N] [--minutes N] [--workers N] [--scale]

Writes a simulated fleet of 25 columns at 4 Hz, one file in a hundred damaged, as Parquet and as
CSV, and judges it by the command, every measure included. Beside it, in the same run and in
processes of their own: pyarrow only reading the same files, and what one would write by hand
(``plain_loop.py``: read with pandas, Mach, TAS, limits, runs over them, no outputs), both with one
process; the command is also run with one. Printed are samples a second by the clock and by
processor time, which other programs on the machine disturb less, and the largest process's memory.
``--scale`` judges 100, 1,000 and 10,000 short flights (200 s) instead, of which a flight has to
cost, and a process to hold, the same. Nothing is asserted; read the ratios.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from loganalyze.simulate import MMO, VMO_KT, Recorder, fly_descent

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
RATE_HZ = 4
WIND_KT, TURN_DEG_S, TURN_S = 12.0, 3.0, 60.0
"""A wind from the west, and two half circles, of which each turns so fast and lasts so long."""
BAD = 100
"""One file in so many is cut off."""
BYTECODE = Path(tempfile.gettempdir()) / "loganalyze-benchmark-bytecode"
SCALES = (100, 1_000, 10_000)
SHORT_ROWS = 800
SHEET = f"""
aircraft = "an invented twin turboprop"
[airspeed]
recorded = "indicated"
[temperature]
outside_air = "probe"
recovery_factor = 0.85
[[limit]]
name = "VMO"
quantity = "indicated_airspeed"
maximum_kt = {VMO_KT:g}
[[limit]]
name = "MMO"
quantity = "mach"
maximum = {MMO:g}
[[limit]]
name = "VFE 10"
quantity = "indicated_airspeed"
maximum_kt = 175
when = {{ flap_deg = {{ above = 2, up_to = 13 }} }}
"""


def course(time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the heading [rad] and its rate [rad/s]: two half circles in the last half hour."""
    rate = np.zeros(len(time))
    for before_end_s in (1_500, 900):
        begun = time - (time[-1] - before_end_s)
        rate[(begun >= 0) & (begun < TURN_S)] = np.radians(TURN_DEG_S)
    return np.pi / 2 + np.cumsum(rate) / RATE_HZ, rate


def flight(number: int, minutes: float) -> pa.Table:
    """Return one flight of 25 columns; its crew leaves 9 kt to the limit, with 6 kt of scatter."""
    rng = np.random.default_rng(number)
    truth = fly_descent(float(rng.normal(9, 6)), number % 365, rng,
                        more_level_s=max(0.0, 60 * minutes - 2900))
    rows = Recorder(
        rate_hz=RATE_HZ, altitude_step_ft=4.0, airspeed_step_kt=0.25, temperature_step_degc=0.25,
        altitude_noise_ft=2.0, airspeed_noise_kt=0.15, temperature_noise_degc=0.1,
        recovery_factor=0.85, flap_offset_deg=1.2).record(truth, number)
    seen = truth.at(rows["time_s"])
    size = len(seen.time)
    start = np.datetime64("2031-01-01T06:00", "ms") + np.timedelta64(number * 7, "h")
    speed = seen.true_airspeed / 0.514444
    heading, rate = course(seen.time)
    north_kt, east_kt = (
        speed * np.cos(heading), speed * np.sin(heading) + WIND_KT * (speed > 60))
    ground = np.hypot(north_kt, east_kt)
    climb = np.gradient(seen.pressure_altitude, seen.time) / 0.3048 * 60
    north, east = (np.cumsum(part) / RATE_HZ / 3600 / 60 for part in (north_kt, east_kt))
    bank = np.degrees(np.arctan(rate * speed * 0.514444 / 9.80665))
    engine = 60 + 30 * np.clip(speed / 250, 0, 1)

    def noisy(values: np.ndarray | float, deviation: float, decimals: int) -> np.ndarray:
        return np.round(values + rng.normal(0, deviation, size), decimals)

    return pa.table({
        "UTC": pa.array(start + np.round(rows["time_s"] * 1000).astype("timedelta64[ms]"),
                        pa.timestamp("ms", "UTC")),
        "Pressure Altitude [ft]": np.round(rows["pressure_altitude_ft"]),
        "IAS [kt]": rows["airspeed_kt"],
        "OAT [degC]": rows["outside_air_temperature_degc"],
        "Flap [deg]": np.round(rows["flap_deg"], 1),
        "Gear Down": rows["gear_down"].astype(np.int8),
        "Ground Speed [kt]": noisy(ground, 0.2, 1),
        "Heading [deg]": noisy(np.degrees(heading), 0.3, 1) % 360,
        "Track [deg]": noisy(np.degrees(np.arctan2(east_kt, north_kt)), 0.2, 1) % 360,
        "Pitch [deg]": noisy(climb / 500, 0.1, 1), "Roll [deg]": noisy(bank, 0.3, 1),
        "Vertical Speed [ft/min]": noisy(climb, 20, 0),
        "Normal Acceleration [g]": noisy(1, 0.02, 3), "Latitude [deg]": np.round(47 + north, 5),
        "Longitude [deg]": np.round(8 + east, 5),
        "Gross Weight [kg]": np.round(16_000 - seen.time / 10),
        "Autopilot": (speed > 150).astype(np.int8),
        "Weight on Wheels": (seen.pressure_altitude < 95).astype(np.int8),
        **{f"{what} {side}": noisy(engine, 0.2, 1) for what in ("N1", "Torque", "Fuel Flow")
           for side in (1, 2)},
        "Oil Temp 1": noisy(80, 0.3, 0)})


def write_fleet(folder: Path, flights: int, minutes: float, form: str, distinct: int = 120) -> int:
    """Write flights as files of one form; return their samples.

    Of `distinct` flights the others are copies at other times, some rows shorter.
    """
    folder.mkdir(parents=True)
    made = [flight(number, minutes) for number in range(min(distinct, flights))]
    samples = 0
    for number in range(flights):
        path = folder / f"{number:06d}.{form}"
        table = made[number % len(made)]
        again = number // len(made)
        table = table.slice(0, table.num_rows - again)
        stamps = table["UTC"].combine_chunks().cast(pa.int64()).to_numpy()
        table = table.set_column(0, "UTC", pa.array(
            stamps + again * 24 * 3_600_000 * len(made), pa.timestamp("ms", "UTC")))
        if form == "parquet":
            pq.write_table(table, path)
        else:
            pacsv.write_csv(table, path)
        if number % BAD == BAD // 2:
            path.write_bytes(path.read_bytes()[:200])
        else:
            samples += table.num_rows
    return samples


def write_short(folder: Path, flights: int) -> int:
    """Write short flights of 25 columns, all different, as Parquet; return their samples."""
    folder.mkdir(parents=True)
    whole = flight(1, 50)
    first = whole.num_rows - 3_000
    for number in range(flights):
        table = whole.slice(first + number % 20, SHORT_ROWS)
        stamps = table["UTC"].combine_chunks().cast(pa.int64()).to_numpy()
        table = table.set_column(0, "UTC", pa.array(
            stamps + number * 1_000_000, pa.timestamp("ms", "UTC")))
        pq.write_table(table, folder / f"{number:06d}.parquet")
    return flights * SHORT_ROWS


@dataclass(frozen=True)
class Cost:
    """What a program took: seconds by the clock and of the processor, and its largest process."""

    clock_s: float
    cpu_s: float
    peak_mb: float


WAITING = """
import resource, subprocess, sys, time
started = time.perf_counter()
subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)
taken = time.perf_counter() - started
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(taken, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""
"""A small process that only waits: a program begins as a copy of the one that starts it, and the
copy's memory would count as its own."""


def cost(*arguments: object) -> Cost:
    """Run a Python program in a fresh process, with all the processes that it starts."""
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": str(BYTECODE)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    said = subprocess.run(
        [sys.executable, "-c", WAITING, sys.executable, *map(str, arguments)], check=True,
        cwd=ROOT, capture_output=True, text=True, env=environment).stdout
    return Cost(*map(float, said.split()))


def fleet(logs: Path, limits: Path, store: Path, workers: int) -> Cost:
    """Judge the logs by the command."""
    return cost("-m", "loganalyze", "fleet", logs, "--limits", limits, "--store", store,
                "--workers", workers)


def show(name: str, samples: int, taken: Cost, bare: Cost | None = None) -> None:
    """Print one line of figures."""
    ratio = f"{taken.cpu_s / bare.cpu_s:6.2f} of the loop by hand" if bare else ""
    print(f"{name:34s} {samples / taken.clock_s / 1e6:6.2f} M/s by the clock, "
          f"{samples / taken.cpu_s / 1e6:6.2f} M/s of a processor, {taken.peak_mb:5.0f} MB {ratio}",
          flush=True)


def compare(place: Path, flights: int, minutes: float, workers: int) -> None:
    """Print the figures of one fleet in both forms."""
    (place / "limits.toml").write_text(SHEET, encoding="utf-8")
    for form in ("parquet", "csv"):
        logs = place / form
        samples = write_fleet(logs, flights, minutes, form)
        first = place / f"one-{form}"
        first.mkdir()
        shutil.copy(next(logs.iterdir()), first)
        fleet(first, place / "limits.toml", place / f"store-first-{form}", 1)
        print(f"{form}: {flights} files, {samples:,} samples, load {os.getloadavg()[0]:.1f}")
        show("bare pyarrow, one process", samples, cost(HERE / "plain_loop.py", "bare", logs))
        bare = cost(HERE / "plain_loop.py", "loop", logs)
        show("loop by hand, one process", samples, bare)
        show("fleet, one process, one log", samples // flights, fleet(
            first, place / "limits.toml", place / f"store-one-{form}", 0))
        for count in dict.fromkeys((0, workers)):
            name = f"fleet, {count} worker processes" if count else "fleet, one process"
            show(name, samples, fleet(
                logs, place / "limits.toml", place / f"store-{form}-{count}", count), bare)


def scale(place: Path, workers: int) -> None:
    """Print what a short flight costs in fleets of several sizes."""
    (place / "limits.toml").write_text(SHEET, encoding="utf-8")
    for flights in SCALES:
        logs = place / f"{flights}"
        samples = write_short(logs, flights)
        taken = fleet(logs, place / "limits.toml", place / f"store-{flights}", workers)
        print(f"{flights:6d} flights: {taken.cpu_s / flights * 1e3:6.2f} ms of a processor a "
              f"flight, {taken.clock_s / flights * 1e3:6.2f} by the clock, {taken.peak_mb:.0f} MB, "
              f"{samples / taken.cpu_s / 1e6:.2f} M/s, load {os.getloadavg()[0]:.1f}", flush=True)


def main() -> None:
    """Run what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--flights", type=int, default=100)
    parser.add_argument("--minutes", type=float, default=120)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--scale", action="store_true")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        if chosen.scale:
            scale(Path(name), chosen.workers)
        else:
            compare(Path(name), chosen.flights, chosen.minutes, chosen.workers)


if __name__ == "__main__":
    main()
