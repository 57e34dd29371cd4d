"""From gathered rows to a flight log: the clock settled, each channel as it was recorded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cached_property, partial
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.clocks.time_codes import Clock, normal_interval
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.read.columns.unit_inference import all_kelvin, taken_as_kelvin
from loganalyze.read.csv.damaged_cells import damage_findings
from loganalyze.read.files.row_batches import Rows
from loganalyze.read.flights.clock_plausibility import doubt
from loganalyze.read.plan.read_plan import ReadPlan
from loganalyze.read.repair.fill_values import fill_findings, flown, only_fill, plateaus
from loganalyze.read.repair.monotonic_time import MonotonicTime, ensure_monotonic
from loganalyze.read.repair.sample_and_hold import Grid, blank_between, held_between, resolution
from loganalyze.read.repair.split_words import joined, unwrapped
from loganalyze.record.channels import kind
from loganalyze.record.findings import Finding
from loganalyze.record.flight_log import Channel, FlightLog, Step, aligned
from loganalyze.record.intervals import HELD_INTERVALS

Floats = NDArray[np.float64]
FINE = ".fine"
LONGEST_STANDING = 1 << 20
"""Rows of one time: a stamp of whole minutes has 15,360 rows at 256 Hz."""
SECONDS = ("elapsed s", "s of the day")
"""The clocks whose numbers are taken as seconds as they stand."""
COARSE_STEPS = 0.1
"""Times that are exact to less than this part of the rows' interval need no word."""
EARLIEST, LATEST = np.datetime64("1900-01-01", "ns"), np.datetime64("2200-01-01", "ns")
"""Clocks that were never set show a year before the first recorders; none shows one after this."""


def rows_for(plan: ReadPlan, rows: int, supply: Callable[[int], Floats]) -> Rows:
    """Return arrays for so many rows of a file, which grow if need be."""
    return Rows([column.unit for column in plan.columns], rows,
                [i for i, column in enumerate(plan.columns) if flown(column)], supply)


def refuse_standing(rows: Rows, where: str) -> None:
    """Raise Problem where the time has stood still for so long that no log can be meant."""
    if rows.standing > LONGEST_STANDING:
        raise Problem(f"the clock stands still over more than {LONGEST_STANDING:,} rows", where,
                      "export the log again, or name another column as time in a columns file")


def assembled(plan: ReadPlan, clock: Clock, rows: Rows, said: tuple[Finding, ...] = (),
              counts: Mapping[str, Any] | None = None) -> FlightLog:
    """Return the flight log of some rows of a file.

    `said` and `counts` are findings and counts of what was left out around them. Raises Problem
    where the clock can't be followed.
    """
    rising = ensure_monotonic(rows.time, rows.rising, plan.where)
    maker = _Maker(plan, rising, rows)
    channels = {column.channel: maker.channel(column) for column in plan.columns
                if not column.channel.endswith(FINE) and not maker.leaves_out(column)}
    _check_clock(plan, clock, rising.time, channels, maker.interval)
    fastest = min((channel.interval_s for channel in channels.values()), default=maker.interval)
    start, bound = _start(plan, clock, rising, maker.interval)
    settled_units = tuple(
        finding for finding in plan.source.inferred if finding not in maker.withdrawn)
    inferred = (*settled_units, *clock.findings, *said, *rising.findings, *bound,
                *fill_findings(rows.counted), *damage_findings(rows.counted), *rows.found,
                *maker.findings)
    files = tuple(rows.files)
    source = plan.source if inferred == plan.source.inferred and not files else replace(
        plan.source, inferred=inferred, flight_files=files)
    found: dict[str, Any] = {"rows": len(rows), "kept": len(rising.time)}
    if rising.spread:
        found["spread over a coarse stamp"] = rising.spread
    found |= {f"left out, {reason}": count for reason, count in rising.aside.items()}
    if rows.left_out:
        found["lines without a sample"] = rows.left_out
    found |= {**rows.counted, **(counts or {})}
    return FlightLog(rising.time, channels, source, start, fastest,
                     (Step("read", {"clock": plan.form.words}, found),))


def from_first_sample(log: FlightLog, first_s: float) -> FlightLog:
    """Return a log whose time counts from `first_s` [s]: the time of the file's first sample.

    A first stamp that several rows share, or whose row was left out, is earlier or later than
    the first sample.
    """
    if not first_s:
        return log
    start = log.utc_start
    if start is not None:
        start = start + np.timedelta64(round(first_s * 1e9), "ns")
    return replace(log, time=log.time - first_s, utc_start=start)


