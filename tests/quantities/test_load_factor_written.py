"""What is written of a kind of limit that the program doesn't know: right in every word."""

from __future__ import annotations

import csv
import html
import json
import re
from pathlib import Path

import jsonschema
import numpy as np
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner
from load_factor import register_load_factor

import loganalyze
from loganalyze.cli import group
from loganalyze.quantities.quantity_registry import withdraw
from loganalyze.show.files.result_schemas import schemas

SHEET = """aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
static_source_corrected = true
[temperature]
outside_air = "static"
{stated}
{speeds}
[[limit]]
name = "nz"
quantity = "load_factor"
maximum = 2.5
"""
SPEEDS = """[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 250
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.5
"""
STATED = """[uncertainty.channels]
load_factor = { limits = 0.1 }
[[severity]]
name = "0.3 over"
level = "high"
limits = ["nz"]
excess = 0.3
"""
FOREIGN = re.compile(r"\bkt\b|\bknots?\b|speed|\bVMO\b|\bMach\b|not known|unknown|\bnan\b",
                     re.IGNORECASE)
"""What no sentence about a load factor has a use for."""


def log(folder: Path) -> Path:
    """Four minutes with a pull-up to 2.9 g at 60 s and one to 2.46 g at 180 s."""
    time = np.arange(0, 240, 0.25)
    g = 1 + 1.9 * np.exp(-((time - 60) / 6) ** 2) + 1.46 * np.exp(-((time - 180) / 4) ** 2)
    rows = [f"{t:.2f},{200 + 10 * np.sin(t / 20):.2f},{5000 + 10 * t:.0f},5.0,{n:.3f},{i % 3}"
            for i, (t, n) in enumerate(zip(time, g, strict=True))]
    path = folder / "pull_up.csv"
    path.write_text("Time [s],Calibrated Airspeed [kt],Pressure Altitude [ft],SAT [degC],"
                    "Normal Load Factor [g],Pitch [deg]\n" + "\n".join(rows) + "\n")
    return path


def sheet(folder: Path, speeds: str = SPEEDS, stated: str = STATED) -> Path:
    path = folder / "s.toml"
    path.write_text(SHEET.format(speeds=speeds, stated=stated))
    return path


def ran(*arguments: str | Path) -> str:
    result = CliRunner().invoke(group, [str(one) for one in arguments])
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> tuple[str, Path]:
    """What the command prints, and the folder that it writes."""
    folder = tmp_path_factory.mktemp("written")
    said = ran("analyze", log(folder), "--limits", sheet(folder), "--out", folder / "out",
               "--report", "both", "-v")
    return said, folder / "out" / "pull_up"


def between(text: str, first: str, last: str) -> str:
    assert text.count(first) >= 1, first
    start = text.index(first)
    return text[start : text.index(last, start + len(first))]


def test_the_terminal(written):
    said, _ = written
    about = between(said, "nz was exceeded", "A probability is")
    assert FOREIGN.findall(about) == []
    for sentence in (
            "Worst: 2.90 g, 0.40 g over nz, at 5,600 ft, 0:01:00.0.",
            "Worst at 0:01:00.0: 2.90 g, 0.40 g over the limit of 2.50 g",
            "As flown: 0.29 to 0.51 g over (95 %), proven over",
            "Causes are not computed for limits of load factor.",
            'Severity high (more than 95 %), by the rule "0.3 over": 0.40 g over (0.30 g or more).',
            "Over for 5.8 s, by more than 0.25 g for 3.4 s; never by more than 0.5 g.",
            "Near: nz, 0.04 g under it at 0:03:00.0"):
        assert sentence in about
    assert "Closest to nz: 0.40 g over" in said
    assert "Recorded normal load factor: standard uncertainty 0.058 g (the limits sheet)" in said


@pytest.mark.parametrize("reader", ["crew", "safety", "maintenance"])
def test_the_terminal_where_it_is_the_only_limit(tmp_path, reader):
    said = ran("analyze", log(tmp_path), "--limits", sheet(tmp_path, speeds=""), "--for", reader)
    about = between(said, "nz was exceeded", "Not for use")
    assert FOREIGN.findall(about) == []
    assert "0.40 g over nz" in about


