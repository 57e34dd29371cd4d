"""No letter of the PDF is printed in less than 8 pt, in text and in pictures."""

import io
from functools import cache

import pypdf
import pytest
from matplotlib.text import Text
from PIL import Image

import loganalyze
from loganalyze import Presentation
from loganalyze.show.files import report_formats
from loganalyze.show.files.report_formats import ReportFormat
from loganalyze.show.report.report_blocks import (
    Chart,
    Column,
    Paragraph,
    Picture,
    Report,
    Section,
    Table,
)

LEAST_PT = 8.0
LEAST_RAISED_PT = 6.0
"""Of what a formula raises or lowers."""
LOGS = ("clean_flight", "climb_into_the_limit", "descent_through_mmo_and_vmo",
        "gaps_and_dead_probe")


@cache
def judged(name):
    flight, = loganalyze.assess(f"sample_logs/{name}.csv", "sample_logs/ouzelwing_240.toml")
    return flight


def report_of(name, reader, folder):
    kept = []
    keeps = ReportFormat("kept", lambda report, paper, drawn: kept.append(report) or b"")
    report_formats.register(keeps)
    try:
        loganalyze.write_reports(
            folder, judged(name), loganalyze.summarise([judged(name)]),
            loganalyze.ReportOptions(("kept",), Presentation(reader)))
    finally:
        report_formats.withdraw(keeps)
    return kept[0]


def pdf_of(report, drawn=None, paper="A4"):
    return pypdf.PdfReader(io.BytesIO(report_formats.named("pdf").make(report, paper, drawn)))


def pictures_of(report):
    for section in report.sections:
        for block in section.blocks if section.on_paper else ():
            if isinstance(block, Chart):
                yield block.picture
            elif isinstance(block, Picture):
                yield block


def blank(figure):
    """An empty picture of a figure's size: what is drawn doesn't matter to where it stands."""
    stream = io.BytesIO()
    Image.new("P", tuple(round(150 * one) for one in figure.get_size_inches())).save(stream, "png")
    return stream.getvalue()


def letters_of(figure):
    """The sizes [pt] of all that is written in a figure."""
    return [one.get_fontsize() for one in figure.findobj(Text)
            if one.get_visible() and one.get_text().strip()]


def placed(pdf):
    """The width [in] at which each picture stands, in the order of the pages."""
    widths = []
    for page in pdf.pages:
        wide = 0.0
        for operands, operator in pypdf.generic.ContentStream(page.get_contents(), pdf).operations:
            if operator == b"cm":
                wide = float(operands[0]) / 72
            elif operator == b"Do":
                widths.append(wide)
    return widths


def sizes_of(pdf):
    """The sizes [pt] of the running text, with the text of each."""
    found = []
    for page in pdf.pages:
        page.extract_text(visitor_text=lambda text, cm, tm, font, size: found.append(
            (round(size * abs(tm[3]) * abs(cm[3]), 3), text.strip())) if text.strip() else None)
    return found


@pytest.mark.parametrize("reader", ["crew", "training", "safety", "maintenance"])
@pytest.mark.parametrize("name", LOGS)
def test_no_letter_is_printed_in_less_than_eight_points(name, reader, tmp_path):
    report = report_of(name, reader, tmp_path)
    figures = {one.name: one.draw() for one in pictures_of(report)}
    pdf = pdf_of(report, lambda picture: blank(figures[picture.name]))
    widths = placed(pdf)
    assert len(widths) == len(figures) >= 2
    for (what, figure), width in zip(figures.items(), widths, strict=True):
        assert min(letters_of(figure)) * width / figure.get_size_inches()[0] >= LEAST_PT, what
    text = sizes_of(pdf)
    assert len(text) > 50
    small = {(size, words) for size, words in text if size < LEAST_PT}
    assert all(size >= LEAST_RAISED_PT and len(words) < 16 for size, words in small), small


@pytest.mark.parametrize("before", range(0, 44, 4))
@pytest.mark.parametrize("rows", [5, 60])
def test_no_row_of_a_table_stands_alone_on_a_page(before, rows):
    table = Table("Caption.", (Column("limit", heads_row=True), Column("excess", numeric=True)),
                  tuple((f"row {i}", f"{i}.0 kt") for i in range(rows)))
    filler = tuple(Paragraph("Words.") for _ in range(before))
    report = Report("Debrief", "made", (Section("t", "Rows", (*filler, table)),), "made.csv",
                    "0" * 64)
    counts = [page.extract_text().count(".0 kt") for page in pdf_of(report).pages]
    assert sum(counts) == rows
    assert 1 not in counts
    if rows == 5:
        assert 5 in counts
