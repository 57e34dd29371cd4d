"""``loganalyze training``: a flight against what was briefed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loganalyze.cli.corrected_exercises import corrected_exercises
from loganalyze.cli.shared_options import (
    FILE,
    clock_option,
    columns_option,
    declare_option,
    json_option,
    parsed_states,
    print_json,
    say,
    states_in_si,
    units_option,
)
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from loganalyze.comparison.flight_comparison import Comparison
    from loganalyze.sheets.limits_sheet import LimitsSheet
    from loganalyze.show.pdf.pdf_sheet import Paper
    from loganalyze.text.presentation import Clock
    from loganalyze.training import Lesson, Schedule


@click.command("training")
@click.argument("log", type=FILE, required=False)
@click.option("--limits", type=FILE, metavar="SHEET", help="The limits sheet, a TOML file.")
@click.option("--schedule", type=FILE, metavar="FILE",
              help="What was briefed, a TOML file; --new-schedule writes a first one.")
@click.option("--new-schedule", type=FILE, metavar="FILE",
              help="Write a first schedule to FILE, with comments, and do nothing else.")
@columns_option
@click.option("--flight", type=click.IntRange(1), default=1, show_default=True, metavar="N",
              help="Which flight of the log.")
@click.option("--against", type=FILE, metavar="LOG",
              help="The instructor's demonstration of the same schedule, to be shown beside.")
@click.option("--against-flight", type=click.IntRange(1), default=1, show_default=True,
              metavar="N", help="Which flight of it.")
@click.option("--other-schedule", type=FILE, metavar="FILE",
              help="Another schedule: what its speeds would have left, flown exactly.")
@click.option("--corrections", type=FILE, metavar="FILE",
              help="An instructor's corrections of the exercises, as loganalyze correct writes "
              "them; otherwise those beside the log, where there are any.")
@click.option("--trainee", metavar="CODE",
              help="The trainee's pseudonym: the record for loganalyze progress is written "
              "too.")
@click.option("--flown", default="", metavar="DAY",
              help="The day of the flight for the record, as 2031-05-03, where the log has none.")
@click.option("--out", "-o", type=FILE, metavar="DIR",
              help="Write the lesson's page, PDF, handout, pictures, tables and JSON to DIR.")
@click.option("--overwrite", is_flag=True, help="Replace an earlier lesson in DIR whole.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True,
              help="Size of the PDFs' paper.")
@click.option("--deidentify", is_flag=True,
              help="Leave out aircraft, file names and dates.")
@units_option("what is printed and drawn; table and JSON stay in knots and feet")
@clock_option("what is printed and drawn")
@declare_option
@json_option
def command(
    log: Path | None, limits: Path | None, schedule: Path | None, new_schedule: Path | None,
    columns: Path | None, flight: int, against: Path | None, against_flight: int,
    other_schedule: Path | None, corrections: Path | None, trainee: str | None, flown: str,
    out: Path | None, overwrite: bool, paper: Paper, deidentify: bool, units: str, clock: Clock,
    declared: tuple[str, ...], as_json: bool,
) -> None:
    """Measure a training flight against what was briefed: how well was the speed flown?

    Nothing in it is a verdict on who flew. The limits are judged by `loganalyze analyze`.

    \b
    loganalyze training --new-schedule lesson.toml
    loganalyze training flight.csv --limits sheet.toml --schedule lesson.toml --out lesson
    """
    if new_schedule is not None:
        _write_first(new_schedule)
        return
    if log is None or limits is None or schedule is None:
        raise click.UsageError("Give a LOG, --limits and --schedule, or --new-schedule alone.")
    if deidentify and clock == "utc":
        raise click.UsageError("--deidentify and --clock utc exclude each other.")
    if trainee is not None and deidentify:
        raise click.UsageError("--deidentify and --trainee exclude each other: a record names the "
                               "recording by its hash, and its day.")
    if trainee is not None and out is None:
        raise click.UsageError("--trainee goes with --out, where the record is written.")
    from loganalyze.sheets.limits_sheet import read_limits
    from loganalyze.text.presentation import UNITS, Presentation
    from loganalyze.training import read_schedule, with_school_ceilings

    briefed = read_schedule(schedule)
    other = read_schedule(other_schedule) if other_schedule is not None else None
    sheet = with_school_ceilings(read_limits(limits), briefed)
    how = Presentation(reader="training", units=UNITS[units], clock=clock, deidentified=deidentify)
    lesson = _lesson(log, sheet, columns, declared, flight, briefed, corrections)
    shown = (None if against is None else
             _lesson(against, sheet, columns, declared, against_flight, briefed, None))
    if out is not None:
        from loganalyze.show.lesson.lesson_folder import write_lesson
        from loganalyze.training import lesson_record

        record = None if trainee is None else lesson_record(
            lesson.assessment.analysis, lesson.exercises, trainee, flown=flown,
            segments=lesson.segments)
        write_lesson(lesson, out, how, demonstration=shown,
                     comparison=_compared(shown, lesson), other=other, record=record, paper=paper,
                     overwrite=overwrite)
    if as_json:
        from loganalyze.show.lesson.lesson_folder import lesson_json

        print_json(lesson_json(lesson, how))
        return
    from loganalyze.show.lesson.lesson_lines import lesson_lines
    from loganalyze.text.language import lesson_words

    say("\n".join(lesson_lines(lesson, how)))
    if out is not None:
        say(lesson_words.WRITTEN.format(folder=out))


def _write_first(path: Path) -> None:
    from loganalyze.text.language import first_schedule, lesson_words

    try:
        with path.open("x", encoding="utf-8") as stream:
            stream.write(first_schedule.TEXT)
    except FileExistsError:
        raise Problem("there is such a file already", str(path),
                      "give another name: a schedule is never replaced") from None
    say(lesson_words.NEW_SCHEDULE.format(path=path))


def _lesson(
    log: Path, sheet: LimitsSheet, columns: Path | None, declared: Sequence[str], number: int,
    briefed: Schedule, corrections: Path | None,
) -> Lesson:
    from loganalyze.events.analysis import analyze
    from loganalyze.explain.assessment import assess_flight
    from loganalyze.read import read_flights
    from loganalyze.training import assess_lesson

    states = states_in_si(parsed_states(declared), sheet)
    count = 0
    for count, flight in enumerate(read_flights(log, columns), 1):
        if count < number:
            continue
        analysis = analyze(flight, sheet, declared=states, flight=number)
        found = corrected_exercises(analysis, log, corrections)
        return assess_lesson(assess_flight(analysis), briefed, found)
    raise Problem(f"the log holds {count} flights, and no flight {number}", str(log),
                  "give a smaller number")


def _compared(shown: Lesson | None, lesson: Lesson) -> Comparison | None:
    """Return both flights aligned; None where they can't be, since there is no descent."""
    from loganalyze.comparison.flight_comparison import compare

    if shown is None:
        return None
    try:
        return compare(shown.assessment.analysis, lesson.assessment.analysis)
    except Problem:  # The parts are shown side by side all the same.
        return None