def _start(plan: ReadPlan, clock: Clock, rising: MonotonicTime, interval: float
           ) -> tuple[np.datetime64 | None, list[Finding]]:
    """Return the instant of the first stamp, and how far off times in coarse numbers may be.

    Numbers are rounded to the nearest of their format (float32): each stands for the times from
    half a step before it, over which the rows that share it were spread from the step itself on.
    """
    start, rounding, form = clock.utc_start, plan.log.rounding(plan.time), plan.form
    if form.join is not None or not rounding or not clock.first:
        return start, []
    step_s = 2 * rounding * 2.0 ** np.floor(np.log2(abs(clock.first))) / form.per_second
    if step_s < COARSE_STEPS * interval:
        return start, []
    if rising.spread and start is not None:
        start = start - np.timedelta64(round(step_s / 2 * 1e9), "ns")
    return start, [Finding("coarse_numbers", {
        "column": plan.time.name, "within_s": float(step_s / 2), "dated": form.dated})]


def _check_clock(plan: ReadPlan, clock: Clock, time: Floats,
                 channels: Mapping[str, Channel], interval: float) -> None:
    """Raise Problem where no aircraft flies, or no recorder samples, as the times would have it."""
    form, name, start = plan.form, plan.time.name, clock.utc_start
    if form.dated and (start is None or not EARLIEST <= start <= LATEST):
        such = "" if start is None else f", such as {str(start)[:10]}"
        raise Problem(f'the time column "{name}" holds times of no flight{such}', plan.where,
                      "export its stamps again, or name another column as time in a columns file")
    found = doubt(time, channels, None if clock.first is None or form.words not in SECONDS
                  else float(clock.first), interval)
    if not found:
        return
    mend = ('state its form under [clock] in a columns file, such as form = "time of day", or name '
            "another column as time")
    if form.counter_clock is None and not form.textual:
        mend = (f"state what it counts in a columns file, such as time = {{ column = "
                f'"{name}", unit = "min" }}, or form = "hhmmss" or form = "time of day" under '
                "[clock]")
    raise Problem(f'the time column "{name}" was misread: as {form.words}, {found}', plan.where,
                  mend)


