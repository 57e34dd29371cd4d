"""Measures of a segment against speeds of a simulated pilot whose truth is known.

Run with `python -m tests.training.measure_truth [flights [first]]`, 400 from 0 by default. Each
flight holds one speed, changes to another and holds that for a quarter of an hour; it is recorded
at 8 to .25 Hz with noise up to 1 kt and steps up to 1 kt. The truth of every measure is taken from
the speed before recording, by definitions written anew here. It holds that

- of each measure at least 95 % lie within 5 % of the truth or within two of their standard
  uncertainties, which are those of noise alone: the sheet states no error of the airspeed system;
- over all flights no measure is off by more than 5 % on average, weighed by its size;
- the change at the crossover is found within 5 s or two standard uncertainties in at least 95 %.
"""

from __future__ import annotations

import sys
from collections import defaultdict

import numpy as np

import loganalyze as la
from loganalyze.testing import make_log
from loganalyze.training import Measured, Schedule, Segment, assess_lesson
from tests.training.simulated_pilot import HZ, Pilot, answer, recorded, wandering

BEFORE_S, AFTER_S, FIRST_KT, TOLERANCE_KT, BAND_KT, FOR_S = 120.0, 900.0, 180.0, 5.0, 5.0, 10.0
KEYS = {"longest": "seconds", "furthest": "furthest"}
SHEET = la.LimitsSheet.model_validate({
    "aircraft": "an invented twin",
    "airspeed": {"recorded": "calibrated", "static_source_corrected": True},
    "uncertainty": {"airspeed": {"limits": 1e-6}, "pressure_altitude": {"limits": 1e-6},
                    "static_source": {"limits": 1e-6}, "skew_s": 0.0, "display_quantum_kt": 1e-6,
                    "position_correction": {"limits": 1e-6}, "displayed_airspeed": {"limits": 1e-6},
                    "displayed_altitude": {"limits": 1e-6},
                    "instrument_correction": {"limits": 1e-6}},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 320}]})


def pilot_of(number: int) -> Pilot:
    """Draw a pilot and a recorder."""
    rng = np.random.default_rng([number, 1])
    return Pilot(
        step=float(rng.choice([-1, 1]) * rng.uniform(15, 40)),
        natural=float(rng.uniform(0.06, 0.2)), damping=float(rng.uniform(0.35, 0.85)),
        spread=float(rng.uniform(1.0, 4.5)), wander_s=float(rng.uniform(12, 40)),
        offset=float(rng.uniform(-3, 3)), rate_hz=float(rng.choice([8, 4, 2, 1, 0.5, 0.25])),
        noise=float(rng.choice([0.1, 0.3, 0.6, 1.0])), quantum=float(rng.choice([0, 0.25, 0.5, 1])),
        seed=number)


def flown(pilot: Pilot) -> np.ndarray:
    """Return the true speed at HZ [kt]."""
    rng = np.random.default_rng([pilot.seed, 2])
    time = np.arange(round((BEFORE_S + AFTER_S) * HZ)) / HZ
    wanted = np.where(time < BEFORE_S, FIRST_KT, FIRST_KT + pilot.step)
    error = np.where(time < BEFORE_S, 0.0, pilot.step * answer(
        time - BEFORE_S, pilot.natural, pilot.damping))
    return np.asarray(wanted + error + pilot.offset + wandering(len(time), pilot, rng))


def measured(pilot: Pilot, speed: np.ndarray) -> Segment:
    """Measure the second speed as the package does."""
    rng = np.random.default_rng([pilot.seed, 3])
    time, seen = recorded(speed, pilot, rng)
    log = make_log(time, calibrated_airspeed=seen, pressure_altitude=12000.0,
                   outside_air_temperature=-9.0, briefed_part=(time >= BEFORE_S).astype(float))
    schedule = Schedule.model_validate({
        "lesson": "simulated", "settling": {"within_kt": BAND_KT, "for_s": FOR_S},
        "tolerance": {"configuration": {"within_kt": TOLERANCE_KT}},
        "speed": [{"name": "second", "airspeed_kt": FIRST_KT + pilot.step,
                   "when": {"briefed_part": {"from": 0.5}}}]})
    flight = la.analyze(log, SHEET)
    lesson = assess_lesson(la.assess_flight(flight), schedule)
    return lesson.segments[0]


