"""Tables on paper: the width of each column, and where a table is divided between pages."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from fpdf.enums import MethodReturnValue, TableBordersLayout, TableCellFillMode
from fpdf.fonts import FontFace

from loganalyze.show.pdf.pdf_sheet import FAINT, SHADE, SMALL_PT, Sheet
from loganalyze.show.report import report_blocks

ROW_MM, CELL_MM, CAPTION_MM = 3.9, 1.0, 4.0
"""Height of a line in a table, the space beside its cells' text, and its caption's height."""
KEPT = 0.5
"""A table of at most this share of a page's height is not divided between two."""


def print_table(sheet: Sheet, block: report_blocks.Table, anchors: dict[str, int]) -> None:
    """Print a table with its caption; `anchors` are where links to sections lead."""
    texts = [[cell if isinstance(cell, str) else cell.text for cell in row] for row in block.rows]
    names = [column.name for column in block.columns]
    bold = [i for i, column in enumerate(block.columns) if column.heads_row]
    widths = _widths(sheet, names, texts, bold)
    # In bold letters, the widest that a cell may have.
    sheet.use(SMALL_PT, "B")
    head = _row_height(sheet, names, widths)
    heights = [_row_height(sheet, row, widths) for row in texts]
    if block.caption:
        head += CAPTION_MM
    parts = _parts(heights, head, sheet.space_left, sheet.eph)
    if not parts[0]:
        sheet.add_page()
    rest = block.rows
    if block.caption:
        sheet.use(SMALL_PT, colour=FAINT)
        sheet.text_block(block.caption, CAPTION_MM)
    for i, count in enumerate(part for part in parts if part or not block.rows):
        if i:
            sheet.add_page()
        _rows(sheet, block.columns, rest[:count], widths, anchors)
        rest = rest[count:]
    sheet.ln(2)


def _row_height(sheet: Sheet, texts: Sequence[str], widths: Sequence[float]) -> float:
    """Height [mm] of a row of a table in the present letters."""
    lines, margin = 1, sheet.c_margin
    sheet.c_margin = 0.0
    for text, width in zip(texts, widths, strict=True):
        found = sheet.multi_cell(width - 2 * CELL_MM, ROW_MM, text, align="L", dry_run=True,
                                 output=MethodReturnValue.LINES)
        assert isinstance(found, list)
        lines = max(lines, len(found))
    sheet.c_margin = margin
    return lines * ROW_MM + 1.0


def _parts(heights: Sequence[float], head: float, left: float, page: float) -> list[int]:
    """Share the rows of a table among this page and further ones.

    Parameters
    ----------
    heights : sequence of float
        Of the rows [mm].
    head, left, page : float
        Heights of the headings, of what is left of this page and of a whole one [mm].

    Returns
    -------
    list of int
        How many rows each page takes, 0 for the present one where the table had better begin on
        the next: a short table stays whole, and no row stands alone.
    """
    parts, space = [], left
    whole = head + sum(heights)
    if left < whole <= KEPT * page:
        parts, space = [0], page
    used, count = head, 0
    for height in heights:
        if count and used + height > space:
            parts.append(count)
            used, count, space = head, 0, page
        used, count = used + height, count + 1
    parts.append(count)
    if parts[0] == 1 and len(heights) > 1 and len(parts) > 1:
        # One row alone at the foot of the page: begin on the next.
        return [0, *_parts(heights, head, page, page)]
    if len(parts) > 1 and parts[-1] == 1 and parts[-2] > 2:
        parts[-2:] = [parts[-2] - 1, 2]
    return parts


def _rows(sheet: Sheet, columns: Sequence[report_blocks.Column],
          rows: Sequence[Sequence[str | report_blocks.Link]], widths: Sequence[float],
          anchors: dict[str, int]) -> None:
    sheet.use(SMALL_PT)
    align = tuple("RIGHT" if column.numeric else "LEFT" for column in columns)
    # The sum of shares of the page may come out above the whole by the noise of adding them up.
    with sheet.table(col_widths=tuple(widths), width=min(sum(widths), sheet.epw),
                     line_height=ROW_MM, align="LEFT", text_align=align,
                     v_align="TOP", padding=(0.5, CELL_MM),
                     borders_layout=TableBordersLayout.HORIZONTAL_LINES,
                     headings_style=FontFace(emphasis="BOLD", fill_color=SHADE),
                     cell_fill_mode=TableCellFillMode.NONE) as table:
        table.row([column.name for column in columns])
        for cells in rows:
            row = table.row()
            for cell, column in zip(cells, columns, strict=True):
                bold = FontFace(emphasis="BOLD") if column.heads_row else None
                if isinstance(cell, str):
                    row.cell(cell, style=bold)
                else:
                    row.cell(cell.text, style=bold, link=anchors.get(cell.key))


def _widths(sheet: Sheet, names: Sequence[str], rows: Sequence[Sequence[str]],
            bold: Collection[int] = ()) -> list[float]:
    """Share the page's width by what the columns hold; the longest words must fit.

    ``bold`` : the columns whose cells are bold.
    """
    longest, least = [], []
    for i, name in enumerate(names):
        cells = [row[i] for row in rows]
        sheet.use(SMALL_PT, "B")
        heads = [sheet.get_string_width(word) for word in name.split()] or [0.0]
        whole = sheet.get_string_width(name)
        sheet.use(SMALL_PT, "B" if i in bold else "")
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
