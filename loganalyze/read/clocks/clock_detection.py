"""Which clock a log has: found from the first cells of its time columns, stated, or refused."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from loganalyze.problems import Problem
from loganalyze.read.clocks import calendar_dates
from loganalyze.read.clocks.counter_clock import DayClock, FrameClock, WeekClock
from loganalyze.read.clocks.date_order import Export, find_order
from loganalyze.read.clocks.minute_clock import minutes_and_seconds
from loganalyze.read.clocks.short_dates import six_digits
from loganalyze.read.clocks.time_codes import Form
from loganalyze.read.clocks.time_columns import (
    MASS,
    Part,
    as_numbers,
    date_of_parts,
    days_written,
    decoded,
    month_and_day,
    number,
    offset_of,
    offset_written,
    ordinal_of_parts,
    seconds_of_hands,
    seconds_written,
    stacked,
    stamped,
    typical,
)
from loganalyze.read.clocks.time_of_day import decoding, looks_serial
from loganalyze.read.clocks.time_zone import as_named, no_zone
from loganalyze.read.clocks.timestamps import YEAR_FIRST, written
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.record.findings import Finding
from loganalyze.sheets.export_options import ClockHabits

USUAL_FRAME_S, USUAL_SUBFRAMES = 4.0, 4
"""A flight data recorder's frame is 4 s of four subframes (ARINC 717, common practice)."""


def find_form(log: Export, parts: Mapping[str, LogColumn], habits: ClockHabits,
              where: str) -> tuple[Form, list[Finding]]:
    """Tell how the columns of a log's clock make time.

    Parameters
    ----------
    log : Export
        The file, understood but not yet read.
    parts : mapping of str to Column
        The clock's columns, by `sheets.columns.CLOCK_PARTS`.
    habits : ClockHabits
        What the columns file says of the clock.
    where : str
        The file's name, for errors.

    Returns
    -------
    tuple of Form and list of Finding
        The clock, and a finding for everything that the file doesn't state.

    Raises
    ------
    Problem
        Where the columns make no clock, or leave a doubt that moves the times.
    """
    return _Finder(log, dict(parts), habits, where).find()


