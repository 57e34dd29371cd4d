"""How a log's file was interpreted: a sentence for each of the readers' codes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Protocol

from loganalyze.record.channels import kind as channel_kind
from loganalyze.record.findings import Finding
from loganalyze.text.en.labels.report_labels import HIDDEN_COLUMN
from loganalyze.text.en.number_format import count, ordinal, sentence_case

Values = Mapping[str, Any]

_IDENTIFYING = ("cell", "week", "folder", "file")
"""Values that may tell which flight it was: a de-identified report leaves them out."""

KNOWN_BY: dict[str, str] = {
    "name": "recognised by its name",
    "columns file": "named in the columns file",
    "command line": "given on the command line",
}
"""How a column was recognised, by code."""

UNIT_BY: dict[str, str] = {
    "columns file": "unit from the columns file",
    "the brackets in its name": "unit from the brackets in its name",
    "its name": "unit from its name",
    "the end of its name": "unit from the end of its name",
    "the units row": "unit from the units row",
    "the column's metadata": "unit from the column's metadata",
    "the table's metadata": "unit from the table's metadata",
    "the column of units": "unit from the column of units",
    "its cells": "unit from its cells",
    "inferred": "unit inferred",
}
"""Where a column's unit comes from, by code."""

ROW_FAULTS: dict[str, str] = {
    "no time": "no time",
    "time runs backwards": "time runs backwards",
    "time leaps ahead": "time jumps ahead",
    "repeated time": "repeated time",
    "alone": "alone before or after a gap, so that its time may be wrong",
}
"""Why rows were left out, by code."""

_STEPS = {"ms": "milliseconds", "us": "microseconds", "ns": "nanoseconds"}


class Recognised(Protocol):
    """A column or channel, with the codes of how it and its unit were recognised."""

    @property
    def known_by(self) -> str:
        """How the column was recognised."""
        ...

    @property
    def unit_by(self) -> str:
        """Where its unit is from."""
        ...


def known_by(recognised: Recognised) -> str:
    """Return how a column and its unit were recognised.

    Raises KeyError for a code that has no words: a test holds that each code has some.
    """
    parts = ([KNOWN_BY[recognised.known_by]] if recognised.known_by else []) + (
        [UNIT_BY[recognised.unit_by]] if recognised.unit_by else [])
    return ", ".join(parts)


def _such(values: Values) -> str:
    return f" (such as {values['cell']})" if values["cell"] else ""


def _channel(name: str) -> str:
    found = channel_kind(name)
    return found.words if found else name


def _either(names: Sequence[str]) -> str:
    words = list(map(_channel, names))
    return ", ".join(words[:-1]) + f" or {words[-1]}"


def _listed(names: Sequence[str]) -> str:
    return " and ".join(names)


def _only_order(values: Values) -> str:
    why = "no other order makes them dates" if not values["cell"] else (
        f"{values['cell']} can be nothing else")
    return f"The dates of {values['column']} were taken as {values['order']}: {why}."


def _zone_in_name(values: Values) -> str:
    way = "behind" if values["ahead_h"] < 0 else "ahead of"
    return (f"The times of {values['column']} were taken as {abs(values['ahead_h']):g} h {way} "
            "UTC, as its name says.")


def _dates_not_used(values: Values) -> str:
    order = (": the order of day, month and year isn't known. Say form = \"day first\" or "
             'form = "month first" under [clock] in a columns file, or export YYYYMMDD'
             if values["order_open"] else "")
    return f"The dates in column {values['column']}{_such(values)} were not used{order}."


def _serial_dates(values: Values) -> str:
    by = "their size and step" if values["timed"] else "their size"
    return (f"The numbers of {values['column']} were taken as spreadsheet serial dates of the 1900 "
            f"system, from {by}.")


def _several_sources(values: Values) -> str:
    pair = len(values["others"]) == 1
    what = "another source of it" if pair else "other sources of it"
    if values["engines"]:
        what = "that of another engine" if pair else "those of other engines"
    return (f"{values['column']} was taken as the {_channel(values['channel'])}, "
            f"{_listed(values['others'])} as {what}.")


