"""Do true exceedances vanish? Flights of known truth in coarse steps, noise and gusts.

    python -m tests.events.vanishing [FLIGHTS]

Truth is calibrated airspeed and pressure altitude against time; the Mach number comes from them by
`loganalyze.simulate.pressures`, which shares no code with the engine. What is recorded of it is
noisy and rounded, and compared with the limits here by arithmetic of its own, sample by sample.

Pass rules, written down before the first run, of FLIGHTS (2,000) flights: level, climbing and
descending; steps of .06 to 2 kt and 4 to 100 ft; noise from a tenth of a step to three, white or
correlated, steady or growing calm or rough in the exceedance; 8 to .25 Hz; with and without
further channels that could testify wrongly.

- Hidden: let m be half a step and three standard deviations of the noise, as airspeed. No
  stretch of 10 s or more in which the aircraft was over a limit by more than m goes without an
  exceedance of that limit that overlaps it.
- Time over, as recorded: of the samples whose recorded values are over a limit for 10 s or more
  in a flight, the judgement has at least 90 % over, and over none that isn't.
- Time over, as flown: the time over of a flight's exceedances is at least 90 % of the time in
  which the aircraft was over by more than m, and at most 110 % of that in which it was over by
  more than -m, one sample's interval aside for each of the two crossings.
- No flight with a recorded sample over a limit reads "not exceeded".

Of flights near a limit in gusts of 4, 8 and 12 kt, by continuous turbulence of that root mean
square and by trains of discrete gusts of that height:

- Less than 0.5 % of the samples over a limit are screened out, of each strength and kind.
- Each of them lies in a stretch that the analysis lists as in doubt.

A sensor that truly froze, while another channel shows it, is still found: of 8 Hz to 1 Hz
recordings in which a second source or a recorded Mach number moved by 15 kt or more, 95 %.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from loganalyze import Analysis, Channel, FlightLog, LimitsSheet, Source, analyze
from loganalyze.record.units import FOOT, KNOT
from loganalyze.simulate import pressures

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

FLIGHTS = 2000
GUST_FLIGHTS = 150
FROZEN_FLIGHTS = 100
HIDDEN_S = 10.0
TIME_OVER = 0.10
GUST_SHARE = 0.005
FROZEN_SHARE = 0.95
GUSTS_KT = (4.0, 8.0, 12.0)
KINDS = ("turbulence", "discrete")
RATES_HZ = (8.0, 4.0, 2.0, 1.0, 0.5, 0.25)
STEPS_KT = (0.0625, 0.25, 0.5, 1.0, 2.0)
STEPS_FT = (4.0, 10.0, 32.0, 100.0)
VMO_KT, MMO = 300.0, 0.80
LIMITS = ("VMO", "MMO")
SHEET = LimitsSheet.model_validate({
    "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": VMO_KT},
              {"name": "MMO", "quantity": "mach", "maximum": MMO}]})
FINE_HZ = 32.0
CALM_KT, CALM_FT = 0.1, 2.0
"""An aircraft in calm air wanders by no less (standard deviation)."""
OVER = 1


def mach_of(kt: Floats, ft: Floats) -> Floats:
    return pressures.mach_of(
        pressures.impact_pressure(kt * KNOT) / pressures.static_pressure(ft * FOOT))


def kt_of(mach: Floats | float, ft: Floats) -> Floats:
    """Calibrated airspeed [kt] of a Mach number at a pressure altitude [ft]."""
    static = pressures.static_pressure(ft * FOOT)
    return pressures.calibrated_airspeed(pressures.impact_ratio(mach) * static) / KNOT


@dataclass(frozen=True, eq=False)
class Flown:
    """One flight: truth and record, float64[n] at the recorder's samples, and what it was."""

    time: Floats
    interval_s: float
    true_kt: Floats
    true_ft: Floats
    kt: Floats
    ft: Floats
    margin_kt: float
    """What steps and noise may hide of an excess."""
    limit: str
    others: dict[str, Channel] = field(default_factory=dict)
    told: str = ""

    def excess_kt(self, limit: str) -> Floats:
        """By how much the aircraft was over a limit, as calibrated airspeed [kt]."""
        return self.true_kt - (VMO_KT if limit == "VMO" else kt_of(MMO, self.true_ft))

    def recorded_over(self, limit: str) -> Mask:
        if limit == "VMO":
            return np.asarray(self.kt > VMO_KT + 1e-5)
        return np.asarray(mach_of(self.kt, self.ft) > MMO + 1e-8)

    def judged(self) -> Analysis:
        channels = {"calibrated_airspeed": Channel(self.kt * KNOT, interval_s=self.interval_s),
                    "pressure_altitude": Channel(self.ft * FOOT, interval_s=self.interval_s),
                    **self.others}
        log = FlightLog(self.time, channels, Source(Path("made.csv")), interval_s=self.interval_s)
        return analyze(log, SHEET)


