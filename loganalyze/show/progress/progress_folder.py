"""A trainee's progress on disk: a page, paper, a table, JSON and the lessons' records."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.files.whole_folder import FolderKind
from loganalyze.show.page.html_page import report_html
from loganalyze.show.pdf.pdf_report import report_pdf
from loganalyze.show.pdf.pdf_sheet import Paper
from loganalyze.show.progress.progress_report import progress_report
from loganalyze.show.report.report_blocks import Picture
from loganalyze.text.plain_values import plain, settled
from loganalyze.training.progress import LessonRecord, Progress
from loganalyze.training.progress_trend import Trend

FACTS = "progress.json"
PROGRESS = FolderKind("progress", "an earlier progress", FACTS)


def progress_facts(found: Progress) -> dict[str, Any]:
    """Return a trainee's progress as JSON holds it; unknown numbers are null."""
    facts: dict[str, Any] = plain(settled(found))
    return facts


def progress_csv(found: Progress) -> str:
    """Return a row a measure as CSV, numbers in the unit that the measure's name ends with."""
    numbers = [field.name for field in fields(Trend)]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["trainee", "exercise", "measure", *numbers, "direction", "course_low",
                     "course_high"])
    for measure in found.measures:
        writer.writerow([found.trainee, measure.exercise, measure.measure, *(
            _cell(getattr(measure.trend, name)) for name in numbers), measure.direction,
            _cell(measure.course_low), _cell(measure.course_high)])
    return out.getvalue()


def _cell(value: float) -> str:
    kept = plain(settled(value))
    return "" if kept is None else str(kept)


def write_progress(
    found: Progress, folder: str | Path, records: Sequence[LessonRecord] = (), *,
    paper: Paper = "A4", overwrite: bool = False,
) -> tuple[Path, ...]:
    """Write a trainee's progress to a folder, which appears whole or not at all.

    Parameters
    ----------
    found : Progress
    folder : path-like
        The folder to make.
    records : sequence of LessonRecord, optional
        Those of this trainee are written to ``records/``, to be given again beside later flights.
    paper : {"A4", "Letter"}
    overwrite : bool
        Replace the folder of an earlier progress whole.

    Returns
    -------
    tuple of Path
        ``progress.html``, ``progress.pdf``, ``progress.csv``, ``progress.json``, then the records.

    Raises
    ------
    Problem
        For a folder that exists, unless `overwrite` and an earlier progress is in it.
    """
    folder = Path(folder)
    with PROGRESS.written(folder, overwrite) as making:
        written = _write(found, making.path, records, paper)
        making.complete = True
    return tuple(folder / name for name in written)


def _write(found: Progress, folder: Path, records: Sequence[LessonRecord], paper: Paper
           ) -> list[str]:
    report = progress_report(found)

    @cache
    def drawn(picture: Picture) -> bytes:
        return png_bytes(picture.draw())

    made = {"progress.html": report_html(report, drawn).encode(),
            "progress.pdf": report_pdf(report, paper, drawn),
            "progress.csv": progress_csv(found).encode(),
            FACTS: (json.dumps(progress_facts(found), indent=2, ensure_ascii=False,
                               allow_nan=False) + "\n").encode()}
    own = [record for record in records if record.trainee == found.trainee]
    if own:
        (folder / "records").mkdir()
    for i, record in enumerate(own, 1):
        made[f"records/{record.trainee}-{i:03}.json"] = (
            record.model_dump_json(indent=2) + "\n"
        ).encode()
    for name, content in made.items():
        (folder / name).write_bytes(content)
    return list(made)
