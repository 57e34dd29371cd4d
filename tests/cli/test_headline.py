"""Which exceedance heads the verdict: one that is proven, not a greater one that is in doubt."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pypdf
import pytest

from loganalyze import analyze, assess_flight, margin_figure, read_limits, read_log
from loganalyze.air import airspeed
from loganalyze.record.units import FOOT, KNOT

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[uncertainty]
airspeed = { limits = 0.5 }
displayed_airspeed = { limits = 0.5 }
static_source = { limits = 0.5 }
position_correction = { limits = 0.5 }
pressure_altitude = { limits = 20 }
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 250
"""
PROVEN_KT, STUCK_KT = 262.0, 294.0


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    """Log and sheet: 12 kt over in a slow dive, and 44 kt over by a bit that Mach denies."""
    speed = np.concatenate([
        np.full(200, 230.0), np.linspace(230, PROVEN_KT, 32), np.full(30, PROVEN_KT),
        np.linspace(PROVEN_KT, 230, 32), np.full(300, 230.0)])
    speed = np.round(speed + np.random.default_rng(3).normal(0, 0.1, len(speed)), 1)
    mach = airspeed.mach_from_cas(speed * KNOT, np.full(len(speed), 12000 * FOOT))
    speed[450:458] += STUCK_KT - 230
    log = tmp_path / "log.csv"
    log.write_text("Time [s],Pressure Altitude [ft],CAS [kt],Mach\n" + "".join(
        f"{i},{12000 + i % 3},{speed[i]:.1f},{mach[i]:.4f}\n" for i in range(len(speed))))
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET)
    return log, sheet


def test_the_flight_has_a_greater_one_in_doubt_and_a_smaller_one_proven(files):
    log, sheet = files
    told = assess_flight(analyze(read_log(log), read_limits(sheet)))
    proven, doubted = told.exceedances
    assert proven.displayed.word == proven.flown.word == "proven over"
    assert doubted.displayed.word == doubted.flown.word == "not determinable"
    one, other = told.analysis.exceedances
    assert other.worst_excess_kt > 3 * one.worst_excess_kt


@pytest.mark.parametrize("reader", ["crew", "safety", "maintenance"])
def test_the_proven_one_decides_and_the_greater_one_is_named(run, files, reader):
    log, sheet = files
    line = run("analyze", "-q", log, "--limits", sheet, "--for", reader).out
    assert ": exceeded: VMO by 12." in line
    assert "(proven over), 2 exceedances" in line
    whole = " ".join(run("analyze", log, "--limits", sheet, "--for", reader).out.split())
    decided, other = whole.split(" No. Limit ")[0].split(" A greater reading, ")
    assert "Worst: 262." in decided
    assert " kt CAS, 12." in decided
    assert decided.endswith("over (95 %), proven over.")
    assert other.startswith("44.")
    assert "is not determinable: other recorded channels contradict it." in other
    # Of samples that are in doubt no estimate of their noise is given.
    assert "free of noise, is 20." not in whole


@pytest.mark.parametrize("reader", ["crew", "safety", "maintenance"])
def test_page_and_paper_say_the_same(run, files, tmp_path, reader):
    log, sheet = files
    run("analyze", log, "--limits", sheet, "--for", reader, "--out", tmp_path / "out",
        "--report", "both")
    folder = tmp_path / "out" / "log"
    page = " ".join((folder / "report.html").read_text(encoding="utf-8").split())
    assert " kt CAS, 12." in page
    assert "A greater reading, 44." in page
    if reader == "maintenance":
        # What an inspection is decided on.
        assert "VMO, 12." in page
        assert "VMO, 44." not in page
    paper = " ".join(" ".join(one.extract_text() for one in pypdf.PdfReader(
        folder / "report.pdf").pages).split())
    assert " kt CAS, 12." in paper
    assert "A greater reading, 44." in paper


def test_the_picture_says_the_verdict_and_marks_the_doubted(files):
    log, sheet = files
    told = assess_flight(analyze(read_log(log), read_limits(sheet)))
    written = [one.get_text() for one in margin_figure(told.analysis, assessment=told).texts]
    assert any(" ".join(one.split()).startswith("VMO was exceeded twice in the cruise. Worst: 262.")
               for one in written)
    assert any(one.startswith("1  VMO exceeded by 12.") for one in written)
    assert any(one.startswith("2  VMO, not determinable: 44.") for one in written)


def test_the_results_name_the_one_that_decides(run, files):
    log, sheet = files
    (flight,) = json.loads(run("analyze", log, "--limits", sheet, "--json").out)["flights"]
    assert flight["decisive_exceedance_displayed"] == flight["decisive_exceedance"] == 1
    assert flight["verdict"].startswith("VMO was exceeded twice in the cruise. Worst: 262.")
    assert flight["verdict"].partition(" A greater reading, ")[0].endswith("proven over.")
    assert "is not determinable: other recorded channels contradict it." in flight["verdict"]