def noise(size: int, interval: float, correlated_s: float, rng: np.random.Generator) -> Floats:
    """Noise of unit standard deviation, white (0) or correlated over some time [s]."""
    white = rng.standard_normal(size)
    if not correlated_s > 0:
        return white
    kept = np.exp(-interval / correlated_s)
    found = np.empty(size)
    value = rng.standard_normal()
    for i, fresh in enumerate((np.sqrt(1 - kept**2) * white).tolist()):
        value = kept * value + fresh
        found[i] = value
    return found


def stepped(values: Floats, step: float) -> Floats:
    return np.round(values / step) * step


def passing(seed: int) -> Flown:
    """A flight that stands under a limit, rises over it, stands there, and comes back."""
    rng = np.random.default_rng([seed, 1])
    limit = LIMITS[int(rng.integers(2))]
    rate = float(rng.choice(RATES_HZ))
    step_kt, step_ft = float(rng.choice(STEPS_KT)), float(rng.choice(STEPS_FT))
    share_kt, share_ft = np.exp(rng.uniform(np.log(0.1), np.log(3.0), 2))
    correlated = float(rng.choice([0.0, 0.0, 0.5, 2.0, 8.0]))
    climb_fpm = float(rng.choice([0.0, 0.0, 1.0, -1.0]) * rng.uniform(300, 4000))
    interval = 1 / rate

    # An altitude moves the Mach number, and with it the limit as airspeed: some 4 kt in 1,000 ft.
    per_ft = 0.006 if limit == "MMO" else 0.0
    sigma = float(np.hypot(share_kt * step_kt, per_ft * share_ft * step_ft))
    margin = (step_kt + per_ft * step_ft) / 2 + 3 * sigma
    beyond = rng.uniform(0.2, 6.0) if rng.random() < 0.8 else rng.uniform(-margin, 0.2)
    height = margin + beyond
    below = rng.uniform(2.0, 25.0)
    slope = rng.uniform(0.3, 2.5)
    lasting = float(np.exp(rng.uniform(np.log(12.0), np.log(150.0))))
    before, after = rng.uniform(60, 150, 2)
    rise = (below + height) / slope
    knots = np.cumsum([0, before, rise, lasting, rise, after])
    time = np.arange(0, knots[-1], interval)
    size = len(time)

    base_ft = rng.uniform(6000, 20000) if limit == "VMO" else rng.uniform(31000, 40000)
    true_ft = base_ft + climb_fpm / 60 * (time - time[-1] / 2)
    true_ft = np.clip(true_ft, *((3000, 25000) if limit == "VMO" else (30000, 43000)))
    placed = rng.random() < 0.3
    if placed and limit == "VMO":
        # Flickering at the edge of a step under the limit, and in the middle of one over it.
        below = step_kt * (np.floor(below / step_kt) + 0.5)
        height = step_kt * np.ceil(height / step_kt)
    elif placed and climb_fpm == 0:
        edge = step_ft * (np.floor(base_ft / step_ft) + 0.5)
        true_ft = np.where(time < before, edge, edge - step_ft / 2)
    limit_kt = np.full(size, VMO_KT) if limit == "VMO" else kt_of(MMO, true_ft)
    true_kt = limit_kt + np.interp(time, knots, [-below, -below, height, height, -below, -below])

    inside = (time >= knots[2]) & (time < knots[3])
    noise_kt, noise_ft = np.full(size, share_kt * step_kt), np.full(size, share_ft * step_ft)
    change = rng.random()
    if change < 0.4:
        # The air grows calm within, or without: an aircraft's own wander is left.
        calm = inside if change < 0.3 else ~inside
        noise_kt[calm] = np.minimum(noise_kt[calm], CALM_KT)
        noise_ft[calm] = np.minimum(noise_ft[calm], CALM_FT)
    kt = true_kt + noise_kt * noise(size, interval, correlated, rng)
    ft = true_ft + noise_ft * noise(size, interval, correlated, rng)
    return Flown(
        time, interval, true_kt, true_ft, stepped(kt, step_kt), stepped(ft, step_ft), margin,
        limit, further(time, true_kt, true_ft, float(noise_kt.max()), float(noise_ft.max()), rng),
        f"{rate:g} Hz, {step_kt:g} kt x {share_kt:.2g}, {step_ft:g} ft x {share_ft:.2g}, "
        f"correlated {correlated:g} s, {climb_fpm:.0f} ft/min, {limit} {height:+.1f} kt for "
        f"{lasting:.0f} s, noise change {change:.2f}")


