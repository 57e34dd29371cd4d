"""The report as a page: one HTML file that needs nothing else.

It opens offline, asks for nothing, and runs no script but its own: the content security policy
names the scripts and styles by their hashes and forbids every request.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path

from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.page.chart_data import chart_data
from loganalyze.show.page.html_blocks import Drawn, section_html
from loganalyze.show.page.html_markup import Html, element, joined, raw
from loganalyze.show.report.report_blocks import Chart, Picture, Report
from loganalyze.text.language import page_labels as labels

_HERE = Path(__file__).parent
MOST_BYTES = 2_900_000
"""Of a page: a recorded channel that would make it larger is thinned."""
SCRIPTS = ("uplot/uPlot.iife.min.js", "data.js", "ruler.js", "chart.js", "tables.js")


def report_html(report: Report, drawn: Drawn | None = None) -> str:
    """Return a report as one self-contained HTML page.

    Parameters
    ----------
    report : Report
        The sections.
    drawn : callable, optional
        Gives a picture's PNG, where it has been drawn for another renderer already.

    Returns
    -------
    str
        The page. Without JavaScript, and on paper, it shows pictures where charts are.
    """
    charts = [block for section in report.sections for block in section.blocks
              if isinstance(block, Chart) and len(block.analysis.time) > 1]
    style = "\n".join(_asset(name) for name in ("uplot/uPlot.min.css", "page.css"))
    scripts = [_asset(name) for name in SCRIPTS] if charts else []
    head = element(
        "head", element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=_policy(style, scripts)),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        element("meta", name="referrer", content="no-referrer"),
        element("title", f"{report.title}: {report.subtitle}"), raw("style", style))
    contents = element("nav", element("ul", *(
        element("li", element("a", section.title, href=f"#{section.key}"))
        for section in report.sections)), aria_label=labels.CONTENTS, id="contents",
        tabindex="-1")
    main = element("main", *(section_html(section, drawn or _draw) for section in report.sections),
                   id="main", tabindex="-1", data_enlarge=labels.ENLARGE, data_fit=labels.FIT)
    used = sum(map(len, (str(head), str(contents), str(main), *scripts)))
    body = element(
        "body", element("a", labels.SKIP, href="#main", class_="skip"),
        element("header", element("h1", report.title), element("p", report.subtitle),
                element("p", element("a", labels.CONTENTS, href="#contents"),
                        class_="to-contents")),
        main,
        contents,
        element("footer", element("p", report.footer)),
        joined(_data(chart, MOST_BYTES - used) for chart in charts[:1]),
        joined(raw("script", script) for script in scripts))
    return f"<!doctype html>\n{element('html', head, body, lang=report.language)}\n"


def _draw(picture: Picture) -> bytes:
    return png_bytes(picture.draw())


def _data(chart: Chart, most_bytes: int) -> Html:
    about, columns = chart_data(chart, most_bytes)
    return joined([
        raw("script", about, type="application/json", id="chart-about"),
        *(raw("script", text, type="text/plain", id=f"column-{name}")
          for name, text in columns.items())])


@cache
def _asset(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")


def _policy(style: str, scripts: list[str]) -> str:
    def hashed(text: str) -> str:
        digest = hashlib.sha256(text.encode()).digest()
        return f"'sha256-{base64.b64encode(digest).decode()}'"

    allowed = " ".join(map(hashed, scripts)) or "'none'"
    return (f"default-src 'none'; img-src data:; style-src {hashed(style)}; "
            f"script-src {allowed}; base-uri 'none'; form-action 'none'")
