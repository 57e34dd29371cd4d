"""What an aircraft of a random flight does: stamps, height, airspeed, heading, bank, settings."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tests.regression.made_columns import (
    Column,
    between,
    noise,
    smoothed_noise,
    standard_degc,
    straight,
    tas_of,
    through,
)
from tests.regression.random_draws import Draws

KINDS = ("level", "climb", "dive", "turns", "circuits", "whole flight", "pull-ups", "level")
REACHES = ("far under", "near", "near", "barely over", "over", "far over")


@dataclass(frozen=True)
class Profile:
    """What is flown; all columns float64[n].

    ``time`` [s]; ``interval`` [s], as the log states it; ``height`` [ft]; ``speed`` [kt CAS];
    ``centre`` [kt CAS], about which the limits lie; ``degc``, the static temperature;
    ``heading``, ``bank`` [deg]; ``rate`` [ft/min]; ``on_ground``, 0 and 1.
    """

    kind: str
    time: Column
    interval: float
    height: Column
    speed: Column
    centre: float
    degc: Column
    heading: Column
    bank: Column
    rate: Column
    on_ground: Column

    @property
    def tas(self) -> Column:
        """True airspeed [kt]."""
        return tas_of(self.speed, self.height, self.degc)


def profile(seed: int) -> Profile:
    """Draw what is flown."""
    draw = Draws(seed, "profile")
    kind = draw.one_of(*KINDS)
    from_ground = kind in ("circuits", "whole flight")
    count = draw.whole(120, 400) if from_ground else draw.one_of(
        draw.whole(30, 90), draw.whole(90, 400), draw.whole(200, 400))
    interval = (draw.one_of(2.0, 4.0, 4.0, 5.0) if from_ground
                else draw.one_of(0.125, 0.25, 0.5, 1.0, 1.0, 1.0, 1.0, 2.0, 4.0))
    time = _stamps(seed, count, interval)
    end = float(time[-1])
    centre = round(draw.between(85, 160) if from_ground else draw.between(130, 330), 1)
    speed, height, on_ground = (
        _from_ground(draw, time, centre, kind) if from_ground else _aloft(draw, time, centre, kind))
    bank, heading = _turns(draw, time, kind)
    degc = standard_degc(height, draw.one_of(0.0, draw.between(-25, 25)))
    wander = draw.one_of(0.0, 0.1, 0.3, 0.8, 2.0) if end > 30 else 0.0
    if wander:
        speed = speed + wander * (smoothed_noise(count, seed, draw.between(2, 20))
                                  if draw.chance(0.5) else noise(count, seed))
    rate = np.gradient(height, time) * 60.0
    return Profile(kind, time, interval, height, np.maximum(speed, 0.0), centre, degc, heading,
                   bank, rate, on_ground)


def _stamps(seed: int, count: int, interval: float) -> Column:
    """Times [s]: even, uneven, with gaps of all sizes, with stamps close together."""
    draw = Draws(seed, "stamps")
    steps = np.full(count, interval)
    if draw.chance(0.2):
        steps *= 1.0 + draw.one_of(0.05, 0.2, 0.4) * np.clip(noise(count, seed + 1), -2, 2)
    if draw.chance(0.15):
        steps[draw.whole(1, count - 1)] *= draw.one_of(0.02, 0.3)
    for _ in range(draw.one_of(0, 0, 1, 1, 2, 5) if draw.chance(0.6) else 0):
        steps[draw.whole(1, count - 1)] *= draw.one_of(
            1.4, 1.6, 2.0, 2.6, 3.0, draw.between(3, 12), draw.between(10, 150))
    steps[0] = 0.0
    return np.asarray(np.round(np.cumsum(steps), 6))


def _offsets(draw: Draws, reach: str) -> list[float]:
    """Departures [kt] from the limits' centre, none beyond the reach and at least one at it."""
    highest = {"far under": -draw.between(15, 60), "near": -draw.between(0.1, 5),
               "barely over": draw.between(0.02, 1.2), "over": draw.between(1.2, 10),
               "far over": draw.between(10, 60)}[reach]
    made = []
    for _ in range(draw.whole(2, 9)):
        made.append(highest - draw.one_of(
            0.0, draw.between(0, 1), draw.between(0.2, 4), draw.between(3, 25),
            draw.between(20, 70)))
        if draw.chance(0.3):
            made.append(made[-1])
    made[draw.whole(0, len(made) - 1)] = highest
    return made


def _points(draw: Draws, end: float, values: list[float]) -> list[tuple[float, float]]:
    """Give values times from the start to the end, rising by uneven steps."""
    steps = [draw.between(0.2, 1.0) if draw.chance(0.8) else draw.between(0.01, 0.1)
             for _ in values]
    ends = np.cumsum(steps)
    first = draw.one_of(0.0, draw.between(0, 0.3))
    return [(end * (first + (1 - first) * float(ends[k] - ends[0])
                    / max(float(ends[-1] - ends[0]), 1e-9)), value)
            for k, value in enumerate(values)]


