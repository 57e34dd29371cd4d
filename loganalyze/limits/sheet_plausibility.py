"""Entries of a valid limits sheet that are unlikely to be intended, found without a log."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from loganalyze.limits.limit_envelope import Crossing, crossovers, limit_envelope
from loganalyze.quantities.limited_speed import LimitedAirspeed, LimitedMach
from loganalyze.record.units import DEGREE, FOOT
from loganalyze.sheets.limit_conditions import Condition
from loganalyze.sheets.limits_sheet import Limit, LimitsSheet

Floats = NDArray[np.float64]

UNNAMED = "an unnamed aircraft"
"""Placeholder for the aircraft's name in a generated sheet."""
LOWEST_FT, HIGHEST_FT, STEP_FT = 0.0, 45000.0, 250.0
"""Range and step of pressure altitude at which limits are compared with each other [ft]."""
USUAL_CROSSOVER_FT = (5000.0, 40000.0)
TABLE_LEAST_FT = 25000.0
AT_REST_DEG = 0.5
"""Bounds of usual values, by engineering judgement: values outside are possible but unusual."""
_FLAPS = ("flap", "flap_lever")


@dataclass(frozen=True, slots=True)
class SheetRemark:
    """An entry of a sheet that is possible but unusual.

    ``code`` : the kind of remark; ``limit`` : the limit's name, "" for the whole sheet;
    ``values`` : the numbers and names for its sentence, with the unit at the end of each key.
    """

    code: str
    limit: str = ""
    values: Mapping[str, float | str] = field(default_factory=lambda: MappingProxyType({}))


def sheet_remarks(sheet: LimitsSheet) -> tuple[SheetRemark, ...]:
    """Return the entries of a valid sheet that are unlikely to be intended.

    Limits are compared as calibrated airspeed in the standard atmosphere from sea level to
    45,000 ft; corrections that go by flap angle are left out.

    Parameters
    ----------
    sheet : LimitsSheet
        A sheet that `read_limits` accepted.

    Returns
    -------
    tuple of SheetRemark
        In the order of the sheet; empty without unusual entries. A remark isn't an error: the
        sheet is used as it is.

    Examples
    --------
    >>> import loganalyze as la
    >>> sheet = la.read_limits("sample_logs/ouzelwing_240.toml")
    >>> [(remark.code, remark.limit) for remark in la.sheet_remarks(sheet)]
    [('example_rules', '')]
    """
    return tuple(_of_sheet(sheet)) + tuple(
        remark for limit in sheet.limit for remark in _of_limit(limit)
    ) + tuple(_of_envelope(sheet)) + tuple(_of_flaps(sheet))


def _of_sheet(sheet: LimitsSheet) -> Iterator[SheetRemark]:
    if sheet.aircraft == UNNAMED:
        yield SheetRemark("aircraft_unnamed")
    always = [limit for limit in sheet.limit if not limit.when]
    limited = {limit.kind.suffix for limit in always}
    if LimitedMach.suffix not in limited:
        yield SheetRemark("no_mach_limit")
    if LimitedAirspeed.suffix not in limited:
        yield SheetRemark("no_airspeed_limit")
    examples = [rule.name for rule in sheet.severity if rule.example]
    if examples:
        yield SheetRemark("example_rules", values={"count": float(len(examples))})


def _of_limit(limit: Limit) -> Iterator[SheetRemark]:
    low, high = limit.kind.usual
    rows = limit.by_pressure_altitude
    values = [value for _, value in rows] if rows else [limit.constant]
    odd = [value for value in values if value is not None and not low <= value <= high]
    if odd:
        unit = limit.kind.suffix
        yield SheetRemark(f"unusual_{unit}", limit.name, {unit: odd[0]})
    if rows and limit.outside == "unknown" and (
            rows[0][0] > LOWEST_FT or rows[-1][0] < TABLE_LEAST_FT):
        yield SheetRemark("table_ends", limit.name, {"low_ft": rows[0][0], "high_ft": rows[-1][0]})
    for condition in limit.conditions:
        if condition.channel in _FLAPS and _includes_rest(condition):
            yield SheetRemark("flaps_at_rest", limit.name, {"low_deg": _degrees(condition.low)})
        if condition.channel == "gear_down" and condition.low == condition.high == 0:
            yield SheetRemark("gear_up", limit.name)


