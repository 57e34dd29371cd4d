"""The index on disk: a page that leads to the pages of several flights."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from loganalyze.problems import Problem
from loganalyze.show.page.html_page import report_html
from loganalyze.show.report.flight_index import INDEX, IndexedLog, flight_index
from loganalyze.text.facts import Summary
from loganalyze.text.language import report_labels
from loganalyze.text.presentation import Presentation


def write_index(folder: Path, logs: Sequence[IndexedLog], how: Presentation) -> Path:
    """Write ``index.html`` into a folder that exists, in the place of an earlier one.

    Raises Problem where an ``index.html`` stands there that is none of flights.
    """
    path = folder / INDEX
    if path.exists() and report_labels.INDEX_TITLE not in path.read_text(
            encoding="utf-8", errors="replace"):
        raise Problem("it isn't an index of flights, so it is not replaced", str(path),
                      "move it away or give another --out")
    path.write_text(report_html(flight_index(logs, how)), encoding="utf-8", newline="")
    return path


def write_index_of_run(
    folder: Path, logs: Sequence[tuple[Path, Path | None, Summary | None, str]], how: Presentation
) -> Path:
    """Write the index of a run over several logs.

    Each is a log, the folder of its results, its summary, None where it wasn't judged in this
    run, and the problem that kept it from being judged, empty where earlier results were kept.
    """
    hidden = how.deidentified
    indexed = []
    for log, place, summary, problem in logs:
        name = log.name
        if hidden:
            name = place.name if place is not None else report_labels.HIDDEN_FILE
        note = report_labels.INDEX_SKIPPED
        if problem:
            note = report_labels.INDEX_FAILED.format(
                problem=report_labels.HIDDEN_FILE if hidden else problem)
        indexed.append(IndexedLog(name, None if place is None else f"{place.name}/", summary,
                                  "" if summary else note))
    return write_index(folder, indexed, how)
