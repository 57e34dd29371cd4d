"""The command line's wall time, in fresh processes.

    python tests/benchmarks/bench_command.py [ROUNDS]

Prints how long ``loganalyze analyze`` takes for one 2-hour 4 Hz log with all its outputs, as a
ratio to a plain pandas and matplotlib script (``plain_script.py``) that does just Mach, true
airspeed, margin and one PNG: the median of 11 rounds, each running both. Then how much longer
``loganalyze --help`` takes than Python takes to start.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
ROOT = HERE.parents[1]

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 245
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.48
"""


def write_log(path: Path) -> None:
    """Write an invented flight of two hours, 28,800 rows, that exceeds both limits."""
    rng = np.random.default_rng(20)
    t = np.arange(28_800) / 4
    x = t / t[-1]
    altitude = np.interp(x, [0, 0.05, 0.3, 0.7, 0.93, 1], [500, 500, 24000, 24000, 500, 500])
    cas = np.interp(x, [0, 0.02, 0.1, 0.25, 0.3, 0.69, 0.72, 0.8, 0.83, 1],
                    [0, 0, 220, 220, 190, 195, 240, 250, 230, 110])
    cas = np.abs(cas + np.convolve(rng.normal(0, 3, t.size), np.ones(40) / 40, "same"))
    sat = 15 - altitude * 0.00198 + 6
    with path.open("w", encoding="utf-8") as stream:
        stream.write("Time [s],Pressure Altitude [ft],CAS [kt],SAT [degC]\n")
        for row in zip(t, altitude, cas, sat, strict=True):
            stream.write("{:.2f},{:.0f},{:.2f},{:.2f}\n".format(*row))


def seconds(arguments: list[str], bytecode: Path) -> float:
    """Wall time of a fresh Python process; it finds its bytecode, as an installed program does."""
    start = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL,
                   env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "",
                                     "PYTHONPYCACHEPREFIX": str(bytecode)})
    return time.perf_counter() - start


def main(rounds: int = 11) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        log, sheet = folder / "flight.csv", folder / "limits.toml"
        write_log(log)
        sheet.write_text(SHEET, encoding="utf-8")
        ours = ["-m", "loganalyze", "analyze", str(log), "--limits", str(sheet), "--out",
                str(folder / "out"), "--overwrite"]
        plain = [str(HERE / "plain_script.py"), str(log), str(folder / "plain.png")]
        code = folder / "bytecode"
        seconds(ours, code), seconds(plain, code)
        pairs = [(seconds(ours, code), seconds(plain, code)) for _ in range(rounds)]
        helped, bare = ["-m", "loganalyze", "--help"], ["-c", "pass"]
        seconds(helped, code), seconds(bare, code)
        helps = [(seconds(helped, code), seconds(bare, code)) for _ in range(rounds)]
    command, script = (statistics.median(times) for times in zip(*pairs, strict=True))
    ratio = statistics.median(one / other for one, other in pairs)
    print(f"analyze, all outputs: {command * 1e3:.0f} ms; plain script: {script * 1e3:.0f} ms; "
          f"ratio {ratio:.2f} (at most 1.2)")
    extra = statistics.median(one - other for one, other in helps)
    print(f"--help: {extra * 1e3:.0f} ms beyond bare Python (at most 100)")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
