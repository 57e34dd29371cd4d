"""Collects a file's rows and yields its flights, each as soon as it is complete."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.air.atmosphere import A0, P0, R_AIR, T0
from loganalyze.read.clocks.time_codes import Clock
from loganalyze.read.files.row_batches import RowBatch, Rows
from loganalyze.read.flights.flight_boundaries import CutSettings, Run, Tracker
from loganalyze.read.flights.log_assembly import (
    assembled,
    from_first_sample,
    refuse_standing,
    rows_for,
)
from loganalyze.read.plan.read_plan import ReadPlan
from loganalyze.read.repair.monotonic_time import EXCURSION_ROWS, Break, find_break
from loganalyze.record.buffers import pooled
from loganalyze.record.derivations import AIRSPEED, ALTITUDE, of_kind
from loganalyze.record.findings import Finding
from loganalyze.record.flight_log import FlightLog

Floats = NDArray[np.float64]

FLIGHT_CAPACITY, LEAST_CAPACITY = 1 << 22, 1 << 12
"""Greatest and least initial capacity [rows] of a flight's arrays; full arrays are doubled."""
SHARE = 4
"""A flight that uses less than this fraction (1 / SHARE) of its arrays is copied, so that a
reference to it doesn't keep the whole arrays."""
_DENSITY = P0 / (R_AIR * T0)
_PASCALS_A_METRE = 12.0
"""Gradient of the static pressure near sea level [Pa/m], accurate enough to test steadiness."""
_ABSURD = 1000.0
"""Airspeeds above this [m/s] are fill values."""


