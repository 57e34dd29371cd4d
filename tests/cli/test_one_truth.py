"""Every form of one analysis says the same of each exceedance, in the units asked for."""

from __future__ import annotations

import csv
import html
import json
import re
from pathlib import Path

import pyarrow.parquet as pq
import pypdf
import pytest

from loganalyze import Presentation
from loganalyze.text.presentation import UNITS

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def clock(seconds: float) -> str:
    tenths = round(seconds * 10)
    return f"{tenths // 36000}:{tenths // 600 % 60:02d}:{tenths % 600 / 10:04.1f}"


def length(seconds: float) -> str:
    return f"{round(seconds) // 60} min {round(seconds) % 60:02d} s"


def said(path: Path) -> str:
    """The text of a page, of paper or of a picture."""
    if path.suffix == ".pdf":
        text = " ".join(page.extract_text() for page in pypdf.PdfReader(path).pages)
    elif path.suffix == ".svg":
        text = " ".join(re.findall(r"<!-- (.*?) -->", path.read_text(), re.DOTALL))
    else:
        text = path.read_text(encoding="utf-8")
        text = re.sub(r"<(script|style).*?</\1>", " ", text, flags=re.DOTALL)
        text = html.unescape(re.sub(r"<[^>]+>", " ", text))
    return " ".join(text.split())


def part(text: str, first: str, last: str) -> str:
    """From the last place where `first` stands to the next `last`, or to the end."""
    start = text.rindex(first)
    end = text.find(last, start + len(first))
    return text[start : end if end > 0 else len(text)]


@pytest.mark.parametrize("units", ["kt-ft", "kmh-m"])
@pytest.mark.parametrize("reader", ["crew", "safety", "maintenance"])
def test_page_paper_picture_table_json_and_terminal_agree(run, tmp_path, units, reader):
    done = run("analyze", SAMPLES / "descent_through_mmo_and_vmo.csv", "--limits",
               SAMPLES / "ouzelwing_240.toml", "--out", tmp_path, "--report", "both", "--units",
               units, "--for", reader, "--plot-format", "svg")
    assert done.code == 0, done.err
    folder = tmp_path / "descent_through_mmo_and_vmo"
    flight = json.loads((folder / "summary.json").read_text())["flights"][0]
    rows = list(csv.DictReader((folder / "exceedances.csv").read_text().splitlines()))
    table = pq.read_table(folder / "exceedances.parquet").to_pylist()
    found = flight["exceedances"]
    assert [one["number"] for one in found] == [1, 2] == [int(row["number"]) for row in rows]
    terminal = " ".join(done.out.split())
    quiet = run("analyze", "-q", SAMPLES / "descent_through_mmo_and_vmo.csv", "--limits",
                SAMPLES / "ouzelwing_240.toml", "--units", units, "--for", reader).out
    page, paper, picture = (said(folder / name) for name in (
        "report.html", "report.pdf", "margin.svg"))
    factor, unit = (1, "kt") if units == "kt-ft" else (1.852, "km/h")
    lead = flight["verdict"].splitlines()[0]
    assert f" {unit} over VMO, at " in lead
    for name, form in (("terminal", terminal), ("page", page), ("paper", paper),
                       ("picture", picture)):
        assert lead in form, name
    for one, row, same in zip(found, rows, table, strict=True):
        for key in ("start_s", "duration_s", "time_over_s", "worst_excess_kt"):
            assert float(row[key]) == one[key] == same[key], key
        assert row["limit"] == one["limit"] == same["limit"]
        assert row["severity"] == one["severity"] == same["severity"] == "medium"
        worst = f"{one['worst_excess_kt'] * factor:.1f} {unit}"
        if one["limit"] == "MMO":
            worst = f"Mach {one['worst_excess_mach']:.3f} ({worst})".replace("0.", ".", 1)
        start, span, over = (clock(one["start_s"] - one["flight_start_s"]),
                             length(one["duration_s"]), length(one["time_over_s"]))
        assert span != over
        number, limit = one["number"], one["limit"]
        cells = f"{number} {limit} {start} {span} {over} {worst} medium"
        assert cells in terminal
        assert re.search(
            rf"{number} {limit}( exceeded by|, over but not proven:) {re.escape(worst)}( over)?, "
            rf"{start} to [\d:.]+: span {span}, time over {over}, severity medium", picture)
        for form in (page, paper):
            heading = f"Exceedance {number}: {limit} by {worst}"
            begun = f"{limit} was exceeded from {start} to "
            assert re.search(rf"{re.escape(heading)}.{{0,300}}{begun}", form), heading
            own = part(form, begun, "Gear ")
            assert f": {span} from start to end, {over} over." in own
            assert f"{worst} over the limit of " in own
            assert "Severity medium (" in own
            assert f"Time over the limit {over}" in own
        assert re.search(rf"\b{number} {limit} {start} {re.escape(worst)} over {span} {over} ",
                         page), "the page's table"
    assert Presentation(units=UNITS[units]).units.speed == unit
    decisive = found[1]
    size = f"{decisive['worst_excess_kt'] * factor:.1f} {unit}"
    at = clock(decisive["worst_time_s"] - decisive["flight_start_s"])
    assert (f": exceeded: VMO by {size} at {at} (proven over), 2 exceedances, severity medium"
            in quiet)
    if reader == "maintenance":
        assert f"Time over any limit {length(flight['time_over_s'])}" in page
        assert flight["time_over_s"] < sum(one["time_over_s"] for one in found)


def test_the_outside_air_temperature_is_the_static_one_and_a_raw_probe_says_so(run, tmp_path):
    run("analyze", SAMPLES / "descent_through_mmo_and_vmo.csv", "--limits",
        SAMPLES / "ouzelwing_240.toml", "--out", tmp_path, "--report", "html")
    folder = tmp_path / "descent_through_mmo_and_vmo"
    page = said(folder / "report.html")
    samples = pq.read_table(folder / "samples.parquet").to_pylist()
    worst = json.loads((folder / "summary.json").read_text())["flights"][0]["exceedances"][1]
    at = next(row for row in samples if row["time_s"] == worst["worst_time_s"])
    assert f"Outside air temperature (SAT) {at['static_air_temperature_degc']:.1f} degC" in page
    raw = float(re.search(r"Temperature probe, raw reading (-?[\d.]+) degC", page)[1])
    assert raw > at["static_air_temperature_degc"] + 3