def _unknown_unit(values: Values) -> str:
    return (f"Column {values['column']} was not read: the unit \"{values['unit']}\" of column "
            f"{values['column']} isn't known.")


def _no_such_unit(values: Values) -> str:
    return (f"Column {values['column']} was not read: it states the unit \"{values['unit']}\", "
            f"which isn't one of {values['dimension']}, so it can't be the "
            f"{_channel(values['channel'])}.")


def _inferred(reason: Callable[[Values], str]) -> Callable[[Values], str]:
    def said(values: Values) -> str:
        return (f"{values['column']} states no unit; {reason(values)}: taken as "
                f"{values['unit']}.")
    return said


def _not_read(reason: Callable[[Values], str]) -> Callable[[Values], str]:
    def said(values: Values) -> str:
        return (f"Column {values['column']} ({_channel(values['channel'])}) {reason(values)}: not "
                "read.")
    return said


def _later_header(values: Values) -> str:
    parts = [f"{name} in {unit}" for name, unit in zip(
        values["columns"], values["units"], strict=True)]
    parts += ["in another order"] if values["moved"] else []
    changes = f": {', '.join(parts)}" if parts else ""
    return f"Columns named anew from line {values['line']} on{changes}: the new names were used."


def _damaged_cells(values: Values) -> str:
    number = values["count"]
    return (f"{number} cell{' of' if number == 1 else 's of'} column {values['column']} can't be "
            "read as what it holds: taken as missing.")


def _damaged_lines(values: Values) -> str:
    number = values["count"]
    return (f"{number} damaged line{' was' if number == 1 else 's were'} left out: too few or too "
            "many cells, or a quotation mark without its pair.")


def _fill_values(values: Values) -> str:
    number = values["count"]
    return (f"{number} fill value{'' if number == 1 else 's'} in {values['column']} "
            f"{'was' if number == 1 else 'were'} taken as missing.")


def _plateau(values: Values) -> str:
    stood = _listed([f"{level:.6g}" for level in values["values"]])
    unit = f" {values['unit']}" if values["unit"] else ""
    return (f"{values['column']} stands at {stood}{' and others' if values['more'] else ''}{unit} "
            f"{values['count']} times in sequence, reached and left by steps that no aircraft can "
            "make: taken as a fill value and left out.")


def _shifted(values: Values) -> str:
    parts = [f"its {word} of {values[f'{word}_s']:g} s" for word in ("lag", "skew")
             if values[f"{word}_s"]]
    return (f"{values['column']} was {'interpolated' if values['smooth'] else 'held'} at the rows' "
            f"times, for {_listed(parts)}.")


def _wraps(values: Values) -> str:
    unit = f" {values['unit']}" if values["unit"] else ""
    return (f"{values['column']} starts again after {values['span']:g}{unit}: unwrapped, so that "
            "it continues from its first value.")


