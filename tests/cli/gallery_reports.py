"""Do page, PDF and picture of every export of the gallery say the one flight's verdict?

    python -m tests.cli.gallery_reports [EXPORTS]

Each export goes through the command with all its files, or so many of them, evenly spread. Pass
rule: exit code 0 (3 without an altitude), every file is there, page and PDF hold the
headline that is printed and a section for each exceedance, and neither has "nan", "None"
or "Traceback" as a word of its text.
"""

from __future__ import annotations

import contextlib
import html
import io
import re
import sys
import tempfile
from pathlib import Path

import pypdf

sys.path.insert(0, str(Path(__file__).parents[1] / "read"))

from gallery.cases import CASES, Case

from loganalyze.cli import main as command

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "indicated"
from_mach = true
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "indicated_airspeed"
maximum_kt = 170
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.27
"""
"""The gallery's flight passes both."""
FILES = {"samples.parquet", "exceedances.csv", "exceedances.parquet", "summary.json",
         "margin.png", "report.html", "report.pdf"}


def faults(case: Case, folder: Path) -> list[str]:
    """Report on one export into a folder of its own; return what is wrong, a line each."""
    sheet, out = folder / "limits.toml", folder / "out"
    sheet.write_text(SHEET)
    more = () if case.columns is None else ("--columns", str(case.columns))
    said, complaints = io.StringIO(), io.StringIO()
    code: object = 0
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(complaints):
        try:
            command(["analyze", str(case.path), "--limits", str(sheet), *more, "--out", str(out),
                     "--report", "both"])
        except SystemExit as stopped:
            code = stopped.code or 0
    # Without an altitude nobody can judge MMO.
    if code != (0 if case.has_altitude else 3):
        return [f"exit code {code}: {complaints.getvalue().strip()}"]
    (results,) = out.iterdir()
    made = {path.name for path in results.iterdir() if path.stat().st_size > 0}
    found = [f"no {name}" for name in sorted(FILES - made)]
    if found:
        return found
    # Behind the log's name: the verdict, of which the first sentence is looked for.
    headline = _plain(said.getvalue().split("\n\n")[1]).partition(".")[0]
    page = (results / "report.html").read_text(encoding="utf-8")
    body = re.sub(r"<(script|style).*?</\1>", " ", page, flags=re.DOTALL)
    text = _plain(html.unescape(re.sub(r"<[^>]+>", " ", body)))
    paper = _plain(" ".join(one.extract_text() for one in pypdf.PdfReader(
        results / "report.pdf").pages))
    limits = ("VMO", "MMO") if case.has_altitude else ("VMO",)
    for kind, words in (("page", text), ("PDF", paper)):
        if _plain(headline) not in words:
            found.append(f"the {kind} lacks the headline: {headline}")
        found += [f"the {kind} has no section of {limit}" for limit in limits
                  if not re.search(rf"Exceedance \d+: {limit} by", words)]
        found += [f"the {kind} says {word}" for word in re.findall(
            r"\b(nan|None|Traceback)\b", words)[:1]]
    return found


def _plain(text: str) -> str:
    return " ".join(text.split())


def main(exports: int = len(CASES)) -> int:
    """Report on the exports; print what is wrong with which, and how many were whole."""
    wrong, chosen = 0, CASES[:: max(len(CASES) // exports, 1)]
    for case in chosen:
        with tempfile.TemporaryDirectory() as folder:
            found = faults(case, Path(folder))
        wrong += bool(found)
        print(f"{case.file}: {'; '.join(found) or 'whole'}", flush=True)
    print(f"{len(chosen) - wrong} of {len(chosen)} exports are whole")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:2])))
