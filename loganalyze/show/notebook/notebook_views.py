"""HTML of results for notebooks, and result tables as data frames."""

from __future__ import annotations

from base64 import b64encode
from html import escape
from typing import TYPE_CHECKING, Any

import pyarrow as pa

from loganalyze.phases.phase_detection import PHASES
from loganalyze.results.assessment_results import Assessment
from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.figures.margin_figure import margin_figure
from loganalyze.show.tables.result_tables import TABLES
from loganalyze.text.flight_account import Judged, analysis_of, flight_facts

if TYPE_CHECKING:
    import pandas as pd


def html(result: Judged) -> str:
    """Return a result in HTML: its repr and the picture of its margin."""
    assessment = result if isinstance(result, Assessment) else None
    said = escape(repr(result).strip("<>"), quote=True)
    picture = b64encode(png_bytes(margin_figure(analysis_of(result), assessment=assessment)))
    return (f'<figure><figcaption>{said}</figcaption><img alt="{said}" style="max-width:100%" '
            f'src="data:image/png;base64,{picture.decode("ascii")}"></figure>')


def samples(assessment: Assessment) -> pd.DataFrame:
    """Return a row a sample: those of the analysis, with the phase and the uncertainties."""
    frame = assessment.analysis.samples
    columns = dict(assessment.columns)
    phase = pa.DictionaryArray.from_arrays(pa.array(columns.pop("phase")), list(PHASES))
    return frame.assign(phase=phase.to_pandas(), **columns)


def table(result: Judged, name: str) -> pd.DataFrame:
    """Return one of the tables on disk as a data frame, without the columns of its origin.

    `name` : of the table, as in `show.tables.result_tables.TABLES`; KeyError for another. A table
    without rows has all its columns. Null and NaN stand for what isn't known.
    """
    made = {registered.name: registered for registered in TABLES}[name]
    blank = (None,) * (len(made.columns) - len(made.own_columns))
    rows = [(*row, *blank) for row in made.rows(result, flight_facts(result))]
    return _frame(made.arrow(rows).select([column.name for column in made.own_columns]))


def measures(assessment: Assessment) -> pd.DataFrame:
    """Return the measures of a flight as a data frame: a row a limit, the first of all together.

    ``within_<band>_s`` : the time with less margin than the band, in kt or, for Mach limits, in
    Mach; NaN for a band that isn't the limit's.
    """
    names = ("limit", "smallest_margin_kt", "smallest_margin_mach", "time_s",
             "pressure_altitude_ft", "phase", "judged_s", "unknown_s")
    found = assessment.measures
    columns: dict[str, Any] = {"flight": [assessment.analysis.flight] * len(found)} | {
        name: [getattr(entry, name) for entry in found] for name in names}
    for band in sorted({band for entry in found for band, _ in entry.within_s}, reverse=True):
        columns[f"within_{band:g}_s"] = [dict(entry.within_s).get(band, float("nan"))
                                         for entry in found]
    return _frame(pa.table(columns))


def _frame(made: pa.Table) -> pd.DataFrame:
    frame: pd.DataFrame = made.to_pandas()
    return frame
