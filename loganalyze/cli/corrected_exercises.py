"""The exercises of a flight for the commands, with the corrections that lie beside its log."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from loganalyze.events.analysis import Analysis
    from loganalyze.training import ExerciseFindings


def corrected_exercises(analysis: Analysis, log: Path, corrections: Path | None = None
                        ) -> ExerciseFindings:
    """Return a flight's exercises as an instructor corrected them.

    The corrections are those of the file that is given, or of the one beside the log where there
    is one; what is to be known of them goes to the error stream.
    """
    from loganalyze.text.language import exercise_words
    from loganalyze.training import beside, corrected, find_exercises, read_corrections

    found = find_exercises(analysis)
    file = corrections or beside(log, analysis.flight)
    if corrections is None and not file.is_file():
        return found
    kept = read_corrections(file)
    after = corrected(found, kept, analysis, str(file))
    if corrections is None:
        click.echo(exercise_words.applied_from(str(file), len(kept.correction)), err=True)
    for line in exercise_words.applied(
        after.log,
        [(correction.kind, correction.start_s, correction.end_s) for correction in after.unapplied],
    ):
        click.echo(line, err=True)
    return after.findings
