"""The limit airspeed against pressure altitude, and where limits cross."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loganalyze.air import airspeed, atmosphere
from loganalyze.air.crossover import CrossoverSteps, crossover_steps
from loganalyze.air.probes import CorrectionTable
from loganalyze.airdata import condition_states
from loganalyze.limits import limit_equivalents
from loganalyze.problems import Problem
from loganalyze.quantities.speed_relations import mach_at_cas, skip_nan
from loganalyze.record.flight_log import FlightLog, Source
from loganalyze.sheets.limits_sheet import Limit, LimitsSheet

Floats = NDArray[np.float64]
_NOWHERE = Path()
_STEP = 8.0
"""Spacing [m] of the pressure altitudes searched for a change of the governing limit."""
_SAME = 0.01
"""Greatest distance [m] of a crossing in closed form from the numerical one."""


@dataclass(frozen=True, eq=False)
class Envelope:
    """The lowest limit at each pressure altitude, as CAS, Mach number and TAS.

    ``pressure_altitude`` [m], ``limit_airspeed`` [m/s CAS], ``limit_mach``,
    ``true_airspeed`` [m/s] at ``temperature`` [K] : float64[n]; ``governing`` : uint8[n], the
    limit's index in the sheet, 255 none; ``per_limit`` : float64[limits, n] [m/s CAS], NaN where
    the limit is unknown, doesn't apply, or needs a temperature that wasn't given.
    """

    pressure_altitude: Floats
    limit_airspeed: Floats
    limit_mach: Floats
    governing: NDArray[np.uint8]
    temperature: Floats
    true_airspeed: Floats
    per_limit: Floats


@dataclass(frozen=True, slots=True)
class Crossing:
    """A crossing of two limits, at a pressure altitude [m] and an airspeed [m/s CAS].

    ``below`` is the governing limit below that altitude, ``above`` the one above it;
    ``true_airspeed`` [m/s] is that airspeed in air of ``temperature`` [K].
    """

    pressure_altitude: float
    limit_airspeed: float
    below: str
    above: str
    true_airspeed: float
    temperature: float


def limit_envelope(
    sheet: LimitsSheet,
    pressure_altitude: ArrayLike,
    *,
    temperature: ArrayLike | None = None,
    isa_deviation: float = 0.0,
    declared: Mapping[str, float] | None = None,
) -> Envelope:
    """Compute the limit airspeed against pressure altitude.

    Parameters
    ----------
    sheet : LimitsSheet
        The limits. One with conditions counts only if `declared` fulfils them.
    pressure_altitude : array_like
        float64[n]  [m], within -1000 to 20,000.
    temperature : array_like, optional
        Static temperature [K], float64[n] or a scalar; else the standard atmosphere's plus
        `isa_deviation` [K].
    declared : mapping, optional
        States by channel, in SI.

    Raises
    ------
    ValueError
        For an altitude outside -1000 to 20,000 m.
    Problem
        When the sheet's position correction goes by flap and no flap angle was declared.

    Examples
    --------
    >>> import loganalyze as la
    >>> sheet = la.read_limits("sample_logs/ouzelwing_240.toml")
    >>> envelope = la.limit_envelope(sheet, [0.0, 6000.0])
    >>> (envelope.limit_airspeed / 0.514444).round().tolist()
    [255.0, 225.0]
    """
    altitude = np.atleast_1d(np.asarray(pressure_altitude, dtype=np.float64))
    air_temperature = _air(altitude, temperature, isa_deviation)
    chosen = [i for i in applicable(sheet, declared or {}) if sheet.limit[i].kind.is_speed]
    per_limit = np.full((len(sheet.limit), len(altitude)), np.nan)
    if chosen:
        per_limit[chosen] = limit_equivalents.equivalents(
            [sheet.limit[i] for i in chosen], altitude, position_tables(sheet, declared or {}),
            air_temperature,
        )
    speed, governing = limit_equivalents.lowest(per_limit)
    mach = mach_at_cas(speed, altitude)
    true = skip_nan(airspeed.tas_from_mach, mach, air_temperature)
    return Envelope(altitude, speed, mach, governing, air_temperature, true, per_limit)


def _air(altitude: Floats, temperature: ArrayLike | None, isa_deviation: float) -> Floats:
    """Return the temperature [K] at each altitude: as given, else by the standard atmosphere."""
    if temperature is None:
        return atmosphere.temperature(altitude) + isa_deviation
    return np.broadcast_to(np.asarray(temperature, dtype=np.float64), altitude.shape).copy()


def applicable(sheet: LimitsSheet, declared: Mapping[str, float]) -> list[int]:
    """Return the indices of limits without conditions, and of those that `declared` fulfils."""
    moment = _moment()
    return [
        i for i, limit in enumerate(sheet.limit)
        if condition_states.applies(limit.conditions, moment, declared)[0] == condition_states.YES
    ]


def position_tables(sheet: LimitsSheet, declared: Mapping[str, float]) -> tuple[
    CorrectionTable, ...
]:
    """Return the position correction for the declared flap angle; empty if the sheet has none."""
    rows = sheet.airspeed.position_tables
    if not rows:
        return ()
    moment = _moment()
    for row in rows:
        if condition_states.applies(row.conditions, moment, declared)[0] == condition_states.YES:
            return (row.correction,)
    raise Problem("the position correction goes by flap angle, and none was declared for which "
                  "the sheet has a table", "", "declare the flap angle, such as flap_deg=0")


def _moment() -> FlightLog:
    """Return a log of one row without channels, on which to evaluate declared states."""
    return FlightLog(np.zeros(1), {}, Source(_NOWHERE))


def crossovers(
    sheet: LimitsSheet, *, declared: Mapping[str, float] | None = None,
    lowest: float = -600.0, highest: float = 19800.0,
    temperature: float | None = None, isa_deviation: float = 0.0,
) -> tuple[Crossing, ...]:
    """Find every pressure altitude at which the governing limit changes.

    They are searched in steps of 8 m; each change is bracketed and solved to a nanometre. A change
    by a jump (a table that ends) is not a crossing.

    Parameters
    ----------
    sheet : LimitsSheet
        The limits. One with conditions counts only if `declared` fulfils them.
    declared : mapping, optional
        States by channel, in SI.
    lowest, highest : float
        Pressure altitudes [m] between which crossings are searched.
    temperature : float, optional
        Static temperature [K] at all altitudes; else the standard atmosphere's plus
        `isa_deviation` [K]. It moves the crossings of true airspeeds only.

    Returns
    -------
    tuple of Crossing
        The lowest first.

    Raises
    ------
    Problem
        When the sheet's position correction goes by flap and no flap angle was declared.

    Examples
    --------
    >>> import loganalyze as la
    >>> sheet = la.read_limits("sample_logs/ouzelwing_240.toml")
    >>> [round(crossover.pressure_altitude / 0.3048) for crossover in la.crossovers(sheet)]
    [13258]
    """
    chosen = [i for i in applicable(sheet, declared or {}) if sheet.limit[i].kind.is_speed]
    limits = [sheet.limit[i] for i in chosen]
    if len(limits) < 2:
        return ()
    tables = position_tables(sheet, declared or {})
    grid = np.arange(lowest, highest + _STEP / 2, _STEP)
    def air(altitude: Floats) -> Floats:
        return _air(altitude, temperature, isa_deviation)

    values = limit_equivalents.equivalents(limits, grid, tables, air(grid))
    _, governing = limit_equivalents.lowest(values)
    found = []
    for i in np.flatnonzero(governing[:-1] != governing[1:]):
        below, above = governing[i], governing[i + 1]
        if limit_equivalents.NO_GOVERNING_LIMIT in (below, above):
            continue
        pair = [limits[below], limits[above]]
        root = _root(pair, float(grid[i]), float(grid[i + 1]), tables, air)
        if root is None:
            continue
        altitude = np.array([root])
        (speed,) = limit_equivalents.equivalents(pair[:1], altitude, tables, air(altitude))
        true = skip_nan(airspeed.tas_from_mach, mach_at_cas(speed, altitude), air(altitude))
        low, high = pair
        found.append(Crossing(root, speed.item(), low.name, high.name, true.item(),
                              air(altitude).item()))
    return tuple(found)


def closed_form(sheet: LimitsSheet, crossing: Crossing) -> CrossoverSteps | None:
    """Return the steps to a crossing in closed form, None where it has none.

    It has one where a constant airspeed, calibrated or taken as calibrated, governs below and a
    constant Mach number above.
    """
    limits = {limit.name: limit for limit in sheet.limit}
    below, above = limits[crossing.below], limits[crossing.above]
    plain = not sheet.airspeed.position_tables
    speeds = ("calibrated_airspeed", *(("indicated_airspeed",) if plain else ()))
    machs = ("mach", *(("indicated_mach",) if plain else ()))
    if below.quantity not in speeds or above.quantity not in machs or (
            below.nodes_m or above.nodes_m):
        return None
    at = np.zeros(1)
    steps = crossover_steps(float(below.maximum_at(at)[0]), float(above.maximum_at(at)[0]))
    same = abs(steps.pressure_altitude - crossing.pressure_altitude) < _SAME
    return steps if same else None


def _root(
    pair: list[Limit], low: float, high: float, tables: tuple[CorrectionTable, ...],
    air: Callable[[Floats], Floats],
) -> float | None:
    # Each pass evaluates 33 points and keeps the interval in which the sign changes.
    while high - low > 1e-9:
        at = np.linspace(low, high, 33)
        first, second = limit_equivalents.equivalents(pair, at, tables, air(at))
        above = first - second > 0
        changes = np.flatnonzero(above[1:] != above[:-1])
        if np.isnan(first - second).any() or not len(changes):
            return None
        low, high = float(at[changes[0]]), float(at[changes[0] + 1])
    return (low + high) / 2
