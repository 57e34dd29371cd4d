"""Time of assessing a flight with many exceedances, against the same flight with none.

Best of 5 interleaved rounds after a warm-up, in one process. A limit is ridden in slow waves for
30 to 120 minutes at 8 Hz, with other channels to compare with; the baseline is the same log with
the limit 20 kt higher. Each exceedance costs the same, so its cost in the longest flight over that
in the shortest is to be about 1. Nothing is asserted; read the ratios.

    python tests/benchmarks/bench_exceedances.py [--rounds N]
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from bench_analysis import interleaved

from loganalyze import Analysis, analyze, assess_flight, read_limits, read_log

RATE, WAVE_S = 8, 24.0
"""Samples a second, and seconds from one exceedance to the next."""
MINUTES = (30, 60, 120)
SHEET = """
aircraft = "an invented aircraft"
[airspeed]
recorded = "calibrated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = {maximum}
"""


def table(minutes: int) -> pa.Table:
    """Make a flight that goes over 250 kt by about 2 kt once in every wave."""
    rng = np.random.default_rng(4)
    rows = minutes * 60 * RATE
    seconds = np.arange(rows) / RATE
    airspeed = 249 + 3 * np.sin(2 * np.pi * seconds / WAVE_S) + rng.normal(0, 0.3, rows)
    true = 1.16 * airspeed + rng.normal(0, 0.3, rows)
    columns = {
        "time_s": seconds,
        "pressure_altitude_ft": np.round(10_000 + rng.normal(0, 2, rows)),
        "cas_kt": np.round(airspeed, 2),
        "sat_degc": np.round(-4.8 + rng.normal(0, 0.05, rows), 2),
        "tas_kt": np.round(true, 1),
        "ground_speed_kt": np.round(true + 10, 1),
        "track_deg": np.round(90 + rng.normal(0, 0.2, rows), 1)}
    return pa.table({name: pa.array(values) for name, values in columns.items()})


def judged(folder: Path, minutes: int, maximum: float) -> Analysis:
    """Judge one of the flights against one of the limits."""
    pq.write_table(table(minutes), folder / "log.parquet")
    (folder / "limits.toml").write_text(SHEET.format(maximum=maximum), encoding="utf-8")
    return analyze(read_log(folder / "log.parquet"), read_limits(folder / "limits.toml"))


def main() -> None:
    """Run what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    rounds = parser.parse_args().rounds
    costs = []
    for minutes in MINUTES:
        with tempfile.TemporaryDirectory() as name:
            none, many = (judged(Path(name), minutes, maximum) for maximum in (270, 250))
        count = len(many.exceedances)
        best = interleaved({"none": lambda one=none: assess_flight(one),
                            "many": lambda one=many: assess_flight(one)}, rounds)
        costs.append((best["many"] - best["none"]) / count)
        print(f"{minutes:4d} min: {count:4d} exceedances {best['many'] * 1e3:6.0f} ms, none "
              f"{best['none'] * 1e3:5.0f} ms: {best['many'] / best['none']:5.1f}; "
              f"{costs[-1] * 1e3:.2f} ms an exceedance")
    print(f"an exceedance of the longest flight / of the shortest: {costs[-1] / costs[0]:.2f}")


if __name__ == "__main__":
    main()
