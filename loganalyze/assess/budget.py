"""The uncertainty budget of a flight: every error that is reckoned with, its size and its source.

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
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.judge.airdata import AirData
from loganalyze.record.log import FlightLog
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets import tolerances
from loganalyze.sheets.limits import LimitsSheet
from loganalyze.sheets.tolerances import GENERIC, Tolerance, UncertaintySheet

Floats = NDArray[np.float64]

AIRSPEED, STATIC, ALTITUDE, TEMPERATURE = "airspeed", "static", "altitude", "temperature"
"""What an error moves: airspeed alone, airspeed and altitude together, altitude, temperature."""

_LOG, _STATED = "the recorded values' own steps", "the limits sheet"


@dataclass(frozen=True, slots=True)
class Entry:
    """One error: its code, what it `moves`, its size, and where it counts."""

    sensor: str
    moves: str
    tolerance: Tolerance
    displayed: bool
    flown: bool
    on_indicated: bool = True
    """Whether a limit published as indicated airspeed or Mach feels it."""


@dataclass(frozen=True, slots=True)
class Budget:
    """All errors of one flight.

    ``skew_s``, ``temperature_skew_s``, ``lag_s`` : how far apart in time at most [s];
    ``quantum_kt``, ``quantum_mach`` : the display's steps; ``recorded_mach`` : the tolerance of
    a recorded Mach number where the sheet states one.
    """

    entries: tuple[Entry, ...]
    skew_s: float
    temperature_skew_s: float
    lag_s: float
    quantum_kt: float
    quantum_mach: float
    recorded_mach: Tolerance | None
    sources: tuple[tuple[str, str], ...]
    """(code, source) of the numbers that aren't entries."""

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
            if (entry.moves == moves and counted and (entry.on_indicated or not indicated)
                    and common in (None, entry.tolerance.common)):
                total = total + entry.tolerance.standard_at(reading) ** 2
        return total

    def listed(self, cas_kt: float, altitude_ft: float, sat_degc: float
               ) -> tuple[tuple[str, str, float], ...]:
        """Return (code, source, standard uncertainty in its edge unit) at one instant."""
        at = {AIRSPEED: cas_kt, STATIC: cas_kt, ALTITUDE: altitude_ft, TEMPERATURE: sat_degc}
        rows = [(entry.sensor, entry.tolerance.source,
                 float(entry.tolerance.standard_at(at[entry.moves])))
                for entry in self.entries]
        sizes = {"skew": self.skew_s / math.sqrt(3), "display_lag": self.lag_s / math.sqrt(3),
                 "display_quantum": self.quantum_kt / math.sqrt(12),
                 "display_quantum_mach": self.quantum_mach / math.sqrt(12)}
        return (*rows, *((code, source, sizes[code]) for code, source in self.sources))


def budget_of(log: FlightLog, sheet: LimitsSheet, air: AirData) -> Budget:
    """Gather a flight's errors from the limits sheet, the log and, where neither says, defaults."""
    stated = sheet.uncertainty or UncertaintySheet()

    def of(sensor: str) -> Tolerance:
        own: Tolerance | None = getattr(stated, sensor)
        return GENERIC[sensor] if own is None else own

    speed = next(name for name in (f"{sheet.airspeed.recorded}_airspeed", "calibrated_airspeed",
                                   "indicated_airspeed") if name in log)
    heat = next((name for name in ("static_air_temperature", "total_air_temperature",
                                   "outside_air_temperature") if name in log), "")
    entries = [
        Entry("airspeed_resolution", AIRSPEED,
              _steps(stated.airspeed_resolution_kt, log, speed, KNOT), True, True),
        Entry("altitude_resolution", ALTITUDE,
              _steps(stated.altitude_resolution_ft, log, "pressure_altitude", FOOT), True, True),
        Entry("displayed_airspeed", AIRSPEED, of("displayed_airspeed"), True, True),
        Entry("displayed_altitude", ALTITUDE, of("displayed_altitude"), True, True),
        Entry("airspeed", AIRSPEED, of("airspeed"), False, True),
        Entry("pressure_altitude", ALTITUDE, of("pressure_altitude"), False, True),
        Entry("static_source", STATIC, of("static_source"), False, True),
        Entry("position_correction", *_position(stated, sheet, air), False, True,
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
    lag, fine = stated.display_lag_s, stated.display_quantum_mach
    quantum = stated.display_quantum_kt
    common = "common practice, no source"
    return Budget(
        tuple(entries),
        skew_s=_skew(stated, log, "pressure_altitude"),
        temperature_skew_s=_skew(stated, log, heat),
        lag_s=tolerances.DISPLAY_LAG_S if lag is None else lag,
        quantum_kt=tolerances.DISPLAY_QUANTUM_KT if quantum is None else quantum,
        quantum_mach=tolerances.DISPLAY_QUANTUM_MACH if fine is None else fine,
        recorded_mach=stated.mach,
        sources=(
            ("skew", "one sampling interval" if stated.skew_s is None else _STATED),
            ("display_lag", common if lag is None else _STATED),
            ("display_quantum", common if quantum is None else _STATED),
            ("display_quantum_mach", common if fine is None else _STATED),
        ),
    )


def _steps(stated: float | None, log: FlightLog, channel: str, unit: float) -> Tolerance:
    """The recorder's step q as q / sqrt(12), anew at every sample (JCGM 100:2008, F.2.2.1)."""
    step, source = stated, _STATED
    if step is None:
        own = log.channels[channel].resolution / unit if channel in log else float("nan")
        step, source = (own, _LOG) if own > 0 else (0.0, "none: the recorded values show no step")
    return Tolerance(standard=step / math.sqrt(12), varies="sample", source=source)


def _skew(stated: UncertaintySheet, log: FlightLog, channel: str) -> float:
    if stated.skew_s is not None:
        return stated.skew_s
    intervals = [log.interval_s]
    if channel in log:
        intervals.append(log.channels[channel].interval_s)
    return max((one for one in intervals if one > 0), default=0.0)


def _position(
    stated: UncertaintySheet, sheet: LimitsSheet, air: AirData
) -> tuple[str, Tolerance]:
    """What the position correction's error moves, and its size."""
    corrected = air.indicated_airspeed is None or bool(air.position_tables)
    size = stated.position_correction or (
        tolerances.CORRECTED_POSITION if corrected else tolerances.UNCORRECTED_POSITION)
    # Where the altitude was corrected by its own means, this error is the airspeed's alone.
    apart = sheet.airspeed.static_source_corrected or sheet.airspeed.altimeter_table is not None
    return (AIRSPEED if apart else STATIC), size
