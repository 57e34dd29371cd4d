"""The pages of a report on paper: their size, letters, running text and foot."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from fpdf import FPDF
from fpdf.enums import CharVPos, MethodReturnValue, XPos, YPos
from fpdf.fonts import TextStyle
from matplotlib import get_data_path

from loganalyze.show.report.report_blocks import Report
from loganalyze.text.formulas import formula_parts
from loganalyze.text.language import paper_labels as labels

Paper = Literal["A4", "Letter"]
PAPERS: tuple[Paper, ...] = ("A4", "Letter")

MARGIN_MM = 17.0
FOOT_MM = 18.0
INK, FAINT, RULE, SHADE = (26, 26, 26), (95, 95, 95), (170, 170, 170), (240, 240, 240)
BODY_PT, SMALL_PT, FORMULA_PT = 9.0, 8.0, 11.5
"""Sizes of letters; none is smaller than 8 pt but what a formula raises or lowers."""
RAISED = 0.7
"""Size of raised and lowered parts of a formula, as a share of its letters'."""
LINE_MM = 4.6
LEAST_BELOW_MM = 34.0
"""A heading is not left at the foot of a page with less space_left than this [mm] under it."""
FONT = "DejaVu Sans"


class Sheet(FPDF):
    """The pages, with their foot."""

    def __init__(self, report: Report, paper: Paper) -> None:
        super().__init__(format=paper)
        self.report = report
        fonts = Path(get_data_path()) / "fonts" / "ttf"
        for style, name in (("", "DejaVuSans"), ("B", "DejaVuSans-Bold")):
            self.add_font(FONT, style, fonts / f"{name}.ttf")
        self.sup_scale = self.sub_scale = RAISED
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
        self.use(SMALL_PT, colour=FAINT)
        number = labels.page(self.page_no(), "{nb}")
        wide = self.get_string_width(labels.page(88, "88")) + 2
        self.set_x(self.l_margin)
        self.multi_cell(self.epw - wide, 3.5, self.report.footer, align="L", max_line_height=3.5,
                        new_x=XPos.RIGHT, new_y=YPos.TOP)
        self.cell(wide, 3.5, number, align="R")
        if self.report.log_sha256 not in self.report.footer:
            self.set_xy(self.l_margin, -FOOT_MM + 8.6)
            self.multi_cell(self.epw, 3.5, labels.log_hash(self.report.log_sha256), align="L")
