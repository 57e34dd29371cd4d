"""Sections beyond the limits: for which readers, and in which words."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

import loganalyze as la
from loganalyze.testing import make_sheet

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250}
SCHOOL = {"name": "descent speed", "set_by": "the school", "quantity": "calibrated_airspeed",
          "maximum_kt": 230}


def _judged(ceilings=(SCHOOL,), top=236.0):
    time = np.arange(0, 120, 0.5)
    log = la.read_log(pd.DataFrame({
        "time_s": time, "CAS [kt]": 220 + (top - 220) * np.sin(np.pi * time / 120),
        "pressure altitude [ft]": 20000 - 25 * time}))
    return la.assess_flight(la.analyze(log, make_sheet(VMO, ceilings=ceilings)))


def _report(judged, tmp_path, **how):
    summary = la.summarise([judged])
    options = la.ReportOptions(("html",), la.Presentation(**how))
    la.write_reports(tmp_path, judged, summary, options)
    return (tmp_path / "report.html").read_text(encoding="utf-8")


def _section(page):
    found = re.search(r'<section id="ceilings".*?</section>', page, re.DOTALL)
    return re.sub(r"<[^>]+>", " ", found.group()) if found else ""


@pytest.mark.parametrize("reader", ["crew", "safety"])
def test_a_ceiling_has_a_section_in_its_own_words(tmp_path, reader):
    said = _section(_report(_judged(), tmp_path, reader=reader))
    assert "Ceilings set by the school" in said
    assert "Above the school&#x27;s ceiling &quot;descent speed&quot;" in said
    assert "most 6.0 kt above 230.0 kt CAS" in said
    assert "exceed" not in said.lower()
    assert "over" not in re.findall(r"[a-z]+", said.lower())


def test_maintenance_gets_no_ceilings_and_a_sheet_without_them_no_section(tmp_path):
    assert not _section(_report(_judged(), tmp_path, reader="maintenance"))
    assert not _section(_report(_judged(ceilings=()), tmp_path, reader="crew"))


def test_a_ceiling_that_was_kept_is_said_to_be(tmp_path):
    said = _section(_report(_judged(top=228), tmp_path, reader="crew"))
    assert "at no time above it" in said


def test_a_deidentified_report_does_not_say_whose_ceiling_it_is(tmp_path):
    page = _report(_judged(), tmp_path, reader="crew", deidentified=True)
    assert "the school" not in page
    assert "the operator&#x27;s ceiling" in page


def test_a_flight_above_a_ceiling_alone_exceeded_nothing():
    judged = _judged()
    assert judged.analysis.outcome == "not exceeded"
    assert judged.exceedances == ()
    assert judged.analysis.ceilings[0].time_above_s > 10


def test_the_picture_draws_each_ceiling_as_a_line_of_its_own():
    figure = la.margin_figure(_judged().analysis)
    lines = {line.get_label(): line for line in figure.axes[1].get_lines()}
    assert set(lines["own ceiling: descent speed"].get_ydata()) == {230.0}
    assert lines["own ceiling: descent speed"].get_color() != lines["limit airspeed"].get_color()
