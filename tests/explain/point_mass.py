"""Flights of known dynamics: a point mass with thrust, drag and a pilot, past its limit and back.

Nothing of the package is used here: atmosphere, airspeeds and equations of motion are written out,
so that what is reckoned from a recording is held to something else.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp

G, R, GAMMA = 9.80665, 287.05287, 1.4
P0, T0, A0, RHO0, LAPSE = 101325.0, 288.15, 340.294, 1.225, 0.0065
KT, FT, FPM = 1852 / 3600, 0.3048, 0.3048 / 60


def standard_temperature(height):
    """[K] up to 11 km."""
    return T0 - LAPSE * height


def pressure(height):
    """[Pa] up to 11 km."""
    return P0 * (standard_temperature(height) / T0) ** (G / (LAPSE * R))


def cas_of(speed, height, temperature):
    """[m/s] by the pressure that the pitot tube feels."""
    mach2 = speed**2 / (GAMMA * R * temperature)
    impact = pressure(height) * ((1 + 0.2 * mach2) ** 3.5 - 1)
    return A0 * np.sqrt(5 * ((impact / P0 + 1) ** (1 / 3.5) - 1))


def mach_of(speed, temperature):
    """Mach number."""
    return speed / np.sqrt(GAMMA * R * temperature)


def tas_of(cas, height, temperature):
    """[m/s], from the calibrated airspeed."""
    impact = P0 * ((1 + 0.2 * (cas / A0) ** 2) ** 3.5 - 1)
    mach2 = 5 * ((impact / pressure(height) + 1) ** (1 / 3.5) - 1)
    return np.sqrt(mach2 * GAMMA * R * temperature)


@dataclass(frozen=True)
class Aircraft:
    """Invented: W/S [N/m2], drag polar, thrust over weight at full and idle, and how it falls."""

    wing_loading: float
    zero_lift: float
    induced: float
    most_thrust: float
    idle_thrust: float
    propeller: float
    """0: thrust as of a jet; 1: thrust falls with the speed as of a propeller."""
    spool_s: float


@dataclass(frozen=True)
class Pilot:
    """What is done and when. Descent rates are of pressure altitude [m/s], positive up."""

    lever: float
    descends_at: float
    descent: float
    reacts_at: float
    lever_then: float
    descent_then: float
    brake_then: float
    hand_s: float
    also_at: float = np.inf
    """Another change of the lever, that is no part of the reduction."""
    also_lever: float = 0.0
    less_from: float = np.inf
    less: float = 0.0
    """[m/s] How much less steeply is flown, from when."""


@dataclass(frozen=True)
class Day:
    """The air: warmer than standard [K], headwind rising with height [1/s]."""

    warmer: float = 0.0
    shear: float = 0.0


@dataclass(frozen=True)
class Flown:
    """A flight at 10 Hz: time [s], true CAS [kt], Mach, pressure altitude [ft], SAT [degC]."""

    time: np.ndarray
    cas_kt: np.ndarray
    mach: np.ndarray
    altitude_ft: np.ndarray
    sat_degc: np.ndarray


def fly(aircraft: Aircraft, pilot: Pilot, day: Day, height: float, cas: float,
        duration: float = 170.0) -> Flown:
    """Integrate the equations of motion: speed, height, climb, thrust lever and brake as felt."""

    def commanded(t):
        reacted = t >= pilot.reacts_at
        lever = pilot.lever_then if reacted else (
            pilot.also_lever if t >= pilot.also_at else pilot.lever)
        climb = pilot.descent_then if reacted else (
            pilot.descent if t >= pilot.descends_at else 0.0)
        if t >= pilot.less_from:
            climb = min(climb + pilot.less, max(climb, 0.0))
        return lever, climb, pilot.brake_then if reacted else 0.0

    def rates(t, state):
        speed, h, climb, lever, brake = state
        warm = standard_temperature(h) + day.warmer
        density = pressure(h) / (R * warm)
        w = climb * warm / standard_temperature(h)
        q = 0.5 * density * speed**2
        lift = aircraft.wing_loading / q
        drag = q / aircraft.wing_loading * (
            aircraft.zero_lift * (1 + brake) + aircraft.induced * lift**2)
        thrust = aircraft.idle_thrust + lever * (aircraft.most_thrust - aircraft.idle_thrust)
        thrust *= (density / RHO0) ** 0.8 * (130.0 / speed) ** aircraft.propeller
        wanted_lever, wanted_climb, wanted_brake = commanded(t)
        return [G * (thrust - drag - w / speed) + day.shear * w,
                climb, (wanted_climb - climb) / (pilot.hand_s),
                (wanted_lever - lever) / aircraft.spool_s, (wanted_brake - brake) / 1.0]

    times = np.arange(0.0, duration, 0.1)
    warm = standard_temperature(height) + day.warmer
    stops = sorted({t for t in (pilot.descends_at, pilot.reacts_at, pilot.also_at,
                                pilot.less_from) if 0 < t < duration} | {0.0, duration})
    state = [float(tas_of(cas, height, warm)), height, 0.0, pilot.lever, 0.0]
    pieces = []
    for start, stop in pairwise(stops):
        inside = times[(times >= start - 1e-9) & (times < stop - 1e-9)]
        wanted = np.append(np.clip(inside, start, stop), stop)
        found = solve_ivp(rates, (start, stop), state, t_eval=wanted, rtol=1e-8, atol=1e-6,
                          max_step=1.0)
        pieces.append(found.y[:, :-1])
        state = found.y[:, -1]
    speed, h = np.concatenate(pieces, axis=1)[:2]
    warm = standard_temperature(h) + day.warmer
    return Flown(times, cas_of(speed, h, warm) / KT, mach_of(speed, warm), h / FT, warm - 273.15)


def earlier(pilot: Pilot, seconds: float) -> Pilot:
    """Return the same pilot, reacting earlier."""
    return replace(pilot, reacts_at=pilot.reacts_at - seconds)


def less_steep(pilot: Pilot, since: float, fpm: float) -> Pilot:
    """Return the same pilot, descending less steeply from an instant on."""
    return replace(pilot, less_from=since, less=fpm * FPM)
