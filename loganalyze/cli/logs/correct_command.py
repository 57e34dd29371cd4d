"""``loganalyze correct``: an instructor's corrections of a flight's exercises, kept in a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loganalyze.cli.shared_options import FILE, Number, columns_option, limits_option, say
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from loganalyze.events.analysis import Analysis
    from loganalyze.training import CorrectionsFile, ExerciseFindings

KINDS = ("level acceleration", "speed change", "climb at constant CAS", "climb at constant Mach",
         "descent at constant CAS", "descent at constant Mach", "steep turn", "stall", "circuit",
         "limit approach")
"""Those of `loganalyze.training.EXERCISE_KINDS`, stated so that --help is there at once."""


@click.command("correct")
@click.argument("log", type=FILE)
@limits_option(required=True)
@columns_option
@click.option("--flight", type=click.IntRange(1), default=1, show_default=True, metavar="N",
              help="Which flight of the log.")
@click.option("--exercise", type=int, metavar="N", help="Which exercise, by its number.")
@click.option("--delete", is_flag=True, help="It is none.")
@click.option("--kind", type=click.Choice(KINDS), help="What it was, or what is added.")
@click.option("--start", type=Number(), metavar="S",
              help="When it began, in seconds from the log's first sample.")
@click.option("--end", type=Number(), metavar="S", help="When it ended.")
@click.option("--by", metavar="CODE", help="Who corrects: initials or a pseudonym.")
@click.option("--note", default="", metavar="TEXT", help="Why.")
@click.option("--undo", is_flag=True, help="Take the last correction back.")
@click.option("--corrections", type=FILE, metavar="FILE",
              help="Where corrections are kept; otherwise beside the log, by its name.")
def command(
    log: Path, limits: Path, columns: Path | None, flight: int, exercise: int | None,
    delete: bool, kind: str | None, start: float | None, end: float | None, by: str | None,
    note: str, undo: bool, corrections: Path | None,
) -> None:
    """Correct the exercises that were found in a flight; the corrections are kept in a file.

    With neither --exercise nor --kind it lists the exercises, each with its number. An exercise
    that was missed is added with --kind, --start and --end. `loganalyze training` and `loganalyze
    progress` apply the corrections that lie beside the log, and say so.

    \b
    loganalyze correct flight.csv --limits sheet.toml
    loganalyze correct flight.csv --limits sheet.toml --exercise 3 --kind "steep turn" --by KL
    loganalyze correct flight.csv --limits sheet.toml --exercise 4 --delete --by KL
    """
    from loganalyze.training import beside, corrected, corrections_for, find_exercises

    changes = exercise is not None or delete or kind is not None or start is not None \
        or end is not None
    if undo and changes:
        raise click.UsageError("--undo goes alone.")
    if changes and by is None:
        raise click.UsageError("Say who corrects: --by with initials or a pseudonym.")
    analysis = _analysis(log, limits, columns, flight)
    found = find_exercises(analysis)
    file = corrections or beside(log, flight)
    kept = _kept(file, analysis, found)
    if undo:
        if not kept.correction:
            raise Problem("there is no correction to take back", str(file), "check the file")
        kept = kept.model_copy(update={"correction": kept.correction[:-1]})
    elif changes:
        kept = _with_one_more(kept, analysis, found, str(by), exercise, delete, kind, start, end,
                              note)
    after = corrected(found, kept, analysis, str(file))
    from loganalyze.text.language import exercise_words

    if undo or changes:
        _write(kept if kept.correction else corrections_for(analysis), file)
        say(exercise_words.KEPT.format(file=file))
    say("\n".join(_lines(after.findings)))
    for line in exercise_words.applied(
        after.log,
        [(correction.kind, correction.start_s, correction.end_s) for correction in after.unapplied],
    ):
        click.echo(line, err=True)


def _kept(file: Path, analysis: Analysis, found: ExerciseFindings) -> CorrectionsFile:
    from loganalyze.training import corrected, corrections_for, read_corrections

    if not file.is_file():
        return corrections_for(analysis)
    kept = read_corrections(file)
    corrected(found, kept, analysis, str(file))  # refuses those of another flight
    return corrections_for(analysis, kept.correction)


def _with_one_more(
    kept: CorrectionsFile, analysis: Analysis, found: ExerciseFindings, by: str,
    exercise: int | None, delete: bool, kind: str | None, start: float | None, end: float | None,
    note: str,
) -> CorrectionsFile:
    from loganalyze.training import EXERCISE_KINDS, corrected_by

    named = next((known for known in EXERCISE_KINDS if known == kind), None)
    return corrected_by(analysis, found, kept, by, exercise=exercise, delete=delete, kind=named,
                        start_s=start, end_s=end, note=note)


def _write(kept: CorrectionsFile, file: Path) -> None:
    from loganalyze.training import write_corrections

    try:
        write_corrections(kept, file)
    except OSError as error:
        raise Problem(f"the corrections can't be written ({error.strerror or error})", str(file),
                      "give another --corrections") from error


def _lines(found: ExerciseFindings) -> list[str]:
    from loganalyze.show.terminal.log_inspection import table
    from loganalyze.text.language import exercise_words, number_format

    rows = [(str(i), number_format.sentence_case(exercise_words.named(
                exercise.kind, exercise.confidence, exercise.origin, exercise.by, exercise.at)),
             f"{exercise.start_s:.1f} s", f"{exercise.end_s:.1f} s")
            for i, exercise in enumerate(found.exercises, 1)]
    lines = table([exercise_words.LIST_HEADS, *rows]) if rows else [exercise_words.summary([])]
    return [
        *lines,
        *exercise_words.deleted(
            [
                (exercise.kind, exercise.start_s, exercise.end_s, exercise.by, exercise.at)
                for exercise in found.deleted
            ]
        ),
        *exercise_words.unsearched(found.unsearched),
    ]


def _analysis(log: Path, limits: Path, columns: Path | None, number: int) -> Analysis:
    from loganalyze.events.analysis import analyze
    from loganalyze.read import read_flights
    from loganalyze.sheets.limits_sheet import read_limits

    count = 0
    sheet = read_limits(limits)
    for count, flight in enumerate(read_flights(log, columns), 1):
        if count == number:
            return analyze(flight, sheet, flight=number)
    raise Problem(f"the log holds {count} flights, and no flight {number}", str(log),
                  "give a smaller number")