class _Maker:
    """Makes the channels of a log from its columns, and says what it did to get them."""

    def __init__(self, plan: ReadPlan, rising: MonotonicTime, rows: Rows) -> None:
        self._plan = plan
        self._time = rising.time
        self._keep = rising.keep
        names = [column.channel for column in plan.columns]
        self._values = dict(zip(names, rows.values, strict=True))
        self._places = {name: i for i, name in enumerate(names)}
        self._rows = rows
        self.interval = normal_interval(rising.time)
        self.findings: list[Finding] = []
        self.withdrawn: list[Finding] = []
        """Findings of the file's first rows that don't hold for these rows."""

    def _kept(self, name: str) -> Floats:
        values = self._values[name]
        return values if self._keep is None else values[self._keep]

    def leaves_out(self, column: LogColumn) -> bool:
        """Whether a temperature's unit is in doubt: its first rows looked like kelvin, not all do.

        It is left out with a finding, for airspeed limits are judged without it.
        """
        values = self._kept(column.channel)
        if (column.channel not in self._plan.kelvin or all_kelvin(values)
                or np.isnan(values).all()):
            return False
        self.withdrawn.append(taken_as_kelvin(column))
        self.findings.append(Finding("not_all_kelvin", {
            "column": column.name, "channel": column.channel}))
        return True

    def channel(self, column: LogColumn) -> Channel:
        """Return a column as a channel."""
        name = column.channel
        values = self._kept(name)
        if column.fine_span:
            values = self._fine(column, values)
        rows, held = self._own_rows(column, values)
        interval = self.interval
        if rows is not None:
            values = values[rows]
            interval = normal_interval(self._time[rows])
        values = self._without_plateau(column, values, rows)
        if column.wraps_at:
            values = self._unwrapped(column, values, rows, interval)
        rounding = self._plan.log.rounding(column)
        known = kind(name)
        step = partial(resolution, values, rounding, *(known.bounds if known else ()))
        shift = column.skew_s - column.lag_s
        if shift:
            values, rows = self._shifted(column, values, rows, interval, shift), None
        unit = column.recorded_unit or (column.unit.name if column.unit else "")
        # The step is looked for when it is first asked for: a field that takes either.
        return Channel(values, rows, interval, cast(float, step), rounding, column.name, unit,
                       column.known_by, column.unit_by, column.lag_s, column.skew_s, column.timed,
                       held, bool(shift))

    def _own_rows(self, column: LogColumn, values: Floats) -> tuple[NDArray[np.int32] | None, bool]:
        filled = not column.fine_span and self._rows.filled(self._places[column.channel])
        rows = None if filled else blank_between(values)
        known = kind(column.channel)
        if rows is not None or (known is not None and known.discrete):
            return rows, False
        found = held_between(values, lambda: self._grids)
        if found is None:
            return None, False
        rows, beat = found
        self.findings.append(Finding("held_between", {
            "column": column.name, "every": int(beat)}))
        return rows, True

    @cached_property
    def _grids(self) -> list[Grid]:
        """The beats and first rows of the channels that are surely held."""
        found = [held_between(self._kept(column.channel)) for column in self._plan.columns
                 if (known := kind(column.channel)) is None or not known.discrete]
        return [(held[1], int(held[0][0])) for held in found if held is not None]

    def _without_plateau(self, column: LogColumn, values: Floats,
                         rows: NDArray[np.int32] | None) -> Floats:
        known = kind(column.channel)
        if known is None or not flown(column):
            return values
        unit = column.unit or known.unit
        time = self._time if rows is None else self._time[rows]
        # What was noted of the rows holds for them as they were read.
        as_read = rows is None and self._keep is None and not column.fine_span
        rate = known.greatest_rate * known.unit.factor
        filled = plateaus(values, time, rate, self._rows.looks(
            self._places[column.channel], rate) if as_read else None)
        if (only := only_fill(values, unit)) is not None:
            self.findings.append(Finding("fill_throughout", {
                "column": column.name, "value": only, "count": len(values),
                "unit": "" if unit.name == "1" else unit.name}))
            return np.full(len(values), np.nan)
        if not len(filled):
            return values
        stood = np.unique(((values[filled] - unit.offset) / unit.factor).round(6))
        self.findings.append(Finding("fill_plateau", {
            "column": column.name, "values": stood[:3].tolist(), "more": len(stood) > 3,
            "unit": "" if unit.name == "1" else unit.name, "count": len(filled)}))
        values = values.copy()
        values[filled] = np.nan
        return values

    def _fine(self, column: LogColumn, coarse: Floats) -> Floats:
        fine = self._kept(column.channel + FINE)
        rows = blank_between(coarse)
        if rows is not None:
            coarse = aligned(self._time, self._time[rows], coarse[rows],
                             normal_interval(self._time[rows]), smooth=True)
        value = joined(coarse, fine, column.fine_span)
        lost = int((np.isnan(value) & ~np.isnan(coarse) & ~np.isnan(fine)).sum())
        if lost:
            self.findings.append(Finding("fine_word_ambiguous", {
                "column": column.name, "count": lost, "rows": len(value)}))
        return value

    def _unwrapped(self, column: LogColumn, values: Floats, rows: NDArray[np.int32] | None,
                   interval: float) -> Floats:
        known = kind(column.channel)
        rate = known.greatest_rate * known.unit.factor if known else np.inf
        longest = max(column.wraps_at / 2 / rate, HELD_INTERVALS * interval)
        time = self._time if rows is None else self._time[rows]
        value, lost = unwrapped(values, time, column.wraps_at, longest)
        unit = column.unit or (known.unit if known else None)
        span = column.wraps_at / unit.factor if unit else column.wraps_at
        self.findings.append(Finding("starts_again", {
            "column": column.name, "span": span, "unit": unit.name if unit else ""}))
        if lost:
            self.findings.append(Finding("may_have_started_again", {
                "column": column.name, "count": int(lost)}))
        return value

    def _shifted(self, column: LogColumn, values: Floats, rows: NDArray[np.int32] | None,
                 interval: float, shift: float) -> Floats:
        stamps = (self._time if rows is None else self._time[rows]) + shift
        known = kind(column.channel)
        smooth = known is not None and known.smooth
        self.findings.append(Finding("shifted", {
            "column": column.name, "smooth": smooth, "lag_s": column.lag_s,
            "skew_s": column.skew_s}))
        # A held value would have the lag again that was taken off.
        return aligned(self._time, stamps, values, interval, smooth, hold=not smooth)
