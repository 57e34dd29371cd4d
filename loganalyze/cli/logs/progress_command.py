"""``loganalyze progress``: a trainee's measures over their flights."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loganalyze.cli.corrected_exercises import corrected_exercises
from loganalyze.cli.shared_options import (
    FILE,
    columns_option,
    json_option,
    limits_option,
    print_json,
    say,
)
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from collections.abc import Iterator

    from loganalyze.show.pdf.pdf_sheet import Paper
    from loganalyze.training import LessonRecord


@click.command("progress")
@click.argument("files", type=FILE, nargs=-1, required=True, metavar="FILES...")
@click.option("--trainee", metavar="CODE",
              help="Whose progress: a pseudonym. Logs are taken as this trainee's.")
@limits_option(required=False)
@click.option("--schedule", type=FILE, metavar="FILE",
              help="What was briefed: logs are measured against it too.")
@columns_option
@click.option("--least-others", type=click.IntRange(5), default=8, show_default=True, metavar="N",
              help="Show how others of the course flew only where so many of them did.")
@click.option("--out", "-o", type=FILE, metavar="DIR",
              help="Write a page, a PDF, a table, JSON and the lessons' records to DIR.")
@click.option("--overwrite", is_flag=True, help="Replace an earlier progress in DIR whole.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True,
              help="Size of the PDF's paper.")
@json_option
def command(
    files: tuple[Path, ...], trainee: str | None, limits: Path | None, schedule: Path | None,
    columns: Path | None, least_others: int, out: Path | None, overwrite: bool,
    paper: Paper, as_json: bool,
) -> None:
    """Show how a trainee's exercises change from flight to flight.

    FILES are records of lessons (as loganalyze training --trainee writes them), folders with
    records in them, such as those of lessons or of an earlier progress, or logs. Logs need --limits
    and --trainee; their exercises are found in them. Records of others are of the course: shown as
    the range of the middle half, where enough of them flew the same.
    """
    from loganalyze.training import progress_of

    records = [
        record for file in files for record in _records(file, trainee, limits, schedule, columns)
    ]
    found = progress_of(records, trainee, least_others=least_others)
    if out is not None:
        from loganalyze.show.progress.progress_folder import write_progress

        write_progress(found, out, records, paper=paper, overwrite=overwrite)
    if as_json:
        from loganalyze.show.progress.progress_folder import progress_facts

        print_json(progress_facts(found))
        return
    from loganalyze.show.progress import progress_report
    from loganalyze.show.terminal import log_inspection
    from loganalyze.text.language import progress_words

    for line in progress_report.sentences(found):
        say(line)
    for exercise in progress_report.exercises(found):
        _, rows = progress_report.rows(found, exercise)
        say("\n".join(["", progress_words.heading(exercise), *(
            f"  {line}" for line in log_inspection.table([row[:5] for row in rows]))]))
    if out is not None:
        say(progress_words.WRITTEN.format(folder=out))


def _records(
    file: Path, trainee: str | None, limits: Path | None, schedule: Path | None,
    columns: Path | None,
) -> Iterator[LessonRecord]:
    from loganalyze.training import read_record

    if file.is_dir():
        held = [path for path in sorted(file.rglob("*.json"))
                if path.name not in ("progress.json", "lesson.json")]
        if not held:
            raise Problem("the folder holds no record of a lesson", str(file),
                          "give records (.json), logs, or folders of records; loganalyze training "
                          "writes one with --trainee and --out")
        for path in held:
            yield read_record(path)
    elif file.suffix.lower() == ".json":
        yield read_record(file)
    else:
        yield from _flown(file, trainee, limits, schedule, columns)


def _flown(
    file: Path, trainee: str | None, limits: Path | None, schedule: Path | None,
    columns: Path | None,
) -> Iterator[LessonRecord]:
    if trainee is None or limits is None:
        raise Problem("a log says neither whose flight it is nor what its limits are", str(file),
                      "give --trainee and --limits with logs")
    from loganalyze.events.analysis import analyze
    from loganalyze.explain.assessment import assess_flight
    from loganalyze.read import read_flights
    from loganalyze.sheets.limits_sheet import read_limits
    from loganalyze.training import assess_lesson, lesson_record, read_schedule

    sheet = read_limits(limits)
    briefed = read_schedule(schedule) if schedule is not None else None
    for number, flight in enumerate(read_flights(file, columns), 1):
        analysis = analyze(flight, sheet, flight=number)
        found = corrected_exercises(analysis, file)
        segments = (() if briefed is None
                    else assess_lesson(assess_flight(analysis), briefed, found).segments)
        yield lesson_record(analysis, found, trainee, segments=segments)
