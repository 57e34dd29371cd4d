"""What would have helped, against flights of known dynamics that are flown again.

Run with `python -m tests.explain.what_if_truth [flights [first]]`, 200 from 0 by default. Each
flight is integrated from its equations of motion, recorded with noise and steps, and asked what an
earlier reduction or a lower rate of descent would have left; then it is flown again so. It holds
that

- every answer's middle is within 1 kt of the greatest excess of the flight flown again;
- at least 90 % of the answers' intervals hold it;
- at least 60 % of the questions about an earlier reduction are answered where the model holds;
- none is answered where it doesn't: no reduction, a gap, flaps that move, noise of 3 kt.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass

import numpy as np
import pandas as pd

import loganalyze as la
from loganalyze.testing import make_sheet
from tests.explain.point_mass import FPM, KT, Aircraft, Day, Flown, Pilot, earlier, fly, less_steep

LATER_THAN_S = 40.0
"""Some flights begin over their limit: which is an exceedance other than the one examined."""
SPOILT = ("no reduction", "gap", "flaps", "noise")


@dataclass(frozen=True)
class Case:
    """A flight that passes its limit, with all that it takes to fly it again."""

    aircraft: Aircraft
    pilot: Pilot
    day: Day
    height: float
    cas: float
    vmo: float
    mmo: float

    def flown(self, pilot: Pilot | None = None) -> Flown:
        """Fly it."""
        return fly(self.aircraft, pilot or self.pilot, self.day, self.height, self.cas)

    def excess(self, flown: Flown, limit: str) -> np.ndarray:
        """[kt CAS] Over one limit, at 10 Hz."""
        if limit == "VMO":
            return flown.cas_kt - self.vmo
        low, high = np.full(len(flown.time), 50.0), np.full(len(flown.time), 400.0)
        from tests.explain.point_mass import FT, mach_of, standard_temperature, tas_of

        height = flown.altitude_ft * FT
        warm = standard_temperature(height)
        for _ in range(45):
            middle = (low + high) / 2
            under = mach_of(tas_of(middle * KT, height, warm), warm) < self.mmo
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        return flown.cas_kt - low


def drawn(seed: int) -> Case:
    """Draw an aircraft, a day and a pilot; the limit is put so that it is passed."""
    rng = np.random.default_rng(seed)
    aircraft = Aircraft(
        wing_loading=rng.uniform(2000, 4500), zero_lift=rng.uniform(0.018, 0.030),
        induced=rng.uniform(0.03, 0.06), most_thrust=rng.uniform(0.22, 0.34),
        idle_thrust=rng.uniform(-0.01, 0.02), propeller=rng.choice([0.0, 1.0]),
        spool_s=rng.uniform(0.8, 3.0))
    starts = rng.uniform(10, 30)
    pilot = Pilot(
        lever=rng.uniform(0.35, 0.6), descends_at=starts, descent=-rng.uniform(1500, 3500) * FPM,
        reacts_at=starts + rng.uniform(45, 70), lever_then=rng.uniform(0, 0.15),
        descent_then=-rng.uniform(300, 1500) * FPM, brake_then=rng.choice([0.0, 0.0, 0.8]),
        hand_s=rng.uniform(1.0, 2.5))
    day = Day(rng.uniform(-15, 20), rng.normal(0, 0.0034))
    height, cas = rng.uniform(4000, 9000), rng.uniform(190, 240) * KT
    case = Case(aircraft, pilot, day, height, cas, 999.0, 9.0)
    flown = case.flown()
    by_mach = rng.random() < 0.4
    over = rng.uniform(3, 9)
    if by_mach:
        return Case(aircraft, pilot, day, height, cas, 999.0,
                    float(flown.mach.max() - over * 0.0018))
    return Case(aircraft, pilot, day, height, cas, float(flown.cas_kt.max() - over), 9.0)


def recorded(case: Case, seed: int, spoilt: str = "") -> tuple[la.FlightLog, Flown, float]:
    """Record a flight: at 1 to 4 Hz, with noise and steps; `spoilt` says what is bad about it."""
    rng = np.random.default_rng(1000 + seed)
    pilot = case.pilot
    if spoilt == "no reduction":
        pilot = earlier(pilot, -np.inf)
    flown = case.flown(pilot)
    rate = rng.choice([1, 2, 4])
    some = slice(None, None, 10 // rate if rate != 4 else 2)
    noise = 3.0 if spoilt == "noise" else rng.choice([0.0, 0.15, 0.3])
    step = rng.choice([0.1, 0.25, 0.5])
    cas = flown.cas_kt[some] + rng.normal(0, 1, len(flown.time[some])) * noise
    cas = np.round(cas / step) * step
    altitude = np.round(flown.altitude_ft[some] / 4) * 4
    sat = np.round((flown.sat_degc[some] + rng.normal(0, 0.1, len(cas))) * 4) / 4
    time = flown.time[some]
    columns = {"time_s": time, "CAS [kt]": cas, "pressure altitude [ft]": altitude,
               "SAT [degC]": sat}
    limit = "VMO" if case.vmo < 900 else "MMO"
    shown = flown.time > LATER_THAN_S
    worst = float(flown.time[shown][case.excess(flown, limit)[shown].argmax()])
    if spoilt == "flaps":
        columns["Flap [deg]"] = np.where(time > worst - 6, 10.0, 0.0)
    frame = pd.DataFrame(columns)
    if spoilt == "gap":
        frame = frame[(time < worst - 9) | (time > worst - 2)]
    return la.read_log(frame), flown, worst


def sheet_of(case: Case) -> la.LimitsSheet:
    """The limits that it passes."""
    if case.vmo < 900:
        limit = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": case.vmo}
    else:
        limit = {"name": "MMO", "quantity": "mach", "maximum": case.mmo}
    return make_sheet(limit, temperature={"outside_air": "static"})


@dataclass
class Score:
    """What came of the questions of some flights."""

    errors: list[float]
    held: list[bool]
    refused: Counter[tuple[str, str]]
    asked: Counter[str]
    details: list[tuple[int, str, float, float]]


def tried(seeds: range) -> Score:
    """Ask and fly again, a flight a seed."""
    score = Score([], [], Counter(), Counter(), [])
    for seed in seeds:
        case = drawn(seed)
        log, _, _ = recorded(case, seed)
        analysis = la.analyze(log, sheet_of(case))
        later = [i for i, one in enumerate(analysis.exceedances)
                 if one.worst_time_s > LATER_THAN_S]
        if not later:
            score.refused["-", "no exceedance"] += 1
            continue
        number = 1 + max(later, key=lambda i: analysis.exceedances[i].worst_excess_kt)
        limit = analysis.exceedances[number - 1].limit
        for one in la.what_if(analysis, number).answers:
            score.asked[one.change] += 1
            if one.refusal:
                score.refused[one.change, one.refusal] += 1
                continue
            pilot = (earlier(case.pilot, one.amount) if one.change == "earlier"
                     else less_steep(case.pilot, one.from_s, one.amount))
            again = case.flown(pilot)
            shown = again.time > LATER_THAN_S
            truth = float(case.excess(again, limit)[shown].max())
            middle = (one.low_kt + one.high_kt) / 2
            score.errors.append(middle - truth)
            score.held.append(one.low_kt <= truth <= one.high_kt)
            score.details.append((seed, one.change, one.amount, middle - truth))
    return score


def answered_though_spoilt(seeds: range, spoilt: str) -> list[tuple[int, str]]:
    """Return which flights got an answer about an earlier reduction that they can't have."""
    wrong = []
    for seed in seeds:
        case = drawn(seed)
        log, _, worst = recorded(case, seed, spoilt)
        analysis = la.analyze(log, sheet_of(case))
        for number, exceeded in enumerate(analysis.exceedances, 1):
            if abs(exceeded.worst_time_s - worst) > 30:
                continue  # Another one, far from what is spoilt.
            wrong += [(seed, f"{one.change} {one.amount:g}")
                      for one in la.what_if(analysis, number).answers
                      if not one.refusal and (one.change == "earlier" or spoilt != "no reduction")]
    return wrong


