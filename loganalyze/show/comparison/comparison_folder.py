"""A comparison on disk: a page, its pictures, a table of the differences and the facts as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq

from loganalyze.comparison.flight_comparison import COLUMNS, ComparedFlight, Comparison
from loganalyze.show.comparison.comparison_figures import course_figure, tracks_figure
from loganalyze.show.comparison.comparison_report import comparison_report, notes
from loganalyze.show.figures.figure_style import png_bytes, save_figure
from loganalyze.show.files.whole_folder import FolderKind
from loganalyze.show.page.html_page import report_html
from loganalyze.show.pdf.pdf_report import report_pdf
from loganalyze.show.pdf.pdf_sheet import Paper
from loganalyze.show.report.report_blocks import Picture
from loganalyze.text.language import comparison_words as words
from loganalyze.text.plain_values import plain, settled
from loganalyze.text.presentation import Presentation
from loganalyze.version import __version__

FACTS = "comparison.json"
COMPARISON = FolderKind("comparison", "an earlier comparison", FACTS)


def differences_table(found: Comparison) -> pa.Table:
    """Return a row a step: both flights' values by name, and the difference; null where unknown."""
    axis = "aligned_altitude_ft" if found.by == "altitude" else "aligned_time_s"
    columns = {axis: found.steps}
    for name, flight in zip("ab", found.flights, strict=True):
        columns |= {f"{column.removesuffix('_' + unit)}_{name}_{unit}": flight.values[column]
                    for column in COLUMNS for unit in (column.rpartition("_")[2],)}
    columns["margin_difference_kt"] = found.difference_kt
    return pa.table({name: pa.array(np.round(values, 4), from_pandas=True)
                     for name, values in columns.items()})


def comparison_facts(found: Comparison, how: Presentation | None = None) -> dict[str, Any]:
    """Return the facts of a comparison as JSON holds them: null where not known, or hidden."""
    hidden = how is not None and how.deidentified
    facts: dict[str, Any] = plain(settled({
        "program": "loganalyze", "version": __version__, "aligned_by": found.by,
        "from": float(found.steps[0]), "to": float(found.steps[-1]), "steps": len(found.steps),
        "compared_steps": found.compared,
        **{f"{name}_difference_kt": float("nan") if at is None else float(found.difference_kt[at])
           for name, at in (("least", found.extreme(-1)), ("greatest", found.extreme(1)))},
        "notes": list(found.notes), "a": _facts(found.first, hidden),
        "b": _facts(found.second, hidden),
    }))
    return facts


def _facts(flight: ComparedFlight, hidden: bool) -> dict[str, Any]:
    analysis = flight.analysis
    run_in = {} if flight.run_in is None else {
        name: float(getattr(flight.run_in, name)) for name in words.RUN_IN}
    return {
        "log": None if hidden else analysis.log.source.path.name,
        "sha256": None if hidden else analysis.log.source.sha256,
        "flight": analysis.flight, "aircraft": None if hidden else analysis.sheet.aircraft,
        "outcome": analysis.outcome, "interval_s": float(analysis.log.interval_s),
        "origin_s": flight.origin_s, "judged_s": flight.judged_s,
        "time_within_s": [{"margin_kt": band, "time_s": time} for band, time in flight.near_s],
        "smallest_margin_kt": flight.smallest_kt, "smallest_margin_time_s": flight.smallest_s,
        "smallest_margin_pressure_altitude_ft": flight.smallest_altitude_ft,
        "governing_limit": flight.governing or None, "run_in": run_in or None,
    }


def write_comparison(found: Comparison, folder: str | Path, how: Presentation | None = None, *,
                     overwrite: bool = False, formats: Sequence[Literal["html", "pdf"]] = ("html",),
                     paper: Paper = "A4") -> tuple[Path, ...]:
    """Write a comparison to a folder, which appears whole or not at all.

    Parameters
    ----------
    found : Comparison
        As `compare` gave it.
    folder : path-like
        The folder to make.
    how : Presentation, optional
        In which units, and whether de-identified; the table and the JSON stay in knots and feet.
    overwrite : bool
        Replace the folder of an earlier comparison whole.
    formats : sequence of {"html", "pdf"}
        Of the report: "html", "pdf", or both.
    paper : {"A4", "Letter"}
        The size of the PDF's page.

    Returns
    -------
    tuple of Path
        ``comparison.html`` (and ``.pdf``), ``tracks.png``, ``course.png``, ``differences.csv``
        and ``.parquet``, ``comparison.json``.

    Raises
    ------
    Problem
        For a folder that exists, unless `overwrite` and an earlier comparison is in it.

    Examples
    --------
    >>> import loganalyze as la
    >>> sheet = la.read_limits("sample_logs/ouzelwing_240.toml")
    >>> flights = [la.analyze(la.read_log(f"sample_logs/{name}.csv"), sheet)
    ...            for name in ("clean_flight", "descent_through_mmo_and_vmo")]
    >>> [path.name for path in la.write_comparison(la.compare(*flights), "side_by_side")][:2]
    ['comparison.html', 'tracks.png']
    """
    folder, how = Path(folder), how or Presentation()
    with COMPARISON.written(folder, overwrite) as making:
        written = _write(found, making.path, how, formats, paper)
        making.complete = True
    return tuple(folder / name for name in written)


def _write(found: Comparison, folder: Path, how: Presentation,
           formats: Sequence[Literal["html", "pdf"]],
           paper: Paper) -> list[str]:
    report = comparison_report(found, how)

    @cache
    def drawn(picture: Picture) -> bytes:
        return png_bytes(picture.draw())

    for kind in formats:
        (folder / f"comparison.{kind}").write_bytes(
            report_pdf(report, paper, drawn) if kind == "pdf"
            else report_html(report, drawn).encode("utf-8"))
    save_figure(tracks_figure(found, how), folder / "tracks.png")
    save_figure(course_figure(found, how), folder / "course.png")
    table = differences_table(found)
    pa.csv.write_csv(table, str(folder / "differences.csv"))
    pq.write_table(table, str(folder / "differences.parquet"))
    said = {**comparison_facts(found, how), "keep_in_mind": notes(found, how)}
    (folder / FACTS).write_text(json.dumps(said, indent=2, ensure_ascii=False, allow_nan=False)
                                + "\n", encoding="utf-8", newline="")
    return [*(f"comparison.{kind}" for kind in formats), "tracks.png", "course.png",
            "differences.csv", "differences.parquet", FACTS]