def words(page: str) -> str:
    body = re.sub(r"<(script|style|svg).*?</\1>", " ", page[page.index("<body") :], flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


@pytest.mark.parametrize("reader", ["crew", "safety", "maintenance"])
def test_the_page(tmp_path, reader):
    ran("analyze", log(tmp_path), "--limits", sheet(tmp_path), "--out", tmp_path / "out",
        "--report", "html", "--for", reader)
    page = words((tmp_path / "out" / "pull_up" / "report.html").read_text())
    verdict = page[page.index("nz was exceeded") :][:200]
    assert "0.40 g over nz" in verdict
    start = page.index("Exceedance 1: nz by 0.40 g nz was exceeded")
    stop = min(found for name in (
        "Overspeed warning", "Smallest margins", "What was recorded", "The flight at a glance",
        "Limit airspeed and the flight") if (found := page.find(name, start)) > 0)
    own = page[start:stop]
    assert FOREIGN.findall(own.replace("hatched: unknown", "")) == []  # as of any picture
    assert "Load factor 2.90 g Its limit 2.50 g" in own
    assert "0.40 g over 0.29 to 0.51 g over more than 99 % proven over" in own
    assert ("Causes are not computed for limits of load factor." in own) == (
        reader != "maintenance")


def test_the_pdf_and_the_pictures_are_drawn(written):
    _, folder = written
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF")
    assert (folder / "margin.png").stat().st_size > 10_000


def test_the_pictures_carry_its_unit(tmp_path):
    analysis = loganalyze.analyze(loganalyze.read_log(log(tmp_path)),
                                  loganalyze.read_limits(sheet(tmp_path)))
    assessment = loganalyze.assess_flight(analysis)
    panel = loganalyze.panel_figure(analysis, 0, assessment)
    labels = [axes.get_ylabel() for axes in panel.axes]
    assert labels[:2] == ["load factor [g]", "margin [g]"]
    legend = panel.axes[0].get_legend()
    assert legend is not None
    assert {text.get_text() for text in legend.get_texts()} == {"limit", "load factor"}
    lines = {line.get_label(): line for line in panel.axes[0].get_lines()}
    assert np.nanmax(np.asarray(lines["load factor"].get_ydata(), dtype=float)) == (
        pytest.approx(2.9, abs=1e-6))
    whole = loganalyze.margin_figure(analysis, assessment=assessment)
    said = [text.get_text() for text in whole.texts]
    assert any("nz exceeded by 0.40 g" in one for one in said)


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text().splitlines()))


def test_the_files(written):
    _, folder = written
    [row] = rows(folder / "exceedances.csv")
    assert (row["limit"], row["quantity"], row["unit"]) == ("nz", "load_factor", "g")
    assert float(row["worst_excess"]) == pytest.approx(0.4, abs=1e-6)
    assert float(row["worst_value"]) == pytest.approx(2.9, abs=1e-6)
    for name in ("worst_excess_kt", "worst_excess_mach", "worst_limit_airspeed_kt"):
        assert row[name] == ""
    assert row["severity"] == "high"
    [same] = pq.read_table(folder / "exceedances.parquet").to_pylist()
    assert (same["worst_excess"], same["unit"]) == (float(row["worst_excess"]), "g")
    assert same["worst_excess_kt"] is None
    [near] = rows(folder / "near.csv")
    assert float(near["margin"]) == pytest.approx(0.04, abs=1e-6)
    assert near["margin_kt"] == ""
    for causes in rows(folder / "contributions.csv"):
        assert causes["lost_kt"] == ""
    states = pq.read_table(folder / "samples.parquet").column("state_nz").to_pylist()
    assert states.count("over") == 23


def test_the_summary_and_the_schemas(written):
    _, folder = written
    summary = json.loads((folder / "summary.json").read_text())
    [flight] = summary["flights"]
    [one] = flight["exceedances"]
    assert (one["worst_excess"], one["unit"]) == (pytest.approx(0.4, abs=1e-6), "g")
    smallest = {each["limit"]: each for each in flight["smallest_margins"]}
    assert smallest["nz"]["margin"] == pytest.approx(-0.4, abs=1e-6)
    assert smallest["nz"]["margin_kt"] is None
    assert "margin" not in smallest["VMO"]
    assert FOREIGN.findall(flight["verdict"]) == []
    found = schemas()
    jsonschema.validate(summary, found["summary.schema.json"])
    columns = json.dumps(found["exceedances.schema.json"])
    assert '"worst_excess"' in columns
    assert '"unit"' in columns


def test_without_a_limit_of_its_kind_the_files_of_speeds_say_nothing_of_it(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text(SHEET.split("[[limit]]")[0].format(stated="", speeds=SPEEDS))
    withdraw("load_factor")
    try:
        ran("analyze", log(tmp_path), "--limits", path, "--out", tmp_path / "out")
    finally:
        register_load_factor()
    folder = tmp_path / "out" / "pull_up"
    assert "worst_excess,unit" not in (folder / "exceedances.csv").read_text()
    summary = json.loads((folder / "summary.json").read_text())
    assert not {"margin", "unit"} & set(summary["flights"][0]["smallest_margins"][0])


def test_commands_on_a_sheet_with_it(tmp_path):
    path = sheet(tmp_path)
    assert "nz load factor 2.5 g" in ran("sheet", "check", path)
    # At sea level 250 kt CAS is less than Mach 0.5.
    assert "0 ft VMO 250.0" in ran("envelope", "--limits", path)
    assert "15,351 ft" in ran("crossover", "--limits", path)
