"""Speeds flown by a simulated pilot of known settling, overshoot and spread of errors.

The speed answers a change of the wanted speed as a damped second-order system,

    x'' + 2 z w x' + w**2 (x - wanted) = 0,

in closed form; on top comes a first-order random process of standard deviation `spread` and
correlation time `wander_s`, passed through a lag of `LAG_S`, for an aircraft has inertia. Nothing
of the package is used here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

HZ = 16
LAG_S = 3.0


@dataclass(frozen=True)
class Pilot:
    """How a pilot changes and holds a speed [kt], and how it is recorded."""

    step: float
    natural: float
    damping: float
    spread: float
    wander_s: float
    offset: float
    rate_hz: float
    noise: float
    quantum: float
    seed: int


def answer(time: np.ndarray, natural: float, damping: float) -> np.ndarray:
    """Return the error of a unit step, from -1 to 0: the underdamped answer in closed form."""
    t = np.maximum(time, 0.0)
    turn = natural * np.sqrt(1.0 - damping**2)
    held = np.exp(-damping * natural * t)
    return np.asarray(-held * (np.cos(turn * t) + damping * natural / turn * np.sin(turn * t)))


def wandering(count: int, pilot: Pilot, rng: np.random.Generator) -> np.ndarray:
    """Return the pilot's errors about the wanted speed at HZ [kt], stationary."""
    keep, pass_on = np.exp(-1.0 / (HZ * pilot.wander_s)), 1.0 - np.exp(-1.0 / (HZ * LAG_S))
    drive = rng.standard_normal(count) * pilot.spread * np.sqrt(1.0 - keep**2)
    found = np.empty(count)
    # The stationary state of process and lag together.
    slow = pilot.spread * rng.standard_normal()
    lagged = slow * pilot.wander_s / (pilot.wander_s + LAG_S)
    for _ in range(20 * HZ):
        slow = keep * slow + pilot.spread * np.sqrt(1.0 - keep**2) * rng.standard_normal()
        lagged += pass_on * (slow - lagged)
    for i in range(count):
        slow = keep * slow + drive[i]
        lagged += pass_on * (slow - lagged)
        found[i] = lagged
    return found


def recorded(speed: np.ndarray, pilot: Pilot, rng: np.random.Generator
             ) -> tuple[np.ndarray, np.ndarray]:
    """Return time [s] and speed [kt] as recorded: fewer samples, noise, steps."""
    every = round(HZ / pilot.rate_hz)
    seen = speed[::every] + pilot.noise * rng.standard_normal(len(speed[::every]))
    if pilot.quantum:
        seen = np.round(seen / pilot.quantum) * pilot.quantum
    return np.arange(len(seen)) / pilot.rate_hz, seen
