"""Flights whose phases are known because they are flown to a script, and the phases found again.

Run as a program (``python tests/phases/missions.py [FLIGHTS]``) it prints the confusion table.

The definitions' thresholds were settled on the flights 0 to 199. The table is that of the
flights from `START` on, which had no part in it.

Each flight is flown second by second by commands; the truth is the command's own phase, by the
taxonomy's words (power, intention), save for three heights that the definitions fix: 35 ft and
1,000 ft above the ground of the take-off, 3,000 and 50 ft above that of the landing, all on the
true height. The recording adds noise, gusts, steps, lost rows; nothing of the engine is used.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from loganalyze import (
    PHASES,
    Channel,
    FlightLog,
    LimitsSheet,
    PhaseSettings,
    Source,
    analyze,
    phases_of,
)
from loganalyze.record.channels import CHANNELS as CHANNEL_KINDS

SHEET = LimitsSheet.model_validate({
    "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
    "limit": [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 500.0}]})

CHANNELS = ("pressure_altitude", "calibrated_airspeed", "vertical_speed")
MORE = (*CHANNELS, "weight_on_wheels", "ground_speed", "heading")


START = 5000

GROUND = [PHASES.index(name) for name in ("standing", "taxi", "standing or taxi")]


@dataclass
class Kind:
    """An invented kind of aeroplane: speeds [kt], rates [ft/min], heights [ft]."""

    rotate: float
    climb_kt: float
    cruise_kt: float
    descend_kt: float
    approach_kt: float
    climb_fpm: tuple[float, float]
    descend_fpm: tuple[float, float]
    cruise_ft: tuple[float, float]
    pull_kt_s: tuple[float, float]


KINDS = (
    Kind(140, 275, 270, 280, 140, (1500, 3200), (1500, 3000), (27000, 41000), (3.0, 4.5)),
    Kind(105, 180, 215, 240, 115, (1000, 2000), (1000, 2200), (14000, 27000), (3.0, 4.5)),
    Kind(65, 95, 125, 135, 75, (500, 1000), (500, 900), (4500, 11000), (2.5, 4.0)),
)


@dataclass
class Flight:
    """A flown script, a value a second: height [ft], airspeed [kt], rate of climb [ft/min],
    heading [deg], bank [deg], wheels on the ground, phase."""

    height: list[float] = field(default_factory=list)
    airspeed: list[float] = field(default_factory=list)
    climb: list[float] = field(default_factory=list)
    heading: list[float] = field(default_factory=list)
    roll: list[float] = field(default_factory=list)
    wheels: list[float] = field(default_factory=list)
    phase: list[str] = field(default_factory=list)


class Pilot:
    """Flies a script: climbs and speeds follow the commands with a lag."""

    def __init__(self, kind: Kind, rng: np.random.Generator, ground: float) -> None:
        self.kind, self.rng = kind, rng
        self.h, self.v, self.kt = ground, 0.0, 0.0
        self.heading, self.turn, self.wheels = float(rng.uniform(0, 360)), 0.0, 1.0
        self.flight = Flight()
        self.pull = 0.8

    def second(self, phase: str, fpm: float, kt: float, pull: float | None = None) -> None:
        """Fly one second towards a rate of climb and an airspeed."""
        flight = self.flight
        flight.height.append(self.h)
        flight.airspeed.append(self.kt)
        flight.climb.append(self.v)
        flight.heading.append(self.heading)
        # A level turn: tan(bank) = rate times true airspeed over g.
        true = self.kt * (1 + 0.02 * self.h / 1000) * 1852 / 3600
        flight.roll.append(float(np.degrees(np.arctan(np.radians(self.turn) * true / 9.80665))))
        flight.wheels.append(self.wheels)
        flight.phase.append(phase)
        self.heading = (self.heading + self.turn) % 360
        rate = self.pull if pull is None else pull
        self.kt += min(max(kt - self.kt, -rate), rate)
        self.v += (fpm - self.v) / 4.0
        self.h += self.v / 60.0

    def wait(self, phase: str, seconds: float, kt: float, fpm: float = 0.0,
             pull: float | None = None) -> None:
        for _ in range(int(seconds)):
            self.second(phase, fpm, kt, pull)

    def to(self, phase: str, height: float, fpm: float, kt: float) -> None:
        """Climb or descend to a height, easing the rate off as it is reached."""
        up = height > self.h
        while (self.h < height - 40) if up else (self.h > height + 40):
            left = (height - self.h) * 6.0  # reached in ten seconds
            self.second(phase, min(max(left, -abs(fpm)), abs(fpm)), kt)

    def level(self, phase: str, seconds: float, height: float, kt: float) -> None:
        for _ in range(int(seconds)):
            self.second(phase, min(max((height - self.h) * 6.0, -300.0), 300.0), kt)

    # -- the parts of a flight ---------------------------------------------------------------

    def taxi(self, seconds: float) -> None:
        for _ in range(int(seconds)):
            self.kt = max(0.0, float(self.rng.normal(8, 4)))
            self.second("standing or taxi", 0.0, self.kt)

    def take_off(self) -> float:
        ground, kind = self.h, self.kind
        self.kt = 0.0
        pull = self.rng.uniform(*kind.pull_kt_s)
        while self.kt < kind.rotate:
            self.second("take-off", 0.0, 300.0, pull)
        fpm = self.rng.uniform(*kind.climb_fpm)
        self.wheels = 0.0
        while self.h < ground + 35:
            self.second("take-off", fpm, kind.rotate + 20)
        while self.h < ground + 1000:
            self.second("initial climb", fpm, kind.rotate + 30)
        return fpm

    def rejected(self) -> None:
        self.kt = 0.0
        pull = self.rng.uniform(*self.kind.pull_kt_s)
        top = self.rng.uniform(0.75, 0.95) * self.kind.rotate + 15
        while self.kt < top:
            self.second("take-off", 0.0, 300.0, pull)
        while self.kt > 20:
            self.second("take-off", 0.0, 0.0, 6.0)

    def level_offs(self, phase: str, target: float, fpm: float, kt: float, most: int) -> None:
        """Climb or descend to a height with level-offs of 20 s to 4.5 min on the way."""
        start = self.h
        shares = np.sort(self.rng.uniform(0.1, 0.85, int(self.rng.integers(0, most + 1))))
        for share in shares.tolist():
            height = start + share * (target - start)
            if abs(height - self.h) < 1200 or abs(target - height) < 1200:
                continue
            self.to(phase, height, fpm * self.rng.uniform(0.7, 1.1), kt)
            seconds = min(20 + self.rng.lognormal(4.2, 0.8), 270)
            self.level(phase, seconds, height, kt * self.rng.uniform(0.94, 1.0))
        self.to(phase, target, fpm * self.rng.uniform(0.7, 1.1), kt)

    def cruise(self, height: float, steps: int) -> float:
        kind, rng = self.kind, self.rng
        self.level("cruise", rng.uniform(330, 1800), height, kind.cruise_kt)
        for _ in range(steps):
            change = float(rng.choice([-4000, -2000, 2000, 4000]))
            height += change
            self.to("change of cruise level", height, rng.uniform(600, 1400), kind.cruise_kt)
            self.level("cruise", rng.uniform(330, 1200), height, kind.cruise_kt)
        return height

    def manoeuvres(self, height: float) -> None:
        """Swing up and down by 500 to 2,500 ft in 16 to 70 s each way."""
        kind, rng = self.kind, self.rng
        for i in range(2 * int(rng.integers(3, 8))):
            seconds = rng.uniform(16, 70)
            size = rng.uniform(500, min(2500, 60 * seconds))
            up = i % 2 == 0
            for j in range(int(seconds)):
                fpm = (1 if up else -1) * size / seconds * 60 * np.pi / 2
                self.second("manoeuvring", fpm * float(np.sin(np.pi * (j + 0.5) / seconds)),
                            kind.cruise_kt * (0.8 if up else 1.05), 2.5)
        self.to("change of cruise level", height, 1000, kind.cruise_kt)

    def hold(self) -> None:
        rng, height = self.rng, self.h
        kt = self.kind.descend_kt * rng.uniform(0.66, 0.82)
        for i in range(int(rng.integers(1, 3))):
            if i:
                height -= 1000
                self.to("holding", height, rng.uniform(500, 1000), kt)
            self.level("holding", rng.uniform(15, 60), height, kt)
            for _ in range(2 * int(rng.integers(1, 4))):
                # 3 deg/s or a bank of 25 deg, whichever is less (ICAO Doc 8168, from memory).
                true = kt * (1 + 0.02 * height / 1000) * 1852 / 3600
                steepest = np.degrees(9.80665 * np.tan(np.radians(25.0)) / true)
                self.turn = float(min(3.0, steepest))
                self.level("holding", 180 / self.turn, height, kt)
                self.turn = 0.0
                self.level("holding", 60, height, kt)

    def emergency(self, target: float) -> None:
        fpm, kt = self.rng.uniform(4500, 7500), self.kind.descend_kt * 1.1
        self.to("emergency descent", target, fpm, kt)
        self.level("descent", self.rng.uniform(60, 250), target, kt)

    def approach(self, ground: float, go_around: bool) -> None:
        rng, kind = self.rng, self.kind
        circuit = ground + rng.uniform(1500, 2600)
        middle = (kind.approach_kt + kind.descend_kt) / 2
        while self.h > ground + 3000:
            self.second("descent", -rng.uniform(700, 1200), middle)
        self.to("approach", circuit, 800, middle)
        self.level("approach", rng.uniform(0, 200), circuit, kind.approach_kt * 1.15)
        glide = -kind.approach_kt * 5.3
        if go_around:
            while self.h > ground + rng.uniform(150, 900):
                self.second("approach", glide, kind.approach_kt)
            self.to("approach", ground + rng.uniform(2000, 4000), kind.climb_fpm[0],
                    kind.approach_kt + 30)
            self.level("approach", rng.uniform(120, 300), self.h, middle)
            self.to("approach", circuit, 800, middle)
        while self.h > ground + 50:
            self.second("approach", glide, kind.approach_kt)
        while self.h > ground + 5:
            self.second("landing", max(glide, -(self.h - ground) * 12), kind.approach_kt - 5)
        self.h, self.v, self.wheels = ground, 0.0, 1.0
        brake = rng.uniform(3.0, 5.0)
        while self.kt > 20:
            self.second("landing", 0.0, 0.0, brake)


def fly(seed: int) -> Flight:
    """Fly one mission; the same seed gives the same flight."""
    rng = np.random.default_rng([20310503, seed])
    kind = KINDS[seed % 3]
    ground, arrival = rng.uniform(-300, 4500), rng.uniform(-300, 4500)
    if kind is KINDS[2]:
        ground, arrival = ground / 3, arrival / 3
    pilot = Pilot(kind, rng, ground)
    pilot.taxi(rng.uniform(60, 400))
    if rng.random() < 0.06:
        pilot.rejected()
        pilot.taxi(rng.uniform(120, 300))
    fpm = pilot.take_off()
    top = float(np.round(max(rng.uniform(*kind.cruise_ft), ground + 3500, arrival + 4500), -3))
    pilot.level_offs("climb", top, fpm, kind.climb_kt, 3)
    height = pilot.cruise(top, int(rng.integers(0, 4)) if kind is not KINDS[2] else 0)
    if rng.random() < 0.3:
        pilot.manoeuvres(height)
        pilot.level("cruise", rng.uniform(330, 700), height, kind.cruise_kt)
    if rng.random() < 0.2 and height > 15000:
        pilot.emergency(max(10000.0, arrival + 4500))
    platform = arrival + rng.uniform(3600, 6500)
    holding = rng.random() < 0.35 and pilot.h > platform + 3000
    down = rng.uniform(*kind.descend_fpm)
    if holding:
        stack = platform + rng.uniform(0.1, 0.5) * (pilot.h - platform)
        pilot.level_offs("descent", stack, down, kind.descend_kt, 2)
        pilot.hold()
    if pilot.h > platform + 500:
        pilot.level_offs("descent", platform, down, kind.descend_kt, 3)
    pilot.approach(arrival, rng.random() < 0.12)
    pilot.taxi(rng.uniform(90, 400))
    return pilot.flight


def _wander(rng: np.random.Generator, n: int, size: float, seconds: float) -> np.ndarray:
    """First-order noise of a standard deviation and a correlation time."""
    keep = np.exp(-1.0 / seconds)
    steps = rng.standard_normal(n) * size * np.sqrt(1 - keep**2)
    # Summed as a decaying kernel: enough of it, and no loop.
    kernel = keep ** np.arange(int(6 * seconds))
    return np.convolve(steps, kernel)[:n]


def recorded(flight: Flight, seed: int, channels: tuple[str, ...] = CHANNELS,
             rate_hz: float = 1.0, snippets: bool = True) -> tuple[FlightLog, np.ndarray]:
    """Record a flight with noise, gusts, steps and lost rows; return the log and the truth.

    With `snippets` a sixth of the flights are cut to a part between the climb and the descent.
    """
    rng = np.random.default_rng([77, seed])
    height, airspeed, climb = (np.array(values) for values in (
        flight.height, flight.airspeed, flight.climb))
    truth = np.array([PHASES.index(name) for name in flight.phase], dtype=np.uint8)
    n = len(truth)
    air = (airspeed > 45) * 1.0
    # Over a runway a gust of 10 kt moves the static pressure by 5 ft; waves are met aloft.
    low = np.isin(truth, [PHASES.index(name) for name in ("take-off", "landing")])
    height = height + air * np.where(low, 0.25, 1.0) * _wander(
        rng, n, rng.uniform(5, 35), 25) + rng.normal(0, rng.uniform(2, 14), n)
    airspeed = airspeed + air * _wander(rng, n, rng.uniform(0.5, 4), 5) + rng.normal(
        0, rng.uniform(0.2, 1.5), n)
    climb = climb + air * _wander(rng, n, 60, 8) + rng.normal(0, rng.uniform(30, 150), n)
    airspeed = np.maximum(airspeed, rng.choice([0.0, 0.0, 30.0]))
    first, stop = 0, n
    if snippets and seed % 6 == 5:
        en_route = np.flatnonzero(np.isin(truth, [PHASES.index(name) for name in (
            "climb", "cruise", "change of cruise level", "descent", "holding")]))
        first, stop = sorted(rng.choice(en_route, 2, replace=False).tolist())
        stop = max(stop, min(first + 900, en_route[-1]))
    at = np.arange(first, stop - 1, 1.0 / rate_hz)
    at = at[rng.random(len(at)) >= 0.01]
    steps = {"pressure_altitude": float(rng.choice([1, 4, 10, 32])),
             "calibrated_airspeed": float(rng.choice([0.0625, 0.25, 0.5, 1.0])),
             "vertical_speed": float(rng.choice([1, 16, 32]))}
    second = np.arange(n)
    values = {"pressure_altitude": height, "calibrated_airspeed": airspeed,
              "vertical_speed": climb, "weight_on_wheels": np.array(flight.wheels),
              # A wind of up to 30 kt; true airspeed grows by 2 per cent a thousand feet.
              "ground_speed": np.maximum(
                  np.array(flight.airspeed) * (1 + 0.02 * np.array(flight.height) / 1000)
                  + air * rng.uniform(-30, 30), 0.0),
              "heading": np.unwrap(flight.heading, period=360.0) + rng.normal(0, 0.5, n),
              "roll": np.array(flight.roll) + air * _wander(rng, n, 2, 3)}
    steps |= {"weight_on_wheels": 1.0, "ground_speed": 1.0, "heading": 0.5, "roll": 0.5}
    kept = {}
    for name in channels:
        unit = CHANNEL_KINDS[name].unit
        kept[name] = Channel(np.round(np.interp(at, second, values[name]) / steps[name])
                             * steps[name] * unit.factor + unit.offset)
    log = FlightLog(at - at[0], kept, Source(Path("mission.csv")), interval_s=1.0 / rate_hz)
    return log, truth[np.round(at).astype(int).clip(max=n - 1)]


def confusion(flights: int, channels: tuple[str, ...] = CHANNELS, rate_hz: float = 1.0,
              settings: PhaseSettings | None = None, start: int = 0,
              script: Callable[[int], Flight] = fly, snippets: bool = True) -> np.ndarray:
    """Return rows by true phase (row) and found phase (column), int64[phases, phases].

    Standing and taxi, told apart by ground speed alone, count together.
    """
    table = np.zeros((len(PHASES), len(PHASES)), dtype=np.int64)
    for seed in range(start, start + flights):
        log, truth = recorded(script(seed), seed, channels, rate_hz, snippets)
        found, _ = phases_of(analyze(log, SHEET), settings)
        found[np.isin(found, GROUND)] = GROUND[-1]
        np.add.at(table, (truth, found), 1)
    return table


def f1(table: np.ndarray) -> dict[str, float]:
    """Return the F1 of each phase that was flown."""
    hits = np.diag(table)
    flown, said = table.sum(axis=1), table.sum(axis=0)
    return {name: float(2 * hits[i] / (flown[i] + said[i]))
            for i, name in enumerate(PHASES) if flown[i]}


def printed(table: np.ndarray) -> str:
    """Return the confusion table as text: a row for each true phase, in per cent of it."""
    scores = f1(table)
    shown = [i for i in range(len(PHASES)) if table[i].any() or table[:, i].any()]
    lines = ["true \\ found, per cent".ljust(24) + "".join(f"{PHASES[i][:9]:>10}" for i in shown)
             + "         F1     hours"]
    for i in shown:
        if PHASES[i] in scores:
            total = table[i].sum()
            lines.append(PHASES[i].ljust(24) + "".join(
                f"{100 * table[i, j] / total:10.2f}" for j in shown)
                + f"{scores[PHASES[i]]:11.4f}{total / 3600:10.2f}")
    lines.append(f"macro F1 {np.mean(list(scores.values())):.4f}, least "
                 f"{min(scores.values()):.4f}")
    return "\n".join(lines)


def main() -> None:
    flights = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    for channels in (CHANNELS, CHANNELS[:2], MORE):
        print(f"{flights} flights, 1 Hz, {', '.join(channels)}")
        print(printed(confusion(flights, channels, start=START)), "\n")


if __name__ == "__main__":
    main()
