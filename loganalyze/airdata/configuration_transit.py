"""Flaps and landing gear in transit: which positions count while they move.

Flaps: where lever and surface are both recorded, a limit applies if either lies in its range, so
that the lower limit holds while they disagree. Where only the lever is recorded, its
former position still counts for the transit time after a retraction. Gear: `gear_extending` and
`gear_retracting` are derived from the changes of `gear_down`. Outliers
(`configuration_outliers`) are not movements.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import assert_never

import numpy as np

from loganalyze.airdata.configuration_outliers import LEAST, CleanedChannels
from loganalyze.record.arrays import Floats
from loganalyze.record.findings import Finding
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.units import DEGREE
from loganalyze.sheets.limit_conditions import ConfigurationSheet
from loganalyze.sheets.limits_sheet import LimitsSheet

GEAR_STATES = ("gear_extending", "gear_retracting")
"""States of the gear that are derived where the log doesn't record them."""

_DETENT = 0.5 * DEGREE
"""Movements of the lever below this [rad] are within one detent."""


def is_available(channel: str, log: FlightLog, declared: Mapping[str, float]) -> bool:
    """Whether a channel is recorded, declared, or follows from one that is recorded."""
    return (
        channel in log or channel in declared
        or (channel == "flap" and "flap_lever" in log)
        or (channel in GEAR_STATES and "gear_down" in log)
    )


def readings(
    channel: str, cleaned: CleanedChannels, declared: Mapping[str, float],
    configuration: ConfigurationSheet | None,
) -> tuple[tuple[Floats, ...], tuple[Floats, ...]]:
    """Return the readings that decide a condition on a channel, float64[n] in SI each.

    Any reading in the condition's range makes it hold. Without a `configuration` the flap angle
    is one reading, the surface's where it is recorded. Empty where nothing is recorded.

    The second tuple holds the outliers that were replaced in the readings, NaN elsewhere: where
    they lie in the condition's range, the condition is unknown.
    """
    log = cleaned.log
    if channel == "flap" and configuration is not None and "flap" in log and "flap_lever" in log:
        surface, lever = cleaned.of("flap"), cleaned.of("flap_lever")
        return (surface[0], lever[0]), _outliers(surface[1], lever[1])
    if channel in log:
        values, doubted = cleaned.of(channel)
        return (values,), _outliers(doubted)
    if channel in declared:
        return (np.broadcast_to(np.float64(declared[channel]), len(log)),), ()
    if channel == "flap" and "flap_lever" in log:
        values, doubted = cleaned.of("flap_lever")
        if configuration is None:
            return (values,), _outliers(doubted)
        former = former_position(log.time, values, configuration.flap_transit_s)
        return (values, former), _outliers(doubted)
    if channel in GEAR_STATES and "gear_down" in log:
        return (gear_moving(
            log.time, cleaned.of("gear_down")[0], channel == "gear_extending",
            configuration or ConfigurationSheet()),), ()
    return (), ()


def _outliers(*found: Floats | None) -> tuple[Floats, ...]:
    return tuple(outliers for outliers in found if outliers is not None)


def former_position(time: Floats, lever: Floats, transit_s: float) -> Floats:
    """Return the greatest position [rad] that the flaps may still be retracting from.

    After each retraction step the former position counts for the transit time, even if the next
    step follows sooner. Elsewhere the lever's own position, NaN where that is missing.
    `time` [s], `lever` [rad] : float64[n].
    """
    known = np.flatnonzero(~np.isnan(lever))
    former = lever.copy()
    position = lever[known]
    for i in (np.flatnonzero(position[1:] < position[:-1] - _DETENT) + 1).tolist():
        row = known[i]
        stop = np.searchsorted(time, time[row] + transit_s, side="left")
        former[row:stop] = np.fmax(former[row:stop], position[i - 1])
    return former


def gear_moving(
    time: Floats, down: Floats, extending: bool, configuration: ConfigurationSheet
) -> Floats:
    """Return whether the gear extends (or retracts), float64[n] of 0 and 1; NaN without `down`.

    It moves for the transit time from a change of the lever, or, where `down` says that the
    gear is locked, extends before that and retracts from then on; no longer than until the next
    change. `time` [s], `down` (0 or 1, without outliers) : float64[n].
    """
    moving = np.where(np.isnan(down), np.nan, 0.0)
    known = np.flatnonzero(~np.isnan(down))
    state = down[known]
    edges = np.flatnonzero(np.diff(state) != 0) + 1
    match configuration.gear_down:
        case "locked":
            before = extending
        case "lever":
            before = False
        case other:
            assert_never(other)
    for k, i in enumerate(edges.tolist()):
        if (state[i] > state[i - 1]) != extending:
            continue
        at = time[known[i]]
        if before:
            earliest = time[known[edges[k - 1]]] if k else -np.inf
            low, high = max(at - configuration.gear_transit_s, earliest), at
        else:
            latest = time[known[edges[k + 1]]] if k + 1 < len(edges) else np.inf
            low, high = at, min(at + configuration.gear_transit_s, latest)
        first, stop = np.searchsorted(time, (low, high), side="left")
        moving[first:stop] = 1.0
    return moving


def findings(
    cleaned: CleanedChannels, sheet: LimitsSheet, declared: Mapping[str, float]
) -> list[Finding]:
    """Report how flaps and gear in transit were interpreted, and which outliers were replaced."""
    log = cleaned.log
    asked = {condition.channel for limit in sheet.limit for condition in limit.conditions}
    found = []
    if "flap" in asked and "flap" not in declared and "flap_lever" in log:
        if "flap" in log:
            found.append(Finding("flap_lever_and_surface"))
        else:
            found.append(Finding("flap_from_lever",
                                 {"transit_s": sheet.configuration.flap_transit_s}))
    if "gear_down" in log and any(
        state in asked and state not in log and state not in declared for state in GEAR_STATES
    ):
        found.append(Finding("gear_in_transit", {
            "transit_s": sheet.configuration.gear_transit_s,
            "recorded": sheet.configuration.gear_down}))
    for name in LEAST:
        if name in log and _asked(name, asked, log):
            doubted = cleaned.of(name)[1]
            if doubted is not None:
                rows = np.flatnonzero(~np.isnan(doubted))
                found.append(Finding("configuration_outliers", {
                    "channel": name, "samples": len(rows), "first_s": float(log.time[rows[0]])}))
    return found


def _asked(name: str, asked: set[str], log: FlightLog) -> bool:
    """Whether any limit depends on a channel, directly or through a derived one."""
    return (
        name in asked
        or (name == "flap_lever" and "flap" in asked)
        or (name == "gear_down" and any(
            state in asked and state not in log for state in GEAR_STATES))
    )
