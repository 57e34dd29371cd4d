"""The limits sheet: an aircraft's operating limitations and what is known of its sensors."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, assert_never

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

from loganalyze.quantities.limited_quantity import LimitedQuantity
from loganalyze.quantities.quantity_registry import quantity_names, quantity_of
from loganalyze.record.units import FOOT
from loganalyze.sheets.limit_conditions import (
    NAME,
    Condition,
    ConfigurationSheet,
    Range,
    condition_of,
)
from loganalyze.sheets.sensor_corrections import AirspeedSheet, TemperatureSheet
from loganalyze.sheets.sensor_tolerances import UncertaintySheet
from loganalyze.sheets.severity_rules import LadderSheet, Rules, WarningSheet, check_names
from loganalyze.sheets.sheet_tables import ALTITUDES_FT, ScreeningTable, Table, check_rising
from loganalyze.sheets.toml_models import OneOf, Sheet, read_toml, refuse, written

MAXIMUM_KEYS = ("maximum_kt", "maximum")
ONE_LINE = r"^\S(.*\S)?$"
EDGE = 1e-3
"""[m] How far outside a table an altitude still counts as its end: a float32 altitude that was
logged exactly there comes out up to half a millimetre off."""


def _without_default(schema: dict[str, Any]) -> None:
    del schema["default"]  # it depends on the limit's conditions


def _of_quantities(schema: dict[str, Any]) -> None:
    """Write into a limit's schema which quantities there are, and which maxima they take."""
    kinds = {name: quantity_of(name) for name in quantity_names()}
    for key in MAXIMUM_KEYS:
        own = [kind for kind in kinds.values() if kind.maximum_key == key]
        schema["properties"][key] |= {"minimum": min(kind.lowest for kind in own),
                                      "maximum": max(kind.highest for kind in own)}
    schema["oneOf"] = [{"required": [key]} for key in (*MAXIMUM_KEYS, "by_pressure_altitude")]
    schema["if"] = {"properties": {"quantity": {"enum": [
        name for name, kind in kinds.items() if kind.maximum_key == "maximum"]}}}
    schema["then"] = {"not": {"required": ["maximum_kt"]}}
    schema["else"] = {"not": {"required": ["maximum"]}}
    schema["dependentRequired"] = {"outside": ["by_pressure_altitude"]}


