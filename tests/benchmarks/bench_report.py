"""The reports' wall time, in fresh processes.

    python tests/benchmarks/bench_report.py [ROUNDS]

For one 2-hour 4 Hz log: how long a process takes that reads, judges and assesses it and writes
report.html and report.pdf, as a ratio to one that reads it and draws a bare matplotlib page with
the same four panels (``plain_page.py``), as a PDF. The median of 11 rounds, each running both;
the processor's time beside the wall's, which a busy machine distorts. Then the files' sizes.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bench_command import SHEET, write_log

HERE = Path(__file__).parent
ROOT = HERE.parents[1]

REPORT = """
import sys
from pathlib import Path
from loganalyze.read import read_log
from loganalyze.sheets.limits_sheet import read_limits
from loganalyze.events.analysis import analyze
from loganalyze.explain.assessment import assess_flight
from loganalyze.show.files.report_files import write_reports
from loganalyze.show.files.log_summary import summarise
log, sheet, folder = map(Path, sys.argv[1:])
assessment = assess_flight(analyze(read_log(log), read_limits(sheet)))
write_reports(folder, assessment, summarise([assessment], limits=sheet))
"""


def seconds(arguments: list[str]) -> tuple[float, float]:
    """Wall and processor time of a fresh Python process."""
    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, *arguments],
                               env=os.environ | {"PYTHONPATH": str(ROOT)})
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"{arguments[:2]} failed")
    return time.perf_counter() - start, usage.ru_utime + usage.ru_stime


def main(rounds: int = 11) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        log, sheet = folder / "flight.csv", folder / "limits.toml"
        write_log(log)
        sheet.write_text(SHEET, encoding="utf-8")
        ours = ["-c", REPORT, str(log), str(sheet), str(folder)]
        plain = [str(HERE / "plain_page.py"), str(log), str(folder / "plain.pdf")]
        seconds(ours), seconds(plain)
        pairs = [(seconds(ours), seconds(plain)) for _ in range(rounds)]
        for which, name in enumerate(("wall", "processor")):
            one, other = (statistics.median(pair[side][which] for pair in pairs)
                          for side in (0, 1))
            ratio = statistics.median(a[which] / b[which] for a, b in pairs)
            print(f"{name}: both reports {one:.2f} s, a bare page {other:.2f} s; "
                  f"ratio {ratio:.2f} (at most 3)")
        for kind in ("html", "pdf"):
            size = (folder / f"report.{kind}").stat().st_size
            print(f"report.{kind}: {size / 1e6:.2f} MB" + (" (at most 3)" if kind == "html"
                                                          else ""))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