def _aloft(draw: Draws, time: Column, centre: float, kind: str
           ) -> tuple[Column, Column, Column]:
    end = max(float(time[-1]), 1.0)
    reach = draw.one_of(*REACHES)
    shape = through if draw.chance(0.6) else straight
    speed = centre + shape(time, *_points(draw, end, _offsets(draw, reach)))
    if draw.chance(0.2):  # a single sample
        speed[draw.whole(0, len(time) - 1)] += draw.between(0.5, 6)
    if draw.chance(0.2):
        speed = speed + draw.between(0.2, 5) * np.sin(time * draw.between(0.02, 0.9))
    base = draw.one_of(draw.between(500, 9000), draw.between(9000, 24000),
                       draw.between(22000, 38000))
    change = {"level": draw.one_of(0.0, 60.0, 300.0), "turns": draw.one_of(0.0, 900.0),
              "climb": end / 60 * draw.between(400, 4500), "pull-ups": 1500.0,
              "dive": -end / 60 * draw.between(800, 9000)}[kind]
    change = max(min(change, 41000 - base), 200 - base)
    height = through(time, (0, base), (draw.between(0.1, 0.3) * end, base),
                     (draw.between(0.7, 0.95) * end, base + change))
    if kind == "pull-ups":
        height = height + draw.between(50, 700) * np.sin(
            2 * np.pi * draw.whole(1, 4) * time / end)
    return speed, height, np.zeros(len(time))


def _from_ground(draw: Draws, time: Column, centre: float, kind: str
                 ) -> tuple[Column, Column, Column]:
    """From a stand to a stand, with touch-and-goes, go-arounds and rejected take-offs."""
    end = float(time[-1])
    field = draw.between(-200, 5000)
    legs = 1 if kind == "whole flight" else draw.whole(2, 4)
    starts = np.linspace(draw.between(0.0, 0.08), draw.between(0.88, 0.99), legs + 1) * end
    speeds, heights, ground = [(0.0, 0.0)], [(0.0, 0.0)], []
    if draw.chance(0.15):  # a rejected take-off
        speeds += [(0.35 * starts[0] + 1, 0.0), (0.6 * starts[0] + 2, draw.between(30, 90))]
    top = draw.one_of(700.0, 1000.0, 1500.0, draw.between(2000, 16000))
    for begin, stop in pairwise(starts.tolist()):
        took = float(stop - begin)
        lift, land = begin + draw.between(0.05, 0.1) * took, stop - draw.between(0.03, 0.08) * took
        peak = centre + _offsets(draw, draw.one_of(*REACHES))[0]
        middle = draw.between(0.35, 0.6) * took + begin
        low = 0.0 if draw.chance(0.75) else draw.between(10, 500)
        speeds += [(float(begin), draw.between(0, 0.75) * centre if ground else 0.0),
                   (lift, 0.72 * centre), (middle, peak),
                   (land, 0.74 * centre)]
        heights += [(lift, heights[-1][1] if ground else 0.0),
                    (lift + 0.2 * took, top), (land - 0.25 * took, top), (land, low)]
        ground.append((lift, land))
    speeds += [(float(starts[-1]) + draw.between(5, 60), draw.one_of(0.0, 12.0))]
    heights += [(float(starts[-1]) + 1, 0.0)]
    ordered = sorted({round(at, 3): value for at, value in speeds}.items())
    levels = sorted({round(at, 3): value for at, value in heights}.items())
    height = field + (through if draw.chance(0.5) else straight)(time, *levels)
    return straight(time, *ordered), height, 1.0 - between(time, *ground)


def _turns(draw: Draws, time: Column, kind: str) -> tuple[Column, Column]:
    """Bank and heading [deg]."""
    end = float(time[-1])
    turns = draw.whole(1, 6) if kind in ("turns", "circuits") else draw.one_of(0, 0, 1, 3)
    bank = np.zeros(len(time))
    for _ in range(turns):
        begin = draw.between(0, 0.9) * end
        stop = begin + draw.between(0.03, 0.3) * end
        bank += draw.one_of(-1.0, 1.0) * draw.one_of(12.0, 25.0, 32.0, 47.0, 58.0) * straight(
            time, (begin, 0), (begin + 0.15 * (stop - begin), 1), (stop, 1), (stop + 2, 0))
    bank = np.clip(bank, -75, 75)
    # rate of turn [deg/s] = g tan(bank) / V, at a typical 120 m/s
    rate = np.degrees(9.80665 * np.tan(np.radians(bank)) / 120.0)
    steps = np.diff(time, prepend=0.0)
    return bank, (draw.between(0, 360) + np.cumsum(rate * steps)) % 360.0
