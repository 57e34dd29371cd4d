"""What is found and what isn't: passes over a limit of known height and length, recorded badly.

    python tests/outside/detection.py [--hours 1000] [--passes 40]

prints the detection matrix (share of passes found, by excess, duration, rate and quantum), what
becomes of gaps, spikes, frozen sensors and biases, and the false episodes in 1,000 hours flown 1
to 3 kt under a limit in turbulence. Truth is reckoned in static and impact pressure, by code that
doesn't know the engine.

Thresholds, stated before the first run:

- A pass must be found when a sample is bound to show it: with steps of dt the sample nearest the
  peak has at least e (1 - (dt/d)**2) of the excess e of a parabola over the limit for d seconds;
  it must exceed half the quantum and five standard deviations of the noise. Of these, all.
- No pass is found where there is none: fewer than 1 false episode in 1,000 hours.
- A pass that nothing recorded (in a gap, under a frozen sensor) must lie in unknown time: never a
  clean "under". A spike that no aircraft flies is no exceedance.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import loganalyze
from loganalyze import Channel, FlightLog, LimitsSheet, Source
from loganalyze.record.units import FOOT, KNOT
from loganalyze.simulate import Recorder, Truth, pressures

Floats = NDArray[np.float64]

VMO_KT, MMO = 250.0, 0.5
EXCESSES_KT = (0.5, 1.0, 2.0, 5.0, 15.0)
DURATIONS_S = (0.5, 2.0, 10.0, 60.0)
RATES_HZ = (1.0, 4.0, 8.0)
QUANTA = ((0.0625, 1.0), (0.25, 4.0), (1.0, 10.0))
"""Steps of the airspeed [kt] and the pressure altitude [ft] that go together."""
NOISE_KT, NOISE_FT = 0.1, 2.0
TRUTH_HZ = 32.0
SHEET = LimitsSheet.model_validate({
    "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": VMO_KT},
              {"name": "MMO", "quantity": "mach", "maximum": MMO}]})
FALSE_PER_1000_H = 1.0


@dataclass(frozen=True)
class Pass:
    """A parabola over the limit by `excess` [kt] at `peak` [s], for `duration` [s]."""

    peak: float
    excess: float
    duration: float

    @property
    def half(self) -> float:
        return self.duration / 2

    def touches(self, start: float, end: float, slack: float) -> bool:
        return start < self.peak + self.half + slack and end > self.peak - self.half - slack


def passes(excess: float, duration: float, number: int, rng: np.random.Generator) -> list[Pass]:
    """Passes far enough apart that each is an event of its own, at any phase of the samples."""
    wide = duration * np.sqrt((excess + 12.0) / excess) + 20.0
    return [Pass(60.0 + (i + 0.5) * wide + rng.random(), excess, duration) for i in range(number)]


def truth_of(flown: list[Pass], limit: str) -> Truth:
    """Fly the passes: 12 kt under the limit between them, in a shallow descent for MMO."""
    end = flown[-1].peak + flown[-1].half * np.sqrt(1 + 12 / flown[-1].excess) + 60.0
    time = np.arange(0.0, end, 1 / TRUTH_HZ)
    excess = np.full(len(time), -12.0)
    for one in flown:
        parabola = one.excess * (1 - ((time - one.peak) / one.half) ** 2)
        excess = np.maximum(excess, parabola)
    return flying(time, excess, limit)


def flying(time: Floats, excess_kt: Floats, limit: str) -> Truth:
    """The air that has the airspeed lie `excess_kt` [kt CAS] above one limit."""
    altitude_ft = np.full(len(time), 8000.0)
    if limit == "MMO":
        altitude_ft = 26000.0 - 2000.0 * time / time[-1]
    static = pressures.static_pressure(altitude_ft * FOOT)
    limit_kt = np.full(len(time), VMO_KT)
    if limit == "MMO":
        limit_kt = pressures.calibrated_airspeed(pressures.impact_ratio(MMO) * static) / KNOT
    nothing = np.zeros(len(time))
    return Truth(time, static, pressures.impact_pressure((limit_kt + excess_kt) * KNOT),
                 pressures.standard_temperature(altitude_ft * FOOT) + 8.0, nothing, nothing)


def recorded(rows: dict[str, Floats], rate_hz: float) -> loganalyze.Analysis:
    """Judge what a recorder wrote."""
    speed, altitude = rows["airspeed_kt"] * KNOT, rows["pressure_altitude_ft"] * FOOT
    heat = rows["outside_air_temperature_degc"] + 273.15
    channels = {"calibrated_airspeed": speed, "pressure_altitude": altitude,
                "static_air_temperature": heat}
    log = FlightLog(rows["time_s"], {name: Channel(values) for name, values in channels.items()},
                    Source(Path("made.csv")), interval_s=1 / rate_hz)
    return loganalyze.analyze(log, SHEET)


def recorder(rate_hz: float, quantum: tuple[float, float], **others: object) -> Recorder:
    return replace(Recorder(rate_hz=rate_hz, airspeed_step_kt=quantum[0],
                            altitude_step_ft=quantum[1], airspeed_noise_kt=NOISE_KT,
                            altitude_noise_ft=NOISE_FT, temperature_step_degc=0.25), **others)


def found(analysis: loganalyze.Analysis, flown: list[Pass], limit: str, slack: float) -> int:
    """How many of the passes overlap an exceedance, or a sample that was listed as suspect."""
    spans = [(e.start_s, e.end_s) for e in analysis.exceedances if e.limit == limit]
    spans += [(s.time_s, s.time_s) for s in getattr(analysis, "suspects", ()) if s.limit == limit]
    return sum(any(one.touches(*span, slack) for span in spans) for one in flown)


@dataclass(frozen=True)
class Cell:
    """One cell of the matrix; `bound` : whether a sample is bound to show each pass."""

    limit: str
    excess: float
    duration: float
    rate_hz: float
    quantum: tuple[float, float]
    flown: int
    found: int

    @property
    def bound(self) -> bool:
        shown = self.excess * (1 - (1 / (self.rate_hz * self.duration)) ** 2)
        # The altitude moves the limit too: its quantum and noise, at 4 kt in 1,000 ft.
        per_ft = 0.004 if self.limit == "MMO" else 0.0
        quantum = self.quantum[0] + per_ft * self.quantum[1]
        noise = np.hypot(NOISE_KT, per_ft * NOISE_FT)
        return self.duration >= 2 / self.rate_hz and bool(shown > quantum / 2 + 5 * noise)


def matrix(number: int, seed: int = 1) -> Iterator[Cell]:
    """Fly and judge every cell of the matrix."""
    rng = np.random.default_rng(seed)
    for limit in ("VMO", "MMO"):
        for excess in EXCESSES_KT:
            for duration in DURATIONS_S:
                flown = passes(excess, duration, number, rng)
                truth = truth_of(flown, limit)
                for rate in RATES_HZ:
                    for quantum in QUANTA:
                        rows = recorder(rate, quantum).record(truth, int(rng.integers(2**31)))
                        seen = found(recorded(rows, rate), flown, limit, 1 / rate)
                        yield Cell(limit, excess, duration, rate, quantum, number, seen)


def false_episodes(hours: float, quantum: tuple[float, float], seed: int = 2) -> int:
    """Episodes found in flights that stay 1 to 3 kt under a limit, at 4 Hz in turbulence."""
    rng = np.random.default_rng(seed)
    count, flights = 0, max(1, round(hours / 2))
    for i in range(flights):
        time = np.arange(0.0, 3600 * hours / flights, 0.25)
        gust = np.zeros(len(time))
        for frequency in np.geomspace(0.01, 1.5, 12):
            gust += np.sin(2 * np.pi * (frequency * time + rng.random())) / np.sqrt(6)
        truth = flying(time, -2.0 + np.clip(0.45 * gust, -1, 1), ("VMO", "MMO")[i % 2])
        rows = recorder(4.0, quantum).record(truth, int(rng.integers(2**31)))
        count += len({one.episode for one in recorded(rows, 4.0).exceedances})
    return count


def in_a_gap(rate_hz: float = 4.0, seed: int = 3) -> tuple[int, int]:
    """Passes that no row recorded, and how many of them lie in unknown time."""
    rng = np.random.default_rng(seed)
    flown = passes(5.0, 10.0, 20, rng)
    gaps = tuple((one.peak - 6.0, one.peak + 6.0) for one in flown)
    rows = recorder(rate_hz, QUANTA[1], gaps=gaps).record(truth_of(flown, "VMO"), seed)
    unknown = recorded(rows, rate_hz).unknown.edges
    inside = sum(bool(np.any((unknown[:, 0] <= one.peak) & (one.peak < unknown[:, 1])))
                 for one in flown)
    return len(flown), inside


def with_spikes(rate_hz: float = 4.0, seed: int = 4) -> int:
    """Exceedances in a flight 12 kt under the limit with 200 spikes no aircraft flies."""
    rng = np.random.default_rng(seed)
    time = np.arange(0, 3600.0, 1 / TRUTH_HZ)
    rows = recorder(rate_hz, QUANTA[1]).record(flying(time, np.full(len(time), -12.0), "VMO"), seed)
    hit = rng.choice(np.arange(2, len(rows["time_s"]) - 2, 5), 200, replace=False)
    rows["airspeed_kt"][hit] += rng.uniform(40, 300, 200)
    return len(recorded(rows, rate_hz).exceedances)


def frozen(rate_hz: float = 4.0, seed: int = 5) -> tuple[int, int]:
    """Passes under an airspeed that stands still in a descent; how many lie in unknown time."""
    rng = np.random.default_rng(seed)
    flown = passes(8.0, 30.0, 12, rng)
    truth = truth_of(flown, "MMO")
    rows = recorder(rate_hz, QUANTA[0]).record(truth, seed)
    for one in flown:
        hidden = np.abs(rows["time_s"] - one.peak) < 40.0
        rows["airspeed_kt"][hidden] = rows["airspeed_kt"][hidden][0]
    unknown = recorded(rows, rate_hz).unknown.edges
    inside = sum(bool(np.any((unknown[:, 0] <= one.peak) & (one.peak < unknown[:, 1])))
                 for one in flown)
    return len(flown), inside


def biased(bias_kt: float, excess: float, rate_hz: float = 4.0, seed: int = 6) -> tuple[int, int]:
    """Passes of 10 s read with a bias, and how many were found."""
    rng = np.random.default_rng(seed)
    flown = passes(excess, 10.0, 30, rng)
    rows = recorder(rate_hz, QUANTA[1]).record(truth_of(flown, "VMO"), seed)
    rows["airspeed_kt"] += bias_kt
    return len(flown), found(recorded(rows, rate_hz), flown, "VMO", 1 / rate_hz)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=1000.0)
    parser.add_argument("--passes", type=int, default=40)
    chosen = parser.parse_args()
    cells = list(matrix(chosen.passes))
    print("Share of passes found, %  (* : a sample is bound to show each)")
    heads = [f"{rate:g}Hz/{step:g}kt" for rate in RATES_HZ for step, _ in QUANTA]
    print(f"{'limit':6}{'excess':>8}{'lasting':>9}  " + "".join(f"{head:>12}" for head in heads))
    width = len(heads)
    for row in range(0, len(cells), width):
        first = cells[row]
        print(f"{first.limit:6}{first.excess:6.1f}kt{first.duration:8.1f}s  " + "".join(
            f"{100 * one.found / one.flown:11.0f}{'*' if one.bound else ' '}"
            for one in cells[row : row + width]))
    missed = [one for one in cells if one.bound and one.found < one.flown]
    print(f"bound to be found: {sum(one.bound for one in cells)} cells, "
          f"{len(missed)} with a pass missed")
    print("in a gap: {} passes, {} in unknown time".format(*in_a_gap()))
    print("under a frozen airspeed: {} passes, {} in unknown time".format(*frozen()))
    print(f"200 impossible spikes: {with_spikes()} exceedances")
    for bias in (-3.0, -1.0, 1.0, 3.0):
        for excess in (1.0, 5.0):
            flown, seen = biased(bias, excess)
            print(f"bias {bias:+.0f} kt, passes of {excess:g} kt: {seen} of {flown} found")
    for quantum in QUANTA:
        count = false_episodes(chosen.hours, quantum)
        print(f"false episodes, {chosen.hours:g} h 1 to 3 kt under, quantum {quantum[0]:g} kt: "
              f"{count} ({count * 1000 / chosen.hours:.2f} in 1,000 h; allowed fewer than "
              f"{FALSE_PER_1000_H:g})")


if __name__ == "__main__":
    main()