def further(
    time: Floats, true_kt: Floats, true_ft: Floats, noise_kt: float, noise_ft: float,
    rng: np.random.Generator,
) -> dict[str, Channel]:
    """Channels that could show a movement that the judged ones don't: all of them honest.

    A second source is left out where the first one's noise alone makes the two disagree.
    """
    size, interval = len(time), float(time[1] - time[0])
    found: dict[str, Channel] = {}

    def put(name: str, values: Floats, slow: bool) -> None:
        if not slow or interval > 1:
            found[name] = Channel(values, interval_s=interval)
            return
        every = round(4.0 / interval)
        rows = np.arange(0, size, every, dtype=np.int32)
        found[name] = Channel(values[rows], rows, 4.0)

    def wanted() -> bool:
        return bool(rng.random() < 0.35)

    if wanted():
        step = float(rng.choice(STEPS_KT))
        kt = true_kt + rng.uniform(-2, 2) + rng.uniform(0.1, 1.0) * step * rng.standard_normal(size)
        if noise_kt <= 4.0:
            put("calibrated_airspeed_2", stepped(kt, step) * KNOT, False)
    if wanted():
        step = float(rng.choice([0.001, 0.002, 0.004, 0.01]))
        mach = mach_of(true_kt, true_ft) + rng.uniform(0.1, 1.0) * step * rng.standard_normal(size)
        put("mach", stepped(mach, step), bool(rng.random() < 0.3))
    if wanted():
        step = float(rng.choice(STEPS_FT))
        ft = true_ft + rng.uniform(-60, 60) + rng.uniform(0.1, 1.0) * step * rng.standard_normal(
            size)
        if noise_ft <= 100.0:
            put("pressure_altitude_2", stepped(ft, step) * FOOT, False)
    if wanted():
        wind = rng.uniform(-15, 15) / 60 * time
        put("ground_speed", np.round(true_kt * 1.4 + wind) * KNOT, False)
        put("track", np.full(size, 1.0), False)
    if wanted():
        slope = rng.uniform(-85, 85) / 60 * time
        ft = true_ft * 1.02 + slope + 5 * rng.standard_normal(size)
        put("satellite_altitude", np.round(ft) * FOOT, bool(rng.random() < 0.3))
    return found


def gusty(seed: int, gust_kt: float, kind: str) -> Flown:
    """Some minutes close under a limit, or a little over, in gusts.

    Discrete ones go on for twenty minutes, so that their number could look like a habit.
    """
    rng = np.random.default_rng([seed, 2, int(gust_kt), KINDS.index(kind)])
    limit = LIMITS[int(rng.integers(2))]
    rate = float(rng.choice(RATES_HZ))
    step_kt, step_ft = float(rng.choice(STEPS_KT)), float(rng.choice(STEPS_FT))
    share = float(np.exp(rng.uniform(np.log(0.1), np.log(1.0))))
    interval = 1 / rate
    fine = np.arange(0, 1200.0 if kind == "discrete" else 240.0 if rate >= 1 else 960.0,
                     1 / FINE_HZ)
    base_ft = rng.uniform(6000, 20000) if limit == "VMO" else rng.uniform(31000, 40000)
    true_ft = np.full(len(fine), base_ft)
    limit_kt = VMO_KT if limit == "VMO" else float(kt_of(MMO, true_ft[:1])[0])
    along = turbulence(len(fine), gust_kt, rng) if kind == "turbulence" else discrete(
        fine, gust_kt, rng)
    true_kt = limit_kt + rng.uniform(-1.0, 0.3) * gust_kt + along
    rows = np.arange(0, len(fine), round(FINE_HZ * interval))
    size = len(rows)
    kt = true_kt[rows] + share * step_kt * rng.standard_normal(size)
    ft = true_ft[rows] + share * step_ft * rng.standard_normal(size)
    return Flown(fine[rows], interval, true_kt[rows], true_ft[rows], stepped(kt, step_kt),
                 stepped(ft, step_ft), step_kt, limit, {},
                 f"{rate:g} Hz, {step_kt:g} kt x {share:.2g}, {step_ft:g} ft, {limit}")


def turbulence(size: int, gust_kt: float, rng: np.random.Generator) -> Floats:
    """Gusts along the path of one root mean square [kt]: the exponential correlation of Dryden.

    The length is 300 to 1,750 ft, flown through at 500 ft/s (MIL-F-8785C, 3.7.2 and 3.7.3).
    """
    length_s = rng.uniform(300, 1750) / 500
    return gust_kt * noise(size, 1 / FINE_HZ, length_s, rng)


