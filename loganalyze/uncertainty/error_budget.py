"""The uncertainty budget of a flight: every error considered, its size and its source.

As displayed: the recorder's steps and skew, what recorder and display may differ by, and the
display's own steps and lag. As flown: the recorder's steps and skew and that difference again
(the recorder may be the one that is off), and further the air data's own error, the static
source's and the position correction's. The display's steps and lag are no part of what the air
did.

References
----------
.. [1] JCGM 100:2008, 4.3 (limits, steps) and clause 8 step 3 (the list of inputs).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere, sensitivity
from loganalyze.airdata.air_data import AirData
from loganalyze.record.channels import CHANNELS
from loganalyze.record.derivations import AIRSPEED as AIRSPEED_WAYS
from loganalyze.record.derivations import ALTITUDE as ALTITUDE_WAYS
from loganalyze.record.derivations import Derivation
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets import sensor_tolerances
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.sheets.sensor_tolerances import (
    TYPICAL,
    WIDEST,
    AirspeedNoise,
    Tolerance,
    UncertaintySheet,
)

Floats = NDArray[np.float64]

AIRSPEED, STATIC, ALTITUDE, TEMPERATURE = "airspeed", "static", "altitude", "temperature"
"""What an error moves: airspeed alone, airspeed and altitude together, altitude, temperature. An
error of another channel that a limit takes moves that one, by the channel's name."""

_LOG, _STATED = "the recorded values' own steps", "the limits sheet"
UNSTATED = "stated neither by the limits sheet nor by a published figure"


@dataclass(frozen=True, slots=True)
class Entry:
    """One error: its code, what it `moves`, its size, and where it counts.

    ``tolerance`` is None where neither the sheet nor a published figure states it: the whole
    uncertainty is then unknown.
    """

    sensor: str
    moves: str
    tolerance: Tolerance | None
    displayed: bool
    flown: bool
    on_indicated: bool = True
    """Whether it affects a limit published as indicated airspeed or Mach."""


@dataclass(frozen=True, slots=True)
class Budget:
    """All errors of one flight.

    ``skew_s``, ``temperature_skew_s``, ``lag_s`` : how far apart in time at most [s];
    ``quantum_kt``, ``quantum_mach`` : the display's steps; ``recorded_mach`` : the tolerance of
    a recorded Mach number and ``airspeed_noise`` : what of the airspeed's scatter is noise, where
    the sheet states them.
    """

    entries: tuple[Entry, ...]
    skew_s: float
    temperature_skew_s: float
    lag_s: float
    quantum_kt: float
    quantum_mach: float
    recorded_mach: Tolerance | None
    airspeed_noise: AirspeedNoise | None
    sources: tuple[tuple[str, str], ...]
    """(code, source) of the numbers that aren't entries."""
    stated: frozenset[str] = frozenset()
    """Codes of the tolerances that the limits sheet states."""
    own: tuple[str, ...] = ()
    """The further channels that the limits take, and errors move."""

    def states(self, code: str) -> bool:
        """Whether the limits sheet states a tolerance."""
        return code in self.stated

    def variance(
        self, moves: str, reading: Floats, *, flown: bool, common: bool | None = None,
        indicated: bool = False,
    ) -> Floats:
        """Sum the variances [edge unit squared] of what moves one input, at its readings.

        `common` picks the errors that are common to a flight (True), those drawn at every
        sample (False) or both (None); `indicated` leaves out what limits published as indicated
        don't feel.
        """
        total = np.zeros(np.shape(reading))
        for entry in self.entries:
            counted = entry.flown if flown else entry.displayed
            if entry.moves != moves or not counted or (indicated and not entry.on_indicated):
                continue
            if entry.tolerance is None:
                total = total + np.nan
            elif common in (None, entry.tolerance.common):
                total = total + entry.tolerance.standard_at(reading) ** 2
        return total

    def listed(self, at: Mapping[str, float]) -> tuple[tuple[str, str, float], ...]:
        """Return (code, source, standard uncertainty in its edge unit) at one instant.

        `at` : the reading of each input there in its edge unit, by what errors move.
        """
        rows = [(entry.sensor, UNSTATED, math.nan) if entry.tolerance is None
                else (entry.sensor, entry.tolerance.source,
                      float(entry.tolerance.standard_at(at[entry.moves])))
                for entry in self.entries]
        sizes = {"skew": self.skew_s / math.sqrt(3), "display_lag": self.lag_s / math.sqrt(3),
                 "display_quantum": self.quantum_kt / math.sqrt(12),
                 "display_quantum_mach": self.quantum_mach / math.sqrt(12),
                 "airspeed_noise": self.airspeed_noise.standard if self.airspeed_noise else 0.0}
        return (*rows, *((code, source, sizes[code]) for code, source in self.sources))


_BIN_KT = 10.0


