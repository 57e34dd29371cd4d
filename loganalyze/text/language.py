"""The door to the words: the modules of the language that is spoken.

A language is one folder of this package, as `en` is: the modules that are listed in `MODULES`,
each with the public names of its English one. `show` and the command line import the modules from
here and never from a language's folder::

    from loganalyze.text.language import report_labels as label

What they get is looked up again at each use, so that it follows `speaking`; nothing of a language
is loaded before its first word is asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from loganalyze.text.en import air_data_text as air_data_text
    from loganalyze.text.en import ceiling_sentences as ceiling_sentences
    from loganalyze.text.en import first_sheet as first_sheet
    from loganalyze.text.en import fleet_sentences as fleet_sentences
    from loganalyze.text.en import number_format as number_format
    from loganalyze.text.en import quantity_words as quantity_words
    from loganalyze.text.en import report_sentences as report_sentences
    from loganalyze.text.en import value_words as value_words
    from loganalyze.text.en import verdict_sentences as verdict_sentences
    from loganalyze.text.en.instruction import comparison_words as comparison_words
    from loganalyze.text.en.instruction import crossover_words as crossover_words
    from loganalyze.text.en.instruction import pointer_words as pointer_words
    from loganalyze.text.en.instruction import ruler_words as ruler_words
    from loganalyze.text.en.instruction import what_if_words as what_if_words
    from loganalyze.text.en.labels import command_labels as command_labels
    from loganalyze.text.en.labels import inspection_labels as inspection_labels
    from loganalyze.text.en.labels import page_labels as page_labels
    from loganalyze.text.en.labels import paper_labels as paper_labels
    from loganalyze.text.en.labels import phase_labels as phase_labels
    from loganalyze.text.en.labels import picture_labels as picture_labels
    from loganalyze.text.en.labels import report_labels as report_labels
    from loganalyze.text.en.labels import sheet_labels as sheet_labels
    from loganalyze.text.en.labels import step_labels as step_labels
    from loganalyze.text.en.labels import terminal_labels as terminal_labels
    from loganalyze.text.en.labels import trend_labels as trend_labels
    from loganalyze.text.en.review import desk_codes as desk_codes
    from loganalyze.text.en.review import desk_command_words as desk_command_words
    from loganalyze.text.en.review import desk_labels as desk_labels
    from loganalyze.text.en.review import evidence_words as evidence_words
    from loganalyze.text.en.review import interface_words as interface_words
    from loganalyze.text.en.review import pack_words as pack_words
    from loganalyze.text.en.review import period_words as period_words
    from loganalyze.text.en.review import refusal_words as refusal_words
    from loganalyze.text.en.sentences import assurance_text as assurance_text
    from loganalyze.text.en.sentences import check_text as check_text
    from loganalyze.text.en.sentences import contribution_text as contribution_text
    from loganalyze.text.en.sentences import corroboration_text as corroboration_text
    from loganalyze.text.en.sentences import decision_text as decision_text
    from loganalyze.text.en.sentences import finding_text as finding_text
    from loganalyze.text.en.sentences import measure_text as measure_text
    from loganalyze.text.en.sentences import quality_text as quality_text
    from loganalyze.text.en.sentences import reading_text as reading_text
    from loganalyze.text.en.sentences import recording_text as recording_text
    from loganalyze.text.en.sentences import severity_text as severity_text
    from loganalyze.text.en.sentences import warning_text as warning_text
    from loganalyze.text.en.training import exercise_words as exercise_words
    from loganalyze.text.en.training import first_schedule as first_schedule
    from loganalyze.text.en.training import lesson_words as lesson_words
    from loganalyze.text.en.training import moment_words as moment_words
    from loganalyze.text.en.training import progress_words as progress_words

MODULES: tuple[str, ...] = (
    "air_data_text", "ceiling_sentences", "first_sheet", "fleet_sentences",
    "instruction.comparison_words", "instruction.crossover_words",
    "instruction.pointer_words",
    "instruction.ruler_words", "instruction.what_if_words", "number_format", "quantity_words",
    "report_sentences", "value_words", "verdict_sentences",
    "labels.command_labels", "labels.inspection_labels", "labels.page_labels",
    "labels.paper_labels", "labels.phase_labels", "labels.picture_labels", "labels.report_labels",
    "labels.sheet_labels", "labels.step_labels", "labels.terminal_labels",
    "labels.trend_labels",
    "review.desk_codes", "review.desk_command_words", "review.desk_labels",
    "review.evidence_words", "review.interface_words", "review.pack_words",
    "review.period_words", "review.refusal_words",
    "sentences.assurance_text", "sentences.check_text", "sentences.contribution_text",
    "sentences.corroboration_text", "sentences.decision_text", "sentences.finding_text",
    "sentences.measure_text", "sentences.quality_text", "sentences.reading_text",
    "sentences.recording_text", "sentences.severity_text", "sentences.warning_text",
    "training.exercise_words",
    "training.first_schedule",
    "training.lesson_words",
    "training.moment_words",
    "training.progress_words",
)
"""The modules of a language, by their place in its folder."""

Loader = Callable[[str], Any]
"""Gives a module of a language, or what has its names, by its place."""


def _own(code: str) -> Loader:
    return lambda place: import_module(f"loganalyze.text.{code}.{place}")


LANGUAGES: dict[str, Loader] = {"en": _own("en")}
"""Every language by its code; `register` and `withdraw` change them."""

_PLACES = {place.rpartition(".")[2]: place for place in MODULES}
_spoken: ContextVar[str] = ContextVar("language", default="en")


def register(code: str, loader: Loader) -> None:
    """Add a language that is no folder of this package; ValueError where its code is taken."""
    if code in LANGUAGES:
        raise ValueError(f"there is a language {code} already")
    LANGUAGES[code] = loader


def withdraw(code: str) -> None:
    """Take a language out again; KeyError where it isn't there."""
    del LANGUAGES[code]
    _module.cache_clear()


def spoken() -> str:
    """Return the code of the language that is spoken: "en" unless `speaking` says otherwise."""
    return _spoken.get()


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """Let everything that is said inside the block be said in a language.

    Raises KeyError for a language that isn't registered.
    """
    LANGUAGES[code]
    before = _spoken.set(code)
    try:
        yield
    finally:
        _spoken.reset(before)


@cache
def _module(code: str, place: str) -> Any:
    return LANGUAGES[code](place)


class _Words:
    """A module of whichever language is spoken."""

    __slots__ = ("_place",)

    def __init__(self, place: str) -> None:
        self._place = place

    def __getattr__(self, name: str) -> Any:
        return getattr(_module(_spoken.get(), self._place), name)


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return _Words(_PLACES[name])