def discrete(time: Floats, gust_kt: float, rng: np.random.Generator) -> Floats:
    """A train of one-minus-cosine gusts of one height [kt], 30 to 2,500 ft to the top at 500 ft/s.

    Shape and shorter lengths as of 14 CFR 25.341(a).
    """
    along = np.zeros(len(time))
    at = rng.uniform(2, 8)
    while at < time[-1]:
        half = float(np.exp(rng.uniform(np.log(30), np.log(2500)))) / 500
        near = (time >= at) & (time < at + 2 * half)
        along[near] += gust_kt / 2 * (1 - np.cos(np.pi * (time[near] - at) / half))
        at += 2 * half + rng.uniform(3, 20)
    return along


@dataclass
class Tally:
    """The results of the flights; ``wrong`` : what each rule found, with the flight's number."""

    flights: int = 0
    whole: int = 0
    """Stretches that must not be hidden."""
    hidden: list[str] = field(default_factory=list)
    as_recorded: list[str] = field(default_factory=list)
    as_flown: list[str] = field(default_factory=list)
    clean: list[str] = field(default_factory=list)
    samples_over: int = 0
    screened_over: int = 0

    @property
    def wrong(self) -> list[str]:
        return [*self.hidden, *self.as_recorded, *self.as_flown, *self.clean]


def stretches(over: Mask, time: Floats, interval: float, least: float) -> Iterator[
        tuple[float, float]]:
    """Give start and end [s] of each stretch of samples that lasts so long."""
    edges = np.flatnonzero(np.diff(over, prepend=False, append=False)).reshape(-1, 2)
    for first, stop in edges.tolist():
        if time[stop - 1] - time[first] + interval >= least:
            yield float(time[first]), float(time[stop - 1])


def check(seed: int, flown: Flown, tally: Tally) -> None:
    """Judge a flight and hold it to the rules."""
    analysis = flown.judged()
    dt, said = flown.interval_s, f"flight {seed}: {flown.told}"
    tally.flights += 1
    any_over = False
    for i, limit in enumerate(LIMITS):
        judged = analysis.columns[f"state_{i}"] == OVER
        recorded = flown.recorded_over(limit)
        lost = int((recorded & ~judged).sum())
        tally.samples_over += int(recorded.sum())
        tally.screened_over += lost
        any_over |= bool(recorded.any())
        if (judged & ~recorded).any():
            tally.as_recorded.append(f"{said}: {limit} over where it wasn't recorded so")
        if recorded.sum() * dt >= HIDDEN_S and lost > TIME_OVER * recorded.sum():
            tally.as_recorded.append(
                f"{said}: {limit} {lost} of {recorded.sum()} samples lost, {analysis.screened}")
        excess = flown.excess_kt(limit)
        found = [one for one in analysis.exceedances if one.limit == limit]
        surely = excess > flown.margin_kt
        for start, end in stretches(surely, flown.time, dt, HIDDEN_S):
            tally.whole += 1
            if not any(one.start_s <= end and one.end_s >= start for one in found):
                tally.hidden.append(f"{said}: {limit} {start:.0f} to {end:.0f} s hidden, "
                                    f"{analysis.screened}")
        over_s = sum(one.time_over_s for one in found)
        least = (1 - TIME_OVER) * surely.sum() * dt - 2 * dt
        most = (1 + TIME_OVER) * (excess > -flown.margin_kt).sum() * dt + 2 * dt
        if surely.sum() * dt >= HIDDEN_S and not least <= over_s <= most:
            tally.as_flown.append(f"{said}: {limit} over for {over_s:.1f} s, not {least:.1f} to "
                                  f"{most:.1f}, {analysis.screened}")
    if any_over and analysis.outcome == "not exceeded":
        tally.clean.append(f"{said}: reads {analysis.outcome}")


def passes(number: int, first: int = 0) -> Tally:
    """Fly, judge and check so many passes over a limit."""
    tally = Tally()
    for seed in range(first, first + number):
        check(seed, passing(seed), tally)
    return tally


