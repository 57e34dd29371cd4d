"""Choose the recorded channels that airspeed and pressure altitude are derived from.

The order of preference is that of `record.derivations`. Of two recorded airspeeds the limits sheet
selects one; the recorded Mach number is used only where the sheet allows it. Recorded Mach number,
true airspeed and limit pointer have no other influence on a verdict.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, assert_never

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere
from loganalyze.problems import Problem
from loganalyze.record.arrays import Floats
from loganalyze.record.channels import CHANNELS
from loganalyze.record.derivations import AIRSPEED, AIRSPEEDS, ALTITUDE, of_kind
from loganalyze.record.findings import Finding
from loganalyze.record.flight_log import FlightLog
from loganalyze.sheets.limits_sheet import LimitsSheet

DENSEST, THINNEST = (
    float(atmosphere.pressure_ratio(end)) for end in (atmosphere.LOWEST, atmosphere.HIGHEST))
_GREATEST_MACH = 3.0
"""The highest plausible Mach number of recorded pressures."""
_GREATEST_RATIO = float(airspeed.impact_ratio_from_mach(_GREATEST_MACH))
_DIFFERENCE = 32.0
"""Factor by which the number format's rounding error grows in a speed derived from the difference
of two pressures: half of total over impact pressure at 100 kt and sea level."""


@dataclass(frozen=True, eq=False)
class DerivedQuantity:
    """The values chosen for a quantity: float64[n] in SI, NaN where unknown.

    ``sources`` : the channels they are derived from; ``kind`` : "calibrated", "indicated",
    "pressures" (free of instrument error) or "mach"; ``rounding`` : the greatest relative error
    of the file's number format.
    """

    values: Floats
    sources: tuple[str, ...]
    kind: str = ""
    rounding: float = 0.0
    finding: Finding | None = None


def airspeed_of(log: FlightLog, sheet: LimitsSheet, altitude: DerivedQuantity) -> DerivedQuantity:
    """Derive the airspeed [m/s] from the most preferred channels that the log holds.

    Raises Problem when it holds none of them.
    """
    for name in (f"{sheet.airspeed.recorded}_airspeed", *AIRSPEEDS):
        if name in log:
            return DerivedQuantity(log.aligned(name), (name,), name.removesuffix("_airspeed"),
                         log.channels[name].rounding)
    for derivation in of_kind(AIRSPEED, "pressures"):
        sources = derivation.channels
        if derivation.is_recorded(log):
            values = _difference(log, sources)
            rounding = max(log.channels[name].rounding for name in sources)
            return DerivedQuantity(cas_of_impact(values), sources, "pressures",
                         rounding * (_DIFFERENCE if len(sources) > 1 else 1.0),
                         Finding("airspeed_from_pressures", _columns(log, *sources)))
    if sheet.airspeed.from_mach and "mach" in log and altitude.sources:
        return DerivedQuantity(cas_of_mach(log.aligned("mach"), altitude.values),
                     ("mach", *altitude.sources), "mach", log.channels["mach"].rounding,
                     Finding("airspeed_from_mach", _columns(log, "mach")))
    raise Problem(
        "the log holds neither an indicated nor a calibrated airspeed, nor pressures that give one",
        str(log.source.path),
        _hint(log),
    )


def _hint(log: FlightLog) -> str:
    if "mach" in log:
        return ("name its column as indicated_airspeed or calibrated_airspeed in a columns file, "
                "or write from_mach = true under [airspeed] in the limits sheet to take the "
                "recorded Mach number instead")
    return "name its column as indicated_airspeed or calibrated_airspeed in a columns file"


def altitude_of(log: FlightLog) -> DerivedQuantity:
    """Derive the pressure altitude [m] from the most preferred channels that the log holds.

    All NaN, without sources, where it holds none of them.
    """
    derivation = next((option for option in ALTITUDE if option.is_recorded(log)), None)
    if derivation is not None:
        sources = derivation.channels
        match derivation.kind:
            case "recorded":
                values = log.aligned(sources[0])
                lost = Finding("altitude_never_recorded", _columns(log, *sources))
                return DerivedQuantity(values, sources, finding=lost if _is_blank(values) else None)
            case "pressures":
                return DerivedQuantity(altitude_of_static(_difference(log, sources)), sources,
                             finding=Finding("altitude_from_pressures", _columns(log, *sources)))
            case "setting":
                values = altitude_of_indicated(*(log.aligned(name) for name in sources))
                return DerivedQuantity(values, sources,
                             finding=Finding("altitude_from_indicated", _columns(log, *sources)))
            case "mach":
                raise AssertionError("no altitude is derived from a Mach number")
            case _:
                assert_never(derivation.kind)
    unknown = DerivedQuantity(np.full(len(log), np.nan), ())
    if "indicated_altitude" in log:
        return replace(unknown, finding=Finding("indicated_altitude_without_setting"))
    return replace(unknown, finding=Finding("no_pressure_altitude"))


def _is_blank(values: Floats) -> bool:
    """Whether nothing is known; most logs say so with their first values."""
    return bool(np.isnan(values[:1000]).all() and np.isnan(values).all())


def cas_of_impact(impact: Floats) -> Floats:
    """Calibrated airspeed [m/s] of an impact pressure [Pa].

    Slightly negative pressures are a sensor at rest, and give 0; NaN outside the plausible range.
    """
    kind = CHANNELS["impact_pressure"]
    inside = ((impact >= kind.lowest * kind.unit.factor)
              & (impact <= _GREATEST_RATIO * atmosphere.P0))
    return _where(inside, lambda pressures: airspeed.cas_from_impact_ratio(
        np.maximum(pressures, 0.0) / atmosphere.P0), impact)


def altitude_of_static(static: Floats) -> Floats:
    """Pressure altitude [m] of a static pressure [Pa]; NaN outside the atmosphere's layers."""
    inside = (static > THINNEST * atmosphere.P0) & (static < DENSEST * atmosphere.P0)
    return _where(inside, atmosphere.pressure_altitude, static)


