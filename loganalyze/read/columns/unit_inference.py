"""Units that nothing states: taken from the data where these leave no doubt, else refused.

A unit is inferred only where every other unit of the trade would make the values absurd; what
was inferred, and from what, becomes a finding. Feet and metres, knots and kilometres an hour,
Celsius and Fahrenheit, kilograms and pounds can't be told apart so, and aren't.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.cells.damage_share import are_few
from loganalyze.read.columns.recognition import Header, LogColumn, refuse_unit
from loganalyze.read.columns.required_channels import TEMPERATURES, essential, in_words
from loganalyze.record.channels import kind as channel_kind
from loganalyze.record.findings import Finding
from loganalyze.record.units import UNITS, Unit
from loganalyze.sheets.columns_file import CLOCK_PARTS

KELVIN_RANGE = (180.0, 330.0)
"""Air temperatures that can only be kelvin: as degC or degF all of them would be absurd."""
_RANGES: dict[str, tuple[tuple[str, float, float], ...]] = {
    **dict.fromkeys(TEMPERATURES, (("K", *KELVIN_RANGE),)),
    # 850 to 1100 hPa is 25.1 to 32.5 inHg, 637 to 825 mmHg, 12.3 to 16 psi: no two overlap.
    "altimeter_setting": (("hPa", 850, 1100), ("inHg", 25.1, 32.5), ("mmHg", 637, 825),
                          ("Pa", 85000, 110000), ("kPa", 85, 110)),
    # No other unit of the trade gives numbers this large: 1100 hPa, 825 mmHg, 2300 psf.
    "static_pressure": (("Pa", 4000, 110000),),
    "fan_speed": (("%", -1, 130),),
}
_ANGLES = ("heading", "track", "latitude", "longitude", "pitch", "roll")
_WHOLE_TURN = 7.0
"""Above 2 pi, so that a number beyond it is no angle in radians."""
_LEVEL = {"g": (0.6, 1.6), "m/s2": (6.0, 16.0)}
"""Where the median normal acceleration of a recording lies: most of any flight is flown at 1 g."""


class Sampled(Protocol):
    """A log of which the first rows can be looked at."""

    def sampled(self, column: LogColumn) -> NDArray[np.float64]:
        """Return the numbers of a column's first rows, NaN where there is none."""
        ...

    def cells(self, column: LogColumn) -> list[str]:
        """Return the text of a column's first cells, empty where nothing was recorded."""
        ...


@dataclass(frozen=True)
class Inferred:
    """A unit, and the code and values of the reason for it."""

    unit: Unit
    reason: str
    values: Mapping[str, float]


def infer(channel: str, values: NDArray[np.float64]) -> Inferred | None:
    """Return the unit that the values of a channel leave no doubt of, or None.

    `values` : float64[n], in the unit sought; NaN is left out.
    """
    known = values[~np.isnan(values)]
    if not len(known):
        return None
    kind = channel_kind(channel)
    name = kind.name if kind else channel
    for unit, low, high in _RANGES.get(name, ()):
        if ((known >= low) & (known <= high)).all() and (name != "fan_speed" or known.max() > 2):
            if name == "fan_speed":
                return Inferred(UNITS[unit], "unit_by_reach", {"reach": float(known.max())})
            return Inferred(UNITS[unit], "unit_by_range", {"low": low, "high": high})
    if name in _ANGLES and np.abs(known).max() > _WHOLE_TURN and (
            kind is not None and np.abs(known).max() <= max(-kind.lowest, kind.highest)):
        return Inferred(UNITS["deg"], "unit_by_turn", {"reach": _reach(known)})
    if name == "load_factor":
        middle = float(np.median(known))
        for unit, (low, high) in _LEVEL.items():
            if low <= middle <= high:
                return Inferred(UNITS[unit], "unit_by_level_flight", {"middle": middle})
    return None