def _includes_rest(condition: Condition) -> bool:
    return condition.low < AT_REST_DEG * DEGREE and condition.high > 0


def _degrees(angle: float) -> float:
    return round(angle / DEGREE, 6) if math.isfinite(angle) else angle


def _of_envelope(sheet: LimitsSheet) -> Iterator[SheetRemark]:
    """Compare limits with each other: which are never the lowest, and where they cross."""
    heights = np.arange(LOWEST_FT, HIGHEST_FT + STEP_FT, STEP_FT) * FOOT
    speeds = limit_envelope(_without_conditions(sheet), heights).per_limit
    always = [i for i, limit in enumerate(sheet.limit) if not limit.when]
    for i, limit in enumerate(sheet.limit):
        others = [other for other in always if other != i]
        known = np.isfinite(speeds[i])
        if not others or not known.any():
            continue
        # Where another limit is unknown it isn't counted as lower.
        other_speeds = np.where(np.isfinite(speeds[others]), speeds[others], np.inf)
        least = other_speeds.min(axis=0)
        if not (speeds[i] < least)[known].any():
            lower = sheet.limit[others[int(other_speeds[:, known].min(axis=1).argmin())]]
            yield SheetRemark("never_lowest", limit.name, {"other": lower.name})
    pair = {limit.name: limit for limit in sheet.limit}
    for crossing in governing_changes(sheet):
        altitude = crossing.pressure_altitude / FOOT
        mixed = pair[crossing.below].kind.unit != pair[crossing.above].kind.unit
        usual = USUAL_CROSSOVER_FT[0] <= altitude <= USUAL_CROSSOVER_FT[1]
        if mixed and not usual and LOWEST_FT <= altitude <= HIGHEST_FT:
            yield SheetRemark("unusual_crossover", crossing.below,
                              {"other": crossing.above, "altitude_ft": altitude})


def governing_changes(sheet: LimitsSheet) -> tuple[Crossing, ...]:
    """Return where the lowest of the limits without conditions changes to another."""
    return crossovers(_only(sheet, tuple(limit for limit in sheet.limit if not limit.when)))


def _without_conditions(sheet: LimitsSheet) -> LimitsSheet:
    return _only(sheet, tuple(_unconditional(limit) for limit in sheet.limit))


def _unconditional(limit: Limit) -> Limit:
    stated = limit.model_dump(exclude_unset=True)
    stated.pop("when", None)
    return Limit.model_validate(stated)


def _only(sheet: LimitsSheet, limits: tuple[Limit, ...]) -> LimitsSheet:
    """Return the sheet with other limits, and without corrections that depend on flap angle."""
    airspeed = sheet.airspeed
    if any(table.flap_deg is not None for table in airspeed.position_tables):
        airspeed = airspeed.model_copy(update={"position_correction": None})
        airspeed.__dict__.pop("position_tables", None)
    return sheet.model_copy(update={"limit": limits, "airspeed": airspeed})


def _of_flaps(sheet: LimitsSheet) -> Iterator[SheetRemark]:
    """Find gaps and rising limits among those that depend on the flap angle alone."""
    reaches = sorted(
        ((limit.conditions[0], limit) for limit in sheet.limit
         if len(limit.conditions) == 1 and limit.conditions[0].channel in _FLAPS
         and limit.maximum_kt is not None),
        key=lambda reach: (reach[0].channel, reach[0].low))
    for (here, limit), (after, other) in pairwise(reaches):
        if here.channel != after.channel:
            continue
        if after.low > here.high:
            yield SheetRemark("flap_gap", limit.name, {
                "other": other.name, "low_deg": _degrees(here.high),
                "high_deg": _degrees(after.low)})
        if (other.maximum_kt or 0) > (limit.maximum_kt or 0):
            yield SheetRemark("flap_limit_rises", other.name, {"other": limit.name})
