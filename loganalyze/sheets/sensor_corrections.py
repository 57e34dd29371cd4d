"""What a limits sheet knows of the aircraft's sensors: airspeed, altitude and temperature."""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict, Discriminator, Field, Strict, Tag, model_validator

from loganalyze.air.probes import CorrectionTable
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limit_conditions import Condition, Range, condition_of
from loganalyze.sheets.sheet_tables import LEAST_RISE, Rows, Table, check_rising
from loganalyze.sheets.toml_models import Sheet, refuse, written

SPEEDS_KT = (0.0, 1200.0)
GREATEST_KT = 100.0
GREATEST_FT = 5000.0
"""Corrections larger than these are refused as typing errors."""

Curve = tuple[NDArray[np.float64], NDArray[np.float64]]


class PositionTable(Sheet):
    """A position correction for a range of flap angles."""

    flap_deg: Range | None = Field(
        None, description="The flap angles it is for; absent: any.", examples=[{"up_to": 1}])
    table: Table = Field(description="Rows of indicated airspeed [kt] and what to add to it "
                         "[kt].", examples=[[[100, 1], [250, 3]]])

    @model_validator(mode="after")
    def _plausible(self) -> PositionTable:
        _check_speeds(self.table, "table")
        if self.flap_deg is not None:
            condition_of("flap_deg", self.flap_deg)
        return self

    @cached_property
    def conditions(self) -> tuple[Condition, ...]:
        """The flap angles in SI; empty for any."""
        return () if self.flap_deg is None else (condition_of("flap_deg", self.flap_deg),)

    @property
    def correction(self) -> CorrectionTable:
        """Indicated airspeed and what to add to it  [m/s]."""
        return CorrectionTable(*_curve(self.table, KNOT))


def _form(value: Any) -> str:
    first = value[0] if isinstance(value, list | tuple) and value else None
    return "by flap" if isinstance(first, dict | PositionTable) else "plain"


class AirspeedSheet(Sheet):
    """What the recorded airspeed and altitude are, and the corrections to apply to them."""

    recorded: Literal["calibrated", "indicated"] = Field(
        description="What the log's airspeed is.", examples=["calibrated"])
    from_mach: bool = Field(
        False, description="Whether the airspeed may be taken from the recorded Mach number and "
        "pressure altitude where the log holds neither airspeed nor pressures.", examples=[True])
    static_source_corrected: bool | None = Field(
        None, description="Whether the recorded pressure altitude is corrected for the static "
        "source's error already; absent: not known.", examples=[True])
    instrument_correction: Table | None = Field(
        None, description="Rows of indicated airspeed [kt] and what to add to it [kt].",
        examples=[[[100, 1], [250, 3]]])
    position_correction: Annotated[
        Annotated[Table, Tag("plain")]
        | Annotated[tuple[PositionTable, ...], Strict(False), Tag("by flap")],
        Discriminator(_form)] | None = Field(
        None, description="Rows of indicated airspeed [kt] and what to add to it [kt], or one "
        "such table for each range of flap angles.", examples=[[[100, 1], [250, 3]]])
    altimeter_correction: Table | None = Field(
        None, description="Rows of indicated airspeed [kt] and what to add to the indicated "
        "pressure altitude [ft].", examples=[[[100, 20], [250, 150]]])

    @model_validator(mode="after")
    def _plausible(self) -> AirspeedSheet:
        if self.instrument_correction is not None:
            _check_speeds(self.instrument_correction, "instrument_correction")
        if self.altimeter_correction is not None:
            _check_column(self.altimeter_correction, GREATEST_FT, "ft", "altimeter_correction")
        if self.position_correction is not None and not self._by_flap:
            _check_speeds(self.position_tables[0].table, "position_correction")
        tables = self.position_tables
        for later in range(len(tables)):
            for earlier in range(later):
                if _overlap(tables[earlier].flap_deg, tables[later].flap_deg):
                    refuse(f"its flap angles overlap those of position_correction[{earlier + 1}]",
                           "give each flap angle one table", "position_correction", later)
        return self

    @property
    def _by_flap(self) -> bool:
        return _form(self.position_correction) == "by flap"

    @cached_property
    def position_tables(self) -> tuple[PositionTable, ...]:
        """The position corrections, one for each range of flap angles; empty when none given."""
        stated: Any = self.position_correction
        if stated is None:
            return ()
        return stated if self._by_flap else (PositionTable.model_construct(table=stated),)

    @property
    def instrument_table(self) -> CorrectionTable | None:
        """Recorded indicated airspeed and what to add to it  [m/s]."""
        stated = self.instrument_correction
        return None if stated is None else CorrectionTable(*_curve(stated, KNOT))

    @property
    def altimeter_table(self) -> Curve | None:
        """Indicated airspeed [m/s] and what to add to the altitude [m], float64[n] each."""
        stated = self.altimeter_correction
        return None if stated is None else _curve(stated, FOOT)


