"""Sensor tolerances of a limits sheet, and the defaults where it states none.

A tolerance stated as limits +-a with nothing more is rectangular, u = a / sqrt(3) (JCGM 100:2008,
4.3.7); with a coverage probability it is normal, u = a / k (4.3.4 to 4.3.6).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from statistics import NormalDist
from types import MappingProxyType
from typing import Any, Literal, assert_never

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import ConfigDict, Field, model_validator

from loganalyze.quantities.quantity_registry import quantity_names, quantity_of
from loganalyze.record.channels import CHANNELS
from loganalyze.sheets.sheet_tables import ALTITUDES_FT, Table, check_rising
from loganalyze.sheets.toml_models import Sheet, choice, refuse, written

SIZES = ("limits", "standard", "limits_table", "standard_table")


class Tolerance(Sheet):
    """Tolerance of a sensor: as limits of error or as a standard uncertainty."""

    model_config = ConfigDict(json_schema_extra={
        "oneOf": [{"required": [key]} for key in SIZES]})

    limits: float | None = Field(
        None, description="The reading is within this of the truth, either way, in the sensor's "
        "unit or in per cent of the reading.", examples=[3], json_schema_extra={"minimum": 0})
    standard: float | None = Field(
        None, description="The standard uncertainty, in the sensor's unit or in per cent of the "
        "reading.", examples=[1.5], json_schema_extra={"minimum": 0})
    limits_table: Table | None = Field(
        None, description="Rows of reading and limits; linear between, constant beyond.",
        examples=[[[50, 5], [100, 2]]])
    standard_table: Table | None = Field(
        None, description="Rows of reading and standard uncertainty; linear between, constant "
        "beyond.", examples=[[[50, 2.5], [100, 1]]])
    per_cent: bool = Field(
        False, description="Whether the size is in per cent of the reading.", examples=[True])
    coverage: float | None = Field(
        None, description="The probability with which the limits hold, for a normal distribution; "
        "absent: always, each value between them as likely as the other.", examples=[0.95],
        json_schema_extra={"exclusiveMinimum": 0, "exclusiveMaximum": 1})
    varies: Literal["flight", "sample"] = Field(
        "flight", description="Whether the error is common to a flight, or drawn independently "
        "at every sample.", examples=["flight"])
    source: str = Field(
        "the limits sheet", description="Where the figure comes from.", min_length=1,
        max_length=300, examples=["calibration of the air data computer"])

    @model_validator(mode="after")
    def _one_size(self) -> Tolerance:
        given = [key for key in SIZES if getattr(self, key) is not None]
        if not given:
            refuse("the tolerance has no size", "write such as limits = 3 or standard = 1.5")
        if len(given) > 1:
            refuse(f"{given[0]} and {given[1]} exclude each other", "keep one of them", given[1])
        if self.coverage is not None:
            if "standard" in given[0]:
                refuse("coverage is for limits, and a standard uncertainty has none",
                       "take it out", "coverage")
            if not 0 < self.coverage < 1:
                refuse(f"a coverage of {written(self.coverage)} isn't between 0 and 1",
                       "write it as a probability, such as coverage = 0.95", "coverage")
        sizes = [(*key, size) for *key, size in self._written_sizes(given[0])]
        for *key, size in sizes:
            if size < 0:
                refuse(f"a tolerance of {written(size)} is less than 0",
                       "write it without its sign", *key)
        return self

    def _written_sizes(self, key: str) -> list[tuple[Any, ...]]:
        value = getattr(self, key)
        if isinstance(value, float):
            return [(key, value)]
        return [(key, row, size) for row, (_, size) in enumerate(value)]

    @property
    def divisor(self) -> float:
        """Divisor that converts the stated size to a standard uncertainty."""
        if self.standard is not None or self.standard_table is not None:
            return 1.0
        if self.coverage is None:
            return math.sqrt(3.0)
        return NormalDist().inv_cdf((1.0 + self.coverage) / 2.0)

    @property
    def common(self) -> bool:
        """Whether the error is common to a flight."""
        match self.varies:
            case "flight":
                return True
            case "sample":
                return False
            case _:
                assert_never(self.varies)

    def standard_at(self, reading: ArrayLike) -> NDArray[np.float64]:
        """Return the standard uncertainty at a reading.

        Parameters
        ----------
        reading : array_like  [the sensor's edge unit]
            Any shape.

        Returns
        -------
        ndarray of float64, same shape  [the same unit]
            NaN where the reading is NaN and the tolerance depends on it.

        References
        ----------
        JCGM 100:2008, 4.3.4 to 4.3.7.
        """
        at = np.asarray(reading, dtype=np.float64)
        table = self.limits_table or self.standard_table
        if table is not None:
            rows = np.array(table)
            size = np.interp(at, rows[:, 0], rows[:, 1])
        else:
            size = np.full(at.shape, self.limits if self.standard is None else self.standard)
        if self.per_cent:
            size = size * np.abs(at) / 100.0
        return np.asarray(size / self.divisor)


def _default(source: str, **stated: Any) -> Tolerance:
    return Tolerance(source=source, **stated)


_RECORDER = "AMC to CAT.IDE.A.190, 14 CFR 121 App. B: recorder read-out against sensor input"
_COMPUTER = ("SAE AS8002A to 200 kt as quoted in an equipment manual, 1 % above by engineering "
             "judgement")
_RECORDED_3_PER_CENT = _default(
    f"{_RECORDER}; 5 % to VS0, 3 % above (VS0 taken as at most 100 kt)",
    limits_table=((99.0, 5.0), (100.0, 3.0)), per_cent=True)
_BOTH: Mapping[str, Tolerance] = MappingProxyType({
    "displayed_altitude": _default(
        "engineering judgement: 25 ft, above 10,000 ft 0.25 %",
        limits_table=((0.0, 25.0), (10000.0, 25.0), (50000.0, 125.0))),
    "temperature": _default("14 CFR 135 App. F: recorder, outside air temperature", limits=2.0),
    "static_source": _default(
        "engineering judgement: the aircraft's own static source against its type's", limits=2.0),
    "corrected_position": _default(
        "engineering judgement: what a position correction leaves", limits=1.0),
})

TYPICAL: Mapping[str, Tolerance] = MappingProxyType({
    **_BOTH,
    "displayed_airspeed": _default(
        "SAE AS417A as described in a catalogue: an output for the recorder may be off by half of "
        f"the computer's tolerance more than the display's; {_COMPUTER}; one computer taken to "
        "feed both",
        limits_table=((50.0, 2.5), (80.0, 1.5), (100.0, 1.0), (200.0, 1.0), (1000.0, 5.0))),
    "airspeed": _default(
        f"{_COMPUTER}; a digital recorder taken to add its steps alone",
        limits_table=((50.0, 5.0), (80.0, 3.0), (100.0, 2.0), (200.0, 2.0), (1000.0, 10.0))),
    "pressure_altitude": _default(
        "RVSM altimetry: mean 80 ft, mean and three standard deviations 200 ft (basic envelope); "
        "at all altitudes by engineering judgement",
        standard=math.hypot(80.0 / math.sqrt(3.0), (200.0 - 80.0) / 3.0)),
    # 30 ft per 100 kt is 3.0 to 3.4 kt at sea level from 100 to 300 kt, by dHp/dV of a static
    # source (air.sensitivity).
    "uncorrected_position": _default(
        "14 CFR 25.1325(e), from memory: the static system's 30 ft per 100 kt at sea level, as "
        "airspeed; up to VMO by engineering judgement, as no position correction is given",
        limits=3.4),
})
"""The smallest tolerances that published figures support, for sheets that state none; each with
its source.

Engineering judgement is named as such. The interval and the columns use these.
"""

WIDEST: Mapping[str, Tolerance] = MappingProxyType({
    **_BOTH,
    "displayed_airspeed": _RECORDED_3_PER_CENT,
    "airspeed": _RECORDED_3_PER_CENT,
    "pressure_altitude": _default(
        f"{_RECORDER}; 100 ft at sea level to 700 ft at 50,000 ft, linear by engineering judgement",
        limits_table=((0.0, 100.0), (50000.0, 700.0))),
    "uncorrected_position": _default(
        "14 CFR 25.1323(c): the greater of 3 % and 5 kt, as no position correction is given",
        limits_table=((0.0, 5.0), (500.0 / 3.0, 5.0), (1000.0, 30.0))),
})
"""The widest that the rules allow an approved recorder and aircraft; bounds the interval."""

SUPPOSED: Mapping[str, float] = MappingProxyType({
    "airspeed": 2.0, "displayed_airspeed": 0.5, "position_correction": 1.0, "static_source": 1.0,
    "pressure_altitude": 50.0, "displayed_altitude": 10.0, "temperature": 1.0,
})
"""Limits [edge unit] that an operator could plausibly state, to show the gain from stating them."""

DISPLAY_QUANTUM_KT = 1.0
DISPLAY_QUANTUM_MACH = 0.001
DISPLAY_LAG_S = 0.5
"""Common practice, no source."""


def _sensor(what: str, unit: str) -> Any:
    return Field(None, description=f"{what} [{unit}].", examples=[{"limits": 2}])


def _number(what: str, example: float) -> Any:
    return Field(None, description=what, examples=[example], json_schema_extra={"minimum": 0})


class AirspeedNoise(Sheet):
    """Noise of the recorded airspeed that a filter has smoothed."""

    standard: float = Field(
        description="Its standard deviation [kt]; without rounding.", examples=[0.8],
        json_schema_extra={"minimum": 0})
    correlation_s: float = Field(
        0.0, description="The time over which it is correlated [s]: it falls to 1/e within; 0: "
        "drawn independently at every sample.", examples=[5], json_schema_extra={"minimum": 0})

    @model_validator(mode="after")
    def _plausible(self) -> AirspeedNoise:
        for key in ("standard", "correlation_s"):
            value = getattr(self, key)
            if value < 0:
                refuse(f"{key} = {written(value)} is less than 0", "write it without its sign",
                       key)
        return self


class UncertaintySheet(Sheet):
    """The tolerances of the sensors, of the corrections, and of the displays that the crew saw."""

    airspeed: Tolerance | None = _sensor(
        "The recorded airspeed against the pressures at the probes", "kt")
    pressure_altitude: Tolerance | None = _sensor(
        "The recorded pressure altitude against the pressure at the static source", "ft")
    temperature: Tolerance | None = _sensor("The recorded air temperature", "degC")
    mach: Tolerance | None = _sensor(
        "The recorded Mach number, where one is recorded; it is for cross-checks only: Mach "
        "number is computed from airspeed and altitude", "1")
    static_source: Tolerance | None = _sensor(
        "This aircraft's static source against its type's, as airspeed; the altitude moves with "
        "it", "kt")
    position_correction: Tolerance | None = _sensor(
        "The position correction, or the position error where none is applied; limits published "
        "as indicated are unaffected", "kt")
    instrument_correction: Tolerance | None = _sensor("The instrument correction", "kt")
    altimeter_correction: Tolerance | None = _sensor("The altimeter correction", "ft")
    airspeed_noise: AirspeedNoise | None = Field(
        None, description="What of the recorded airspeed's scatter is noise and not gusts; "
        "absent: what changes from sample to sample, as the log shows.",
        examples=[{"standard": 0.8, "correlation_s": 5}])
    displayed_airspeed: Tolerance | None = _sensor(
        "The recorded airspeed against the displayed one, beyond the display's steps", "kt")
    displayed_altitude: Tolerance | None = _sensor(
        "The recorded pressure altitude against the one that the display uses", "ft")
    display_quantum_kt: float | None = _number(
        f"The displayed airspeed's step [kt]; absent: {DISPLAY_QUANTUM_KT:g}.", 1)
    display_quantum_mach: float | None = _number(
        f"The displayed Mach number's step; absent: {DISPLAY_QUANTUM_MACH:g}.", 0.01)
    display_lag_s: float | None = _number(
        f"The display's lag behind the recorder [s]; absent: up to {DISPLAY_LAG_S:g}.", 0.2)
    skew_s: float | None = _number(
        "How far apart in time altitude, temperature and airspeed of one row may have been "
        "taken [s]; absent: up to their sampling interval.", 0.25)
    airspeed_resolution_kt: float | None = _number(
        "The recorded airspeed's step [kt]; absent: as the log shows.", 0.25)
    altitude_resolution_ft: float | None = _number(
        "The recorded pressure altitude's step [ft]; absent: as the log shows.", 4)
    temperature_resolution_degc: float | None = _number(
        "The recorded temperature's step [degC]; absent: as the log shows.", 0.25)

    channels: dict[str, Tolerance] = Field(
        default_factory=dict, description="The tolerances of the further recorded channels that a "
        "limit takes, by channel, in the channel's unit.",
        examples=[{"load_factor": {"limits": 0.1}}])

    @model_validator(mode="after")
    def _of_limits(self) -> UncertaintySheet:
        needed = {name for quantity in map(quantity_of, quantity_names())
                  for name in quantity.channels}
        for name, tolerance in self.channels.items():
            if name not in needed:
                refuse(f'no limit takes the channel "{name}"',
                       f"write {choice(sorted(needed))}" if needed else "take it out",
                       "channels", name)
            known = CHANNELS[name]
            for size in ("limits_table", "standard_table"):
                table = getattr(tolerance, size)
                if table is not None:
                    check_rising(table, known.words, known.unit.name, known.lowest, known.highest,
                                 "channels", name, size)
        return self

    @model_validator(mode="after")
    def _plausible(self) -> UncertaintySheet:
        for key in type(self).model_fields:
            value = getattr(self, key)
            if isinstance(value, float) and value < 0:
                refuse(f"{key} = {written(value)} is less than 0", "write it without its sign",
                       key)
            if isinstance(value, Tolerance):
                for size in ("limits_table", "standard_table"):
                    table = getattr(value, size)
                    if table is not None:
                        check_rising(table, *_RANGES[key], key, size)
        return self


_SPEEDS = ("airspeed", "kt", 0.0, 2000.0)
_HEIGHTS = ("pressure altitude", "ft", *ALTITUDES_FT)
_RANGES: Mapping[str, tuple[str, str, float, float]] = MappingProxyType({
    **dict.fromkeys(("airspeed", "static_source", "position_correction", "instrument_correction",
                     "displayed_airspeed"), _SPEEDS),
    **dict.fromkeys(("pressure_altitude", "altimeter_correction", "displayed_altitude"), _HEIGHTS),
    "temperature": ("temperature", "degC", -150.0, 200.0),
    "mach": ("Mach number", "", 0.0, 5.0),
})