class FlightSplitter:
    """Splits a file, given as batches of rows in order, into flights."""

    def __init__(self, plan: ReadPlan, settings: CutSettings) -> None:
        self._plan = plan
        self._settings = settings
        self._clock = Clock(plan.form)
        self._names = [column.channel for column in plan.columns]
        # No more than the file may hold: with forty columns the rest would be a gigabyte.
        likely = plan.log.likely_rows or FLIGHT_CAPACITY
        self._rows = rows_for(plan, min(max(likely, LEAST_CAPACITY), FLIGHT_CAPACITY), pooled)
        self._most = 0  # Rows that were in the same arrays.
        self._dropped = 0  # Rows of the file before the first that is held.
        self._latest = -np.inf
        self._flown = False
        self._waiting: list[Rows] = []
        self._left_rows, self._left_s = 0, 0.0
        self._found: tuple[Finding, ...] = ()
        self._first_s: float | None = None  # The time of the file's first sample, once known.
        self.empty = True
        """Whether the file has no rows so far."""
        self._begin()

    def _begin(self) -> None:
        self._scanned = self._tracked = 0
        self._looked_s = -np.inf
        self._tracker = Tracker(self._settings, "weight_on_wheels" in self._names)

    def add(self, batch: RowBatch) -> None:
        """Append the next batch."""
        time = self._clock.elapsed(batch.ticks)
        self.empty = self.empty and not len(time)
        self._rows.add(time, batch)
        refuse_standing(self._rows, self._plan.where)
        self._most = max(self._most, len(self._rows))

    def write_column(self, column: int, start: int, array: pa.Array) -> None:
        """Write a column's values from row `start` of the file on, before the batch is added."""
        self._rows.write_column(column, start - self._dropped, array)

    def flights(self, final: bool) -> Iterator[FlightLog]:
        """Yield the complete flights; at the end of the file (`final`) all that remain."""
        while True:
            found, self._scanned, self._latest = self._look(final)
            self._track()
            if found is None:
                break
            gap = found.after_s - found.before_s
            yield from self._finished(found.row, () if found.reset else (
                Finding("gap_after", {"minutes": gap / 60}),))
            self._after(found)
        if not final:
            yield from self._ripe()
            return
        if len(self._rows):
            yield from self._finished(len(self._rows))
        while self._waiting and not self._flown:
            first = self._waiting[0].time[0]
            yield self._made(self._waiting.pop(0), (
                Finding("no_flight_found", {"begins_s": float(first)}),))

    def _look(self, final: bool) -> tuple[Break | None, int, float]:
        """Look for the next gap or reset of the clock, as `find_break` does."""
        time, start, latest = self._rows.time, self._scanned, self._latest
        gap_s = self._settings.gap_s
        if start < len(time) and latest == (time[start - 1] if start else -np.inf):
            odd = self._rows.unsteady(start, gap_s)
            if odd is None:
                return None, len(time), float(time[-1])
            # Up to there all is in order. Most breaks show within a few rows.
            start, stop = odd[0], odd[1] + EXCURSION_ROWS + 1
            latest = float(time[start - 1]) if start else -np.inf
            if stop < len(time):
                found = find_break(time[:stop], start, latest, gap_s, final=False)
                if found[0] is not None:
                    return found
        return find_break(time, start, latest, gap_s, final)

    def _after(self, found: Break) -> None:
        self._rows = self._rows.after(found.row)
        self._dropped += found.row
        self._latest = -np.inf
        self._begin()
        if found.reset:
            self._found = (Finding("clock_reset", {
                "before_s": found.before_s, "after_s": found.after_s}),)

    def _track(self) -> None:
        start, stop = self._tracked, self._scanned
        if stop > start:
            values = dict(zip(self._names, (array[start:stop] for array in self._rows.values),
                              strict=True))
            self._tracker.add(start, self._rows.time[start:stop], _airspeed(values),
                              _altitude(values), values.get("weight_on_wheels"))
            self._tracked = stop

    def _finished(self, stop: int, next_found: tuple[Finding, ...] = ()) -> Iterator[FlightLog]:
        """Give what is left of a stretch that ends before row `stop`.

        `next_found` : what to say of what follows the stretch, with its last flight.
        """
        spans = self._tracker.spans()
        air = [i for i, span in enumerate(spans) if not span.ground]
        if not air and spans:
            self._ground(0, stop)
            return
        edge = 0
        for i in air:
            start, end = self._bounds(spans, i, stop)
            self._leave(edge, start)
            edge = end
            self._flying()
            findings = (*self._take_found(), *self._runs_on(spans, i), *(
                next_found if i == air[-1] else ()))
            yield self._made(self._rows.before(start, end), findings)
        if not air:
            self._flying()
            yield self._made(self._rows.before(0, stop), (*self._take_found(), *next_found))

    def _runs_on(self, spans: list[Run], i: int) -> tuple[Finding, ...]:
        """Say so where ground time after a flight is left out, whether or not another follows."""
        kept = self._settings.kept_s
        least = kept if i + 2 >= len(spans) else 2 * kept
        if i + 1 >= len(spans) or spans[i + 1].duration_s < least:
            return ()
        return (Finding("recording_runs_on", {"minutes": kept / 60}),)

    def _ripe(self) -> Iterator[FlightLog]:
        """Give the flights of the running stretch after which enough is known."""
        rules = self._settings
        last = float(self._rows.time[self._tracked - 1]) if self._tracked else -np.inf
        if last - self._looked_s < rules.kept_s / 10:
            return  # A look costs more than a few rows do.
        self._looked_s = last
        if not self._tracker.may_be_down:
            return
        while self._tracked:
            spans = self._tracker.spans()
            now = spans[-1].stop_s if spans else 0.0
            first = next((i for i, span in enumerate(spans) if not span.ground), None)
            if first is None:
                self._trim(spans, now)
                return
            if first + 1 >= len(spans):
                return
            again = first + 2 < len(spans) - 1 or (
                first + 2 == len(spans) - 1 and self._tracker.flown(spans[first + 2]))
            if not again and now - spans[first + 1].start_s < 2 * rules.kept_s:
                return
            start, end = self._bounds(spans, first, self._tracked)
            self._leave(0, start)
            self._flying()
            part = [self._rows.before(start, end)]
            findings = (*self._take_found(), *self._runs_on(spans, first))
            self._drop(end)
            yield self._made(part.pop(), findings)

    def _bounds(self, spans: list[Run], i: int, stop: int) -> tuple[int, int]:
        """Return the rows of the flight that is in the air in span `i`."""
        kept, span = self._settings.kept_s, spans[i]
        start, end = span.start, span.stop if i + 1 < len(spans) else stop
        if i:
            ground = spans[i - 1]
            begin = span.start_s - kept
            if i > 1:
                begin = max(begin, (ground.start_s + ground.stop_s) / 2)
            start = ground.start + self._row_at(ground, begin)
        else:
            start = 0
        if i + 1 < len(spans):
            ground = spans[i + 1]
            begin = span.stop_s + kept
            if i + 2 < len(spans):
                begin = min(begin, (ground.start_s + ground.stop_s) / 2)
            end = ground.start + self._row_at(ground, begin)
            end = stop if i + 2 == len(spans) and end == ground.stop else end
        return start, end

    def _row_at(self, run: Run, time: float) -> int:
        return int(np.searchsorted(self._rows.time[run.start : run.stop], time))

    def _trim(self, spans: list[Run], now: float) -> None:
        """Let go of ground time that is too long ago to belong to the next flight."""
        if not spans or not (self._flown or len(self._rows) > FLIGHT_CAPACITY):
            return
        kept = self._settings.kept_s
        stamps = self._rows.time[: self._tracked]
        if now - float(stamps[0]) > 2 * kept:
            row = int(np.searchsorted(stamps, now - kept))
            self._leave(0, row)
            self._drop(row)

    def _drop(self, row: int) -> None:
        self._rows = self._rows.after(row)
        self._dropped += row
        self._tracker = self._tracker.shifted(row)
        self._scanned, self._tracked = self._scanned - row, self._tracked - row

    def _ground(self, start: int, stop: int) -> None:
        """Keep a stretch in which nothing flies, in case nothing flies in the whole file."""
        if self._flown:
            self._leave(start, stop)
            return
        self._waiting.append(self._rows.before(start, stop))
        while sum(map(len, self._waiting)) > FLIGHT_CAPACITY and len(self._waiting) > 1:
            gone = self._waiting.pop(0)
            self._left_rows += len(gone)
            self._left_s += _lasting(gone.time)

    def _flying(self) -> None:
        self._flown = True
        for rows in self._waiting:
            self._left_rows += len(rows)
            self._left_s += _lasting(rows.time)
        self._waiting.clear()

    def _leave(self, start: int, stop: int) -> None:
        if stop > start:
            self._left_rows += stop - start
            self._left_s += _lasting(self._rows.time[start:stop])

    def _take_found(self) -> tuple[Finding, ...]:
        findings, self._found = self._found, ()
        return findings

    def _made(self, rows: Rows, findings: tuple[Finding, ...]) -> FlightLog:
        counts = {}
        if self._left_rows:
            counts = {"ground running before, of no flight": self._left_rows}
            start = float(rows.time[0]) - (self._first_s or 0.0)
            findings = (*findings, Finding("ground_before", {
                "rows": self._left_rows, "minutes": self._left_s / 60, "begins_s": start}))
            self._left_rows, self._left_s = 0, 0.0
        if SHARE * len(rows) < self._most:
            rows = rows.own()
        log = assembled(self._plan, self._clock, rows, findings, counts)
        if self._first_s is None:
            # Where rows were left out before it, the file's first sample wasn't looked at closely.
            self._first_s = float(log.time[0]) if len(log) and not counts else 0.0
        return from_first_sample(log, self._first_s)