def truth(error: np.ndarray) -> dict[str, float]:
    """Return the measures of a true error from the change on, at HZ, by plain counting."""
    inside = np.abs(error) <= BAND_KT
    need = round(FOR_S * HZ)
    first = next((i for i in range(len(error) - need) if inside[i : i + need].all()), None)
    found = {}
    since = 0
    if first:
        since = first
        found["settling_s"] = first / HZ
        past = -np.sign(error[0]) * error
        near = int(np.argmax(past >= -BAND_KT))
        found["overshoot"] = max(float(past[near : 3 * near].max()), 0.0)
    kept = error[since:]
    lag = 8 * HZ
    beyond = np.abs(kept) - TOLERANCE_KT
    found |= {
        "mean": float(kept.mean()), "rms": float(np.sqrt(np.mean(kept**2))),
        "largest": float(np.abs(kept).max()), "within": float(np.mean(beyond <= 0)),
        "unsteadiness": float(np.sqrt(np.mean((kept[lag:] - kept[:-lag]) ** 2)))}
    if (beyond > 0).any():
        out = np.flatnonzero(beyond > 0)
        runs = np.split(out, np.flatnonzero((np.diff(out) > 4 * HZ)
                                            | (np.diff(np.sign(kept[out])) != 0)) + 1)
        found["longest"] = max(len(range(run[0], run[-1] + 1)) for run in runs) / HZ
        found["furthest"] = float(beyond.max())
    return found


def most(segment: Segment, what: str) -> Measured:
    """Return the greatest length or distance of the departures, sure or not; 0 without any."""
    rows = [(getattr(one, what), getattr(one, f"{what}_u")) for one in segment.departures]
    return Measured(*max(rows, default=(0.0, 0.0)))


def compared(numbers: range) -> dict[str, list[tuple[float, float, float]]]:
    """Return (truth, measured, standard uncertainty) of each measure over some flights."""
    found: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
    for number in numbers:
        pilot = pilot_of(number)
        speed = flown(pilot)
        true = truth(speed[round(BEFORE_S * HZ):] - FIRST_KT - pilot.step)
        segment = measured(pilot, speed)
        for name, value in true.items():
            told = most(segment, KEYS[name]) if name in KEYS else getattr(segment, name)
            size = abs(told.value) if name == "largest" else told.value
            found[name].append((value, size, told.u))
    return found


def shares(rows: list[tuple[float, float, float]]) -> tuple[float, float]:
    """Return the share within 5 % or two standard uncertainties, and the weighed mean error."""
    true, told, u = np.array(rows).T
    off = np.abs(told - true)
    good = (off <= 0.05 * np.abs(true)) | (off <= 2.0 * u)
    return float(good.mean()), float(np.nansum(told - true) / np.abs(true).sum())


def main(flights: int = 400, first: int = 0) -> bool:
    """Print the shares and say whether all hold."""
    fine = True
    for name, rows in compared(range(first, first + flights)).items():
        share, off = shares(rows)
        plain = np.mean([abs(told - true) <= 0.05 * abs(true) for true, told, _ in rows])
        wide = np.nanmedian([u / max(abs(true), 1e-9) for true, _, u in rows])
        fine &= share >= 0.95 and abs(off) <= 0.05
        print(f"{name:13} {len(rows):4} within {share:6.1%} (5 % alone: {plain:6.1%}), off by "
              f"{off:+6.1%} on average, median u {wide:6.1%}")
    return fine


if __name__ == "__main__":
    sys.exit(0 if main(*map(int, sys.argv[1:])) else 1)
