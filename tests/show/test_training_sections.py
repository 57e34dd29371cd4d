"""Sections beyond the limits: for which readers, and in which words."""

from __future__ import annotations

import re
from typing import get_args, get_type_hints

import numpy as np
import pandas as pd
import pytest

import loganalyze as la
from loganalyze.testing import make_sheet
from loganalyze.text.language import what_if_words
from tests.explain.what_if_truth import drawn, recorded, sheet_of

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


def _what_if(reader, tmp_path):
    case = drawn(5)
    log, _, _ = recorded(case, 5)
    judged = la.assess_flight(la.analyze(log, sheet_of(case)))
    found = re.search(r'<section id="what-if".*?</section>',
                      _report(judged, tmp_path, reader=reader), re.DOTALL)
    return judged, re.sub(r"<[^>]+>", " ", found.group()) if found else ""


@pytest.mark.parametrize("reader", ["crew", "training"])
def test_what_would_have_helped_is_said_as_an_interval(tmp_path, reader):
    judged, said = _what_if(reader, tmp_path)
    first = la.what_if(judged.analysis, 1).answers[0]
    assert "speed reduction begun 5 s earlier" in said
    assert f"{abs(first.low_kt):.1f} " in said
    assert f"{abs(first.high_kt):.1f} " in said
    assert "not a verdict" in said


@pytest.mark.parametrize("reader", ["safety", "maintenance"])
def test_nobody_else_is_told_what_would_have_helped(tmp_path, reader):
    assert not _what_if(reader, tmp_path)[1]


def test_what_would_have_helped_is_in_no_file_of_the_results(tmp_path):
    case = drawn(5)
    log, _, _ = recorded(case, 5)
    judged = la.assess_flight(la.analyze(log, sheet_of(case)))
    assert "what_if" not in la.summarise([judged]).json()


def test_every_reason_has_its_words():
    for reason in get_args(get_type_hints(la.WhatIf)["refusal"]):
        if reason:
            assert reason in what_if_words.REFUSALS
