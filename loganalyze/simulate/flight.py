"""A flight of known truth: static and impact pressure against time.

A calibrated airspeed held is an impact pressure held; a Mach number held is a ratio of impact
to static pressure held. So the whole flight is flown in those two pressures, and what the
crew would read comes out of them at the end.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loganalyze.simulate import pressures
from loganalyze.simulate.pressures import Array

FOOT = 0.3048
KNOT = 1852.0 / 3600.0
TRUTH_HZ = 32
_SEA_LEVEL_DENSITY = pressures.SEA_LEVEL_PRESSURE / (
    pressures.GAS_CONSTANT * pressures.SEA_LEVEL_TEMPERATURE
)


@dataclass(frozen=True)
class Segment:
    """A segment of the commanded flight.

    For `seconds` [s], climb at `climb_fpm` [ft/min of true height] and seek `cas_kt` [kt CAS]
    or `mach`, whichever is slower; `flap_deg` and `gear_down` are reached at the start of the
    segment, the flap at its own rate.
    """

    seconds: float
    climb_fpm: float
    cas_kt: float
    mach: float = math.inf
    flap_deg: float = 0.0
    gear_down: bool = False


@dataclass(frozen=True)
class Weather:
    """Temperature deviation from standard [K] at sea level and per km, and the turbulence.

    `gust` is the root mean square gust along the flight path [m/s].
    """

    deviation: float = 0.0
    deviation_per_km: float = 0.0
    gust: float = 0.0


@dataclass(frozen=True, eq=False)
class Truth:
    """The true state of the air; every field float64[n].

    ``time`` [s], rising; ``static_pressure``, ``impact_pressure`` [Pa] and
    ``static_temperature`` [K], linear in time between the instants; ``flap_deg`` [deg];
    ``gear_down`` 0 or 1.
    """

    time: Array
    static_pressure: Array
    impact_pressure: Array
    static_temperature: Array
    flap_deg: Array
    gear_down: Array

    @property
    def pressure_altitude(self) -> Array:
        """Pressure altitude [m]."""
        return pressures.pressure_altitude(self.static_pressure)

    @property
    def calibrated_airspeed(self) -> Array:
        """Calibrated airspeed [m/s]."""
        return pressures.calibrated_airspeed(self.impact_pressure)

    @property
    def mach(self) -> Array:
        """Mach number."""
        return pressures.mach_of(self.impact_pressure / self.static_pressure)

    @property
    def true_airspeed(self) -> Array:
        """True airspeed [m/s]."""
        return self.mach * pressures.sound_speed(self.static_temperature)

    def at(self, time: Array) -> Truth:
        """Return the truth at other instants [s] within the flight."""
        after = np.searchsorted(self.time, time, side="right") - 1
        return Truth(
            time,
            np.interp(time, self.time, self.static_pressure),
            np.interp(time, self.time, self.impact_pressure),
            np.interp(time, self.time, self.static_temperature),
            np.interp(time, self.time, self.flap_deg),
            self.gear_down[after],
        )

    def over(self, *, cas_kt: float | None = None, mach: float | None = None) -> Array:
        """Return when a limit was exceeded, float64[k, 2] [s]: each row a start and an end.

        Exactly one of `cas_kt` [kt CAS] and `mach` is the limit. Both limits are straight
        lines in the two pressures, so that each crossing is exact. A flight that starts or
        ends above the limit has its own start or end there.
        """
        if (cas_kt is None) == (mach is None):
            raise ValueError("give a limit in CAS or in Mach, and not both")
        if cas_kt is not None:
            excess = self.impact_pressure - pressures.impact_pressure(cas_kt * KNOT)
        else:
            assert mach is not None
            excess = self.impact_pressure - pressures.impact_ratio(mach) * self.static_pressure
        above = excess > 0
        turn = np.flatnonzero(above[1:] != above[:-1])
        share = excess[turn] / (excess[turn] - excess[turn + 1])
        times = self.time[turn] + share * (self.time[turn + 1] - self.time[turn])
        first = [self.time[0]] if above[0] else []
        last = [self.time[-1]] if above[-1] else []
        return np.concatenate([first, times, last]).reshape(-1, 2)


def fly(
    segments: Sequence[Segment],
    weather: Weather,
    *,
    start_altitude_ft: float,
    start_cas_kt: float = 0.0,
    seed: int = 0,
) -> Truth:
    """Fly the segments one after the other and return the true state of the air.

    Height and speed follow the commands with a lag of some seconds, at no more than 1.3 m/s2
    faster or 1.0 m/s2 slower, as a heavy aircraft does. Static pressure follows the true
    height through the hydrostatic equation in the air as warm as it is.

    Parameters
    ----------
    start_altitude_ft : float
        Pressure altitude at the start [ft].
    start_cas_kt : float
        Calibrated airspeed at the start [kt].
    seed : int
        Of the turbulence; the same seed gives the same flight.
    """
    dt = 1.0 / TRUTH_HZ
    steps = [round(segment.seconds * TRUTH_HZ) for segment in segments]
    count = sum(steps)
    pressure, impact, temperature, flaps, gear = np.empty((5, count))

    log_p = math.log(float(pressures.static_pressure(start_altitude_ft * FOOT)))
    speed = _pressure_speed(start_cas_kt)
    climb = 0.0
    flap = segments[0].flap_deg
    i = 0
    for segment, length in zip(segments, steps, strict=True):
        wanted_climb = segment.climb_fpm * FOOT / 60
        wanted = _pressure_speed(segment.cas_kt)
        ratio = float(pressures.impact_ratio(segment.mach)) if segment.mach < math.inf else None
        for _ in range(length):
            p = math.exp(log_p)
            if i % TRUTH_HZ == 0:
                t = _air_temperature(p, weather)
            pressure[i], temperature[i] = p, t
            impact[i] = 0.5 * _SEA_LEVEL_DENSITY * speed**2
            flaps[i], gear[i] = flap, segment.gear_down
            i += 1
            target = wanted
            if ratio is not None:
                target = min(target, math.sqrt(2 * ratio * p / _SEA_LEVEL_DENSITY))
            speed += dt * min(max((target - speed) / 8.0, -1.0), 1.3)
            climb += dt * (wanted_climb - climb) / 4.0
            flap += min(max(segment.flap_deg - flap, -2.0 * dt), 2.0 * dt)
            log_p -= dt * pressures.GRAVITY / (pressures.GAS_CONSTANT * t) * climb

    time = np.arange(count, dtype=np.float64) / TRUTH_HZ
    temperature = _smooth(temperature)
    if weather.gust:
        gust = weather.gust * _turbulence(time, np.random.default_rng(seed))
        mach = pressures.mach_of(impact / pressure)
        # On the ground there is no gust to meet; it grows in with speed.
        mach += gust * np.clip(mach / 0.2, 0, 1) / pressures.sound_speed(temperature)
        impact = pressure * pressures.impact_ratio(np.maximum(mach, 0.0))
    return Truth(time, pressure, impact, temperature, flaps, gear)


def _pressure_speed(cas_kt: float) -> float:
    """The speed [m/s] whose dynamic pressure at sea-level density is the impact pressure."""
    return math.sqrt(2 * float(pressures.impact_pressure(cas_kt * KNOT)) / _SEA_LEVEL_DENSITY)


def _air_temperature(pressure: float, weather: Weather) -> float:
    height = float(pressures.pressure_altitude(pressure))
    deviation = weather.deviation + weather.deviation_per_km * height / 1000
    return float(pressures.standard_temperature(height)) + deviation


def _smooth(held: Array) -> Array:
    """Straight lines through values that were worked out once a second and held."""
    knots = np.arange(0, len(held), TRUTH_HZ)
    return np.interp(np.arange(len(held)), knots, held[knots])


def _turbulence(time: Array, rng: np.random.Generator) -> Array:
    """Gusts of unit root mean square: 80 sines whose power falls as frequency squared."""
    frequency = np.geomspace(0.01, 2.0, 80)
    power = frequency / (1 + (frequency / 0.08) ** 2)
    phase = rng.random(len(frequency)) * 2 * np.pi
    gust = np.zeros_like(time)
    for f, size, start in zip(frequency, np.sqrt(2 * power / power.sum()), phase, strict=True):
        gust += size * np.sin(2 * np.pi * f * time + start)
    return gust