def gusts(number: int, gust_kt: float, kind: str) -> Tally:
    """Fly so many flights in gusts; `wrong` names samples screened out that no suspect names."""
    tally = Tally()
    for seed in range(number):
        flown = gusty(seed, gust_kt, kind)
        analysis = flown.judged()
        tally.flights += 1
        any_over = False
        for i, limit in enumerate(LIMITS):
            recorded = flown.recorded_over(limit)
            lost = recorded & (analysis.columns[f"state_{i}"] != OVER)
            tally.samples_over += int(recorded.sum())
            tally.screened_over += int(lost.sum())
            any_over |= bool(recorded.any())
            spans = [(one.start_s, one.end_s) for one in analysis.suspects if one.limit == limit]
            for at in flown.time[lost].tolist():
                if not any(start <= at <= end for start, end in spans):
                    tally.hidden.append(f"flight {seed}: {flown.told}: {limit} at {at:.2f} s "
                                        f"screened out without a word, {analysis.screened}")
        if any_over and analysis.outcome == "not exceeded":
            tally.clean.append(f"flight {seed}: {flown.told}: reads {analysis.outcome}")
    return tally


REFERENCES = ("second source", "Mach number", "ground speed", "none, climbing in fine steps",
              "none, climbing in coarse steps")


def frozen(number: int, reference: str) -> tuple[int, int]:
    """Airspeeds that stood still for a minute while they moved by 15 to 40 kt; how many were found.

    Found means that more than half of the minute was not judged.
    """
    found = 0
    for seed in range(number):
        rng = np.random.default_rng([seed, 3])
        rate = float(rng.choice([8.0, 4.0, 2.0, 1.0]))
        time = np.arange(0, 300.0, 1 / rate)
        size = len(time)
        coarse = reference == "none, climbing in coarse steps"
        step = float(rng.choice([1.0, 2.0] if coarse else [0.0625, 0.25]
                                if reference.startswith("none") else STEPS_KT))
        by = rng.uniform(15, 40) * rng.choice([-1, 1])
        moved = by * np.clip((time - 120) / 60, 0, 1)
        if reference.startswith("none"):
            moved = np.zeros(size)
        true_kt = 260 + moved
        share = rng.uniform(1.0, 3.0)
        kt = stepped(true_kt + share * step * rng.standard_normal(size), step)
        stuck = (time >= 120) & (time < 180)
        kt[stuck] = kt[np.flatnonzero(stuck)[0]]
        true_ft = np.full(size, 12000.0)
        if reference.startswith("none"):
            true_ft = 6000 + 30 * time
        others: dict[str, Channel] = {}
        if reference == "second source":
            others["calibrated_airspeed_2"] = Channel(
                stepped(true_kt + 1.0 + step * rng.standard_normal(size), step) * KNOT)
        elif reference == "Mach number":
            fine = mach_of(true_kt, true_ft) + 0.0005 * rng.standard_normal(size)
            others["mach"] = Channel(stepped(fine, 0.001))
        elif reference == "ground speed":
            others["ground_speed"] = Channel(np.round(1.25 * true_kt) * KNOT)
            others["track"] = Channel(np.full(size, 1.0))
        ft = stepped(true_ft + 3 * rng.standard_normal(size), 4.0)
        flown = Flown(time, 1 / rate, true_kt, true_ft, kt, ft, 0.0, "VMO", others)
        unknown = flown.judged().columns["state_0"][stuck] == 2
        found += bool(unknown.mean() > 0.5)
    return found, number


def main() -> int:
    number = int(sys.argv[1]) if len(sys.argv) > 1 else FLIGHTS
    part = number / FLIGHTS
    tally = passes(number)
    for line in tally.wrong:
        print(line)
    print(f"{tally.flights} flights, {tally.whole} exceedances of {HIDDEN_S:g} s or more by more "
          f"than steps and noise: {len(tally.hidden)} hidden; time over wrong in "
          f"{len(tally.as_recorded)} as recorded and {len(tally.as_flown)} as flown; "
          f"{len(tally.clean)} called not exceeded; {tally.screened_over} of "
          f"{tally.samples_over} samples over screened out")
    wrong = len(tally.wrong)
    for kind in KINDS:
        for gust_kt in GUSTS_KT:
            found = gusts(max(round(part * GUST_FLIGHTS), 10), gust_kt, kind)
            share = found.screened_over / max(found.samples_over, 1)
            print(f"{kind} of {gust_kt:g} kt, {found.flights} flights: {found.screened_over} of "
                  f"{found.samples_over} samples over screened out ({100 * share:.2f} %), "
                  f"{len(found.hidden)} without a word")
            for line in found.wrong:
                print(line)
            wrong += len(found.wrong) + (share >= GUST_SHARE)
    for reference in REFERENCES:
        seen, of = frozen(max(round(part * FROZEN_FLIGHTS), 20), reference)
        print(f"frozen for a minute, {reference}: {seen} of {of} found")
        if reference in ("second source", "Mach number"):
            wrong += seen < FROZEN_SHARE * of
    print("passed" if not wrong else f"failed: {wrong}")
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main())
