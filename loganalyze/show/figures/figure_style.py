"""The style of all figures: colours, fonts, and saving without a time stamp.

Drawn without pyplot and without automatic layout: both cost more than the analysis.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont, get_font
from matplotlib.patheffects import withStroke
from PIL import Image

# Okabe and Ito (2008), "Color universal design".
BLUE, VERMILION = "#0072B2", "#D55E00"
SKY, GREEN, ORANGE, PURPLE = "#56B4E9", "#009E73", "#E69F00", "#CC79A7"
GREY = "#666666"

DPI = 150
COLOURS = 192
"""Of a picture in a page: lines, shades and the grey edges of letters need no more. Compressed at
level 8: a seventh smaller than at 6 in twice the time; 9 takes five times as long."""
FEW_COLOURS = 24
"""Of one without curves and shades."""

HALO = [withStroke(linewidth=2.5, foreground="white")]

WIDTH_IN = 6.9
"""Width of a picture [in]: that of the text on A4 paper, so that letters are printed as set."""
HEADING_PT, BODY_PT, SMALL_PT = 11.0, 9.0, 8.5
"""The letters of a picture [pt], and the smallest: 8 are printed where it shrinks to fit a page."""
LETTER_WIDTH = 0.58
"""Mean width of a letter as a share of its size, with some to spare (DejaVu Sans: .56)."""
LINE_IN = 0.165
"""Height of a line of small letters [in]."""

LEGEND: dict[str, Any] = {"framealpha": 0.9, "edgecolor": "none", "fontsize": SMALL_PT,
                          "handlelength": 1.8, "columnspacing": 1.4, "handletextpad": 0.6}

ABOVE: dict[str, Any] = {**LEGEND, "loc": "lower left", "bbox_to_anchor": (0, 1),
                         "borderaxespad": 0.2}
"""A legend above its panel, where it hides no line."""

STYLE: Any = {
    "font.size": BODY_PT, "axes.titlesize": 10, "axes.spines.top": False,
    "axes.spines.right": False, "axes.grid": True, "grid.color": "#dddddd",
    "grid.linewidth": 0.6, "hatch.linewidth": 0.6, "hatch.color": "#888888",
    "svg.hashsalt": "loganalyze", "path.simplify": True,
}


def plain_text(text: str) -> str:
    """Return `text` so that a figure prints it as it stands: a dollar begins no formula.

    Parameters
    ----------
    text : str
        As it stands in a log or a sheet.

    Returns
    -------
    str
        What can't be printed, or isn't in the font, becomes a replacement character.
    """
    if not (text.isascii() and text.isprintable()):
        font = get_font(findfont("DejaVu Sans"))
        text = "".join(
            character if character.isprintable() and font.get_char_index(ord(character))
            else "\N{REPLACEMENT CHARACTER}" for character in text)
    return text.replace("$", r"\$")


def lines_of(text: str, width_in: float, size: float = SMALL_PT, indent: str = "") -> list[str]:
    """Return text in lines that fit a width [in] in letters of a size [pt], by their mean width.

    The lines after the first begin with `indent`.
    """
    return textwrap.wrap(text, int(width_in * 72 / (LETTER_WIDTH * size)),
                         subsequent_indent=indent, break_long_words=True) or [""]


def legend_columns(labels: Sequence[str], width_in: float) -> int:
    """Return how many columns a legend above a panel of a width [in] has space for."""
    longest = max(map(len, labels), default=1)
    each = LETTER_WIDTH * SMALL_PT * longest + 4.6 * SMALL_PT
    return max(1, min(len(labels), int(width_in * 72 / each)))


class Picture(Figure):
    """A Figure that a notebook shows by itself, without pyplot.

    ``colours`` : how many a page's copy of it keeps.
    """

    colours = COLOURS

    def _repr_png_(self) -> bytes:
        return png_bytes(self)


def save_figure(figure: Figure, path: str | Path) -> None:
    """Save a figure as its file name says (.png, .svg, .pdf), with no clock time in it.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> la.save_figure(la.margin_figure(flight), "margin.png")
    """
    _save(figure, path, Path(path).suffix.lstrip("."))


def png_bytes(figure: Figure) -> bytes:
    """Return a figure as a PNG for a page: few colours, no transparency, no clock time.

    A third of the size of the usual PNG, and a PDF takes it in as it is.

    Parameters
    ----------
    figure : Figure
        Its resolution is set to that of a report.

    Returns
    -------
    bytes
        The file's.
    """
    with mpl.rc_context(STYLE):
        figure.set_dpi(DPI)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
        pixels = canvas.buffer_rgba()  # type: ignore[no-untyped-call]
        image = Image.frombuffer("RGBA", canvas.get_width_height(), pixels)
    few = image.convert("RGB").quantize(getattr(figure, "colours", COLOURS),
                                        method=Image.Quantize.FASTOCTREE,
                                        dither=Image.Dither.NONE)
    stream = io.BytesIO()
    few.save(stream, "png", dpi=(DPI, DPI), compress_level=8)
    return stream.getvalue()


def _save(figure: Figure, target: str | Path | io.BytesIO, kind: str) -> None:
    # Level 3 takes a third of the time of level 6, and makes a plot hardly larger.
    only: Any = {
        "png": {"dpi": DPI, "metadata": {"Software": None}, "pil_kwargs": {"compress_level": 3}},
        "svg": {"metadata": {"Date": None, "Creator": None}},
        "pdf": {"metadata": {"CreationDate": None, "Creator": None, "Producer": None}},
    }[kind]
    with mpl.rc_context(STYLE):
        figure.savefig(target, format=kind, **only)
