"""What the block loop works on and what it gathers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata import condition_states, configuration_transit
from loganalyze.airdata.air_data import AirData
from loganalyze.engine import kernel_loading
from loganalyze.limits import limit_tables
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.sample_reasons import Bits
from loganalyze.screening import channel_screening
from loganalyze.screening.sample_checks import Screen
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import EDGE, Limit, LimitsSheet

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]

UNDER, OVER, UNKNOWN, NOT_APPLICABLE = (np.uint8(i) for i in range(4))

ALTITUDE, TEMPERATURE = "pressure_altitude", "temperature"
"""What a limit may lack, whichever channel it would come from."""

STATES = ("under", "over", "unknown", "not applicable")


@dataclass(eq=False)
class Judged:
    """What the block loop found, over the rows of a log.

    ``columns`` : float32[n] and uint8[n] by name; ``screened`` : rows with each reason;
    ``over`` : the rows over each limit that has any; ``known_s`` : time judged [s], by block.
    """

    columns: dict[str, NDArray[Any]]
    screened: dict[str, int] = field(default_factory=dict)
    over: dict[int, list[NDArray[np.intp]]] = field(default_factory=dict)
    known_s: list[float] = field(default_factory=list)
    rejected: list[tuple[NDArray[np.intp], Bits]] = field(default_factory=list)

    @property
    def rows_over(self) -> dict[int, NDArray[np.intp]]:
        """The rows over each limit that has any, rising."""
        return {i: np.sort(np.concatenate(rows)) for i, rows in sorted(self.over.items())}

    @property
    def rejected_rows(self) -> tuple[NDArray[np.intp], Bits] | None:
        """Rows that were screened, rising, and the reasons against them; None if none were."""
        if not self.rejected:
            return None
        rows, reasons = (np.concatenate(parts) for parts in zip(*self.rejected, strict=True))
        order = np.argsort(rows, kind="stable")
        return rows[order], reasons[order]


@dataclass(frozen=True, eq=False)
class Case:
    """All that the blocks share: the inputs, and what was prepared once."""

    log: FlightLog
    air: AirData
    sheet: LimitsSheet
    settings: Settings
    applies: Mapping[int, Bytes]
    """Applicability by limit, for the limits with conditions."""
    tabulated: tuple[int, ...]
    on_pointer: tuple[int, ...]
    grid: limit_tables.Grid
    speeds_wanted: bool
    declared: Mapping[str, float]
    lacking: Mapping[int, tuple[str, ...]]
    """Channels that a limit needs and the log doesn't hold, by limit; none for one that isn't to be
    judged. ALTITUDE and TEMPERATURE stand for any way to the quantity."""
    ends: Mapping[int, tuple[float, float]]
    """Pressure altitudes [m] beyond which a table leaves its limit unknown, by limit."""
    in_pieces: Mapping[int, tuple[condition_states.Recorded, ...]]
    """Conditions that each block works out for itself."""
    by_themselves: tuple[int, ...]
    """Limits of quantities that are no speed: each is evaluated at every row, on its own."""
    screen: Screen
    compiled: Any
    """The compiled kernels, or None: the plain way gives the same."""

    @property
    def hopeless(self) -> frozenset[int]:
        """Limits of which nothing could ever tell, for the log lacks a channel they need."""
        return frozenset(self.lacking)

    def without_lowest(self, altitude: Floats) -> NDArray[np.bool_]:
        """Whether the lowest limit isn't known at some pressure altitudes [m], bool[m].

        Where the altitude is missing for a while a Mach limit may lie anywhere. Where the log
        holds none at all, the lowest limit is that of the limits that need none.
        """
        return np.isnan(altitude) & self.air.has_altitude

    def without_pointer(self, altitude: Floats) -> NDArray[np.bool_]:
        """Whether it isn't known where the limit pointer stood at some pressure altitudes [m]."""
        shown = any(ALTITUDE in self.lacking.get(i, ()) for i in self.on_pointer)
        return np.isnan(altitude) & (shown or self.air.has_altitude)

    @property
    def temperature_wanted(self) -> bool:
        """Whether any column or limit needs the air temperature."""
        return _temperature_wanted(self.sheet, self.speeds_wanted)

    def state_at(self, limit: int, rows: NDArray[np.intp]) -> Bytes:
        """Whether the limit applies at the given rows (NO, YES or UNKNOWN)."""
        if limit not in self.applies:
            return np.full(len(rows), condition_states.YES)
        return self.applies[limit][rows]


def prepare(
    log: FlightLog, air: AirData, sheet: LimitsSheet, settings: Settings,
    declared: Mapping[str, float], speeds_wanted: bool,
) -> Case:
    """Work out once what every block needs."""
    applies: dict[int, Bytes] = {}
    in_pieces: dict[int, tuple[condition_states.Recorded, ...]] = {}
    for i, limit in enumerate(sheet.limit):
        if limit.conditions:
            wanted = condition_states.recorded(limit.conditions, log, declared, sheet.configuration)
            applies[i] = np.empty(len(log), dtype=np.uint8)
            if any(one.looks_back for one in wanted):
                condition_states.hold(wanted, log.time, slice(None), applies[i])
            else:
                in_pieces[i] = wanted
    tabulated = tuple(
        i
        for i, limit in enumerate(sheet.limit)
        if limit_tables.depends_on_altitude_alone(limit, air)
    )
    lacking = {i: lacks for i, limit in enumerate(sheet.limit)
               if (lacks := _lacks(limit, log, air, declared))}
    ends = {
        i: (limit.nodes_m[0] - EDGE, limit.nodes_m[-1] + EDGE)
        for i, limit in enumerate(sheet.limit)
        if limit.nodes_m and limit.outside == "unknown"
    }
    on_pointer = tuple(
        i for i, limit in enumerate(sheet.limit) if limit.on_pointer and limit.kind.is_speed)
    compiled = kernel_loading.for_samples(len(log), log.source.likely_rows)
    return Case(
        log,
        air,
        sheet,
        settings,
        applies,
        tabulated,
        on_pointer,
        limit_tables.Grid.of(sheet, tabulated, air),
        speeds_wanted,
        declared,
        lacking,
        ends,
        in_pieces,
        tuple(i for i, limit in enumerate(sheet.limit) if not limit.kind.is_speed),
        channel_screening.screen_of(log, air, settings, _temperature_wanted(sheet, speeds_wanted)),
        compiled,
    )


def _lacks(limit: Limit, log: FlightLog, air: AirData, declared: Mapping[str, float]
           ) -> tuple[str, ...]:
    """Return the channels that a limit needs and the log doesn't hold."""
    absent = [one.channel for one in limit.conditions
              if not configuration_transit.told(one.channel, log, declared)]
    if limit.needs_altitude and not air.has_altitude and ALTITUDE not in absent:
        absent.append(ALTITUDE)
    if limit.kind.needs_temperature and air.temperature is None:
        absent.append(TEMPERATURE)
    absent += [name for name in air.lacks(limit.kind) if name not in absent]
    return tuple(absent)


def _temperature_wanted(sheet: LimitsSheet, speeds_wanted: bool) -> bool:
    return speeds_wanted or any(limit.kind.needs_temperature for limit in sheet.limit)


