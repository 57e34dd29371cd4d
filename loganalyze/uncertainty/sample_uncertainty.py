"""Standard uncertainty of speeds and margins, at every sample and for one limit at some rows.

First-order propagation with correlation: a static source's error is one input that moves
airspeed and altitude together, so its sensitivity is a sum before it is squared. The slope of
correction tables (a few per cent) is left out of the sensitivities.

References
----------
.. [1] JCGM 100:2008, 5.1.2, eq. 10 (independent inputs), 5.2.2, eq. 13 (correlated ones).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import sensitivity
from loganalyze.events.analysis import Analysis
from loganalyze.limits import limit_equivalents
from loganalyze.limits.limit_equivalents import AirDataRows
from loganalyze.quantities.speed_relations import skip_nan
from loganalyze.quantities.true_airspeed import tas_slopes
from loganalyze.record.channels import CHANNELS
from loganalyze.record.flight_log import Step
from loganalyze.record.units import FOOT, KNOT
from loganalyze.results.row_columns import RowColumns
from loganalyze.sheets.limits_sheet import Limit
from loganalyze.sheets.sensor_tolerances import TYPICAL, Tolerance
from loganalyze.uncertainty import propagation
from loganalyze.uncertainty.airspeed_noise import AirspeedNoise
from loganalyze.uncertainty.error_budget import (
    AIRSPEED,
    ALTITUDE,
    STATIC,
    TEMPERATURE,
    Budget,
    budget_of,
)
from loganalyze.uncertainty.margin_sensitivities import (
    limit_slopes,
    margin_slopes,
    static_source,
)

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

Inputs = tuple[Mapping[str, Floats], Mapping[str, Floats], Floats, Floats]
"""By what an error moves: the margin's slope per edge unit, and the reading there; its slope by
calibrated airspeed [the limit's unit per m/s]; its variance by the time between channels."""

FREEZING = 273.15


@dataclass(frozen=True, eq=False)
class ErrorModel:
    """Standard uncertainties of the margin to one limit, in its own unit, such as kt or Mach.

    All float64[m]. ``common`` is common to the flight and the source, ``random`` drawn anew at
    every sample; ``per_kt`` is how much the published quantity changes with 1 kt CAS;
    ``rounding`` is the part of ``flown_random`` that the recorder's steps make.
    """

    flown_common: Floats
    flown_random: Floats
    displayed_common: Floats
    displayed_random: Floats
    per_kt: Floats
    rounding: Floats

    @property
    def flown(self) -> Floats:
        """The whole, as flown."""
        return np.hypot(self.flown_common, self.flown_random)

    @property
    def displayed(self) -> Floats:
        """The whole, as displayed; the display's lag comes on top."""
        return np.hypot(self.displayed_common, self.displayed_random)


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """What is known of a flight's measurement uncertainty.

    ``tolerances`` : (sensor code, source, standard uncertainty in its edge unit), sizes as at
    the smallest margin.
    """

    analysis: Analysis
    budget: Budget

    @cached_property
    def columns(self) -> RowColumns:
        """Standard uncertainty at every sample, float32[n], by name.

        As flown ``margin_u_kt``, ``margin_u_mach``, ``mach_u``, ``calibrated_airspeed_u_kt``
        and, with a temperature, ``true_airspeed_u_kt``; as displayed ``margin_displayed_u_kt``.
        NaN where the quantity itself is. Within 0.5 % of the exact propagation at 40 kt and more,
        but in the 8-m or quarter-knot cell in which a table bends.
        """
        # Of a twin: what holds itself keeps a flight's memory until garbage is collected.
        twin = replace(self)
        return RowColumns({}, propagation.names_of(self.analysis), partial(
            propagation.columns, self.analysis, self.budget, twin._exactly))

    @cached_property
    def tolerances(self) -> tuple[tuple[str, str, float], ...]:
        """(Sensor code, source, standard uncertainty in its edge unit), as at the least margin."""
        nearest = self.analysis.smallest[0]
        row = 0
        if not np.isnan(nearest.time_s):
            row = int(np.searchsorted(self.analysis.time, nearest.time_s))
        at = self.analysis.evaluation.air_data_at(np.array([row]))
        return self.budget.listed(
            {moves: float(reading[0]) for moves, reading in _readings(at).items()})

    @cached_property
    def airspeed_noise(self) -> AirspeedNoise:
        """Tells noise of the airspeed from gusts."""
        return AirspeedNoise(self.analysis, self.budget)

    @property
    def step(self) -> Step:
        """The step's record."""
        return Step("uncertainty", {code: source for code, source, _ in self.tolerances})

    def at(self, limit: int, rows: Rows) -> ErrorModel:
        """Return the error model of one limit at some rows.

        Parameters
        ----------
        limit : int
            The limit's index in the sheet.
        rows : ndarray of intp, shape (m,)
            Rows of the log.

        Returns
        -------
        ErrorModel
            NaN where an input that matters is missing.
        """
        return self._model(self.analysis.sheet.limit[limit], rows)

    def parts(self, limit: int, rows: Rows, inputs: Inputs, *, flown: bool) -> dict[str, Floats]:
        """Return the variance that each error common to the flight brings to the margin.

        In the limit's published quantity, squared, float64[m] each, by the error's code; on one
        basis. The display's lag is left out: it depends on how the excess peaks. `inputs` : as
        `inputs_of` gives them for the limit and rows, with whatever tolerances.
        """
        stated = self.analysis.sheet.limit[limit]
        slopes, readings, by_speed, skew = inputs
        indicated = stated.kind.as_indicated
        found: dict[str, Floats] = {}
        for entry in self.budget.entries:
            counted = entry.flown if flown else entry.displayed
            if not counted or (indicated and not entry.on_indicated):
                continue
            if entry.tolerance is None:
                found[entry.sensor] = _term(slopes[entry.moves], np.nan)
            elif entry.tolerance.common:
                found[entry.sensor] = _term(slopes[entry.moves],
                                          entry.tolerance.standard_at(readings[entry.moves]) ** 2)
        found["skew"] = skew
        if not flown:
            code, step = stated.kind.display_step_code, self._step(stated, np.abs(by_speed) * KNOT)
            if code:
                found[code] = step**2 / 12 * np.ones(len(rows))
        return found

    def sizes(self, inputs: Inputs) -> dict[str, Floats]:
        """Return the standard uncertainty of each error in its edge unit at some rows."""
        _, readings, *_ = inputs
        return {entry.sensor: entry.tolerance.standard_at(readings[entry.moves])
                for entry in self.budget.entries if entry.tolerance is not None}

    def inputs_of(self, limit: int, rows: Rows) -> Inputs:
        """Return the margin's slopes, the readings and the skew at some rows."""
        return self._inputs(self.analysis.sheet.limit[limit], rows)

    def _inputs(self, limit: Limit, rows: Rows) -> Inputs:
        at = self.analysis.evaluation.air_data_at(rows)
        by_speed, by_height, by_heat = margin_slopes(
            limit, at, self.analysis.evaluation.air.recovery_factor)
        # A margin independent of the altitude is known without it.
        flat = by_height == 0.0
        along = by_speed.copy()
        along[~flat] += (by_height * static_source(at))[~flat]
        slopes = {AIRSPEED: by_speed * KNOT, STATIC: along * KNOT, ALTITUDE: by_height * FOOT,
                  TEMPERATURE: by_heat, **dict.fromkeys(self.budget.own, np.zeros(len(rows)))}
        for name, slope in limit.kind.channel_slopes(at).items():
            unit = CHANNELS[name].unit.factor / limit.kind.unit.factor
            slopes[name] = -unit * slope
        return slopes, _readings(at), by_speed, self._skew(slopes, rows)

    def _skew(self, slopes: Mapping[str, Floats], rows: Rows) -> Floats:
        """Variance of the margin by the time between channels."""
        found = np.zeros(len(rows))
        for moves, column, seconds in (
                (ALTITUDE, "pressure_altitude_ft", self.budget.skew_s),
                (TEMPERATURE, "static_air_temperature_degc", self.budget.temperature_skew_s)):
            if slopes[moves].any():
                found += _term(slopes[moves], self._moved(column, rows, seconds))
        return found

    def _step(self, limit: Limit, per_kt: Floats) -> Floats:
        """The display's step in the limit's published quantity."""
        return limit.kind.display_step(self.budget, per_kt)

    def _model(self, limit: Limit, rows: Rows) -> ErrorModel:
        slopes, readings, by_speed, skew = self._inputs(limit, rows)
        indicated = limit.kind.as_indicated
        total: dict[tuple[bool, bool], Floats] = {}
        for flown in (True, False):
            for common in (True, False):
                total[flown, common] = sum(
                    (_term(slopes[moves], self.budget.variance(
                        moves, readings[moves], flown=flown, common=common, indicated=indicated))
                     for moves in slopes), np.zeros(len(rows)))
        per_kt = np.abs(by_speed) * KNOT
        step = self._step(limit, per_kt)
        return ErrorModel(
            np.sqrt(total[True, True] + skew), np.sqrt(total[True, False]),
            np.sqrt(total[False, True] + skew + step**2 / 12), np.sqrt(total[False, False]),
            per_kt,
            np.sqrt(sum((_term(slopes[entry.moves],
                               entry.tolerance.standard_at(readings[entry.moves]) ** 2)
                         for entry in self.budget.entries
                         if entry.sensor.endswith("_resolution") and entry.tolerance is not None),
                        np.zeros(len(rows)))),
        )

    def _moved(self, column: str, rows: Rows, seconds: float) -> Floats:
        """Variance of a column by a time error of at most so many seconds, rectangular."""
        values = self.analysis.columns.get(column)
        if seconds == 0.0:
            return np.zeros(len(rows))
        if values is None:
            return np.full(len(rows), np.nan)
        rate = propagation.rate(values, self.analysis.time, rows, self.analysis.log.interval_s)
        return (rate * seconds) ** 2 / 3

    def _exactly(self, rows: Rows, governing: NDArray[np.uint8]) -> dict[str, Floats]:
        """Return the columns at a few rows, computed exactly."""
        air = self.analysis.evaluation.air
        at = limit_equivalents.air_data_rows(air, rows)
        by_speed = skip_nan(sensitivity.mach_by_cas, at.calibrated_airspeed, at.pressure_altitude)
        by_height = skip_nan(sensitivity.mach_by_altitude, at.calibrated_airspeed,
                             at.pressure_altitude)
        found = {name: np.full(len(rows), np.nan) for name in propagation.NAMES}
        speed, height = at.calibrated_airspeed / KNOT, at.pressure_altitude / FOOT
        independent = self.budget.variance(AIRSPEED, speed, flown=True)
        static = self.budget.variance(STATIC, speed, flown=True)
        high = (self.budget.variance(ALTITUDE, height, flown=True)
                + self._moved("pressure_altitude_ft", rows, self.budget.skew_s))
        along = by_speed + by_height * static_source(at)
        of_mach = np.sqrt((by_speed * KNOT) ** 2 * independent + (along * KNOT) ** 2 * static
                          + (by_height * FOOT) ** 2 * high)
        found["calibrated_airspeed_u_kt"] = np.sqrt(independent + static)
        found["mach_u"] = of_mach
        by_mach, by_heat = tas_slopes(at, air.recovery_factor)
        warm = (self.budget.variance(TEMPERATURE, at.temperature - FREEZING, flown=True)
                + self._moved("static_air_temperature_degc", rows,
                              self.budget.temperature_skew_s))
        found["true_airspeed_u_kt"] = np.sqrt((by_mach * of_mach) ** 2 + by_heat**2 * warm) / KNOT
        for i in np.unique(governing[governing < len(self.analysis.sheet.limit)]):
            here = np.flatnonzero(governing == i)
            ((flown_kt, flown_mach, shown),) = self.in_kt((int(i),), rows[here])
            found["margin_u_kt"][here] = flown_kt
            found["margin_u_mach"][here] = flown_mach
            if self.budget.lag_s:
                lag = propagation.closing(self.analysis, rows[here]) * self.budget.lag_s
                shown = np.hypot(shown, lag / np.sqrt(3))
            found["margin_displayed_u_kt"][here] = shown
        return found

    def in_kt(self, limits: Sequence[int], rows: Rows, at: AirDataRows | None = None
              ) -> list[tuple[Floats, Floats, Floats]]:
        """Return the uncertainty of the margin to each of some limits (by index) at some rows.

        As flown in kt CAS, as flown in Mach, and as displayed in kt CAS without the display's
        lag; float64[m] each. `at` : the rows' air data, where it is at hand.
        """
        air = self.analysis.evaluation.air
        at = limit_equivalents.air_data_rows(air, rows) if at is None else at
        cas, altitude = at.calibrated_airspeed, at.pressure_altitude
        by_speed = skip_nan(sensitivity.mach_by_cas, cas, altitude)
        by_height = skip_nan(sensitivity.mach_by_altitude, cas, altitude)
        along = static_source(at)
        skew = self._moved("pressure_altitude_ft", rows, self.budget.skew_s)
        high, high_shown = (
            (self.budget.variance(ALTITUDE, altitude / FOOT, flown=flown) + skew) * FOOT**2
            for flown in (True, False))
        shown = self.budget.variance(AIRSPEED, cas / KNOT, flown=False) * KNOT**2
        variances: dict[bool, tuple[Floats, Floats]] = {}
        found = []
        for limit in (self.analysis.sheet.limit[i] for i in limits):
            if limit.kind.needs_temperature:
                # As near the limit: its CAS moves with the temperature too.
                model = self._model(limit, rows)
                in_kt = model.flown / model.per_kt
                found.append((in_kt, in_kt * by_speed * KNOT, model.displayed / model.per_kt))
                continue
            indicated = limit.kind.as_indicated
            if indicated not in variances:
                own, shared = (self.budget.variance(
                    moves, cas / KNOT, flown=True, indicated=indicated) * KNOT**2
                    for moves in (AIRSPEED, STATIC))
                variances[indicated] = own, shared
            free, static = variances[indicated]
            by_cas, by_mach = limit_slopes(
                limit, limit_equivalents.calibrated_equivalent(limit, air, at), altitude)
            lead = by_mach - by_height
            step = limit.kind.display_step_cas(self.budget, by_speed)
            found.append((
                np.sqrt(free + by_cas**2 * high + (by_cas * along - 1) ** 2 * static) / KNOT,
                np.sqrt(by_speed**2 * free + lead**2 * high
                        + (lead * along - by_speed) ** 2 * static),
                np.sqrt(shown + by_cas**2 * high_shown + step**2 / 12) / KNOT))
        return found


def uncertainty_of(
    analysis: Analysis, generic: Mapping[str, Tolerance] = TYPICAL
) -> Uncertainty:
    """Gather what a flight's uncertainty rests on; the columns are computed on demand.

    Parameters
    ----------
    analysis : Analysis
    generic : mapping of str to Tolerance
        What counts for a sensor of which the limits sheet says nothing, by the sensor's code:
        typical tolerances by default, or the widest published.

    Returns
    -------
    Uncertainty
    """
    return Uncertainty(
        analysis, budget_of(analysis.log, analysis.sheet, analysis.evaluation.air, generic))


def shift_as_displayed(
    uncertainty: Uncertainty, limit: int, rows: Rows, model: ErrorModel
) -> Floats:
    """Return how much less the crew saw than was flown: the instrument's error.

    The sheet's instrument correction is what the instrument reads too little. The position
    correction moves the limit pointer with the airspeed, so it shifts nothing.

    Parameters
    ----------
    uncertainty : Uncertainty
    limit : int
        The limit, by its index in the sheet.
    rows : intp[m]
        Rows of the log.
    model : ErrorModel
        Of the same limit and rows; its ``per_kt`` converts from kt CAS.

    Returns
    -------
    float64[m]
        In the limit's quantity; 0 where the sheet states no instrument correction, NaN where the
        airspeed is.
    """
    air = uncertainty.analysis.evaluation.air
    applied = any(finding.code == "instrument_correction_applied" for finding in air.findings)
    if not applied or air.indicated_airspeed is None or air.recorded_airspeed is None:
        return np.zeros(len(rows))
    added = air.indicated_airspeed[rows] - air.recorded_airspeed[rows]
    return np.asarray(added / KNOT * model.per_kt)


def _readings(at: AirDataRows) -> dict[str, Floats]:
    """The reading of each input in its edge unit."""
    speed = at.calibrated_airspeed / KNOT
    return {AIRSPEED: speed, STATIC: speed, ALTITUDE: at.pressure_altitude / FOOT,
            TEMPERATURE: at.temperature - FREEZING,
            **{name: (values - CHANNELS[name].unit.offset) / CHANNELS[name].unit.factor
               for name, values in at.others.items()}}


def _term(slope: Floats, variance: Any) -> Floats:
    """slope^2 variance, and 0 where the slope is, whatever isn't known there."""
    return np.asarray(np.where(slope == 0.0, 0.0, slope**2 * variance))