class TemperatureSheet(Sheet):
    """What the recorded outside air temperature is."""

    model_config = ConfigDict(json_schema_extra={"allOf": [
        {"if": {"properties": {"outside_air": {"const": "probe"}}},
         "then": {"required": ["recovery_factor"]}},
        {"if": {"properties": {"outside_air": {"const": "static"}}},
         "then": {"not": {"required": ["recovery_factor"]}}},
    ]})

    outside_air: Literal["static", "total", "probe"] = Field(
        description="What the log's outside air temperature is: static, total, or that of a "
        "probe which recovers a part of the rise.", examples=["static"])
    recovery_factor: float | None = Field(
        None, description="The part of the rise that the probe recovers, more than 0, at most 1.",
        examples=[0.8], json_schema_extra={"exclusiveMinimum": 0, "maximum": 1})

    @model_validator(mode="after")
    def _factor(self) -> TemperatureSheet:
        factor = self.recovery_factor
        if self.outside_air == "probe" and factor is None:
            refuse('the key "recovery_factor" is missing, and outside_air = "probe" needs it',
                   "write the probe's own, such as recovery_factor = 0.8", "recovery_factor")
        if self.outside_air == "static" and factor is not None:
            refuse('a static temperature has no recovery_factor',
                   'take it out, or write outside_air = "probe"', "recovery_factor")
        if factor is not None and not 0 < factor <= 1:
            refuse(f"recovery_factor = {written(factor)} is outside 0 to 1",
                   "write the probe's own, such as recovery_factor = 0.8", "recovery_factor")
        return self


def _curve(table: Rows, unit: float) -> Curve:
    rows = np.array(table)
    return rows[:, 0] * KNOT, rows[:, 1] * unit


def _check_column(table: Rows, greatest: float, unit: str, key: str) -> None:
    check_rising(table, "airspeed", "kt", *SPEEDS_KT, key)
    for row, (_, add) in enumerate(table):
        if abs(add) > greatest:
            refuse(f"a correction of {written(add)} {unit} is more than {greatest:g} {unit}",
                   "write each row as [indicated airspeed, what to add to it]", key, row)


def _check_speeds(table: Rows, key: str) -> None:
    _check_column(table, GREATEST_KT, "kt", key)
    if sum(table[0]) < 0:
        refuse(f"the corrected airspeed is {sum(table[0]):g} kt, less than 0",
               "check what the row adds", key, 0)
    for row in range(1, len(table)):
        before, after = sum(table[row - 1]), sum(table[row])
        if after - before < LEAST_RISE:
            refuse(f"the corrected airspeed goes from {before:g} to {after:g} kt while the "
                   "indicated one rises", "check what the rows add", key, row)


def _overlap(first: Range | None, second: Range | None) -> bool:
    if first is None or second is None:
        return True
    (a, a_in, b, b_in), (c, c_in, d, d_in) = first.edges, second.edges
    low, high = max(a, c), min(b, d)
    low_in = (a_in or a < low) and (c_in or c < low)
    high_in = (b_in or b > high) and (d_in or d > high)
    return low < high or (low == high and low_in and high_in)
