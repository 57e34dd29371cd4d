"""Each block of a section as HTML."""

from __future__ import annotations

import base64
import struct
from collections.abc import Callable

from loganalyze.show.page.html_markup import Html, element, joined
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    Caution,
    Chart,
    ChartLink,
    KeyValues,
    Link,
    Paragraph,
    Picture,
    Section,
    Steps,
    Stretch,
    Subheading,
    Table,
)
from loganalyze.text.formulas import formula_parts
from loganalyze.text.language import page_labels as labels

Drawn = Callable[[Picture], bytes]

STACKED_FROM = 5
"""Number of columns from which a table is shown as cards on a narrow screen."""


def section_html(section: Section, drawn: Drawn) -> Html:
    """Return a section under its heading."""
    heading = f"{section.key}-title"
    title = element("h2", section.title, id=heading)
    blocks = joined(block_html(block, drawn) for block in section.blocks)
    return element(
        "section", element("details", element("summary", title), blocks) if section.folded
        else joined([title, blocks]),
        id=section.key, aria_labelledby=heading, tabindex="-1",
        class_="new-page" if section.new_page else None)


def block_html(block: Block, drawn: Drawn) -> Html:
    """Return one block."""
    match block:
        case Subheading():
            return element("h3", block.text, id=block.key or None)
        case Paragraph():
            return element("p", block.text, class_=block.role or None)
        case Bullets():
            return element("ul", *(element("li", item) for item in block.items))
        case KeyValues():
            return element("dl", *(element("div", element("dt", name), element("dd", value))
                                   for name, value in block.pairs))
        case Table():
            return _table(block)
        case Caution():
            return element("div", element("strong", block.title, class_="box-title"),
                           element("ul", *(element("li", line) for line in block.lines)),
                           class_="caution", role="note")
        case Steps():
            return element("ol", *(element(
                "li", element("h3", formula(step.title)), element("p", formula(step.why)),
                element("p", formula(step.formula), class_="formula"),
                element("p", formula(step.numbers), class_="formula"),
                element("p", step.source, class_="note")) for step in block.steps),
                class_="steps")
        case Picture():
            return _figure(block, drawn)
        case Chart():
            return element("div", _figure(block.picture, drawn), class_="chart", id="chart")
        case Stretch():
            return element("p", element(
                "a", labels.SHOW_IN_CHART, href="#glance",
                **_stretch(block.start_s, block.end_s, block.worst_s, block.number)),
                class_="jump")


def formula(text: str) -> Html:
    """Return text with ``^{...}`` raised and ``_{...}`` lowered."""
    return joined(element("sup" if sign == "^" else "sub", part) if sign else part
                  for sign, part in formula_parts(text))


def _table(table: Table) -> Html:
    # The roles are spelt out: as cards, on a narrow screen, rows aren't laid out as a table.
    head = element("tr", *(
        element("th", column.name, scope="col", role="columnheader",
                class_="number" if column.numeric else None) for column in table.columns),
        role="row")
    rows = []
    for cells in table.rows:
        made = []
        for column, cell in zip(table.columns, cells, strict=True):
            text = _link(cell) if isinstance(cell, Link) else cell
            made.append(element(
                "th" if column.heads_row else "td", text,
                scope="row" if column.heads_row else None,
                role="rowheader" if column.heads_row else "cell", data_name=column.name,
                class_="number" if column.numeric else "whole" if column.whole else None))
        rows.append(element("tr", *made, role="row"))
    cards = " cards" if len(table.columns) >= STACKED_FROM else ""
    return element("div", element(
        "table", element("caption", table.caption),
        element("thead", head, role="rowgroup"), element("tbody", *rows, role="rowgroup"),
        role="table"), class_=f"table{cards}", tabindex="0", role="group",
        aria_label=table.caption)


def _link(cell: Link) -> Html:
    where = (_stretch(cell.start_s, cell.end_s, cell.worst_s, cell.number)
             if isinstance(cell, ChartLink) else {})
    return element("a", cell.text, href=cell.page or f"#{cell.key}", **where)


def _stretch(start_s: float, end_s: float, worst_s: float | None, number: int
             ) -> dict[str, str]:
    """Return the attributes by which the page's script shows a stretch in the chart."""
    return {"data_start": f"{start_s:.3f}", "data_end": f"{end_s:.3f}",
            "data_worst": f"{start_s if worst_s is None else worst_s:.6f}",
            "data_number": str(number)}


def _figure(picture: Picture, drawn: Drawn) -> Html:
    png = drawn(picture)
    width, height = struct.unpack(">II", png[16:24])
    image = element("img", src=f"data:image/png;base64,{base64.b64encode(png).decode()}",
                    alt=picture.words, width=width, height=height)
    caption = [element("figcaption", picture.caption)] if picture.caption else []
    return element("figure", image, *caption, id=f"picture-{picture.name}",
                   tabindex="0")
