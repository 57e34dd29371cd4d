"""Time and memory of reading and judging, as ratios against plain pyarrow and plain NumPy.

Best of 7 interleaved rounds after a warm-up, in one process. The baselines run beside what they
are compared with: pyarrow only reading the same file, and the two-line formula for Mach number
and TAS over whole arrays. Nothing is asserted; read the ratios.

    python tests/benchmarks/bench_analysis.py [--rows N] [--rounds N] [--stream ROWS]
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from loganalyze import analyze, read_flights, read_limits, read_log
from loganalyze.testing import engine

SHEET = """
aircraft = "an invented aircraft"
[airspeed]
recorded = "calibrated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
by_pressure_altitude = [[0, 245], [8000, 260], [20000, 255]]
outside = "hold"
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.60
[[limit]]
name = "MMO loaded"
quantity = "mach"
by_pressure_altitude = [[0, 0.62], [31000, 0.61]]
outside = "hold"
[[limit]]
name = "VD"
quantity = "equivalent_airspeed"
maximum_kt = 300
[[limit]]
name = "VNE"
quantity = "calibrated_airspeed"
maximum_kt = 290
[[limit]]
name = "VFE 20"
quantity = "indicated_airspeed"
maximum_kt = 180
when = { flap_deg = { above = 1, up_to = 20 } }
"""

LIMITS = {"analysis, all columns": "1.5", "Parquet + all columns": "3, without AVX-512 4",
          "Parquet + verdict alone": "2.2", "CSV + all columns": "1.75"}
"""What each ratio is to stay within."""

FLIGHT = 60_000
"""Rows of one flight's profile: climb, cruise, descent, approach."""


