"""In a made-up language, every sentence of it between marks, no sentence is left unmarked.

What may stand outside marks is data: names in the log, the limits sheet and of the files, units,
and the keys of JSON.
"""

import html
import io
import json
import re
from pathlib import Path

import pypdf
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

import loganalyze as la
from loganalyze.cli import main
from loganalyze.record.channels import CHANNELS
from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.figures.margin_figure import margin_figure
from loganalyze.show.page.html_page import report_html
from loganalyze.show.pdf.pdf_report import report_pdf
from loganalyze.show.report.report_blocks import Picture
from loganalyze.show.report.report_building import flight_report
from loganalyze.text import language

from . import made_up

SAMPLES = Path(__file__).parents[2] / "sample_logs"
LOGS = sorted(SAMPLES.glob("*.csv"))
SHEET = SAMPLES / "ouzelwing_240.toml"
READERS = ("crew", "safety", "maintenance")

DATA = set(re.findall(r"[^\W\d_]{2,}", " ".join([
    SHEET.read_text(encoding="utf-8"), SHEET.name, str(SAMPLES), *map(str, LOGS),
    *(log.open(encoding="utf-8").readline() for log in LOGS)])))
UNITS = {"kt", "ft", "min", "deg", "degC", "kg", "Mach", "kHz", "Hz", "hPa", "km", "discrete"}


@pytest.fixture(autouse=True)
def _speaking():
    language.register("made-up", made_up.module)
    with language.speaking("made-up"):
        yield
    language.withdraw("made-up")


def left(text, *more):
    """Return the words that stand between no marks and are no data; hashes are none either."""
    text = re.sub(r"(?<=[0-9a-f])\s+(?=[0-9a-f]+$)", "", text, flags=re.MULTILINE)
    text = re.sub(r"\b(?=[a-f]*\d)[0-9a-f]{2,}\b", "", text)
    return sorted(made_up.words(text) - DATA - UNITS - {*more})


@pytest.fixture
def run(capsys):
    def run(*arguments):
        capsys.readouterr()
        with pytest.raises(SystemExit):
            main([str(argument) for argument in arguments])
        streams = capsys.readouterr()
        return streams.out + streams.err

    return run


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.stem)
@pytest.mark.parametrize("level", ["--quiet", "--color=never", "--verbose"])
def test_terminal(run, log, level, monkeypatch):
    assert left(run("analyze", log, "--limits", SHEET, level)) == []


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.stem)
def test_inspection(run, log):
    # A columns file names the channels so, in every language.
    channels = re.findall("[a-z]{2,}", " ".join(CHANNELS))
    assert left(run("inspect", log), *channels) == []


def test_sheet(run):
    assert left(run("sheet", "check", SHEET)) == []


def blank(_picture):
    return png_bytes(Figure(figsize=(1, 1)))


def judged(log):
    flights = la.assess(log, SHEET)
    return flights, la.summarise(flights, limits=SHEET)


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.stem)
def test_page_paper_and_pictures(log):
    flights, summary = judged(log)
    for flight in flights:
        for reader in READERS:
            report = flight_report(flight.analysis, summary, assessment=flight,
                                   presentation=la.Presentation(reader))
            page = report_html(report, blank)
            assert left(page_text(page)) == []
            assert left(paper_text(report_pdf(report, drawn=blank))) == []
            pictures = [block for section in report.sections for block in section.blocks
                        if isinstance(block, Picture)]
            for picture in pictures:
                assert left(figure_text(picture.draw())) == []
        assert left(figure_text(margin_figure(flight.analysis, assessment=flight))) == []


def figure_text(figure):
    return "\n".join(one.get_text() for one in figure.findobj(Text) if one.get_visible())


def paper_text(paper):
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(paper)).pages)


def page_text(page):
    """Return what a reader of a page sees or hears: text, attributes in words, words of charts."""
    about = re.search(r'<script[^>]*id="chart-about"[^>]*>(.*?)</script>', page, re.DOTALL)
    spoken = []
    if about is not None:
        said = json.loads(html.unescape(about[1]))
        labelled = [*said["traces"].values(), *said["jumps"]]
        spoken = texts_in([said["words"], said["codes"], [one["label"] for one in labelled],
                           [one["title"] for one in said["panels"]]])
    page = re.sub(r"<(script|style)\b.*?</\1>", " ", page, flags=re.DOTALL)
    spoken += re.findall(r'(?:alt|title|aria-label|summary)="([^"]*)"', page)
    return html.unescape("\n".join([*spoken, re.sub(r"<[^>]*>", "\n", page)]))


def texts_in(value):
    if isinstance(value, str):
        return [value]
    return [text for item in (value.values() if isinstance(value, dict) else value)
            for text in texts_in(item)]
