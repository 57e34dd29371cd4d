"""A section of the report and a table on disk, each added by one registration."""

from __future__ import annotations

from pathlib import Path

import pyarrow.parquet as pq
import pytest

import loganalyze as la
from loganalyze.show.files import report_formats
from loganalyze.show.files.report_formats import ReportFormat
from loganalyze.show.report import section_registry
from loganalyze.show.report.report_blocks import Paragraph, Section
from loganalyze.show.report.report_subject import Subject
from loganalyze.show.report.section_registry import ReportPart
from loganalyze.show.tables import result_tables
from loganalyze.show.tables.table_columns import Column, ResultTable

SAMPLES = Path(__file__).parents[2] / "sample_logs"


@pytest.fixture(scope="module")
def flight():
    return la.assess(SAMPLES / "descent_through_mmo_and_vmo.csv",
                     SAMPLES / "ouzelwing_240.toml")[0]


def fuel(subject: Subject) -> list[Section]:
    words = f"{len(subject.analysis.log)} samples burned no fuel."
    return [Section("fuel", "Fuel on board", (Paragraph(words),))]


def page(flight, folder, reader) -> str:
    options = la.ReportOptions(formats=("html",), presentation=la.Presentation(reader=reader))
    (path,) = la.write_reports(folder, flight, la.summarise([flight]), options)
    return path.read_text(encoding="utf-8")


def test_a_section_is_added_by_one_registration(flight, tmp_path):
    part = ReportPart(fuel, crew=15)
    section_registry.register(part)
    try:
        with pytest.raises(ValueError, match="already"):
            section_registry.register(part)
        crew = page(flight, tmp_path, "crew")
        assert "4080 samples burned no fuel." in crew
        titles = [section.title for make in section_registry.makers("crew")[:2]
                  for section in make(_subject(flight))]
        assert titles[-1] == "Fuel on board", "below the verdict, above all else"
        assert "burned no fuel" not in page(flight, tmp_path, "maintenance")
    finally:
        section_registry.withdraw(part)
    assert "burned no fuel" not in page(flight, tmp_path, "crew")


def _subject(flight: la.Assessment) -> Subject:
    return Subject.of(flight.analysis, la.summarise([flight]), flight, la.Presentation())


def test_a_table_is_added_by_one_registration(flight, tmp_path):
    table = ResultTable("phases", (
        Column("phase", "string", "", "phase of flight", True),
        Column("start_s", "number", "s", "its start", True),
    ), lambda judged, facts: [(one.phase, one.start_s) for one in judged.phases])
    result_tables.register(table)
    try:
        with pytest.raises(ValueError, match="phases already"):
            result_tables.register(table)
        la.write_results(flight, tmp_path / "with")
    finally:
        result_tables.withdraw(table)
    lines = (tmp_path / "with" / "phases.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "phase,start_s,log,aircraft,limits_sheet"
    assert len(lines) == 1 + len(flight.phases)
    assert pq.read_table(tmp_path / "with" / "phases.parquet").num_rows == len(flight.phases)
    la.write_results(flight, tmp_path / "without")
    assert not (tmp_path / "without" / "phases.csv").exists()


def test_a_report_format_is_added_by_one_registration(flight, tmp_path):
    def text(report, paper, drawn):
        return "\n".join(section.title for section in report.sections).encode()

    one = ReportFormat("txt", text)
    with pytest.raises(ValueError, match="html, pdf"):
        la.ReportOptions(formats=("txt",))
    report_formats.register(one)
    try:
        with pytest.raises(ValueError, match="txt already"):
            report_formats.register(one)
        options = la.ReportOptions(formats=("txt", "html"))
        written = la.write_reports(tmp_path, flight, la.summarise([flight]), options)
    finally:
        report_formats.withdraw(one)
    assert [path.name for path in written] == ["report.txt", "report.html"]
    titles = written[0].read_text(encoding="utf-8").splitlines()
    assert len(titles) > 3
    assert all(title in written[1].read_text(encoding="utf-8") for title in titles if title)