def table(rows: int, *, wide: bool = False) -> pa.Table:
    """Make a log of flights end to end, a few of which run over a limit."""
    rng = np.random.default_rng(7)
    seconds = np.arange(rows) / 8.0
    flights = -(-rows // FLIGHT)
    share = np.linspace(0, 1, FLIGHT)
    height = np.interp(share, [0, 0.25, 0.7, 0.95, 1], [1000, 27000, 27000, 2500, 1000])
    speed = np.interp(share, [0, 0.02, 0.25, 0.3, 0.7, 0.75, 0.9, 0.95, 1],
                      [140, 205, 205, 215, 215, 232, 232, 165, 120])
    extra = np.repeat(rng.choice([0.0, 0.0, 0.0, 12.0], flights), FLIGHT)[:rows]
    altitude = np.round(np.tile(height, flights)[:rows] + rng.normal(0, 2, rows))
    airspeed = np.round(np.tile(speed, flights)[:rows] + extra + rng.normal(0, 0.4, rows), 2)
    flap = np.tile(np.where(share > 0.94, 15.0, 0.0), flights)[:rows]
    kelvin = 288.15 - 0.0065 * 0.3048 * altitude
    heat = np.round(kelvin - 273.15 + 5 + rng.normal(0, 0.1, rows), 2)
    columns = {"time_s": seconds, "pressure_altitude_ft": altitude, "ias_kt": airspeed,
               "sat_degc": heat, "flap_deg": flap}
    if not wide:
        return pa.table({name: pa.array(values) for name, values in columns.items()})
    arrays = {"time_s": pa.array(seconds)}
    for name, values in list(columns.items())[1:]:
        lost = rng.random(rows) < 0.01
        kind = pa.int32() if name in ("pressure_altitude_ft", "flap_deg") else pa.float32()
        arrays[name] = pa.array(values, mask=lost).cast(kind)
    for i in range(25):
        arrays[f"engine_parameter_{i}"] = pa.array(rng.normal(0, 1, rows).astype(np.float32))
    return pa.table(arrays)


def interleaved(jobs: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Run all jobs once to warm up, then in turn; return the best time of each [s]."""
    best = dict.fromkeys(jobs, float("inf"))
    for turn in range(rounds + 1):
        for name, plan in jobs.items():
            start = time.perf_counter()
            plan()
            if turn:
                best[name] = min(best[name], time.perf_counter() - start)
    return best


def report(best: dict[str, float], pairs: list[tuple[str, str]],
           limits: dict[str, str] | None = None) -> None:
    """Print each time, and each pair's ratio, with its limit if it has one."""
    for name, seconds in best.items():
        print(f"  {name:44s}{seconds * 1e3:9.0f} ms")
    for plan, baseline in pairs:
        limit = f" (limit {limits[plan]})" if limits and plan in limits else ""
        print(f"  {plan} / {baseline}: {best[plan] / best[baseline]:.2f}{limit}")


def two_lines(altitude: np.ndarray, cas: np.ndarray, kelvin: np.ndarray) -> tuple:
    """Mach number and TAS as two lines of plain NumPy over whole arrays."""
    mach = np.sqrt(5 * ((((1 + 0.2 * (cas / 340.294) ** 2) ** 3.5 - 1)
                         / (1 - 2.25577e-5 * altitude) ** 5.25588 + 1) ** (2 / 7) - 1))
    return mach, mach * 340.294 * np.sqrt(kelvin / 288.15)


def compare(folder: Path, rows: int, rounds: int, *, wide: bool) -> None:
    """Print the ratios on one log."""
    data = table(rows, wide=wide)
    parquet, csv = folder / "log.parquet", folder / "log.csv"
    pq.write_table(data, parquet)
    pacsv.write_csv(data, csv)
    (folder / "limits.toml").write_text(SHEET, encoding="utf-8")
    sheet = read_limits(folder / "limits.toml")
    log = read_log(parquet)
    arrays = [log.aligned(name) for name in
              ("pressure_altitude", "indicated_airspeed", "static_air_temperature")]
    kind = "1 % nulls, int32 and float32, 30 columns" if wide else "float64, 5 columns"
    print(f"{rows:,} rows, {kind}, {csv.stat().st_size / 1e6:.0f} MB CSV, "
          f"{parquet.stat().st_size / 1e6:.0f} MB Parquet, six limits")
    best = interleaved({
        "two-line formula": lambda: two_lines(*arrays),
        "analysis, all columns": lambda: analyze(log, sheet),
        "analysis, verdict alone": lambda: analyze(log, sheet, verdict_only=True),
        "bare Parquet": lambda: pq.ParquetFile(parquet, pre_buffer=False).read(),
        "read Parquet": lambda: read_log(parquet),
        "Parquet + all columns": lambda: analyze(read_log(parquet), sheet),
        "Parquet + verdict alone":
            lambda: analyze(read_log(parquet), sheet, verdict_only=True),
        "bare CSV": lambda: pacsv.read_csv(csv),
        "read CSV": lambda: read_log(csv),
        "CSV + all columns": lambda: analyze(read_log(csv), sheet),
    }, rounds)
    report(best, [
        ("analysis, all columns", "two-line formula"),
        ("Parquet + all columns", "bare Parquet"),
        ("Parquet + verdict alone", "bare Parquet"),
        ("CSV + all columns", "bare CSV"),
    ], LIMITS)
    print(f"  inner loops {compiled()}")
    # What writes results takes memory that a stream of flights has no use for.
    from loganalyze import write_results

    start = time.perf_counter()
    write_results([analyze(read_log(parquet), sheet)], folder / "out")
    print(f"  Parquet + all columns + samples.parquet written: "
          f"{(time.perf_counter() - start) * 1e3:.0f} ms")


GROUP = 250_000
"""Rows of a row group of the long log."""


def make_long(path: Path, rows: int, flight: int) -> None:
    """Write a long Parquet log: flights of so many rows, hours apart."""
    piece = table(flight)
    waiting = piece.slice(0, 0)
    with pq.ParquetWriter(path, piece.schema) as writer:
        for i in range(max(1, rows // flight)):
            # A flight at 8 Hz, and four hours on the ground.
            shifted = piece["time_s"].to_numpy() + i * (flight / 8 + 14_400.0)
            waiting = pa.concat_tables([waiting, piece.set_column(0, "time_s", pa.array(shifted))])
            whole = len(waiting) // GROUP * GROUP  # A group may begin in the midst of a flight.
            writer.write_table(waiting.slice(0, whole), GROUP)
            waiting = waiting.slice(whole)
        if len(waiting):
            writer.write_table(waiting, GROUP)


def bare_batches(path: Path) -> None:
    """Run over all batches and do nothing with them."""
    for _ in pq.ParquetFile(path, pre_buffer=False).iter_batches(131_072):
        pass


def judge_long(path: Path, limits: Path) -> None:
    """Judge every flight of a long log, all columns, one after the other."""
    sheet = read_limits(limits)
    number = found = 0
    # enumerate would keep the flight that it gave last.
    for flight in read_flights(path):
        number += 1
        found += len(analyze(flight, sheet, flight=number).exceedances)
        del flight  # or it would stay while the next one is read
    print(f"  {number} flights, {found} exceedances; inner loops {compiled()}")


def _measured(plan: Callable[..., None], arguments: tuple, pipe) -> None:
    start = time.perf_counter()
    plan(*arguments)
    pipe.send((time.perf_counter() - start, peak_mb()))


def peak_mb() -> float:
    """Greatest resident memory of this process so far [MB]."""
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii")
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    # What getrusage gives counts the parent's memory at the fork, too.
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def apart(plan: Callable[..., None], *arguments: object) -> tuple[float, float]:
    """Run a plan in a process of its own; return its time [s] and peak memory [MB]."""
    here, there = multiprocessing.Pipe()
    context = multiprocessing.get_context("spawn")
    process = context.Process(target=_measured, args=(plan, arguments, there))
    process.start()
    result = here.recv()
    process.join()
    return result


def stream(folder: Path, rows: int, flight: int, limit: str) -> None:
    """Print time and peak memory of judging a long log flight by flight."""
    path, limits = folder / "long.parquet", folder / "limits.toml"
    make_long(path, rows, flight)
    limits.write_text(SHEET, encoding="utf-8")
    print(f"{rows:,} Parquet rows, {path.stat().st_size / 1e6:.0f} MB, in flights of {flight:,}")
    apart(bare_batches, path)
    bare = min(apart(bare_batches, path)[0] for _ in range(2))
    judged = [apart(judge_long, path, limits) for _ in range(2)]
    seconds, memory = min(judged)[0], max(peak for _, peak in judged)
    print(f"  bare batches {bare:.1f} s; all columns {seconds:.1f} s, peak {memory:.0f} MB; "
          f"ratio {seconds / bare:.2f}{limit}")


def simd() -> str:
    """Return the widest instruction set that NumPy dispatches to here."""
    found = np.show_config(mode="dicts")["SIMD Extensions"]
    return " ".join(found.get("found", [])[-3:]) or "baseline only"


def compiled() -> str:
    """Tell whether the inner loops are compiled by now."""
    try:
        with engine("compiled"):
            return "compiled by numba"
    except RuntimeError:
        return "plain NumPy"


def main() -> None:
    """Run what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=5_760_000)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--stream", type=int, default=100_000_000, help="0: leave it out")
    chosen = parser.parse_args()
    print(f"NumPy {np.__version__}, SIMD: {simd()}; pyarrow {pa.__version__}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        compare(folder, chosen.rows, chosen.rounds, wide=False)
    with tempfile.TemporaryDirectory() as name:
        compare(Path(name), chosen.rows, chosen.rounds, wide=True)
    # Long flights take the memory, many of them the time.
    for flight, limit in ((2_000_000, " (limits: 600 MB, 3.5)"), (288_000, "")):
        if chosen.stream:
            with tempfile.TemporaryDirectory() as name:
                stream(Path(name), chosen.stream, flight, limit)


if __name__ == "__main__":
    main()