def settle_units(columns: Mapping[str, LogColumn], log: Sampled, headers: Sequence[Header],
                 notes: list[Finding], where: str) -> tuple[dict[str, LogColumn], frozenset[str]]:
    """Return the columns that can be read, each with its unit, and the channels in kelvin.

    What was inferred or left out is added to `notes`, one finding each. Raises Problem where
    the verdict rests on a column whose unit nothing states.
    """
    settled: dict[str, LogColumn] = {}
    kelvin = set()
    vital = essential(columns)
    for channel, column in columns.items():
        fault = _fault(column, log)
        if fault is not None and channel in vital:
            raise Problem(f'column "{column.name}" {_clause(fault)}', where,
                          f"state unit for {channel} under [columns] in a columns file")
        if fault is not None:
            notes.append(fault)
            continue
        if column.unit is not None or channel in CLOCK_PARTS or channel_kind(
                channel.removesuffix(".fine")) is None or column.values:
            settled[channel] = _with_own_unit(column)
            continue
        inferred = infer(channel, log.sampled(column))
        if inferred is not None:
            settled[channel] = replace(column, unit=inferred.unit,
                                       unit_by="inferred")
            if inferred.unit.name == "K":
                kelvin.add(channel)
                notes.append(taken_as_kelvin(column))
                continue
            notes.append(Finding(inferred.reason, {
                "column": column.name, "unit": inferred.unit.name, **inferred.values}))
        elif channel in vital:
            raise refuse_unit(column, headers, where)
        else:
            notes.append(Finding("no_unit", {"column": column.name, "channel": channel}))
    return settled, frozenset(kelvin)


def taken_as_kelvin(column: LogColumn) -> Finding:
    """Return the finding of a temperature without a unit whose first values are all kelvin."""
    low, high = KELVIN_RANGE
    return Finding("kelvin", {"column": column.name, "low": low, "high": high})


def all_kelvin(values: NDArray[np.float64]) -> bool:
    """Whether the values that are there can only be kelvin."""
    known = values[~np.isnan(values)]
    low, high = KELVIN_RANGE
    return bool(len(known)) and bool(((known >= low) & (known <= high)).all())


def _with_own_unit(column: LogColumn) -> LogColumn:
    """Return a column whose words the columns file puts in numbers, in its channel's own unit."""
    kind = channel_kind(column.channel)
    if column.unit is None and column.values and kind is not None:
        return replace(column, unit=kind.unit)
    return column


def _clause(fault: Finding) -> str:
    """Return a fault of `_fault` as a clause of a problem."""
    number = fault.values["number"]
    if fault.code == "no_unit_and_large":
        return f"states no unit, and holds numbers such as {number:g}"
    if fault.code == "neither_0_nor_1":
        return (f"holds {number:g}, which is neither 0 nor 1; say what it means under values in a "
                "columns file")
    return (f"doesn't say which of 0 and 1 is {in_words(fault.values['channel'])}; say so under "
            "values in a columns file")


def _fault(column: LogColumn, log: Sampled) -> Finding | None:
    """Return what keeps a column from being read whatever its unit, or None."""
    def found(code: str, number: float | None = None) -> Finding:
        return Finding(code, {
            "column": column.name, "channel": column.channel, "number": number})

    kind = channel_kind(column.channel)
    if kind is None or column.values:
        return None
    if kind.name == "mach" and column.recorded_unit == "":
        values = _known(log.sampled(column))
        if len(values) and np.median(np.abs(values)) > kind.highest:
            return found("no_unit_and_large", float(np.median(values)))
    if not kind.discrete:
        return None
    sampled = log.sampled(column)
    values = _known(sampled)
    if len(values) < len(sampled) and len(values) < sum(map(bool, log.cells(column))):
        return None  # Words: what they mean is decided cell by cell.
    others = values[(values != 0) & (values != 1)]
    if not are_few(len(others), len(values)):
        return found("neither_0_nor_1", float(others[0]))
    if column.worded and len(values) and not column.values:
        return found("state_not_told")
    return None


def _known(values: NDArray[np.float64]) -> NDArray[np.float64]:
    return values[~np.isnan(values)]


def _reach(known: NDArray[np.float64]) -> float:
    return float(known[np.abs(known).argmax()])

