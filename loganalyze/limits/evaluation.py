"""The limits of a sheet evaluated on a log's air data: value, maximum, margin and state."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import air_data, condition_states, configuration_transit
from loganalyze.airdata.air_data import AirData
from loganalyze.airdata.configuration_outliers import CleanedChannels
from loganalyze.limits import limit_equivalents
from loganalyze.limits.limit_equivalents import NO_GOVERNING_LIMIT, AirDataRows, lowest
from loganalyze.record.arrays import Bits
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.units import KNOT
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import Limit, LimitsSheet

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
Mask = NDArray[np.bool_]

UNDER, OVER, UNKNOWN, NOT_APPLICABLE = (np.uint8(i) for i in range(4))

ALTITUDE, TEMPERATURE = "pressure_altitude", "temperature"
"""Quantities in `Evaluation.lacking` that several channels could have supplied."""

STATES = ("under", "over", "unknown", "not applicable")


@dataclass(frozen=True, eq=False)
class LowestLimit:
    """The lowest of the limits that apply, at m rows.

    ``limit_airspeed`` : float64[m] [m/s CAS], NaN where none is known; ``governing`` : uint8[m],
    the limit's index in the sheet, `NO_GOVERNING_LIMIT` for none; ``equivalents`` :
    float64[limits, m] [m/s CAS], each limit as CAS; NaN where it doesn't apply or isn't known.
    """

    limit_airspeed: Floats
    governing: Bytes
    equivalents: Floats


@dataclass(frozen=True, eq=False)
class Evaluation:
    """One log and one limits sheet, with each limit's value, maximum and state at any rows.

    Everything is computed row by row, exactly, and on demand. The fast path of the engine is
    tested to give the same numbers.

    Attributes
    ----------
    log, sheet, settings, declared
        The inputs; `declared` holds states in SI by channel.
    air : AirData
        The recorded air data, corrected as the sheet says. After screening it holds the rejected
        rows with their reasons, and rejected values are NaN here.
    applicability : mapping of int to uint8[n]
        For each limit with conditions, by its index in the sheet, whether they hold at each row:
        `condition_states` NO, YES or UNKNOWN.
    stateless : mapping of int to tuple of Recorded
        The limits whose conditions depend on no other row, with these conditions. Their
        applicability is undefined at rows for which `fill` wasn't called.
    lacking : mapping of int to tuple of str
        The channels that a limit needs and the log doesn't hold, by the limit's index; an empty
        tuple for a limit that isn't to be evaluated. ALTITUDE and TEMPERATURE stand for any
        channel that would supply them.
    cleaned : CleanedChannels
        The channels of flaps, slats and gear without outliers.
    """

    log: FlightLog
    sheet: LimitsSheet
    settings: Settings
    declared: Mapping[str, float]
    air: AirData
    applicability: Mapping[int, Bytes]
    stateless: Mapping[int, tuple[condition_states.Recorded, ...]]
    lacking: Mapping[int, tuple[str, ...]]
    cleaned: CleanedChannels

    @classmethod
    def of(
        cls, log: FlightLog, sheet: LimitsSheet, settings: Settings,
        declared: Mapping[str, float],
    ) -> Evaluation:
        """Correct the air data as the sheet says, and find the channels of its conditions.

        Raises
        ------
        Problem
            When the log holds no airspeed, or none of the kind that the sheet says is recorded.
        """
        air = air_data.recover(log, sheet, declared)
        cleaned = CleanedChannels(log)
        applicability: dict[int, Bytes] = {}
        stateless: dict[int, tuple[condition_states.Recorded, ...]] = {}
        for i, limit in enumerate(sheet.limit):
            if limit.conditions:
                wanted = condition_states.recorded(
                    limit.conditions, cleaned, declared, sheet.configuration)
                applicability[i] = np.empty(len(log), dtype=np.uint8)
                if any(condition.is_stateful for condition in wanted):
                    condition_states.hold(wanted, log.time, slice(None), applicability[i])
                else:
                    stateless[i] = wanted
        lacking = {i: lacks for i, limit in enumerate(sheet.limit)
                   if (lacks := _lacks(limit, log, air, declared))}
        return cls(log, sheet, settings, declared, air, applicability, stateless, lacking, cleaned)

    def fill(self, rows: slice) -> None:
        """Evaluate the stateless conditions at some rows, and write `applicability` there."""
        for i, wanted in self.stateless.items():
            condition_states.hold(wanted, self.log.time, rows, self.applicability[i])

    def screened(self, rejected: tuple[Rows, Bits] | None) -> Evaluation:
        """Return the evaluation with rejected rows, ascending, and the bits of their reasons."""
        return replace(self, air=replace(self.air, rejected=rejected))

    def without(self, limits: Sequence[int]) -> Evaluation:
        """Return the evaluation with some limits (indices) unknown throughout."""
        return replace(
            self,
            applicability={**self.applicability, **{
                i: np.full(len(self.log), condition_states.UNKNOWN) for i in limits}},
            stateless={i: conditions for i, conditions in self.stateless.items()
                       if i not in limits},
            lacking={**dict.fromkeys(limits, ()), **self.lacking})

    @cached_property
    def on_pointer(self) -> tuple[int, ...]:
        """The limits (indices) that the airspeed indicator's limit pointer shows."""
        return tuple(i for i, limit in enumerate(self.sheet.limit)
                     if limit.on_pointer and limit.kind.is_speed)

    @cached_property
    def _indices(self) -> Mapping[str, int]:
        return {limit.name: i for i, limit in enumerate(self.sheet.limit)}

    @property
    def unevaluable_limits(self) -> frozenset[int]:
        """The limits (indices) that are unknown at every row, since the log lacks a channel."""
        return frozenset(self.lacking)

    @property
    def needs_temperature(self) -> bool:
        """Whether any limit needs the static temperature."""
        return any(limit.kind.needs_temperature for limit in self.sheet.limit)

    def air_data_at(self, rows: Rows, reasons: Bits | None = None) -> AirDataRows:
        """Return the air data at some rows, with Mach number and static temperature.

        Parameters
        ----------
        rows : ndarray of intp, shape (m,)
        reasons : ndarray of uint16, shape (m,), optional
            Screening reasons of each row; by default those that `air` holds.

        Returns
        -------
        AirDataRows
            In SI; NaN where missing or rejected.
        """
        return limit_equivalents.air_data_rows(self.air, rows, reasons)

    def applies(self, limit: Limit, rows: Rows) -> Bytes:
        """Return whether a limit applies at some rows, uint8[m]: NO, YES or UNKNOWN."""
        i = self._indices[limit.name]
        if i not in self.applicability:
            return np.full(len(rows), condition_states.YES)
        return self.applicability[i][rows]

    def margin(self, limit: Limit, rows: Rows) -> Floats:
        """Return maximum less value at some rows in the limit's own unit, such as kt or Mach.

        NaN where either is unknown; negative is over, whether or not the limit applies.
        """
        return self.margin_of(limit, self.air_data_at(rows))

    def margin_of(self, limit: Limit, at: AirDataRows) -> Floats:
        """Return the same for air data that `air_data_at` returned."""
        return limit_equivalents.published_maximum(
            limit, at) - limit_equivalents.published_value(limit, at)

    def margin_kt(self, limit: Limit, rows: Rows) -> Floats:
        """Return the margin to a limit as calibrated airspeed [kt] at some rows."""
        at = self.air_data_at(rows)
        return np.asarray((self.equivalent(limit, at) - at.calibrated_airspeed) / KNOT)

    def equivalent(self, limit: Limit, at: AirDataRows) -> Floats:
        """Return the calibrated airspeed [m/s] at which a limit lies, float64[m].

        NaN where an input is missing, and everywhere for a quantity without an equivalent CAS.
        """
        return limit_equivalents.calibrated_equivalent(limit, self.air, at)

    def state(self, limit: Limit, at: AirDataRows) -> Bytes:
        """Return the state of a limit at some rows, uint8[m]: UNDER, OVER, UNKNOWN, ..."""
        applies = self.applies(limit, at.rows)
        value = limit_equivalents.published_value(limit, at)
        maximum = limit_equivalents.published_maximum(limit, at)
        exceeded = limit_equivalents.over(limit, value, maximum, self.air, self.settings)
        state = np.where(exceeded, OVER, np.where(np.isnan(value - maximum), UNKNOWN, UNDER))
        state[applies == condition_states.NO] = NOT_APPLICABLE
        state[applies == condition_states.UNKNOWN] = UNKNOWN
        return state

    def lowest(
        self, at: AirDataRows, chosen: Sequence[int] | None = None, *, of_known: bool = False
    ) -> LowestLimit:
        """Return the lowest of the limits that are known to apply at some rows.

        Parameters
        ----------
        at : AirDataRows
            As returned by `air_data_at`.
        chosen : sequence of int, optional
            Indices of the limits to include; default all. Only limits on speeds count.
        of_known : bool
            Return the lowest of the limits that are known even where the altitude is missing.

        Returns
        -------
        LowestLimit
            Unless `of_known`, NaN where a recorded altitude is missing, since a Mach limit may
            then have any CAS. If the log holds no altitude at all, the lowest of the limits that
            need none.
        """
        count = len(self.sheet.limit)
        equivalents = np.full((count, len(at.rows)), np.nan)
        for i in range(count) if chosen is None else chosen:
            limit = self.sheet.limit[i]
            if limit.kind.is_speed:
                applies = self.applies(limit, at.rows) == condition_states.YES
                equivalents[i] = np.where(applies, self.equivalent(limit, at), np.nan)
        limit_airspeed, governing = lowest(equivalents)
        if not of_known:
            lost = np.isnan(at.pressure_altitude) & self.air.has_altitude
            limit_airspeed[lost], governing[lost] = np.nan, NO_GOVERNING_LIMIT
        return LowestLimit(limit_airspeed, governing, equivalents)

    def limit_pointer(self, at: AirDataRows, equivalents: Floats) -> Floats:
        """Return the position of the airspeed indicator's limit pointer [m/s IAS], float64[m].

        `equivalents` : those of `lowest`. NaN where the pointer's position isn't known.
        """
        is_shown = np.isin(np.arange(len(equivalents)), self.on_pointer)
        pointer, _ = lowest(np.where(is_shown[:, None], equivalents, np.nan))
        shows = any(ALTITUDE in self.lacking.get(i, ()) for i in self.on_pointer)
        pointer[np.isnan(at.pressure_altitude) & (shows or self.air.has_altitude)] = np.nan
        return self.air.indicated_from_calibrated(pointer, at.rows)

    def unknown(self, columns: Mapping[str, NDArray[Any]], rows: slice) -> Mask:
        """Return where a limit is unknown although the log has the channels it needs, bool[m].

        `columns` holds each limit's state at all rows, such as ``state_0``. Limits for which the
        log lacks a channel are reported once, not at every row; if that is so of all limits, every
        row is unknown.
        """
        limits = [i for i in range(len(self.sheet.limit)) if i not in self.lacking]
        unknown = np.full(columns["state"][rows].shape, not limits)
        for i in limits:
            unknown |= columns[f"state_{i}"][rows] == UNKNOWN
        return unknown


def combined_state(states: Bytes) -> Bytes:
    """Return the combined state, uint8[m], of the states of all limits, uint8[limits, m].

    Over if any is over, else unknown if any is unknown; not applicable where none applies.
    """
    state = np.where((states == NOT_APPLICABLE).all(axis=0), NOT_APPLICABLE, UNDER)
    state[(states == UNKNOWN).any(axis=0)] = UNKNOWN
    state[(states == OVER).any(axis=0)] = OVER
    return state


def _lacks(limit: Limit, log: FlightLog, air: AirData, declared: Mapping[str, float]
           ) -> tuple[str, ...]:
    """Return the channels that a limit needs and the log doesn't hold."""
    absent = [condition.channel for condition in limit.conditions
              if not configuration_transit.is_available(condition.channel, log, declared)]
    if limit.needs_altitude and not air.has_altitude and ALTITUDE not in absent:
        absent.append(ALTITUDE)
    if limit.kind.needs_temperature and air.temperature is None:
        absent.append(TEMPERATURE)
    absent += [name for name in air.lacks(limit.kind) if name not in absent]
    return tuple(absent)
