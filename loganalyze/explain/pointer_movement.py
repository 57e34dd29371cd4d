"""Why the limit pointer moved: where the limit stood at some instants of a flight, and the air.

At a constant Mach number the limit as an airspeed changes with pressure altitude alone: a descent
raises it, a climb lowers it. Air temperature changes true airspeed and the speed of sound by one
factor, so that neither the Mach number nor the calibrated airspeed of the limit changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from loganalyze.air.airspeed import cas_from_mach, cas_from_tas, tas_from_mach
from loganalyze.air.atmosphere import speed_of_sound, temperature
from loganalyze.events.analysis import Analysis
from loganalyze.events.exceedances import Exceedance
from loganalyze.limits.limit_envelope import Crossing, crossovers
from loganalyze.limits.limit_equivalents import NO_GOVERNING_LIMIT
from loganalyze.problems import Problem
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.record.units import FOOT, KNOT
from loganalyze.results.assessment_results import Assessment
from loganalyze.sheets.limits_sheet import Limit

InstantCode = Literal["run-in", "passed", "crossover", "worst", "under", "before", "closest"]
CaseCode = Literal["colder", "standard", "warmer", "recorded"]

BEFORE_S = 60.0
"""[s] So long before an exceedance or a closest approach the pointer is looked at, where no run-in
was found; engineering judgement."""
DEVIATION_K = 10.0
"""[K] Off the standard atmosphere, for the days that are compared."""
SLOPE_FT = 1000.0
"""[ft] The limit's change is given for so much altitude."""


@dataclass(frozen=True, slots=True)
class PointerInstant:
    """The limit at one instant.

    ``code`` : what the instant is; ``limit`` : the governing limit's name, empty for none;
    speeds [kt] : ``limit_airspeed_kt`` and ``airspeed_kt`` are calibrated, ``pointer_kt`` as
    indicated. NaN where not known.
    """

    code: InstantCode
    time_s: float
    pressure_altitude_ft: float
    limit: str
    limit_airspeed_kt: float
    pointer_kt: float
    airspeed_kt: float


@dataclass(frozen=True, slots=True)
class AtConstantMach:
    """The effect of altitude alone on a constant Mach limit between two instants.

    ``limit`` : its name; ``mach``; ``first``, ``last`` : the instants (indices); the limit as
    CAS [kt] is ``first_kt`` and ``last_kt``; ``slope_kt`` : its change per 1000 ft of descent
    midway between them [kt].
    """

    limit: str
    mach: float
    first: int
    last: int
    first_kt: float
    last_kt: float
    slope_kt: float


@dataclass(frozen=True, slots=True)
class TemperatureCase:
    """A Mach limit at one altitude on one day.

    ``isa_deviation`` [K]; ``temperature`` [K]; the rest [kt], ``calibrated_airspeed_kt`` worked
    back from the true airspeed and the temperature.
    """

    code: CaseCode
    isa_deviation: float
    temperature: float
    speed_of_sound_kt: float
    true_airspeed_kt: float
    calibrated_airspeed_kt: float


@dataclass(frozen=True, slots=True)
class PointerMovement:
    """Why the limit moved in a flight.

    ``instants`` : in order of time; ``at_mach`` : None where no constant Mach limit governed at
    two of them; ``crossings`` : of the sheet's limits, none where they depend on the flap;
    ``cases`` : the Mach limit on several days, at ``case_instant``, empty where none governed;
    ``mach_limits`` : names of the limits in Mach that may govern.
    """

    instants: tuple[PointerInstant, ...]
    at_mach: AtConstantMach | None
    crossings: tuple[Crossing, ...]
    cases: tuple[TemperatureCase, ...]
    case_instant: int
    case_limit: str
    mach_limits: tuple[str, ...]


def pointer_movement(analysis: Analysis, assessment: Assessment | None = None,
                     decisive: int | None = None) -> PointerMovement:
    """Find where the limit stood at the instants of a flight that matter, and why it moved.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    assessment : Assessment, optional
        Knows where the run-in began.
    decisive : int, optional
        The exceedance (index) that the instants are about; without one, they are about the
        closest approach to a limit.

    Returns
    -------
    PointerMovement
        Without instants where the pressure altitude or the limit isn't known at any of them.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> moved = la.pointer_movement(flight, decisive=0).at_mach
    >>> moved.limit, round(moved.slope_kt, 1)
    ('MMO', 4.6)
    """
    crossings = _crossings(analysis)
    instants = tuple(instant for instant in sorted(
        _instants(analysis, assessment, decisive, crossings), key=lambda instant: instant.time_s)
        if np.isfinite(instant.pressure_altitude_ft + instant.limit_airspeed_kt))
    limits = {limit.name: limit for limit in analysis.sheet.limit if constant_mach(limit)}
    at_mach = _at_constant_mach(instants, limits)
    place = next((i for i, instant in enumerate(instants) if instant.limit in limits), -1)
    cases: tuple[TemperatureCase, ...] = ()
    name = instants[place].limit if place >= 0 else ""
    if place >= 0:
        cases = _cases(analysis, instants[place], _mach(limits[name]))
    return PointerMovement(instants, at_mach, crossings, cases, place, name, tuple(
        limit.name for limit in analysis.sheet.limit if _is_mach(limit)))


