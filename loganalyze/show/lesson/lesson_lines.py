"""A lesson on the terminal: some twenty lines."""

from __future__ import annotations

import textwrap

from loganalyze.show.lesson.lesson_report import segment_heads, segment_rows
from loganalyze.show.terminal.log_inspection import table
from loganalyze.text.flight_account import presented
from loganalyze.text.language import exercise_words, moment_words
from loganalyze.text.language import lesson_words as words
from loganalyze.text.presentation import Presentation
from loganalyze.training import Lesson

WIDE = 100


def lesson_lines(lesson: Lesson, how: Presentation) -> list[str]:
    """Return what is printed of a lesson.

    Parameters
    ----------
    lesson : Lesson
    how : Presentation
        In which units, on which clock.
    """
    how = presented(lesson.assessment.analysis, how)
    lines = textwrap.wrap(words.lead(lesson, how), WIDE)
    if lesson.segments:
        lines += ["", *table([segment_heads(lesson), *segment_rows(lesson, how)])]
    for title, said in (
            ("change", [words.change(change, how) for change in lesson.changes]),
            ("moments", [moment_words.moment(moment, lesson.segments, how)
                         for moment in lesson.moments]
             or [words.NO_MOMENTS])):
        if said:
            lines += ["", f"{words.SECTIONS[title]}:", *_items(said)]
    kinds = [str(exercise.kind) for exercise in lesson.exercises.exercises]
    lines += ["", *textwrap.wrap(exercise_words.summary(kinds), WIDE)]
    return [*lines, *textwrap.wrap(words.CAUTION[0], WIDE)]


def _items(said: list[str]) -> list[str]:
    numbers = [f"{number}: " if len(said) > 1 else "" for number in range(1, len(said) + 1)]
    return [line for number, sentence in zip(numbers, said, strict=True)
            for line in textwrap.wrap(f"{number}{sentence}", WIDE, initial_indent="  ",
                                      subsequent_indent="  " + " " * len(number))]
