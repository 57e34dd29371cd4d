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
from loganalyze.text import language

from . import made_up

SAMPLES = Path(__file__).parents[2] / "sample_logs"
LOGS = sorted(SAMPLES.glob("*.csv"))
SHEET = SAMPLES / "ouzelwing_240.toml"

DATA = set(re.findall(r"[^\W\d_]{2,}", " ".join([
    SHEET.read_text(encoding="utf-8"), SHEET.name, str(SAMPLES), *map(str, LOGS),
    *(log.read_text(encoding="utf-8").splitlines()[0] for log in LOGS)])))
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
def test_terminal(run, log, level):
    assert left(run("analyze", log, "--limits", SHEET, level)) == []


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.stem)
def test_inspection(run, log):
    # A columns file names the channels so, in every language.
    channels = re.findall("[a-z]{2,}", " ".join(CHANNELS))
    assert left(run("inspect", log), *channels) == []


def test_several_flights_and_their_json(run, tmp_path):
    log = tmp_path / "two.csv"
    lines = LOGS[2].read_text(encoding="utf-8").splitlines()
    later = [line.replace("2031-03-05T07", "2031-03-05T17") for line in lines[1:]]
    log.write_text("\n".join([*lines, *later]), encoding="utf-8")
    data = made_up.words(str(tmp_path))
    printed = run("analyze", log, "--limits", SHEET)
    assert printed.count("exceeded") > 1
    assert left(printed, *data) == []
    found = json.loads(run("analyze", log, "--limits", SHEET, "--json"))
    assert len(found["flights"]) == 2
    said = texts_in([found["cautions"], found["inferred"],
                     [[one["verdict"], [each["sentence"] for each in one["taken"]],
                       [each["sentence"] for each in one["quality"]["flags"]]]
                      for one in found["flights"]]])
    assert len(said) > 10
    assert left("\n".join(said), *data) == []


@pytest.mark.parametrize("arguments", [
    ("airdata", "--cas", 250, "--pressure-altitude", 10_000, "--sat", -5, "--limits", SHEET),
    ("airdata", "--mach", 0.6, "--pressure-altitude", 30_000),
    ("crossover", "--cas", 260, "--mach", 0.6),
    ("crossover", "--cas", 260, "--mach", 0.6, "--steps"),
    ("envelope", "--limits", SHEET),
    ("compare", LOGS[0], LOGS[2], "--limits", SHEET),
], ids=lambda arguments: f"{arguments[0]} {arguments[-1]}".split("/")[0])
def test_other_commands(run, arguments):
    printed = run(*arguments)
    assert made_up.OPEN in printed
    assert left(printed) == []


def test_a_fleet_and_its_trends(run, tmp_path):
    data = made_up.words(str(tmp_path))
    store = tmp_path / "store"
    for arguments in [("fleet", LOGS[2], "--limits", SHEET, "--store", store, "--workers", 0),
                      ("trends", "--store", store, "--least", 1),
                      ("trends", "--store", store, "--least", 1, "--by", "phase")]:
        printed = run(*arguments)
        assert made_up.OPEN in printed
        assert left(printed, *data) == []


def test_what_is_unmarked_is_found():
    assert made_up.words("⟦Over ⟦VMO⟧ by⟧ 5 kt, once ⟦more⟧") == {"kt", "once"}
    with pytest.raises(AssertionError):
        made_up.words("⟦Over ⟦VMO⟧")


def test_sheet(run):
    assert left(run("sheet", "check", SHEET)) == []


@pytest.fixture
def figures(monkeypatch):
    """Return the list that every figure drawn in a test goes into."""
    drawn = []
    made = Figure.__init__

    def kept(self, *args, **named):
        made(self, *args, **named)
        drawn.append(self)

    monkeypatch.setattr(Figure, "__init__", kept)
    return drawn


@pytest.mark.parametrize(("log", "reader"), [
    *zip(LOGS, ("crew", "safety", "crew", "maintenance"), strict=True),
    (LOGS[2], "safety"), (LOGS[2], "maintenance")],
    ids=lambda value: getattr(value, "stem", value))
def test_page_paper_and_pictures(log, reader, figures, tmp_path):
    (flight,) = la.assess(log, SHEET)
    summary = la.summarise([flight], limits=SHEET)
    how = la.Presentation(reader)
    la.write_reports(tmp_path, flight, summary, la.ReportOptions(("html", "pdf"), how, "A4"))
    assert left(page_text((tmp_path / "report.html").read_text(encoding="utf-8"))) == []
    assert left(paper_text((tmp_path / "report.pdf").read_bytes())) == []
    la.margin_figure(flight.analysis, assessment=flight)
    assert len(figures) > 2
    for figure in figures:
        assert left(figure_text(figure)) == []


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
