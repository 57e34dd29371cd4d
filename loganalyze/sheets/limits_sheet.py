"""The limits sheet: an aircraft's operating limitations and what is known of its sensors."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import (
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    field_validator,
    model_validator,
)

from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.configuration_times import ConfigurationSheet
from loganalyze.sheets.limit_conditions import NAME, Condition, Range, condition_of
from loganalyze.sheets.sensor_corrections import AirspeedSheet, TemperatureSheet
from loganalyze.sheets.sensor_tolerances import UncertaintySheet
from loganalyze.sheets.severity_rules import LadderSheet, Rules, WarningSheet, check_names
from loganalyze.sheets.sheet_tables import ALTITUDES_FT, Table, check_rising
from loganalyze.sheets.toml_models import Sheet, read_toml, refuse, written

AIRSPEEDS_KT = (20.0, 1200.0)
MACHS = (0.05, 3.0)
ONE_LINE = r"^\S(.*\S)?$"
EDGE = 1e-3
"""[m] How far outside a table an altitude still counts as its end: a float32 altitude that was
logged exactly there comes out up to half a millimetre off."""


def _without_default(schema: dict[str, Any]) -> None:
    del schema["default"]  # it depends on the limit's conditions


class Limit(Sheet):
    """One limit: a quantity, its maximum, and when it applies."""

    model_config = ConfigDict(json_schema_extra={
        "oneOf": [{"required": [key]}
                  for key in ("maximum_kt", "maximum", "by_pressure_altitude")],
        "if": {"properties": {"quantity": {"enum": ["mach", "indicated_mach"]}}},
        "then": {"not": {"required": ["maximum_kt"]}},
        "else": {"not": {"required": ["maximum"]}},
        "dependentRequired": {"outside": ["by_pressure_altitude"]},
    })

    name: str = Field(description="The limit's name in the flight manual; each name once.",
                      examples=["VMO"], min_length=1, max_length=60, pattern=ONE_LINE)
    quantity: Literal["indicated_airspeed", "calibrated_airspeed", "equivalent_airspeed",
                      "true_airspeed", "mach", "indicated_mach"] = Field(
        description="What the flight manual limits.", examples=["calibrated_airspeed"])
    maximum_kt: float | None = Field(
        None, description="A constant airspeed limit [kt].", examples=[245],
        json_schema_extra={"minimum": AIRSPEEDS_KT[0], "maximum": AIRSPEEDS_KT[1]})
    maximum: float | None = Field(
        None, description="A constant Mach limit.", examples=[0.48],
        json_schema_extra={"minimum": MACHS[0], "maximum": MACHS[1]})
    by_pressure_altitude: Table | None = Field(
        None, description="Rows of pressure altitude [ft] and limit [kt or Mach], altitudes "
        "rising; linear between them.", examples=[[[0, 245], [8000, 260]]])
    outside: Literal["unknown", "hold"] = Field(
        "unknown", description="What the limit is outside its table: unknown, or that of the "
        "table's nearest end.", examples=["hold"])
    when: dict[str, Range] = Field(
        default_factory=dict, description="Conditions that must all hold for the limit to apply.",
        examples=[{"flap_deg": {"above": 1, "up_to": 20}}],
        json_schema_extra={"minProperties": 1, "propertyNames": {"pattern": f"^{NAME}$"}})
    on_pointer: bool = Field(
        True, description="Whether the airspeed indicator's limit pointer shows it; where not "
        "stated, true for a limit without conditions only.", examples=[True],
        json_schema_extra=_without_default)

    @model_validator(mode="before")
    @classmethod
    def _pointer(cls, limit: Any) -> Any:
        if isinstance(limit, dict) and "on_pointer" not in limit:
            return {**limit, "on_pointer": not limit.get("when")}
        return limit

    @field_validator("when")
    @classmethod
    def _understood(cls, when: dict[str, Range]) -> dict[str, Range]:
        if not when:
            refuse("the table names no condition",
                   "take it out, or write such as when = { flap_deg = { above = 1 } }")
        for key, stated in when.items():
            condition_of(key, stated)
        return when

    @model_validator(mode="after")
    def _one_maximum(self) -> Limit:
        given = [key for key in ("maximum_kt", "maximum", "by_pressure_altitude")
                 if getattr(self, key) is not None]
        own, other = ("maximum", "maximum_kt") if self.is_mach else ("maximum_kt", "maximum")
        example = "maximum = 0.48" if self.is_mach else "maximum_kt = 245"
        kind = "a Mach number" if self.is_mach else "an airspeed"
        if other in given:
            refuse(f"{self.quantity} is {kind}, and {other} isn't for it",
                   f"write {own}, such as {example}", other)
        if not given:
            refuse("the limit has no maximum", f"write {example}, or by_pressure_altitude")
        if len(given) > 1:
            refuse(f"{given[0]} and {given[1]} exclude each other", "keep one of them", given[1])
        if self.by_pressure_altitude is None:
            if "outside" in self.model_fields_set:
                refuse("outside is for a table, and this limit is constant", "take it out",
                       "outside")
            self._check_value(getattr(self, own), f"write such as {example}", own)
            return self
        check_rising(self.by_pressure_altitude, "altitude", "ft", *ALTITUDES_FT,
                     "by_pressure_altitude")
        mend = f"write each row as [feet, {'Mach' if self.is_mach else 'knots'}]"
        for row, (_, value) in enumerate(self.by_pressure_altitude):
            self._check_value(value, mend, "by_pressure_altitude", row)
        return self

    def _check_value(self, value: float, mend: str, *key: str | int) -> None:
        low, high = MACHS if self.is_mach else AIRSPEEDS_KT
        if not low <= value <= high:
            refuse(f"a limit of Mach {written(value)} is outside {low:g} to {high:g}"
                   if self.is_mach else
                   f"a limit of {written(value)} kt is outside {low:g} to {high:g} kt", mend, *key)

    @property
    def is_mach(self) -> bool:
        """Whether the limit is a Mach number rather than an airspeed."""
        return self.quantity in ("mach", "indicated_mach")

    @property
    def needs_altitude(self) -> bool:
        """Whether a speed can be compared with it only where the pressure altitude is known.

        So it is for limits in Mach, equivalent and true airspeed, and for those tabulated by
        pressure altitude. A constant limit in indicated or calibrated airspeed needs none:
        position and instrument corrections go by airspeed and flap angle. A condition on the
        altitude needs its channel, as any condition does, and may be declared as any other.
        """
        return (self.quantity not in ("indicated_airspeed", "calibrated_airspeed")
                or self.by_pressure_altitude is not None)

    @cached_property
    def conditions(self) -> tuple[Condition, ...]:
        """The conditions in SI; the limit applies where all of them hold."""
        return tuple(condition_of(key, stated) for key, stated in self.when.items())

    @property
    def nodes_m(self) -> list[float]:
        """Pressure altitudes of the table's rows [m], rising; empty for a constant limit."""
        return [altitude * FOOT for altitude, _ in self.by_pressure_altitude or ()]

    @property
    def _table(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        nodes = np.array(self.nodes_m)
        values = np.array([value for _, value in self.by_pressure_altitude or ()])
        values *= 1.0 if self.is_mach else KNOT
        return (np.concatenate([[nodes[0] - EDGE], nodes, [nodes[-1] + EDGE]]),
                np.concatenate([values[:1], values, values[-1:]]))

    def maximum_at(self, pressure_altitude: ArrayLike) -> NDArray[np.float64]:
        """Return the limit's maximum at a pressure altitude.

        Parameters
        ----------
        pressure_altitude : array_like  [m]
            Any shape; any value.

        Returns
        -------
        ndarray of float64, same shape  [m/s, or Mach number]
            Linear between the table's rows. Outside the table NaN (unknown), or the nearest
            row's value where the sheet says `outside = "hold"`. NaN altitude gives NaN; a
            constant limit is the same at any altitude, NaN too.
        """
        altitude = np.asarray(pressure_altitude, dtype=np.float64)
        if self.by_pressure_altitude is None:
            constant = self.maximum if self.maximum_kt is None else self.maximum_kt * KNOT
            return np.full(altitude.shape, constant, dtype=np.float64)
        ends = {} if self.outside == "hold" else {"left": np.nan, "right": np.nan}
        return np.asarray(np.interp(altitude, *self._table, **ends))


def _limits(value: Any) -> Any:
    if isinstance(value, dict):
        refuse("one [limit] isn't a list of limits", "write [[limit]] with double brackets")
    if value == []:
        refuse("the sheet holds no limit", "write at least one [[limit]]")
    return value


class LimitsSheet(Sheet):
    """An aircraft's operating limitations and what is known of its sensors."""

    aircraft: str = Field(description="The aircraft the sheet is for.", min_length=1,
                          max_length=200, pattern=ONE_LINE, examples=["an invented twin"])
    airspeed: AirspeedSheet = Field(
        description="What the recorded airspeed is, and its corrections.",
        examples=[{"recorded": "calibrated"}])
    temperature: TemperatureSheet | None = Field(
        None, description="What the recorded outside air temperature is.",
        examples=[{"outside_air": "static"}])
    configuration: ConfigurationSheet = Field(
        default_factory=ConfigurationSheet, description="How flaps and landing gear move, and "
        "what the recorder tells of it.", examples=[{"flap_transit_s": 12}])
    uncertainty: UncertaintySheet | None = Field(
        None, description="The tolerances of the sensors; absent: generic ones.",
        examples=[{"airspeed": {"limits": 4}}])
    limit: Annotated[tuple[Limit, ...], Strict(False), BeforeValidator(_limits)] = Field(
        description="The limits, up to 255.", max_length=255,
        json_schema_extra={"minItems": 1},
        examples=[[{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 245}]])
    severity: Rules = Field((), description="The operator's rules of severity.", examples=[
        [{"name": "over by 10 kt", "level": "medium", "excess_kt": 10}]])
    ladder: LadderSheet = Field(
        default_factory=LadderSheet, description="The excesses beyond which time is counted.",
        examples=[{"kt": [0, 5, 10, 15, 20]}])
    warning: WarningSheet = Field(
        default_factory=WarningSheet, description="When the overspeed warning must sound.",
        examples=[{"threshold_kt": 6}])

    @model_validator(mode="after")
    def _rules_of_its_limits(self) -> LimitsSheet:
        check_names(self.severity, self.warning,
                    {limit.name: limit.is_mach for limit in self.limit})
        return self

    @model_validator(mode="after")
    def _named_once(self) -> LimitsSheet:
        for row, name in _repeated([limit.name for limit in self.limit]):
            refuse(f'the name "{name}" is given to two limits', "give each limit its own name",
                   "limit", row, "name")
        return self


def _repeated(names: list[str]) -> Iterator[tuple[int, str]]:
    seen: set[str] = set()
    for row, name in enumerate(names):
        if name.casefold() in seen:
            yield row, name
        seen.add(name.casefold())


def read_limits(path: str | Path) -> LimitsSheet:
    """Read a limits sheet.

    Parameters
    ----------
    path : path-like
        The TOML file.

    Returns
    -------
    LimitsSheet
        The validated sheet.

    Raises
    ------
    Problem
        For a file that can't be read or doesn't hold a limits sheet; it names the key and the
        mend.
    """
    return read_toml(path, LimitsSheet)