def main(flights: int, first: int = 0) -> int:
    """Print what held; 1 where something didn't."""
    score = tried(range(first, first + flights))
    errors = np.abs(score.errors)
    earlier_refused = sum(count for (change, _), count in score.refused.items()
                          if change == "earlier")
    share = 1 - earlier_refused / max(score.asked["earlier"], 1)
    print(f"{flights} flights, {len(errors)} answers: greatest error {errors.max():.2f} kt, "
          f"95 % within {np.quantile(errors, 0.95):.2f} kt, mean {np.mean(score.errors):+.2f} kt")
    print(f"intervals that hold the truth: {100 * np.mean(score.held):.1f} %")
    print(f"questions about an earlier reduction answered: {100 * share:.1f} %")
    for (change, reason), count in sorted(score.refused.items()):
        print(f"  refused, {change}: {reason}: {count}")
    for seed, change, amount, error in sorted(score.details, key=lambda one: -abs(one[3]))[:5]:
        print(f"  flight {seed}, {change} by {amount:g}: {error:+.2f} kt")
    fine = errors.max() <= 1.0 and np.mean(score.held) >= 0.9 and share >= 0.6
    for spoilt in SPOILT:
        wrong = answered_though_spoilt(range(first, first + max(flights // 5, 1)), spoilt)
        print(f"{spoilt}: {len(wrong)} answered {wrong[:5]}")
        fine = fine and not wrong
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main(*(map(int, sys.argv[1:] or ("200",)))))