class Limit(Sheet):
    """One limit: a quantity, its maximum, and when it applies."""

    model_config = ConfigDict(json_schema_extra=_of_quantities)

    name: str = Field(description="The limit's name in the flight manual; each name once.",
                      examples=["VMO"], min_length=1, max_length=60, pattern=ONE_LINE)
    quantity: Annotated[str, OneOf(quantity_names)] = Field(
        description="What the flight manual limits.", examples=["calibrated_airspeed"])
    maximum_kt: float | None = Field(
        None, description="A constant airspeed limit [kt].", examples=[245])
    maximum: float | None = Field(
        None, description="A constant Mach limit.", examples=[0.48])
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
            name = limit.get("quantity")
            shown = name not in quantity_names() or quantity_of(name).is_speed
            return {**limit, "on_pointer": shown and not limit.get("when")}
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
        given = [key for key in (*MAXIMUM_KEYS, "by_pressure_altitude")
                 if getattr(self, key) is not None]
        kind, own = self.kind, self.kind.maximum_key
        example = f"{own} = {kind.example:g}"
        if self.on_pointer and not kind.is_speed:
            refuse(f"the airspeed indicator's limit pointer can't show {kind.article_noun}",
                   "take it out", "on_pointer")
        for other in given:
            if other in MAXIMUM_KEYS and other != own:
                refuse(f"{self.quantity} is {kind.article_noun}, and {other} isn't for it",
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
        hint = f"write each row as [feet, {kind.row_unit}]"
        for row, (_, value) in enumerate(self.by_pressure_altitude):
            self._check_value(value, hint, "by_pressure_altitude", row)
        return self

    def _check_value(self, value: float, hint: str, *key: str | int) -> None:
        low, high = self.kind.lowest, self.kind.highest
        if not low <= value <= high:
            unit = self.kind.unit.name
            refuse(f"a limit of Mach {written(value)} is outside {low:g} to {high:g}"
                   if unit == "Mach" else
                   f"a limit of {written(value)} {unit} is outside {low:g} to {high:g} {unit}",
                   hint, *key)

    @property
    def kind(self) -> LimitedQuantity:
        """The limited quantity: its unit, range, names and relation to airspeed."""
        return quantity_of(self.quantity)

    @property
    def constant(self) -> float | None:
        """The maximum in the quantity's unit; None where a table states it."""
        stated: float | None = getattr(self, self.kind.maximum_key)
        return stated

    @property
    def needs_altitude(self) -> bool:
        """Whether a speed can be compared with it only where the pressure altitude is known.

        So it is for limits in Mach, equivalent and true airspeed, and for those tabulated by
        pressure altitude. A constant limit in indicated or calibrated airspeed needs none:
        position and instrument corrections go by airspeed and flap angle. A condition on the
        altitude needs its channel, as any condition does, and may be declared as any other.
        """
        return self.kind.needs_altitude or self.by_pressure_altitude is not None

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
        values *= self.kind.unit.factor
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
        ndarray of float64, same shape  [m/s, or a pure number such as Mach]
            Linear between the table's rows. Outside the table NaN (unknown), or the nearest
            row's value where the sheet states `outside = "hold"`. NaN altitude gives NaN; a
            constant limit is the same at any altitude, NaN too.
        """
        altitude = np.asarray(pressure_altitude, dtype=np.float64)
        if self.constant is not None:
            return np.full(altitude.shape, self.constant * self.kind.unit.factor,
                           dtype=np.float64)
        match self.outside:
            case "hold":
                return np.asarray(np.interp(altitude, *self._table))
            case "unknown":
                return np.asarray(np.interp(altitude, *self._table, left=np.nan, right=np.nan))
            case _:
                assert_never(self.outside)


def _of_ceilings(schema: dict[str, Any]) -> None:
    """Write into a ceiling's schema what a limit's has, and take out the limit pointer."""
    _of_quantities(schema)
    del schema["properties"]["on_pointer"]


class Ceiling(Limit):
    """A ceiling that a school or an operator sets itself: stated as a limit is, but none.

    It is measured by itself. No limit airspeed, crossover, limit pointer, exceedance, severity or
    exit code knows of it, and flying above it exceeds nothing.
    """

    model_config = ConfigDict(json_schema_extra=_of_ceilings)

    name: str = Field(description="The ceiling's name; none that a limit or another ceiling has.",
                      examples=["descent speed"], min_length=1, max_length=60, pattern=ONE_LINE)
    set_by: str = Field(description="Whose ceiling it is, as it stands in a sentence.",
                        examples=["the school"], min_length=1, max_length=60, pattern=ONE_LINE)
    quantity: Annotated[str, OneOf(quantity_names)] = Field(
        description="The quantity that the ceiling is stated in.",
        examples=["indicated_airspeed"])
    maximum_kt: float | None = Field(
        None, description="A constant ceiling in airspeed [kt].", examples=[220])
    maximum: float | None = Field(
        None, description="A constant ceiling in Mach.", examples=[0.45])
    by_pressure_altitude: Table | None = Field(
        None, description="Rows of pressure altitude [ft] and ceiling [kt or Mach], altitudes "
        "rising; linear between them.", examples=[[[0, 200], [10000, 230]]])
    outside: Literal["unknown", "hold"] = Field(
        "unknown", description="What the ceiling is outside its table: unknown, or that of the "
        "table's nearest end.", examples=["hold"])
    when: dict[str, Range] = Field(
        default_factory=dict, description="Conditions that must all hold for the ceiling to "
        "apply.", examples=[{"pressure_altitude_ft": {"up_to": 10000}}],
        json_schema_extra={"minProperties": 1, "propertyNames": {"pattern": f"^{NAME}$"}})

    @model_validator(mode="before")
    @classmethod
    def _pointer(cls, limit: Any) -> Any:
        if isinstance(limit, dict):
            if "on_pointer" in limit:
                refuse("the airspeed indicator's limit pointer shows no ceiling", "take it out",
                       "on_pointer")
            return {**limit, "on_pointer": False}
        return limit


def _ceilings(value: Any) -> Any:
    if isinstance(value, dict):
        refuse("one [ceiling] isn't a list of ceilings", "write [[ceiling]] with double brackets")
    return value


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
        "how the recorder shows it.", examples=[{"flap_transit_s": 12}])
    uncertainty: UncertaintySheet | None = Field(
        None, description="The tolerances of the sensors; absent: generic ones.",
        examples=[{"airspeed": {"limits": 4}}])
    limit: Annotated[tuple[Limit, ...], Strict(False), BeforeValidator(_limits)] = Field(
        description="The limits, up to 255.", max_length=255,
        json_schema_extra={"minItems": 1},
        examples=[[{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 245}]])
    ceiling: Annotated[tuple[Ceiling, ...], Strict(False), BeforeValidator(_ceilings)] = Field(
        (), description="Ceilings of a school or an operator, up to 20: measured in their own "
        "words, never part of a limit.", max_length=20, examples=[[
            {"name": "descent speed", "set_by": "the school", "quantity": "calibrated_airspeed",
             "maximum_kt": 220}]])
    severity: Rules = Field((), description="The operator's rules of severity.", examples=[
        [{"name": "over by 10 kt", "level": "medium", "excess_kt": 10}]])
    ladder: LadderSheet = Field(
        default_factory=LadderSheet, description="The excesses beyond which time is counted.",
        examples=[{"kt": [0, 5, 10, 15, 20]}])
    screening: ScreeningTable = Field(
        default_factory=dict, description="Thresholds of the evaluation that differ from their "
        "defaults.", examples=[{"frozen_s": 30}])
    warning: WarningSheet = Field(
        default_factory=WarningSheet, description="When the overspeed warning must sound.",
        examples=[{"threshold_kt": 6}])

    @model_validator(mode="after")
    def _rules_of_its_limits(self) -> LimitsSheet:
        check_names(self.severity, self.warning,
                    {limit.name: limit.kind for limit in self.limit})
        return self

    @model_validator(mode="after")
    def _named_once(self) -> LimitsSheet:
        for row, name in _repeated([limit.name for limit in self.limit]):
            refuse(f'the name "{name}" is given to two limits', "give each limit its own name",
                   "limit", row, "name")
        taken = len(self.limit)
        for row, name in _repeated([stated.name for stated in (*self.limit, *self.ceiling)]):
            refuse(f'the name "{name}" is given twice', "give the ceiling a name of its own",
                   "ceiling", row - taken, "name")
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
        hint.

    Examples
    --------
    >>> import loganalyze as la
    >>> sheet = la.read_limits("sample_logs/ouzelwing_240.toml")
    >>> [limit.name for limit in sheet.limit]
    ['VMO', 'MMO', 'VFE 10', 'VFE 35', 'VLE']
    """
    return read_toml(path, LimitsSheet)