def budget_of(
    log: FlightLog, sheet: LimitsSheet, air: AirData, generic: Mapping[str, Tolerance] = TYPICAL
) -> Budget:
    """Gather a flight's errors from the limits sheet, the log and, where neither says, `generic`.

    At the widest tolerances the recorder's reaches from the sensor to the read-out, so that what
    recorder and display differ by is a part of it and counts as displayed only.
    """
    stated = sheet.uncertainty or UncertaintySheet()

    speed_way, altitude_way = (_way(ways, sources) for ways, sources in (
        (AIRSPEED_WAYS, air.airspeed_sources), (ALTITUDE_WAYS, air.altitude_sources)))

    def of(sensor: str, known: bool = True) -> Tolerance | None:
        own: Tolerance | None = getattr(stated, sensor)
        return own or (generic[sensor] if known else None)

    speed = of("airspeed", speed_way in ("", "recorded"))
    if speed is None and speed_way == "mach" and stated.mach is not None:
        speed = _from_mach(stated.mach, air)
    heat = next((name for name in ("static_air_temperature", "total_air_temperature",
                                   "outside_air_temperature") if name in log), "")
    entries = [
        Entry("airspeed_resolution", AIRSPEED, _speed_steps(stated, log, air, speed_way), True,
              True),
        Entry("altitude_resolution", ALTITUDE,
              _altitude_steps(stated, log, air, altitude_way), True, True),
        Entry("displayed_airspeed", AIRSPEED, of("displayed_airspeed"), True,
              stated.displayed_airspeed is not None or generic is not WIDEST),
        Entry("displayed_altitude", ALTITUDE, of("displayed_altitude"), True, True),
        Entry("airspeed", AIRSPEED, speed, False, True),
        Entry("pressure_altitude", ALTITUDE,
              of("pressure_altitude", altitude_way != "pressures"), False, True),
        Entry("static_source", STATIC, of("static_source"), False, True),
        Entry("position_correction", *_position(stated, sheet, air, generic), False, True,
              on_indicated=False),
    ]
    if stated.instrument_correction is not None:
        entries.append(Entry("instrument_correction", AIRSPEED, stated.instrument_correction,
                             False, True))
    if stated.altimeter_correction is not None:
        entries.append(Entry("altimeter_correction", ALTITUDE, stated.altimeter_correction,
                             False, True, on_indicated=False))
    if heat and air.temperature is not None:
        entries += [
            Entry("temperature_resolution", TEMPERATURE,
                  _steps(stated.temperature_resolution_degc, log, heat, 1.0), True, True),
            Entry("temperature", TEMPERATURE, of("temperature"), False, True),
        ]
    if not air.has_altitude:
        entries = [entry for entry in entries if entry.moves != ALTITUDE]
    own = tuple(air.others)
    entries += [entry for name in own for entry in _own(name, stated, sheet, log, generic)]
    lag, fine = stated.display_lag_s, stated.display_quantum_mach
    quantum = stated.display_quantum_kt
    common = "common practice, no source"
    return Budget(
        tuple(entries),
        skew_s=_skew(stated, log, "pressure_altitude"),
        temperature_skew_s=_skew(stated, log, heat),
        lag_s=sensor_tolerances.DISPLAY_LAG_S if lag is None else lag,
        quantum_kt=sensor_tolerances.DISPLAY_QUANTUM_KT if quantum is None else quantum,
        quantum_mach=sensor_tolerances.DISPLAY_QUANTUM_MACH if fine is None else fine,
        recorded_mach=stated.mach,
        airspeed_noise=stated.airspeed_noise,
        sources=(
            ("skew", "one sampling interval" if stated.skew_s is None else _STATED),
            ("display_lag", common if lag is None else _STATED),
            ("display_quantum", common if quantum is None else _STATED),
            *((("display_quantum_mach", common if fine is None else _STATED),)
              if air.has_altitude else ()),
            *((("airspeed_noise", _STATED),) if stated.airspeed_noise is not None else ()),
        ),
        stated=frozenset((*stated.channels, *(
            key for key in type(stated).model_fields if getattr(stated, key) is not None))),
        own=own,
    )


def _own(name: str, stated: UncertaintySheet, sheet: LimitsSheet, log: FlightLog,
         generic: Mapping[str, Tolerance]) -> tuple[Entry, Entry]:
    """Return the errors of a channel that limits take besides the air data."""
    unit = CHANNELS[name].unit
    size = stated.channels.get(name)
    for kind in (limit.kind for limit in sheet.limit):
        errors = kind.widest_errors if generic is WIDEST else kind.typical_errors
        if size is None and name in errors:
            limits, source = errors[name]
            size = Tolerance(limits=limits, source=source)
    return (Entry(f"{name}_resolution", name, _steps(None, log, name, unit.factor), True, True),
            Entry(name, name, size, True, True))


def _steps(stated: float | None, log: FlightLog, channel: str, unit: float) -> Tolerance:
    """Standard uncertainty q / sqrt(12) of a step q, new at every sample (JCGM 100, F.2.2.1)."""
    step, source = stated, _STATED
    if step is None:
        own = log.channels[channel].resolution / unit if channel in log else float("nan")
        step, source = (own, _LOG) if own > 0 else (0.0, "none: the recorded values show no step")
    return Tolerance(standard=step / math.sqrt(12), varies="sample", source=source)


