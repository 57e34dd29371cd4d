"""Flaps and landing gear on the move: which positions count while they do.

Flaps: where lever and surface are both recorded, a limit applies if either lies in its range, so
that the lower limit holds while they disagree. Where the lever alone is recorded, the position
that it left counts on for the transit time after a retraction. Gear: `gear_extending` and
`gear_retracting` are derived from the changes of `gear_down`. A change that lasts for one sample
only, out and at once back, moves nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from loganalyze.judge.inputs import Finding
from loganalyze.record.log import FlightLog
from loganalyze.record.units import DEGREE
from loganalyze.sheets.configuration import ConfigurationSheet
from loganalyze.sheets.limits import LimitsSheet

Floats = NDArray[np.float64]

GEAR_STATES = ("gear_extending", "gear_retracting")
"""States of the gear that are derived where the log doesn't record them."""

_DETENT = 0.5 * DEGREE
"""A lever that moves by less [rad] hasn't left its detent."""


def told(channel: str, log: FlightLog, declared: Mapping[str, float]) -> bool:
    """Whether a channel is recorded, declared, or follows from one that is recorded."""
    return (
        channel in log or channel in declared
        or (channel == "flap" and "flap_lever" in log)
        or (channel in GEAR_STATES and "gear_down" in log)
    )


def readings(
    channel: str, log: FlightLog, declared: Mapping[str, float],
    configuration: ConfigurationSheet | None,
) -> tuple[Floats, ...]:
    """Return what a condition on a channel looks at: float64[n] in SI, one or several readings.

    Any reading in the condition's range makes it hold. Without a `configuration` the flap angle
    is one reading, the surface's where it is recorded. Empty where nothing tells.
    """
    if channel == "flap" and configuration is not None and "flap" in log and "flap_lever" in log:
        return log.aligned("flap"), log.aligned("flap_lever")
    if channel in log:
        return (log.aligned(channel),)
    if channel in declared:
        return (np.broadcast_to(np.float64(declared[channel]), len(log)),)
    if channel == "flap" and "flap_lever" in log:
        lever = log.aligned("flap_lever")
        if configuration is None:
            return (lever,)
        return lever, former_position(log.time, lever, configuration.flap_transit_s)
    if channel in GEAR_STATES and "gear_down" in log:
        return (gear_moving(
            log.time, log.aligned("gear_down"), channel == "gear_extending",
            configuration or ConfigurationSheet()),)
    return ()


def former_position(time: Floats, lever: Floats, transit_s: float) -> Floats:
    """Return the position [rad] that the lever left for a smaller one, for the transit time.

    Elsewhere the lever's own, NaN where that is missing. `time` [s], `lever` [rad] : float64[n].
    """
    known = np.flatnonzero(~np.isnan(lever))
    former = lever.copy()
    if len(known) < 2:
        return former
    position = lever[known]
    for i in (np.flatnonzero(position[1:] < position[:-1] - _DETENT) + 1).tolist():
        row = known[i]
        left = max(position[i - 1], former[known[i - 1]])
        moving = former[known[i - 1]] > position[i - 1]
        if not moving and i > 1 and abs(position[i - 1] - position[i - 2]) > _DETENT:
            continue  # there for one sample only
        stop = np.searchsorted(time, time[row] + transit_s, side="left")
        former[row:stop] = np.fmax(former[row:stop], left)
    return former


def gear_moving(
    time: Floats, down: Floats, extending: bool, configuration: ConfigurationSheet
) -> Floats:
    """Return whether the gear moves that way, float64[n] of 0 and 1; NaN where `down` is missing.

    It moves for the transit time from a change of the lever, or, where `down` tells that the
    gear is locked, extends before that and retracts from then on; no longer than until the next
    change. `time` [s], `down` (0 or 1) : float64[n].
    """
    moving = np.where(np.isnan(down), np.nan, 0.0)
    known = np.flatnonzero(~np.isnan(down))
    state = down[known]
    # One sample out and at once back is no movement of the gear: the middle one of three counts.
    if len(state) > 2:
        three = np.stack([state[:-2], state[1:-1], state[2:]])
        state = np.concatenate([state[:1], np.median(three, axis=0), state[-1:]])
    edges = np.flatnonzero(np.diff(state) != 0) + 1
    before = configuration.gear_down == "locked" and extending
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
    log: FlightLog, sheet: LimitsSheet, declared: Mapping[str, float]
) -> list[Finding]:
    """Say what was taken for flaps and gear on the move."""
    asked = {one.channel for limit in sheet.limit for one in limit.conditions}
    found = []
    if "flap" in asked and "flap" not in declared and "flap_lever" in log:
        if "flap" in log:
            found.append(Finding("flap_lever_and_surface"))
        else:
            found.append(Finding("flap_from_lever",
                                 {"transit_s": sheet.configuration.flap_transit_s}))
    if "gear_down" in log and any(
        one in asked and one not in log and one not in declared for one in GEAR_STATES
    ):
        found.append(Finding("gear_in_transit", {
            "transit_s": sheet.configuration.gear_transit_s,
            "recorded": sheet.configuration.gear_down}))
    return found
