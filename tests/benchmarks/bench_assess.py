"""Time of the uncertainty at every sample, and of the assurance, beside the analysis itself.

Best of 7 interleaved rounds after a warm-up, in one process, on the log of `bench_analysis`. The
uncertainty may add half of the analysis of all columns. Nothing is asserted; read the ratios.

    python tests/benchmarks/bench_assess.py [--rows N] [--rounds N]
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
from bench_analysis import SHEET, interleaved, report, simd, table

from loganalyze import analyze, read_limits, read_log
from loganalyze.assess.near import near_misses
from loganalyze.assess.probability import assured
from loganalyze.assess.uncertainty import uncertainty_of


def compare(folder: Path, rows: int, rounds: int, *, wide: bool) -> None:
    """Print the ratios on one log."""
    pq.write_table(table(rows, wide=wide), folder / "log.parquet")
    (folder / "limits.toml").write_text(SHEET, encoding="utf-8")
    log, sheet = read_log(folder / "log.parquet"), read_limits(folder / "limits.toml")
    analysis = analyze(log, sheet)
    uncertainty = uncertainty_of(analysis)
    near = near_misses(uncertainty)
    print(f"{rows:,} rows, {'with' if wide else 'without'} nulls: "
          f"{len(analysis.exceedances)} exceedances, {len(near)} near")
    report(interleaved({
        "analysis, all columns": lambda: analyze(log, sheet),
        "uncertainty of all columns": lambda: uncertainty_of(analysis).columns,
        "analysis and uncertainty": lambda: uncertainty_of(analyze(log, sheet)).columns,
        "exceedances assured": lambda: assured(uncertainty),
        "near stretches found and assured": lambda: near_misses(uncertainty),
    }, rounds), [
        ("analysis and uncertainty", "analysis, all columns"),
        ("uncertainty of all columns", "analysis, all columns"),
        ("exceedances assured", "analysis, all columns"),
        ("near stretches found and assured", "analysis, all columns"),
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