def _way(ways: Sequence[Derivation], sources: tuple[str, ...]) -> str:
    """Return the kind of derivation that gave a quantity, empty where none did."""
    return next((way.kind for way in ways if sources[: len(way.channels)] == way.channels), "")


def _speed_steps(
    stated: UncertaintySheet, log: FlightLog, air: AirData, way: str
) -> Tolerance:
    """Return the airspeed's quantization step, from what the airspeed was derived from."""
    if stated.airspeed_resolution_kt is not None or way in ("", "recorded"):
        channel = air.airspeed_sources[0] if air.airspeed_sources else ""
        return _steps(stated.airspeed_resolution_kt, log, channel, KNOT)
    if way == "mach":
        step = log.channels["mach"].resolution
        return _from_mach(Tolerance(standard=_or_zero(step) / math.sqrt(12), varies="sample",
                                    source=_LOG), air)
    pressure = math.hypot(*(_or_zero(log.channels[name].resolution)
                            for name in air.airspeed_sources))
    speed = np.arange(20.0, 661.0, 20.0)
    # d(q_c)/dV at sea level, where calibrated airspeed is defined.
    slope = (sensitivity.impact_ratio_slope(speed * KNOT / atmosphere.A0)
             * atmosphere.P0 / atmosphere.A0 * KNOT)
    return _table(speed, pressure / math.sqrt(12) / slope, "sample", _LOG)


def _altitude_steps(
    stated: UncertaintySheet, log: FlightLog, air: AirData, way: str
) -> Tolerance:
    """Return the altitude's quantization step, from what the altitude was derived from."""
    if stated.altitude_resolution_ft is not None or way != "pressures":
        channel = air.altitude_sources[0] if air.altitude_sources else ""
        return _steps(stated.altitude_resolution_ft, log, channel, FOOT)
    pressure = math.hypot(*(_or_zero(log.channels[name].resolution)
                            for name in air.altitude_sources))
    height = np.arange(-2000.0, 60001.0, 2000.0)
    # The hydrostatic equation: dp = -p g0 / (R T) dH.
    slope = (atmosphere.P0 * atmosphere.pressure_ratio(height * FOOT)
             * sensitivity.relative_pressure_lapse(height * FOOT) * FOOT)
    return _table(height, pressure / math.sqrt(12) / slope, "sample", _LOG)


def _from_mach(tolerance: Tolerance, air: AirData) -> Tolerance:
    """Return a tolerance of the Mach number as one of the airspeed [kt], by airspeed.

    At each airspeed the greatest dV/dM at which it was flown: that of the lowest altitude.
    """
    speed, height = air.calibrated_airspeed, air.pressure_altitude
    known = np.flatnonzero(~np.isnan(speed + height) & (speed > 20 * KNOT))
    if not len(known):
        return _table(np.array([0.0, 1.0]), np.zeros(2), tolerance.varies, tolerance.source)
    per_knot = sensitivity.mach_by_cas(speed[known], height[known]) * KNOT
    mach = airspeed.mach_from_cas(speed[known], height[known])
    size = tolerance.standard_at(mach) / per_knot
    bins = (speed[known] / KNOT / _BIN_KT).astype(np.intp)
    there = np.unique(bins)
    middle = np.asarray((there + 0.5) * _BIN_KT, dtype=np.float64)
    return _table(middle, np.array([size[bins == number].max() for number in there]),
                  tolerance.varies, tolerance.source)


def _table(reading: Floats, standard: Floats, varies: Literal["flight", "sample"], source: str
           ) -> Tolerance:
    rows = tuple((float(at), float(size)) for at, size in zip(reading, standard, strict=True))
    return Tolerance(standard_table=rows, varies=varies, source=source)


def _or_zero(step: float) -> float:
    return step if step > 0 else 0.0


def _skew(stated: UncertaintySheet, log: FlightLog, channel: str) -> float:
    if stated.skew_s is not None:
        return stated.skew_s
    intervals = [log.interval_s]
    if channel in log:
        intervals.append(log.channels[channel].interval_s)
    return max((interval for interval in intervals if interval > 0), default=0.0)


def _position(
    stated: UncertaintySheet, sheet: LimitsSheet, air: AirData, generic: Mapping[str, Tolerance]
) -> tuple[str, Tolerance]:
    """What the position correction's error moves, and its size."""
    corrected = air.indicated_airspeed is None or bool(air.position_tables)
    size = stated.position_correction or generic[
        "corrected_position" if corrected else "uncorrected_position"]
    # Where the altitude was corrected by its own means, this error is the airspeed's alone.
    apart = sheet.airspeed.static_source_corrected or sheet.airspeed.altimeter_table is not None
    return (AIRSPEED if apart else STATIC), size
