"""The report on paper: a PDF of the sections that belong in a file.

Plain and portable: the fonts are in it, its text can be selected and searched, bookmarks lead to
the sections, and every page carries its number and the log's hash. It holds no clock time: the
same report gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from fpdf import FPDF
from fpdf.enums import (
    CharVPos,
    MethodReturnValue,
    TableBordersLayout,
    TableCellFillMode,
    XPos,
    YPos,
)
from fpdf.fonts import FontFace, TextStyle
from matplotlib import get_data_path

from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.report import report_blocks
from loganalyze.show.report.report_blocks import Picture, Report, Section
from loganalyze.text.formulas import WorkedStep, formula_parts
from loganalyze.text.language import paper_labels as labels

Paper = Literal["A4", "Letter"]
PAPERS: tuple[Paper, ...] = ("A4", "Letter")

MARGIN_MM = 17.0
FOOT_MM = 18.0
INK, FAINT, RULE, SHADE = (26, 26, 26), (95, 95, 95), (170, 170, 170), (240, 240, 240)
BODY_PT, SMALL_PT, TABLE_PT, FORMULA_PT = 9.0, 7.5, 7.5, 10.0
STEP_INDENT_MM, FORMULA_INDENT_MM = 5.0, 12.0
LINE_MM = 4.6
LEAST_BELOW_MM = 34.0
"""A heading is not left at the foot of a page with less space_left than this [mm] under it."""
LEAST_SHRUNK = 0.72
"""A picture shrinks to no less than this share of its size to stay on a page."""
LEAST_SHARE = 0.42
"""A section that turns the page does so only with less than this share of it left."""
TALLEST = 0.4
"""Greatest height of a picture as a share of the page."""
FEW = 6
"""Fewer facts than this are printed one below the other."""
FONT = "DejaVu Sans"


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
    sheet = _Sheet(report, paper)
    sheet.begin()
    anchors = {section.key: sheet.add_link() for section in report.sections if section.on_paper}
    for section in report.sections:
        if section.on_paper:
            _section(sheet, section, anchors, drawn or _draw)
    return bytes(sheet.output())


def _draw(picture: Picture) -> bytes:
    return png_bytes(picture.draw())


class _Sheet(FPDF):
    """The pages, with their foot."""

    def __init__(self, report: Report, paper: Paper) -> None:
        super().__init__(format=paper)
        self.report = report
        fonts = Path(get_data_path()) / "fonts" / "ttf"
        for style, name in (("", "DejaVuSans"), ("B", "DejaVuSans-Bold")):
            self.add_font(FONT, style, fonts / f"{name}.ttf")
        self.set_margins(MARGIN_MM, MARGIN_MM)
        self.set_auto_page_break(True, FOOT_MM + 4)
        self.set_title(f"{report.title}: {report.subtitle}")
        self.set_lang(report.language)
        self.set_producer("loganalyze")
        # No clock time belongs in the file; this date stands for "none".
        self.set_creation_date(datetime(1970, 1, 1, tzinfo=UTC))
        self.set_section_title_styles(
            TextStyle(FONT, "B", 12, INK, t_margin=4, b_margin=1.5, l_margin=MARGIN_MM))
        self.set_draw_color(*RULE)
        self.set_line_width(0.2)

    @property
    def space_left(self) -> float:
        """Height [mm] left above the foot of the page."""
        return float(self.page_break_trigger - self.get_y())

    def use(self, size: float, style: str = "", colour: tuple[int, int, int] = INK) -> None:
        """Set font and colour."""
        self.set_font(FONT, style, size)
        self.set_text_color(*colour)

    def begin(self) -> None:
        """Set the title at the head of the first page."""
        self.add_page()
        self.use(17, "B")
        self.text_block(self.report.title, 8)
        self.use(10, colour=FAINT)
        self.text_block(self.report.subtitle, 5)
        self.ln(1)
        self.line(self.l_margin, self.get_y(), self.w - self.r_margin, self.get_y())

    def text_block(self, text: str, line: float = LINE_MM, indent: float = 0.0) -> None:
        """Print running text from the left margin on, wrapped."""
        self.set_x(self.l_margin + indent)
        self.multi_cell(self.epw - 2 * indent, line, text, align="L", new_x=XPos.LMARGIN,
                        new_y=YPos.NEXT)

    def formula(self, text: str, indent: float) -> None:
        """Print text with raised and lowered parts, wrapped, indented [mm]."""
        margin = self.l_margin
        self.set_left_margin(margin + indent)
        self.set_x(margin + indent)
        for sign, part in formula_parts(text):
            self.char_vpos = CharVPos({"^": "SUP", "_": "SUB"}.get(sign, "LINE"))
            self.write(LINE_MM, part)
        self.char_vpos = CharVPos.LINE
        self.set_left_margin(margin)
        self.ln(LINE_MM)

    def height_of(self, text: str, indent: float, line: float = LINE_MM) -> float:
        """Height [mm] that a text block of the present size takes."""
        lines = self.multi_cell(self.epw - 2 * indent, line, text, align="L", dry_run=True,
                                output=MethodReturnValue.LINES)
        assert isinstance(lines, list)
        return line * len(lines)

    def footer(self) -> None:
        """Print the page's number, what the report is of, and the log's hash."""
        self.set_y(-FOOT_MM)
        self.line(self.l_margin, self.get_y(), self.w - self.r_margin, self.get_y())
        self.ln(1.2)
        self.use(6.5, colour=FAINT)
        number = labels.page(self.page_no(), "{nb}")
        wide = self.get_string_width(labels.page(88, "88")) + 2
        self.set_x(self.l_margin)
        self.multi_cell(self.epw - wide, 3.1, self.report.footer, align="L", max_line_height=3.1,
                        new_x=XPos.RIGHT, new_y=YPos.TOP)
        self.cell(wide, 3.1, number, align="R")
        if self.report.log_sha256 not in self.report.footer:
            self.set_xy(self.l_margin, -FOOT_MM + 8.2)
            self.cell(self.epw, 3.1, labels.log_hash(self.report.log_sha256), align="L")


def _section(sheet: _Sheet, section: Section, anchors: dict[str, int],
             drawn: Callable[[Picture], bytes]) -> None:
    if sheet.space_left < LEAST_BELOW_MM or (
            section.new_page and sheet.space_left < LEAST_SHARE * sheet.eph):
        sheet.add_page()
    sheet.set_link(anchors[section.key], y=sheet.get_y(), page=sheet.page_no())
    sheet.start_section(section.title)
    for block in section.blocks:
        _block(sheet, block, anchors, drawn)


def _block(sheet: _Sheet, block: report_blocks.Block, anchors: dict[str, int],
           drawn: Callable[[Picture], bytes]) -> None:
    sheet.use(BODY_PT)
    match block:
        case report_blocks.Subheading(text):
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
            _table(sheet, block, anchors)
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


def _step(sheet: _Sheet, number: int, step: WorkedStep) -> None:
    """Print a step of a calculation: number and title, why, and the formula without and with
    its numbers, indented."""
    if sheet.space_left < LEAST_BELOW_MM:
        sheet.add_page()
    sheet.ln(1)
    sheet.use(BODY_PT, "B")
    sheet.formula(f"{number}.  {step.title}", 0)
    sheet.use(BODY_PT)
    sheet.formula(step.why, STEP_INDENT_MM)
    for one in (step.formula, step.numbers):
        sheet.use(FORMULA_PT)
        sheet.ln(0.8)
        sheet.formula(one, FORMULA_INDENT_MM)
    sheet.use(SMALL_PT, colour=FAINT)
    sheet.formula(step.source, STEP_INDENT_MM)
    sheet.ln(1)


def _key_values(sheet: _Sheet, pairs: Sequence[tuple[str, str]]) -> None:
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
                     text_align="LEFT", v_align="TOP", padding=(0.2, 1, 0.2, 0)) as table:
        for first in range(rows):
            row = table.row()
            for name, value in pairs[first::rows]:
                row.cell(name, style=FontFace(color=FAINT))
                row.cell(value)
            for _ in range(beside - len(pairs[first::rows])):
                row.cell("")
                row.cell("")
    sheet.ln(1.2)


def _table(sheet: _Sheet, block: report_blocks.Table, anchors: dict[str, int]) -> None:
    if block.caption:
        if sheet.space_left < LEAST_BELOW_MM:
            sheet.add_page()
        sheet.use(SMALL_PT, colour=FAINT)
        sheet.text_block(block.caption, 4)
    sheet.use(TABLE_PT)
    texts = [[cell if isinstance(cell, str) else cell.text for cell in row] for row in block.rows]
    widths = _widths(sheet, [column.name for column in block.columns], texts)
    align = tuple("RIGHT" if column.numeric else "LEFT" for column in block.columns)
    # The sum of shares of the page may come out above the whole by the noise of adding them up.
    with sheet.table(col_widths=widths, width=min(sum(widths), sheet.epw), line_height=3.7,
                     align="LEFT", text_align=align,
                     v_align="TOP", padding=(0.5, 1),
                     borders_layout=TableBordersLayout.HORIZONTAL_LINES,
                     headings_style=FontFace(emphasis="BOLD", fill_color=SHADE),
                     cell_fill_mode=TableCellFillMode.NONE) as table:
        table.row([column.name for column in block.columns])
        for cells in block.rows:
            row = table.row()
            for cell, column in zip(cells, block.columns, strict=True):
                bold = FontFace(emphasis="BOLD") if column.heads_row else None
                if isinstance(cell, str):
                    row.cell(cell, style=bold)
                else:
                    row.cell(cell.text, style=bold, link=anchors.get(cell.key))
    sheet.ln(2)


def _widths(sheet: _Sheet, names: Sequence[str], rows: Sequence[Sequence[str]]) -> list[float]:
    """Share the page's width by what the columns hold; the longest words must fit."""
    longest, least = [], []
    for i, name in enumerate(names):
        cells = [row[i] for row in rows]
        sheet.use(TABLE_PT, "B")
        heads = [sheet.get_string_width(word) for word in name.split()] or [0.0]
        whole = sheet.get_string_width(name)
        sheet.use(TABLE_PT)
        words = [sheet.get_string_width(word) for cell in cells for word in cell.split()]
        # A hash may break; a row of ordinary words must not because of it.
        least.append(min(max([*heads, *words]) + 3.2, 0.35 * sheet.epw))
        longest.append(max([whole, *(sheet.get_string_width(cell) for cell in cells)]) + 3.2)
    surplus = sheet.epw - sum(least)
    if surplus <= 0:
        return [few * sheet.epw / sum(least) for few in least]
    wanted = [most - few for most, few in zip(longest, least, strict=True)]
    share = min(1.0, surplus / sum(wanted)) if sum(wanted) > 0 else 0.0
    widths = [few + share * more for few, more in zip(least, wanted, strict=True)]
    if sum(widths) < 0.6 * sheet.epw:
        return widths
    # What nobody wants goes to the last column.
    return [*widths[:-1], widths[-1] + sheet.epw - sum(widths)]


def _caution(sheet: _Sheet, title: str, lines: Sequence[str]) -> None:
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


def _picture(sheet: _Sheet, picture: Picture, drawn: Callable[[Picture], bytes]) -> None:
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
