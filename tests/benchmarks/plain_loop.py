"""What one would write by hand for a fleet: the yardstick of ``bench_fleet.py``.

    python tests/benchmarks/plain_loop.py loop|bare FOLDER

``loop`` : read each file with pandas, Mach, true airspeed, two limits, runs over them; no
corrections, no gaps, no checks, no outputs. ``bare`` : only read each file with pyarrow.
"""

import os
import sys
from pathlib import Path

os.environ["OMP_NUM_THREADS"] = "1"
import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

A0 = 340.293988


def judge(log):
    """Return how often two limits are exceeded, and the largest excess of each."""
    altitude = log["Pressure Altitude [ft]"] * 0.3048
    cas = log["IAS [kt]"] * 1852 / 3600
    probe = log["OAT [degC]"] + 273.15
    delta = np.where(altitude < 11000, (1 - 2.25577e-5 * altitude) ** 5.2558798,
                     0.223361 * np.exp((11000 - altitude) / 6341.62))
    impact = (1 + 0.2 * (cas / A0) ** 2) ** 3.5 - 1
    mach = np.sqrt(5 * ((impact / delta + 1) ** (2 / 7) - 1))
    log["tas"] = mach * np.sqrt(1.4 * 287.05287 * probe / (1 + 0.2 * 0.85 * mach**2))
    log["mach"] = mach
    found = []
    for value, limit in ((log["IAS [kt]"], 245.0), (mach, 0.48)):
        over = value > limit
        runs = (over != over.shift()).cumsum()[over]
        found.append((runs.nunique(), (value - limit).max()))
    return found


def main():
    pa.set_cpu_count(1)
    what, folder = sys.argv[1], Path(sys.argv[2])
    if what == "loop":
        import pandas as pd
    bad = 0
    for path in sorted(folder.iterdir()):
        parquet = path.suffix == ".parquet"
        try:
            if what == "bare":
                if parquet:
                    pq.read_table(path, use_threads=False)
                else:
                    pacsv.read_csv(path, pacsv.ReadOptions(use_threads=False))
            else:
                judge(pd.read_parquet(path) if parquet else pd.read_csv(path))
        except (KeyError, ValueError, OSError):
            bad += 1
    print(bad)


main()
