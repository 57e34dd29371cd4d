"""A lesson on disk: page, paper, handout, pictures, tables, the facts as JSON, and its record."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq

from loganalyze.comparison.flight_comparison import Comparison
from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.files.whole_folder import FolderKind
from loganalyze.show.lesson.lesson_report import handout_report, lesson_report
from loganalyze.show.page.html_page import report_html
from loganalyze.show.pdf.pdf_report import report_pdf
from loganalyze.show.pdf.pdf_sheet import Paper
from loganalyze.show.report.report_blocks import Picture
from loganalyze.show.tables.exercise_tables import LESSON_TABLES
from loganalyze.show.tables.lesson_facts import lesson_facts
from loganalyze.show.tables.table_columns import arrow_table
from loganalyze.text.flight_account import presented
from loganalyze.text.plain_values import plain, settled
from loganalyze.text.presentation import Presentation
from loganalyze.training import Lesson, LessonRecord, Schedule

FACTS = "lesson.json"
LESSON = FolderKind("lesson", "an earlier lesson", FACTS)
RECORD = "record.json"
FILES = ("lesson.html", "lesson.pdf", "handout.pdf", "course.png", "track.png",
         *(f"{table.name}.{kind}" for table in LESSON_TABLES for kind in ("csv", "parquet")),
         RECORD, FACTS)


def lesson_json(lesson: Lesson, how: Presentation | None = None) -> dict[str, Any]:
    """Return the facts of a lesson as JSON holds them: null where not known."""
    hidden = how is not None and how.deidentified
    facts: dict[str, Any] = plain(settled(lesson_facts(lesson, hidden)))
    return facts


def write_lesson(
    lesson: Lesson, folder: str | Path, how: Presentation | None = None, *,
    demonstration: Lesson | None = None, comparison: Comparison | None = None,
    other: Schedule | None = None, record: LessonRecord | None = None, paper: Paper = "A4",
    overwrite: bool = False,
) -> tuple[Path, ...]:
    """Write a lesson to a folder, which appears whole or not at all.

    Parameters
    ----------
    lesson : Lesson
    folder : path-like
        The folder to make.
    how : Presentation, optional
        In which units, on which clock, and whether de-identified; table and JSON stay in knots
        and feet.
    demonstration, comparison, other
        As `lesson_report` takes them.
    record : LessonRecord, optional
        What the lesson adds to its trainee's progress, as `lesson_record` gives it.
    paper : {"A4", "Letter"}
    overwrite : bool
        Replace the folder of an earlier lesson whole.

    Returns
    -------
    tuple of Path
        Those of `FILES` that were written; without a crossover there is no handout.

    Raises
    ------
    Problem
        For a folder that exists, unless `overwrite` and an earlier lesson is in it.
    """
    folder, how = Path(folder), how or Presentation()
    with LESSON.written(folder, overwrite) as making:
        _write(lesson, making.path, how, demonstration, comparison, other, paper)
        if record is not None:
            (making.path / RECORD).write_text(record.model_dump_json(indent=2) + "\n",
                                              encoding="utf-8", newline="")
        making.complete = True
    return tuple(folder / name for name in FILES if (folder / name).is_file())


def _write(lesson: Lesson, folder: Path, how: Presentation, demonstration: Lesson | None,
           comparison: Comparison | None, other: Schedule | None, paper: Paper) -> None:
    report = lesson_report(lesson, how, demonstration=demonstration, comparison=comparison,
                           other=other)
    pictures: dict[str, bytes] = {}

    def drawn(picture: Picture) -> bytes:
        if picture.name not in pictures:
            pictures[picture.name] = png_bytes(picture.draw())
        return pictures[picture.name]

    (folder / "lesson.html").write_text(report_html(report, drawn), encoding="utf-8", newline="")
    (folder / "lesson.pdf").write_bytes(report_pdf(report, paper, drawn))
    handout = handout_report(lesson.schedule, presented(lesson.assessment.analysis, how))
    if handout is not None:
        (folder / "handout.pdf").write_bytes(report_pdf(handout, paper))
    for name, png in pictures.items():
        (folder / f"{name}.png").write_bytes(png)
    source = "" if how.deidentified else lesson.assessment.analysis.log.source.path.name
    for table in LESSON_TABLES:
        rows = list(table.rows(lesson, source))
        with (folder / f"{table.name}.csv").open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow([column.name for column in table.columns])
            writer.writerows([str(cell).lower() if isinstance(cell, bool) else cell for cell in row]
                             for row in rows)
        pq.write_table(arrow_table(table.columns, rows), str(folder / f"{table.name}.parquet"))
    (folder / FACTS).write_text(
        json.dumps(lesson_json(lesson, how), indent=2, ensure_ascii=False, allow_nan=False) + "\n",
        encoding="utf-8", newline="")