READING: dict[str, str | Callable[[Values], str]] = {
    # The clock.
    "numbers_since_1970":
        "The numbers of {column} were taken as {unit} since 1970-01-01 UTC, from their size.",
    "step_of_seconds":
        "{column} states no unit; its step of {step:g} was taken as seconds, since no recorder "
        "samples every few milliseconds or faster.",
    "step_of_parts": lambda values:
        f"{values['column']} states no unit; its step of {values['step']:g} was taken as "
        f"{_STEPS[values['unit']]}, since no recorder samples so slowly.",
    "zone_not_stated": lambda values:
        f"The times of {_listed(values['columns'])} state no zone: they were taken as UTC.",
    "zone_in_name": _zone_in_name,
    "local_times":
        "The times of {column} are local, and nothing states their offset from UTC: no UTC is "
        "given. State utc_offset_s under [clock] in a columns file.",
    "serial_dates": _serial_dates,
    "dates_not_used": _dates_not_used,
    "order_in_name": "The dates of {column} are {order}, as its name says.",
    "only_order": _only_order,
    "order_that_runs_on":
        "The dates of {column} were taken as {order}: only so do they run on from one day to the "
        "next.",
    "only_minutes_and_seconds": lambda values:
        f"The times of {values['column']}{_such(values)} can only be minutes and seconds.",
    "minutes_and_seconds": lambda values:
        f"The times of {values['column']}{_such(values)} were taken as minutes and seconds, since "
        "no recorder samples once a minute.",
    "part_of_day": "{column} states no unit; its step was taken as a part of the day.",
    "hhmmss_passes_minute":
        "The numbers of {column} were taken as HHMMSS, as they pass from 59 to 100.",
    "hhmmss_beyond_day":
        "The numbers of {column} were taken as HHMMSS: some are more than the seconds of a day.",
    "seconds_of_day": "The numbers of {column} were taken as seconds of the day.",
    "week_in_milliseconds":
        "{column} states no unit; as a week has {week_s:g} s, it was taken as milliseconds.",
    "leap_seconds":
        "Satellite time was taken as {leap_s:g} s ahead of UTC, from the leap seconds announced up "
        "to {announced}.",
    "week_may_have_restarted": lambda values:
        f"The satellite week{f' {number:g}' if (number := values['week']) is not None else ''} may "
        "have started again since 1980: the log's date isn't known.",
    "usual_frames":
        "Frames were taken as {frame_s:g} s of {subframes} subframes, as flight data recorders "
        "write them.",
    "frame_counter_restarted":
        "The frame counter fell from {last:.0f} to {now:.0f}: taken as a start again after "
        "{frames:.0f} frames.",
    "midnight": "The time fell from {last:g} to {now:g} s: taken as midnight.",
    "end_of_week": "The time fell from {last:g} to {now:g} s: taken as the end of a week.",
    "clock_reset":
        "The clock fell from {before_s:g} s to {after_s:g} s since the file's first sample and ran "
        "on: what follows is a stretch of its own, with the times as recorded; how long the break "
        "was isn't known.",
    "coarse_numbers": lambda values:
        f"The numbers of {values['column']} are exact to {values['within_s']:.3g} s alone, by "
        f"their format: {'UTC' if values['dated'] else 'times'} may be wrong by so much.",
    # Rows.
    "rows_left_out": lambda values:
        f"{values['count']} of {values['rows']} rows were left out: "
        f"{ROW_FAULTS[values['reason']]}.",
    "rows_sorted": lambda values:
        f"{values['count']} rows were out of order, by {count(values['places'], 'place')} at most: "
        "sorted by time.",
    "time_on_some_rows": lambda values:
        f"Only every {ordinal(values['every'])} row has a time: the rows between were spread "
        "evenly.",
    "rows_share_stamps":
        "Some {rows} rows share each time stamp ({width_s:g} s): spread evenly over it.",
    "recording_runs_on":
        "The recording runs on for more than {minutes:.0f} min on the ground after this flight: "
        "what is beyond that belongs to no flight, unless another one follows.",
    "ground_before":
        "{rows} rows ({minutes:.0f} min) before the flight that begins at {begins_s:g} s are "
        "ground running, and belong to none.",
    "gap_after":
        "A gap of {minutes:.0f} min follows this flight: what comes after it is a stretch of its "
        "own, and belongs to no flight unless one flies in it.",
    "no_flight_found":
        "No flight was found in the stretch that begins at {begins_s:g} s: it stays slow and at "
        "one altitude. It was taken as it is.",
    # Files and headers.
    "columns_file_chosen": lambda values:
        (f"Of the columns files in {values['folder']}, {values['file']} was taken: its signature "
         "fits." if values["file"] else "The columns file whose signature fits was taken."),
    "later_header": _later_header,
    "damaged_cells": _damaged_cells,
    "damaged_lines": _damaged_lines,
    # Columns and units.
    "columns_ambiguous": lambda values:
        f"Columns {_listed(values['columns'])} may each be the {_channel(values['channel'])}: not "
        "read.",
    "several_sources": _several_sources,
    "part_word": lambda values:
        f"Column {values['column']} holds the {values['word']} word of the "
        f"{_channel(values['channel'])}: not read.",
    "nested_column": "Column {column} was not read: it holds {nested}, not numbers.",
    "unknown_unit": _unknown_unit,
    "unit_of_another_quantity": _no_such_unit,
    "temperature_ambiguous": lambda values:
        f"Column {values['column']} may be {_either(values['channels'])}: not read; say which in a "
        "columns file.",
    "unit_by_range": _inferred(lambda values:
        f"all its values lie within {values['low']:g} to {values['high']:g}"),
    "unit_by_reach": _inferred(lambda values: f"its values reach {values['reach']:g}"),
    "unit_by_turn": _inferred(lambda values:
        f"its values reach {values['reach']:g}, more than a whole turn in radians"),
    "unit_by_level_flight": _inferred(lambda values:
        f"its values lie about {values['middle']:.3g}, and most of any flight is flown at 1 g"),
    "kelvin":
        "{column} states no unit; all its values lie within {low:g} to {high:g}: taken as kelvin.",
    "not_all_kelvin": lambda values:
        f"Column {values['column']} ({_channel(values['channel'])}) states no unit, and not all "
        "its values are kelvin: not read; state its unit in a columns file.",
    "no_unit": _not_read(lambda _: "states no unit"),
    "no_unit_and_large": _not_read(lambda values:
        f"states no unit, and holds numbers such as {values['number']:g}"),
    "neither_0_nor_1": _not_read(lambda values:
        f"holds {values['number']:g}, which is neither 0 nor 1; say what it means under values in "
        "a columns file"),
    "state_not_told": _not_read(lambda values:
        f"doesn't say which of 0 and 1 is {_channel(values['channel'])}; say so under values in a "
        "columns file"),
    # Values.
    "fill_values": _fill_values,
    "fill_plateau": _plateau,
    "fill_throughout":
        "{column} holds {value:g} {unit} in all its rows, as is written for no value: not read.",
    "held_between": lambda values:
        f"{values['column']} was recorded at every {ordinal(values['every'])} row and held between:"
        " the repeats were left out.",
    "fine_word_ambiguous":
        "At {count} of {rows} rows the coarse word {column} doesn't settle which turn its fine "
        "word is in: no value there.",
    "starts_again": _wraps,
    "may_have_started_again":
        "{column} may have started again unseen over a gap: {count} values after it were left "
        "out.",
    "shifted": _shifted,
}


def reading(finding: Finding, hidden: bool = False) -> str:
    """Return how something in a file was interpreted, as a sentence.

    `hidden` : without the names of columns and files, and without cells that may hold a date.
    Raises KeyError for a code that has no sentence: a test holds that each code has one.
    """
    said = READING[finding.code]
    values = _shown(finding.values, hidden)
    return sentence_case(said.format_map(values) if isinstance(said, str) else said(values))


def sentences(findings: Iterable[Finding], hidden: bool = False) -> tuple[str, ...]:
    """Return findings of the readers as sentences, each once."""
    return tuple(dict.fromkeys(reading(finding, hidden) for finding in findings))


def _shown(values: Values, hidden: bool) -> Values:
    """Return values with the file's own names in quotation marks, or without them."""
    def name(column: str) -> str:
        return HIDDEN_COLUMN if hidden else f'"{column}"'

    shown = dict(values)
    if "column" in values:
        shown["column"] = name(values["column"])
    for key in ("columns", "others"):
        if key in values:
            shown[key] = [name(column) for column in values[key]]
    if values.get("cell"):
        shown["cell"] = f'"{values["cell"]}"'
    if hidden:
        shown |= dict.fromkeys(set(_IDENTIFYING) & set(values))
    return shown

