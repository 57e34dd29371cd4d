"""Conditions on recorded channels: how they are written, and what they mean in SI.

A key is a channel and the unit of its numbers, `flap_deg`; a discrete channel, `gear_down`;
or any other lower_snake_case name that the columns file gives to a column. How long flaps and
landing gear take to move, `[configuration]` of the limits sheet, decides when one holds.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field, model_validator

from loganalyze.record.channels import CHANNELS
from loganalyze.record.units import UNITS, Unit
from loganalyze.sheets.toml_models import Sheet, nearest, refuse, written

SUFFIXES: dict[str, Unit] = {
    suffix: UNITS[name]
    for suffix, name in {
        "kt": "kt", "kmh": "km/h", "mps": "m/s", "mph": "mph", "fpm": "ft/min",
        "ft": "ft", "m": "m", "km": "km", "fl": "FL",
        "degc": "degC", "degf": "degF", "k": "K",
        "hpa": "hPa", "kpa": "kPa", "pa": "Pa", "inhg": "inHg", "psi": "psi",
        "deg": "deg", "rad": "rad", "kg": "kg", "lb": "lb", "t": "t", "g": "g", "pct": "%",
    }.items()
}
"""The unit that the end of a key stands for."""

NAME = r"[a-z][a-z0-9]*(_[a-z0-9]+)*"
"""How a channel is named: lower_snake_case."""

DISCRETE_STATES: dict[str | bool | float, float] = {
    True: 1.0, False: 0.0, "on": 1.0, "off": 0.0, "down": 1.0, "up": 0.0,
    "yes": 1.0, "no": 0.0,
}
"""The names of the states of a discrete channel, with their codes in the log."""


@dataclass(frozen=True, slots=True)
class Condition:
    """A range of a recorded channel, in SI.

    ``low``, ``high`` [SI of the channel], -inf and inf where open; ``low_included`` and
    ``high_included`` : whether the edge itself is inside. ``deadband`` [SI] : how far the
    value must go past an edge, either way, before the condition changes. ``dwell_s`` [s] : how
    long the value must stay in the range before it counts.
    """

    channel: str
    low: float
    low_included: bool
    high: float
    high_included: bool
    deadband: float = 0.0
    dwell_s: float = 0.0


def _checked_state(value: Any) -> Any:
    if not isinstance(value, bool | str | int | float):
        refuse(f"{written(value)} isn't a state", "write is = true or is = false")
    return value


class Range(Sheet):
    """A range of one channel, in the unit that its key ends with."""

    model_config = ConfigDict(json_schema_extra={
        "anyOf": [{"required": [key]} for key in ("above", "from", "up_to", "below", "is")],
        "allOf": [{"not": {"required": [first, second]}} for first, second in (
            ("above", "from"), ("up_to", "below"), ("is", "above"), ("is", "from"),
            ("is", "up_to"), ("is", "below"), ("is", "deadband"))],
    })

    above: float | None = Field(None, description="More than this.", examples=[1])
    from_: float | None = Field(None, alias="from", description="This or more.", examples=[1])
    up_to: float | None = Field(None, description="This or less.", examples=[20])
    below: float | None = Field(None, description="Less than this.", examples=[20])
    is_: Annotated[bool | str | float, BeforeValidator(_checked_state)] | None = Field(
        None, alias="is", description="The state of a discrete channel.", examples=[True])
    deadband: float = Field(
        0.0, description="How far past an edge the value must go before the condition changes, "
        "either way, in the unit of the key.", examples=[0.5], json_schema_extra={"minimum": 0})
    dwell_s: float = Field(
        0.0, description="How long the value must stay in the range before it counts [s].",
        examples=[2], json_schema_extra={"minimum": 0, "maximum": 600})

    @model_validator(mode="after")
    def _consistent(self) -> Range:
        edges = {name: value for name, value in (
            ("above", self.above), ("from", self.from_),
            ("up_to", self.up_to), ("below", self.below)) if value is not None}
        if self.is_ is not None:
            if edges:
                refuse(f'"is" and "{next(iter(edges))}" exclude each other', "keep one of them")
            if self.deadband:
                refuse("deadband is for a range, and a state has none", "take it out", "deadband")
            self._check_dwell()
            return self
        if not edges:
            refuse("the condition states no range", "write such as { above = 1, up_to = 20 }")
        for first, second in (("above", "from"), ("up_to", "below")):
            if first in edges and second in edges:
                refuse(f'"{first}" and "{second}" exclude each other', "keep one of them")
        low, low_in, high, high_in = self.edges
        if low > high or (low == high and not (low_in and high_in)):
            stated = ", ".join(f"{name} = {written(value)}" for name, value in edges.items())
            refuse(f"no value lies in the range {stated}",
                   "write the lower edge as above or from, the higher as up_to or below")
        if self.deadband < 0:
            refuse(f"deadband = {written(self.deadband)} is negative",
                   "write 0 or more", "deadband")
        if self.deadband and 2 * self.deadband >= high - low:
            refuse(f"deadband = {written(self.deadband)} takes in the whole range",
                   "write less than half the range's width", "deadband")
        self._check_dwell()
        return self

    def _check_dwell(self) -> None:
        if not 0 <= self.dwell_s <= 600:
            refuse(f"dwell_s = {written(self.dwell_s)} is outside 0 to 600",
                   "write it in seconds", "dwell_s")

    @property
    def edges(self) -> tuple[float, bool, float, bool]:
        """Low edge, whether it is inside, high edge, whether it is inside; unit of the key."""
        low = self.above if self.from_ is None else self.from_
        high = self.below if self.up_to is None else self.up_to
        return (-math.inf if low is None else low, self.from_ is not None,
                math.inf if high is None else high, self.up_to is not None)


def condition_of(key: str, stated: Range) -> Condition:
    """Convert a key of `when` and its range to a condition in SI.

    Parameters
    ----------
    key : str
        The channel and its unit, "flap_deg".
    stated : Range
        The range, in that unit.

    Returns
    -------
    Condition
        The same in SI.

    Raises
    ------
    PydanticCustomError
        For a key that is misspelt or lacks its unit, or a range that doesn't suit its channel.
    """
    channel, unit = channel_and_unit(key)
    discrete = channel in CHANNELS and CHANNELS[channel].discrete
    if stated.is_ is not None:
        if unit is not None:
            refuse(f"{key} is a quantity, and a quantity is rarely exactly one value",
                   'write a range, such as from = 19 and up_to = 21', key, "is")
        state = _state(key, stated.is_, discrete)
        return Condition(channel, state, True, state, True, stated.deadband, stated.dwell_s)
    if discrete:
        refuse(f"{key} is a state, not a quantity", f"write {key} = {{ is = true }}", key)
    low, low_included, high, high_included = stated.edges
    factor, offset = (unit.factor, unit.offset) if unit else (1.0, 0.0)
    return Condition(channel, low * factor + offset, low_included, high * factor + offset,
                     high_included, stated.deadband * factor, stated.dwell_s)


def channel_and_unit(key: str) -> tuple[str, Unit | None]:
    """Split a condition's key into its channel and the unit of its numbers.

    Returns the unit None for states and for numbers that are taken as the log holds them.
    """
    if not re.fullmatch(NAME, key):
        refuse(f'"{key}" is no name of a channel',
               "write lower-case letters, digits and single underscores, such as flap_deg", key)
    if key in CHANNELS:
        kind = CHANNELS[key]
        if kind.discrete or kind.unit.name == "1":
            return key, None
        refuse(f"{key} is given without its unit", f"write {_with_unit(key)}", key)
    base, _, suffix = key.rpartition("_")
    if not base or suffix not in SUFFIXES:
        check_spelling(key, key, with_unit=True)
        return key, None
    unit = SUFFIXES[suffix]
    if base in CHANNELS and CHANNELS[base].dimension != unit.dimension:
        refuse(f"{base} can't be measured in {unit.name}", f"write {_with_unit(base)}", key)
    check_spelling(base, key, with_unit=True)
    return base, unit


def check_spelling(channel: str, *key: str, with_unit: bool = False) -> None:
    """Refuse a probable misspelling of a known channel ("flaps"), but not "flap_left"."""
    near = nearest(channel, CHANNELS, 0.85)
    if near and channel != near and not channel.startswith(f"{near}_"):
        right = _with_unit(near) if with_unit else near
        refuse(f'there is no channel "{channel}", but one called "{near}"',
               f"write {right}, or choose a name that is less like it", *key)


def _with_unit(channel: str) -> str:
    """How a known channel is written as the key of a condition."""
    kind = CHANNELS[channel]
    if kind.discrete or kind.unit.name == "1":
        return channel
    return f"{channel}_{next(end for end, unit in SUFFIXES.items() if unit is kind.unit)}"


def _state(key: str, stated: Any, discrete: bool) -> float:
    if isinstance(stated, str):
        stated = stated.casefold()
    if stated in DISCRETE_STATES:
        return DISCRETE_STATES[stated]
    if discrete or isinstance(stated, str):
        refuse(f"{key} can't be {written(stated)}", 'write is = true or is = false', key, "is")
    return float(stated)


LONGEST_S = 120.0
"""The longest plausible transit of flaps or gear [s]."""


class ConfigurationSheet(Sheet):
    """Properties of flaps and gear in transit that are not recorded."""

    flap_transit_s: float = Field(
        10.0, description="Where only the flap lever is recorded: how long after a retraction "
        "the flaps may still be out, so that the former limit holds [s]. The default is common "
        "practice, no source.", examples=[12],
        json_schema_extra={"minimum": 0, "maximum": LONGEST_S})
    gear_transit_s: float = Field(
        15.0, description="How long the landing gear takes to extend or retract [s]. The default "
        "is common practice, no source.", examples=[12],
        json_schema_extra={"minimum": 0, "maximum": LONGEST_S})
    gear_down: Literal["lever", "locked"] = Field(
        "lever", description="What the recorded gear_down shows: the lever, so that the gear "
        "moves after it changes; or the gear locked down, so that it extends before.",
        examples=["lever"])

    @model_validator(mode="after")
    def _plausible(self) -> ConfigurationSheet:
        for name in ("flap_transit_s", "gear_transit_s"):
            value = getattr(self, name)
            if not 0 <= value <= LONGEST_S:
                refuse(f"{name} = {written(value)} is outside 0 to {LONGEST_S:g}",
                       "write it in seconds", name)
        return self