@dataclass
class _Finder:
    log: Export
    parts: dict[str, LogColumn]
    habits: ClockHabits
    where: str
    notes: list[Finding] = field(default_factory=list)
    order: str = ""
    _firsts: dict[str, str] = field(default_factory=dict)

    def find(self) -> tuple[Form, list[Finding]]:
        form = self._form()
        shift = self.habits.utc_offset_s
        if shift is not None:
            form = replace(form, epoch_s=form.epoch_s - shift, inferred=None)
        elif form.dated and not self._zoned and "since 1970" not in form.words:
            form, said = as_named(form, self.parts)
            self.notes += said
        if form.inferred:
            self.notes.insert(0, form.inferred)
        return replace(form, order=self.order), self.notes

    @property
    def _zoned(self) -> bool:
        """Whether the cells state their zone, or satellite time goes without."""
        if {"utc_offset", "week"} & self.parts.keys():
            return True
        found = written(self._first("time")) if "time" in self.parts else None
        return found is not None and found.zone

    def _form(self) -> Form:
        stated = self.habits.form
        if "time" not in self.parts and "date" in self.parts and "hour" not in self.parts:
            found = written(self._first("date"))
            if found is not None and found.time:
                self.parts["time"] = replace(self.parts.pop("date"), channel="time")
        if stated == "frame counter" or (
                "frame" in self.parts and not {"time", "hour"} & self.parts.keys()):
            return self._frames()
        if stated == "satellite week" or ("week" in self.parts and "date" not in self.parts):
            return self._week()
        if "time" not in self.parts:
            return self._hands()
        column = self.parts["time"]
        if as_numbers(self.log.cells(column)) is not None:
            return self._numbers(column)
        return self._text(column)

    def _first(self, part: str) -> str:
        if part not in self._firsts:
            self._firsts[part] = typical(self.log.cells(self.parts[part]))
        return self._firsts[part]

    def _sampled(self, part: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        values = as_numbers(self.log.cells(self.parts[part]))
        if values is None:
            raise Problem(f'column "{self.parts[part].name}" ({part.replace("_", " ")}) holds no '
                          "numbers in its first rows", self.where,
                          f"name another column as {part} in a columns file")
        return values

    # Stamps

    def _text(self, column: LogColumn) -> Form:
        short = minutes_and_seconds(self.log.cells(column), column, self.habits.form, self.where)
        if short is not None:
            self.notes += [short[1]] if short[1] else []
            return short[0]
        found = written(self._first("time"))
        if found is None or (found.date and not found.time):
            return self.log.clock(column)
        if found.date:
            order, found_by = find_order(self.log, column, self.habits.form, None, self.where)
            self.order = order
            plain = self.log.clock(column)
            if found_by is not None:
                self.notes.append(found_by)
            if "utc_offset" in self.parts and not found.zone:
                return self._with_offset(column, order)
            if order == YEAR_FIRST:
                return plain
            parse = stamped("time", order)
            return replace(plain, words=f"stamps, {order}", textual=False, parts=(column,),
                           join=lambda arrays: parse(arrays["time"]))
        if found.day_of_year:
            days = days_written("time", YEAR_FIRST)
            return self._day("day of the year and time of day", [seconds_written("time")],
                             (column,), (lambda arrays: days(arrays) + 1, "ordinal", ()),
                             found.zone)
        return self._day("time of day", [seconds_written("time")], (column,), zoned=found.zone)

    def _with_offset(self, column: LogColumn, order: str) -> Form:
        return self._day("stamps and their offset from UTC", [seconds_written("time", order)],
                         (column,), (days_written("time", order), "days", ()))

    # Numbers

    def _numbers(self, column: LogColumn) -> Form:
        values = self._sampled("time")
        dated = bool({"date", "day_of_year", "day"} & self.parts.keys())
        stated = self.habits.form
        if dated and self._serials(stated):
            stated = "time of day"  # The serial dates have their own column.
        if self._serials(stated) or (stated is None and looks_serial(values, column)):
            if stated is None:
                self.notes.append(Finding("serial_dates", {
                    "column": column.name, "timed": True}))
            return Form(
                1 / calendar_dates.DAY,
                "spreadsheet serial dates",
                dated=True,
                parts=(column,),
                join=lambda arrays: number("time")(arrays),
                epoch_s=self._serial_day * calendar_dates.DAY,
                inferred=no_zone(column),
            )
        decode = decoding(values, column, stated, dated, self.where)
        if decode is None:
            if stated is None or stated in ("elapsed", "epoch"):
                if "date" in self.parts:
                    self._unused("date")
                return self.log.clock(column)
            raise Problem(f'the numbers of the time column "{column.name}" (such as '
                          f"{values[0]:.12g}) don't fit a clock of the form \"{stated}\"",
                          self.where, "state the right form under [clock] in a columns file")
        if decode.found is not None:
            self.notes.append(decode.found)
        return self._day(decode.words, [decoded("time", decode.seconds)], (column,))

    @staticmethod
    def _serials(stated: str | None) -> bool:
        return stated is not None and stated.startswith("spreadsheet serial")

    @property
    def _serial_day(self) -> int:
        """Day 0 of spreadsheet dates, in days since 1970."""
        return (
            calendar_dates.SERIAL_1904
            if str(self.habits.form).endswith("1904")
            else calendar_dates.SERIAL_1900
        )

    def _unused(self, part: str) -> None:
        first = self._first(part)
        self.notes.append(Finding("dates_not_used", {
            "column": self.parts[part].name, "cell": first,
            "order_open": re.fullmatch(r"\d{5,6}", first) is not None}))

    # Several columns

    def _hands(self) -> Form:
        names = [name for name in ("second", "minute", "hour") if name in self.parts]
        if "hour" not in names or "minute" not in names:
            raise Problem("the clock's columns don't make a time of day", self.where,
                          "name columns as hour and minute, or one as time, in a columns file")
        columns = tuple(self.parts[name] for name in names)
        for name in names:
            self._sampled(name)
        hands = [number(name) for name in names]
        if names[0] == "minute":
            hands[0] = lambda arrays: 60 * number("minute")(arrays)
        return self._day(f"{', '.join(reversed(names[1:]))} and {names[0]}", hands, columns)

    def _day(self, words: str, hands: list[Part], columns: tuple[LogColumn, ...],
             day: tuple[Part, str, tuple[LogColumn, ...]] | None = None, zoned: bool = False
             ) -> Form:
        """Return the form of a time of day, with the day and the offset that stand beside it."""
        day = day or self._calendar(columns, hands)
        offset = None if zoned else self._offset()
        beside = (*(day[2] if day else ()), *(offset[1] if offset else ()))
        counters = [*hands, *([day[0]] if day else []), *([offset[0]] if offset else [])]
        year = self.habits.year
        dated = day is not None and (day[1] == "days" or year is not None)
        inferred = None
        if dated and not zoned and offset is None:
            inferred = no_zone(*columns)
        if day and day[2]:
            words = f"date, {words}" if day[1] == "days" else f"{words}, day of the year"
        counter_clock = partial(DayClock, len(hands), day is not None, offset is not None,
                       day[1] if day else "days", year)
        return Form(1.0, words, dated=dated, inferred=inferred, parts=(*columns, *beside),
                    join=stacked(counters), counter_clock=counter_clock)

    def _calendar(self, clock: tuple[LogColumn, ...], hands: list[Part]
                  ) -> tuple[Part, str, tuple[LogColumn, ...]] | None:
        have = self.parts
        if "date" in have:
            return self._dates(clock, hands)
        if {"year", "day_of_year"} <= have.keys():
            return (ordinal_of_parts("year", "day_of_year"), "days",
                    (have["year"], have["day_of_year"]))
        if "day_of_year" in have:
            return number("day_of_year"), "ordinal", (have["day_of_year"],)
        if {"year", "month", "day"} <= have.keys():
            return (date_of_parts("year", "month", "day"), "days",
                    (have["year"], have["month"], have["day"]))
        if {"month", "day"} <= have.keys():
            if self.habits.year is None:
                raise Problem(f'columns "{have["month"].name}" and "{have["day"].name}" state the '
                              "month and the day, but nothing states the year", self.where,
                              "state year under [clock] in a columns file")
            return month_and_day("month", "day"), "months", (have["month"], have["day"])
        return None

    def _dates(self, clock: tuple[LogColumn, ...], hands: list[Part]
               ) -> tuple[Part, str, tuple[LogColumn, ...]] | None:
        column = self.parts["date"]
        values = as_numbers(self.log.cells(column))
        if values is not None:
            if not np.isnan(calendar_dates.day_of_digits(values)).mean() > 1 - MASS:
                return decoded("date", calendar_dates.day_of_digits), "days", (column,)
            short = six_digits(self.log.cells(column), column, self.habits.form)
            if short is not None:
                self.notes += [short[1]] if short[1] else []
                return decoded("date", short[0]), "days", (column,)
            if self._serials(self.habits.form) or (
                    looks_serial(values, column, whole=True)
                    and not re.fullmatch(r"0\d+|\d{6}", self._first("date"))):
                if not self._serials(self.habits.form):
                    self.notes.append(Finding("serial_dates", {
                        "column": column.name, "timed": False}))
                first = self._serial_day
                return decoded("date", lambda given: np.floor(given) + first), "days", (column,)
            self._unused("date")
            return None
        found = written(self._first("date"))
        if found is None or not found.date:
            if self._first("date"):
                self._unused("date")
            return None
        one_hand = hands[0] if len(hands) == 1 else seconds_of_hands(hands)
        order, found_by = find_order(self.log, column, self.habits.form, (clock, one_hand),
                                     self.where)
        self.order = order
        if found_by is not None:
            self.notes.append(found_by)
        return days_written("date", order), "days", (column,)

    def _offset(self) -> tuple[Part, tuple[LogColumn, ...]] | None:
        column = self.parts.get("utc_offset")
        if column is None:
            return None
        values = as_numbers(self.log.cells(column))
        first = self._first("utc_offset")
        if values is None or (first[:1] in "+-" and first[1:].isdigit() and len(first) == 5):
            if first and offset_of(first) is None:
                raise Problem(f'"{first}" in column "{column.name}" is no offset from UTC',
                              self.where, "export it as +01:30, or in hours")
            return offset_written("utc_offset"), (column,)
        hours, minutes = np.abs(values) <= 14, (np.abs(values) <= 840) & (values % 15 == 0)
        scale = 3600.0 if hours.mean() >= MASS else 60.0 if minutes.mean() >= MASS else 0.0
        if not scale:
            raise Problem(f'nothing states the unit of the offset from UTC in column '
                          f'"{column.name}" (such as {values[0]:.12g})', self.where,
                          "export it as +01:30, or in hours")
        return lambda arrays: number("utc_offset")(arrays) * scale, (column,)

    # Counters

    def _week(self) -> Form:
        within = next((self.parts[name] for name in ("time", "second") if name in self.parts), None)
        if "week" not in self.parts or within is None:
            raise Problem("satellite time needs its week and the seconds of the week", self.where,
                          "name both, as week and time, in a columns file")
        seconds, week = self._sampled(within.channel), self._sampled("week")
        factor = within.unit.factor if within.unit else 1.0
        if within.unit is None and (seconds > calendar_dates.WEEK).mean() >= MASS:
            factor = 1e-3
            self.notes.append(Finding("week_in_milliseconds", {
                "column": within.name, "week_s": calendar_dates.WEEK}))
        stated = first = float(np.sort(week)[(len(week) - 1) // 2])
        if first < calendar_dates.WEEKS_IN_TURN:
            first = calendar_dates.full_week(first, self.habits.year)
            if first != first:
                self.notes.append(Finding("week_may_have_restarted", {"week": stated}))
        day = calendar_dates.SATELLITE_EPOCH + first * 7 if first == first else np.nan
        leap = self.habits.leap_seconds
        if leap is None and day == day:
            leap = calendar_dates.leap_seconds(day)
            self.notes.append(Finding("leap_seconds", {
                "leap_s": leap, "announced": str(calendar_dates.LEAPS_TO)}))
        parts = [decoded(within.channel, lambda given: given * factor), number("week")]
        return Form(
            1.0,
            "satellite week and seconds",
            dated=day == day,
            epoch_s=0.0
            if day != day
            else calendar_dates.SATELLITE_EPOCH * calendar_dates.DAY
            + (first - stated) * calendar_dates.WEEK
            - (leap or 0),
            parts=(within, self.parts["week"]),
            join=stacked(parts),
            counter_clock=WeekClock,
        )

    def _frames(self) -> Form:
        habits = self.habits
        if "frame" not in self.parts:
            raise Problem("a frame counter's column isn't named", self.where,
                          "name it as frame in a columns file")
        columns = [self.parts["frame"]]
        counters = [number("frame")]
        self._sampled("frame")
        subframes = 1
        if "subframe" in self.parts:
            seen = self._sampled("subframe")
            subframes = habits.subframes or USUAL_SUBFRAMES
            if seen.max() - seen.min() >= subframes or seen.min() < 0:
                raise Problem(f'column "{self.parts["subframe"].name}" counts to '
                              f"{seen.max():g}, which isn't a part of {subframes} subframes",
                              self.where, "state subframes under [clock] in a columns file")
            if subframes > 1:
                columns.insert(0, self.parts["subframe"])
                counters.insert(0, number("subframe"))
        frame_s = habits.frame_s
        if frame_s is None:
            if len(columns) == 1:
                raise Problem(f'nothing states how long a frame of column "{columns[0].name}" '
                              "takes", self.where, "state frame_s under [clock] in a columns file")
            frame_s = USUAL_FRAME_S * subframes / USUAL_SUBFRAMES
            self.notes.append(Finding("usual_frames", {
                "frame_s": frame_s, "subframes": subframes}))
        return Form(1.0, f"frames of {frame_s:g} s", parts=tuple(columns), join=stacked(counters),
                    counter_clock=partial(FrameClock, frame_s, subframes, habits.frames))
