"""Time of the uncertainty at every sample, and of the assurance, beside the analysis itself.

Best of 7 interleaved rounds after a warm-up, in one process, on the log of `bench_analysis`. The
main plan's bounds times 1.5: analysis and uncertainty at most 2.25 times the two-line formula;
with reading at most 4.5 times the bare Parquet (6 without AVX-512) and 2.6 times the bare CSV.
Nothing is asserted; read the ratios.

    python tests/benchmarks/bench_assess.py [--rows N] [--rounds N]
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np
import pyarrow.csv as pacsv
import pyarrow.parquet as pq
from bench_analysis import SHEET, interleaved, report, simd, table, two_lines

from loganalyze import analyze, read_limits, read_log
from loganalyze.uncertainty.exceedance_probability import assured
from loganalyze.uncertainty.near_misses import near_misses
from loganalyze.uncertainty.sample_uncertainty import uncertainty_of


def compare(folder: Path, rows: int, rounds: int, *, wide: bool) -> None:
    """Print the ratios on one log."""
    parquet, csv = folder / "log.parquet", folder / "log.csv"
    data = table(rows, wide=wide)
    pq.write_table(data, parquet)
    pacsv.write_csv(data, csv)
    (folder / "limits.toml").write_text(SHEET, encoding="utf-8")
    log, sheet = read_log(parquet), read_limits(folder / "limits.toml")
    arrays = [log.aligned(name) for name in
              ("pressure_altitude", "indicated_airspeed", "static_air_temperature")]
    analysis = analyze(log, sheet)
    uncertainty = uncertainty_of(analysis)
    near = near_misses(uncertainty)
    print(f"{rows:,} rows, {'with' if wide else 'without'} nulls: "
          f"{len(analysis.exceedances)} exceedances, {len(near)} near")
    report(interleaved({
        "two-line formula": lambda: two_lines(*arrays),
        "analysis": lambda: analyze(log, sheet),
        "uncertainty": lambda: uncertainty_of(analysis).columns,
        "analysis + uncertainty": lambda: uncertainty_of(analyze(log, sheet)).columns,
        "exceedances assured": lambda: assured(uncertainty),
        "near stretches assured": lambda: near_misses(uncertainty),
        "bare Parquet": lambda: pq.ParquetFile(parquet, pre_buffer=False).read(),
        "Parquet + analysis + uncertainty":
            lambda: uncertainty_of(analyze(read_log(parquet), sheet)).columns,
        "bare CSV": lambda: pacsv.read_csv(csv),
        "CSV + analysis + uncertainty":
            lambda: uncertainty_of(analyze(read_log(csv), sheet)).columns,
    }, rounds), [
        ("uncertainty", "analysis"),
        ("analysis + uncertainty", "two-line formula"),
        ("exceedances assured", "analysis"),
        ("near stretches assured", "analysis"),
        ("Parquet + analysis + uncertainty", "bare Parquet"),
        ("CSV + analysis + uncertainty", "bare CSV"),
    ])


def main() -> None:
    """Run what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=5_760_000)
    parser.add_argument("--rounds", type=int, default=7)
    chosen = parser.parse_args()
    print(f"NumPy {np.__version__}, SIMD: {simd()}")
    for wide in (False, True):
        with tempfile.TemporaryDirectory() as name:
            compare(Path(name), chosen.rows, chosen.rounds, wide=wide)


if __name__ == "__main__":
    main()
