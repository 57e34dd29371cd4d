"""The report on paper: a PDF of the sections that belong in a file.

Plain and portable: the fonts are in it, its text can be selected and searched, bookmarks lead to
the sections, and every page carries its number and the log's hash. It holds no clock time: the
same report gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence

from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace

from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.pdf.pdf_sheet import (
    BODY_PT,
    FAINT,
    FORMULA_PT,
    INK,
    LEAST_BELOW_MM,
    LINE_MM,
    PAPERS,
    RULE,
    SMALL_PT,
    Paper,
    Sheet,
)
from loganalyze.show.pdf.pdf_tables import print_table
from loganalyze.show.report import report_blocks
from loganalyze.show.report.report_blocks import Picture, Report, Section
from loganalyze.text.formulas import WorkedStep

STEP_INDENT_MM, FORMULA_INDENT_MM = 5.0, 12.0
LEAST_SHRUNK = 0.945
"""A picture shrinks to no less than this share of its size to stay on a page: its smallest letters,
of 8.5 pt, are then printed in 8."""
LEAST_SHARE = 0.42
"""A section that turns the page does so only with less than this share of it left."""
TALLEST = 0.85
"""Greatest height of a picture as a share of the page."""
FEW = 6
"""Fewer facts than this are printed one below the other."""


def report_pdf(
    report: Report, paper: Paper = "A4", drawn: Callable[[Picture], bytes] | None = None
) -> bytes:
    """Return a report as a PDF.

    Parameters
    ----------
    report : Report
        The sections; those not for paper are left out.
    paper : {"A4", "Letter"}
        The size of the page.
    drawn : callable, optional
        Gives a picture's PNG, where it has been drawn for another renderer already.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    ValueError
        For another paper.
    """
    if paper not in PAPERS:
        raise ValueError(f"paper must be one of {', '.join(PAPERS)}")
    sheet = Sheet(report, paper)
    sheet.begin()
    anchors = {section.key: sheet.add_link() for section in report.sections if section.on_paper}
    for section in report.sections:
        if section.on_paper:
            _section(sheet, section, anchors, drawn or _draw)
    return bytes(sheet.output())


def _draw(picture: Picture) -> bytes:
    return png_bytes(picture.draw())


def _section(sheet: Sheet, section: Section, anchors: dict[str, int],
             drawn: Callable[[Picture], bytes]) -> None:
    if sheet.space_left < LEAST_BELOW_MM or (
            section.new_page and sheet.space_left < LEAST_SHARE * sheet.eph):
        sheet.add_page()
    sheet.set_link(anchors[section.key], y=sheet.get_y(), page=sheet.page_no())
    sheet.start_section(section.title)
    for block in section.blocks:
        _block(sheet, block, anchors, drawn)


def _block(sheet: Sheet, block: report_blocks.Block, anchors: dict[str, int],
           drawn: Callable[[Picture], bytes]) -> None:
    sheet.use(BODY_PT)
    match block:
        case report_blocks.Subheading(text, _):
            if sheet.space_left < LEAST_BELOW_MM:
                sheet.add_page()
            sheet.ln(1.5)
            sheet.use(BODY_PT, "B")
            sheet.text_block(text)
        case report_blocks.Paragraph(text, role):
            sheet.use({"lead": 11.0, "note": SMALL_PT}.get(role, BODY_PT),
                      colour=FAINT if role == "note" else INK)
            sheet.text_block(text, {"lead": 5.6, "note": 3.8}.get(role, LINE_MM))
            sheet.ln(1.2)
        case report_blocks.Bullets(items):
            for item in items:
                sheet.set_x(sheet.l_margin)
                sheet.cell(4, LINE_MM, "–")
                sheet.text_block(item, indent=4)
            sheet.ln(1.2)
        case report_blocks.KeyValues(pairs):
            _key_values(sheet, pairs)
        case report_blocks.Table():
            print_table(sheet, block, anchors)
        case report_blocks.Caution(title, lines):
            _caution(sheet, title, lines)
        case report_blocks.Steps(steps):
            for number, step in enumerate(steps, start=1):
                _step(sheet, number, step)
        case report_blocks.Picture():
            _picture(sheet, block, drawn)
        case report_blocks.Chart():
            _picture(sheet, block.picture, drawn)
        case report_blocks.Stretch():
            pass  # A picture's own axis shows it.


def _step(sheet: Sheet, number: int, step: WorkedStep) -> None:
    """Print a step of a calculation: number and title, why, and the formula without and with
    its numbers, indented."""
    if sheet.space_left < LEAST_BELOW_MM:
        sheet.add_page()
    sheet.ln(1)
    sheet.use(BODY_PT, "B")
    sheet.formula(f"{number}.  {step.title}", 0)
    sheet.use(BODY_PT)
    sheet.formula(step.why, STEP_INDENT_MM)
    for line in (step.formula, step.numbers):
        sheet.use(FORMULA_PT)
        sheet.ln(0.8)
        sheet.formula(line, FORMULA_INDENT_MM)
    sheet.use(SMALL_PT, colour=FAINT)
    sheet.formula(step.source, STEP_INDENT_MM)
    sheet.ln(1)


def _key_values(sheet: Sheet, pairs: Sequence[tuple[str, str]]) -> None:
    """Print facts by name, side by side where they are many and short; read down the columns."""
    if not pairs:
        return
    sheet.use(SMALL_PT)
    names = max(sheet.get_string_width(name) for name, _ in pairs) + 3
    values = max(sheet.get_string_width(value) for _, value in pairs) + 4
    beside = 1
    if len(pairs) >= FEW:
        beside = max(1, min(3, int(sheet.epw / (names + values))))
    wide = sheet.epw / beside
    names = min(names, wide * 0.45)
    rows = -(-len(pairs) // beside)
    with sheet.table(col_widths=(names, wide - names) * beside, first_row_as_headings=False,
                     borders_layout=TableBordersLayout.NONE, line_height=3.7, align="LEFT",
                     text_align="LEFT", v_align="TOP", padding=(0.2, 1, 0.2, 0)) as made:
        for first in range(rows):
            row = made.row()
            for name, value in pairs[first::rows]:
                row.cell(name, style=FontFace(color=FAINT))
                row.cell(value)
            for _ in range(beside - len(pairs[first::rows])):
                row.cell("")
                row.cell("")
    sheet.ln(1.2)


def _caution(sheet: Sheet, title: str, lines: Sequence[str]) -> None:
    inset = 3.0
    sheet.use(BODY_PT)
    tall = LINE_MM + sum(sheet.height_of(line, inset) for line in lines) + 4.0
    if tall + 1.0 > sheet.space_left:
        sheet.add_page()
    top = sheet.get_y() + 1.0
    sheet.set_draw_color(*INK)
    sheet.rect(sheet.l_margin, top, sheet.epw, tall)
    sheet.set_draw_color(*RULE)
    sheet.set_y(top + 2.0)
    sheet.use(BODY_PT, "B")
    sheet.text_block(title, indent=inset)
    sheet.use(BODY_PT)
    for line in lines:
        sheet.text_block(line, indent=inset)
    sheet.set_y(top + tall + 2.0)


def _picture(sheet: Sheet, picture: Picture, drawn: Callable[[Picture], bytes]) -> None:
    png = drawn(picture)
    wide, high = _size(png)
    rise = high / wide
    sheet.use(SMALL_PT)
    below = sheet.height_of(picture.caption, 0.0, 3.8) + 2.0 if picture.caption else 2.0
    # Rather somewhat smaller than on a page of its own, with the rest of this one empty.
    full = min(sheet.epw, TALLEST * sheet.eph / rise)
    width = min(full, (sheet.space_left - below) / rise)
    if width < LEAST_SHRUNK * full:
        sheet.add_page()
        width = full
    sheet.image(io.BytesIO(png), x=sheet.l_margin + (sheet.epw - width) / 2, w=width,
                h=width * rise, alt_text=picture.words)
    if picture.caption:
        sheet.use(SMALL_PT, colour=FAINT)
        sheet.text_block(picture.caption, 3.8)
    sheet.ln(1.5)


def _size(png: bytes) -> tuple[int, int]:
    """Width and height of a PNG in pixels, from its header (ISO/IEC 15948, 11.2.2)."""
    return int.from_bytes(png[16:20]), int.from_bytes(png[20:24])