def altitude_of_indicated(indicated: Floats, setting: Floats) -> Floats:
    """Pressure altitude [m] of an indicated altitude [m] and its altimeter setting [Pa].

    NaN where either is missing or outside its plausible range.
    """
    height, baro = CHANNELS["indicated_altitude"], CHANNELS["altimeter_setting"]
    inside = (
        (indicated >= height.lowest * height.unit.factor)
        & (indicated <= height.highest * height.unit.factor)
        & (setting >= baro.lowest * baro.unit.factor)
        & (setting <= baro.highest * baro.unit.factor)
    )
    return _where(inside, atmosphere.pressure_altitude_from_setting, indicated, setting)


def cas_of_mach(mach: Floats, altitude: Floats) -> Floats:
    """Calibrated airspeed [m/s] of a Mach number at a pressure altitude [m]; NaN if implausible."""
    inside = ((mach >= 0) & (mach <= _GREATEST_MACH) & (altitude > atmosphere.LOWEST)
              & (altitude < atmosphere.HIGHEST))
    return _where(inside, airspeed.cas_from_mach, mach, altitude)


def _where(inside: NDArray[np.bool_], function: Callable[..., Any], *values: Floats) -> Floats:
    result = np.full(inside.shape, np.nan)
    if inside.any():
        result[inside] = function(*(array[inside] for array in values))
    return result


def _difference(log: FlightLog, sources: tuple[str, ...]) -> Floats:
    """The pressure of a single source, or the first source minus the second [Pa]."""
    first, *second = (log.aligned(name) for name in sources)
    return first - second[0] if second else first


def _columns(log: FlightLog, *names: str) -> dict[str, Any]:
    return {"columns": [log.channels[name].column for name in names]}