def _lasting(time: Floats) -> float:
    known = time[np.isfinite(time)]
    return float(known[-1] - known[0]) if len(known) else 0.0


def _airspeed(values: dict[str, Floats]) -> Floats | None:
    """Return an airspeed [m/s] that tells flying from taxiing, from what is recorded."""
    way = next((way for way in AIRSPEED if way.is_recorded(values)), None)
    if way is not None and way.kind == "recorded":
        return _plausible(values[way.channels[0]])
    if way is not None and way.kind == "pressures":
        pressure, *less = (values[name] for name in way.channels)
        if less:
            pressure = pressure - less[0]
        with np.errstate(invalid="ignore"):
            return _plausible(np.sqrt(2 * np.maximum(pressure, 0) / _DENSITY))
    for name, factor in (("true_airspeed", 1.0), ("mach", A0), ("ground_speed", 1.0)):
        if name in values:
            return _plausible(values[name] * factor)
    return None


def _plausible(airspeed: Floats) -> Floats:
    if not len(airspeed) or (airspeed.min() >= 0 and airspeed.max() < _ABSURD):
        return airspeed
    with np.errstate(invalid="ignore"):
        return np.where((airspeed >= -5) & (airspeed < _ABSURD), airspeed, np.nan)


def _altitude(values: dict[str, Floats]) -> Floats | None:
    for name in ("pressure_altitude", "indicated_altitude", "satellite_altitude"):
        if name in values:
            return values[name]
    way = next((way for way in of_kind(ALTITUDE, "pressures") if way.is_recorded(values)), None)
    if way is None:
        return None
    pressure, *less = (values[name] for name in way.channels)
    return -(pressure - less[0] if less else pressure) / _PASCALS_A_METRE