def constant_mach(limit: Limit) -> bool:
    """Whether a limit is one true Mach number at every altitude."""
    return limit.quantity == "mach" and limit.constant is not None


def _is_mach(limit: Limit) -> bool:
    return limit.kind.suffix == LimitedMach.suffix


def _mach(limit: Limit) -> float:
    assert limit.constant is not None
    return limit.constant


def _crossings(analysis: Analysis) -> tuple[Crossing, ...]:
    try:
        return crossovers(analysis.sheet)
    except Problem:
        return ()


def _instants(analysis: Analysis, assessment: Assessment | None, decisive: int | None,
              crossings: tuple[Crossing, ...]) -> list[PointerInstant]:
    found = analysis.exceedances
    codes: list[tuple[InstantCode, float]]
    if decisive is not None:
        worst = found[decisive]
        together = [exceedance for exceedance in found if exceedance.episode == worst.episode]
        first = min(together, key=lambda exceedance: exceedance.start_s)
        start = _run_in(found, first, assessment)
        end = max(exceedance.end_s for exceedance in together)
        codes = [("run-in", start), ("passed", first.start_s), ("worst", worst.worst_time_s),
                 ("under", end)]
    else:
        closest = analysis.smallest[0].time_s
        if not np.isfinite(closest):
            return []
        start, end = closest - BEFORE_S, closest
        codes = [("before", start), ("closest", closest)]
    passed = _crossover_passed(analysis, start, end, crossings)
    if passed is not None:
        codes.append(("crossover", passed))
    time = analysis.time
    # The first sample at or after each instant: that of a passed limit is over it.
    rows = {min(int(np.searchsorted(time, at)), len(time) - 1): code
            for code, at in reversed(codes)}
    return [_instant(analysis, code, row) for row, code in rows.items()]


def _run_in(found: tuple[Exceedance, ...], first: Exceedance, assessment: Assessment | None
            ) -> float:
    if assessment is not None:
        causes = assessment.exceedances[found.index(first)].contributions
        if causes is not None and np.isfinite(causes.start_s):
            return causes.start_s
    return first.start_s - BEFORE_S


def _crossover_passed(analysis: Analysis, start: float, end: float,
                      crossings: tuple[Crossing, ...]) -> float | None:
    """Return when a crossover was passed between two instants, the first one."""
    first, last = np.searchsorted(analysis.time, [start, end])
    height = analysis.columns["pressure_altitude_ft"][first:last + 1]
    for crossing in crossings:
        above = height > crossing.pressure_altitude / FOOT
        known = np.isfinite(height)
        changes = np.flatnonzero((above[1:] != above[:-1]) & known[1:] & known[:-1])
        if changes.size:
            return float(analysis.time[first + changes[0] + 1])
    return None


def _instant(analysis: Analysis, code: InstantCode, row: int) -> PointerInstant:
    def value(name: str) -> float:
        column = analysis.columns.get(name)
        return float("nan") if column is None else float(column[row])

    governing = int(analysis.columns["governing_limit"][row])
    return PointerInstant(
        code, float(analysis.time[row]), value("pressure_altitude_ft"),
        "" if governing == NO_GOVERNING_LIMIT else analysis.limit_names[governing],
        value("limit_airspeed_kt"), value("limit_pointer_kt"), value("calibrated_airspeed_kt"))


def _at_constant_mach(instants: tuple[PointerInstant, ...], limits: dict[str, Limit]
                      ) -> AtConstantMach | None:
    for name, limit in limits.items():
        at = [i for i, instant in enumerate(instants) if instant.limit == name]
        if len(at) < 2:
            continue
        # Of those under one limit, the two farthest apart in altitude.
        at.sort(key=lambda i: instants[i].pressure_altitude_ft)
        first, last = sorted((at[0], at[-1]))
        mach = _mach(limit)
        heights = np.array([instants[i].pressure_altitude_ft for i in (first, last)])
        middle = heights.mean() + SLOPE_FT / 2 * np.array([1.0, -1.0])
        speeds = cas_from_mach(mach, np.append(heights, middle) * FOOT) / KNOT
        return AtConstantMach(name, mach, first, last, float(speeds[0]), float(speeds[1]),
                              float(speeds[3] - speeds[2]))
    return None


def _cases(analysis: Analysis, at: PointerInstant, mach: float) -> tuple[TemperatureCase, ...]:
    height = at.pressure_altitude_ft * FOOT
    standard = float(temperature(height))
    days: list[tuple[CaseCode, float]] = [
        ("colder", -DEVIATION_K), ("standard", 0.0), ("warmer", DEVIATION_K)]
    row = int(np.abs(analysis.time - at.time_s).argmin())
    deviation = analysis.columns.get("isa_deviation_degc")
    if deviation is not None and np.isfinite(deviation[row]):
        days.append(("recorded", float(deviation[row])))
    cases = []
    for code, off in days:
        kelvin = standard + off
        true = float(tas_from_mach(mach, kelvin))
        cases.append(TemperatureCase(
            code, off, kelvin, float(speed_of_sound(kelvin)) / KNOT, true / KNOT,
            float(cas_from_tas(true, height, kelvin)) / KNOT))
    return tuple(cases)
