"""When a pilot went over from airspeed to Mach number, or back, against when he did.

Run with `python -m tests.training.change_truth [flights [first]]`, 120 from 0 by default. Each
flight climbs or descends through the crossover of its briefed speeds; the first speed is held until
it is given up early, on time or late by up to 60 s, then the other speed is taken up over some
seconds, with the errors of `simulated_pilot`. It holds that

- at least 97 % of the changes are found, each with how probable it is;
- of these at least 95 % lie within 5 s or two standard uncertainties of the truth;
- a first speed that is held on to the end is called given up in at most 3 %.

On 200 flights of each from 5000 on, which had no part in choosing anything: none missed, none
invented, 95.5 % within 5 s or two standard uncertainties; the median uncertainty is 20 s, since at
.1 kt a second a wander of 1 kt hides ten seconds and more.
"""

from __future__ import annotations

import sys

import numpy as np

import loganalyze as la
from loganalyze.air.airspeed import cas_from_mach, mach_from_cas
from loganalyze.testing import make_log
from loganalyze.training import Change, Schedule, assess_lesson
from tests.training.measure_truth import SHEET
from tests.training.simulated_pilot import HZ, Pilot, recorded, wandering

FT, KT = 0.3048, 1852.0 / 3600.0
CAS_KT, MACH, FPM = 200.0, 0.42, 1500.0


def as_cas(mach: np.ndarray, altitude_ft: np.ndarray) -> np.ndarray:
    """Return the CAS [kt] of a Mach number at a pressure altitude [ft]."""
    return np.asarray(cas_from_mach(mach, altitude_ft * FT) / KT)


def as_mach(cas_kt: np.ndarray, altitude_ft: np.ndarray) -> np.ndarray:
    """Return the Mach number of a CAS [kt] at a pressure altitude [ft]."""
    return np.asarray(mach_from_cas(cas_kt * KT, altitude_ft * FT))


def change(number: int, made: bool = True) -> tuple[float, Change | None]:
    """Return by how much the change was truly late [s], and what was found."""
    rng = np.random.default_rng([number, 7])
    climbs, late = bool(number % 2), float(rng.uniform(-60, 60))
    pilot = Pilot(step=0.0, natural=0.1, damping=0.7, spread=float(rng.uniform(0.3, 2.0)),
                  wander_s=float(rng.uniform(10, 25)), offset=float(rng.uniform(-1, 1)),
                  rate_hz=float(rng.choice([8, 4, 2, 1, 0.5, 0.25])),
                  noise=float(rng.choice([0.1, 0.3, 0.6, 1.0])),
                  quantum=float(rng.choice([0, 0.25, 0.5, 1])), seed=number)
    crossover = Schedule.model_validate(
        {"lesson": "x", "climb": {"airspeed_kt": CAS_KT, "mach": MACH}}).climb.crossover_ft
    time = np.arange(640 * HZ) / HZ
    way = 1.0 if climbs else -1.0
    altitude = crossover + way * FPM / 60.0 * (time - 320.0)
    held = np.full(len(time), CAS_KT) if climbs else as_cas(
        np.full(len(time), MACH), altitude)
    taken = as_cas(np.full(len(time), MACH), altitude) if climbs else np.full(len(time), CAS_KT)
    # From the speed at which the first one was given up to the other one, in some seconds.
    given = 320.0 + late if made else 1e9
    share = np.clip(1.0 - np.exp(-np.maximum(time - given, 0.0) / 12.0), 0.0, 1.0)
    at = int(np.searchsorted(time, given))
    if made:
        kept = as_cas(np.full(len(time), as_mach(held[at : at + 1], altitude[at : at + 1])[0]),
                      altitude) if climbs else np.full(len(time), held[at])
        speed = np.where(time < given, held, kept + share * (taken - kept))
    else:
        speed = held
    speed = speed + pilot.offset + wandering(len(time), pilot, rng)
    seen_time, seen = recorded(speed, pilot, rng)
    height = np.interp(seen_time, time, altitude) + 5.0 * rng.standard_normal(len(seen_time))
    log = make_log(seen_time, calibrated_airspeed=seen, pressure_altitude=np.round(height))
    kind = "climb" if climbs else "descent"
    lesson = assess_lesson(la.assess_flight(la.analyze(log, SHEET)), Schedule.model_validate(
        {"lesson": "x", kind: {"airspeed_kt": CAS_KT, "mach": MACH}}))
    return late, lesson.changes[0] if lesson.changes else None


def main(flights: int = 120, first: int = 0) -> bool:
    """Print the shares and say whether all hold."""
    good, missed, widths, offs = [], 0, [], []
    for number in range(first, first + flights):
        late, found = change(number)
        if found is None or found.code != "made":
            missed += 1
            continue
        off = abs(found.late_s.value - late)
        good.append(off <= max(5.0, 2.0 * found.late_s.u))
        widths.append(found.late_s.u)
        offs.append(off)
    invented = sum(found is not None and found.code == "made"
                   for _, found in (change(number, made=False)
                                    for number in range(first, first + flights // 3)))
    print(f"found {np.mean(good):.1%} within 5 s or 2 u; median error {np.median(offs):.1f} s, "
          f"median u {np.median(widths):.1f} s; missed {missed / flights:.1%}; "
          f"invented {invented / (flights // 3):.1%}")
    return bool(np.mean(good) >= 0.95 and missed <= 0.03 * flights
                and invented <= 0.03 * (flights // 3))


if __name__ == "__main__":
    sys.exit(0 if main(*map(int, sys.argv[1:])) else 1)
