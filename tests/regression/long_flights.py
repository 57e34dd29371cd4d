"""Long flights of many phases, each assessed with every threshold moved both ways."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.regression.kept_results import Flight
from tests.regression.made_columns import Column, between, noise, stamps, straight
from tests.regression.phase_flights import flown


def _transport(**more: bool) -> tuple[Column, Column, Column, dict[str, Column]]:
    """Stand to stand: a pause in the climb, two cruise levels, a stack, a go-around."""
    time = stamps(4300, 2.0)
    height = 640 + straight(
        time, (130, 0), (170, 1100), (420, 9000), (446, 9000), (900, 21000), (1240, 21000),
        (1300, 23000), (1720, 23000), (2080, 11000), (2110, 11000), (2200, 8000), (2500, 8000),
        (2590, 6500), (2850, 6500), (3060, 2600), (3240, 60), (3252, 60), (3330, 1800),
        (3560, 2000), (3900, 40), (3908, 20), (3914, 0))
    speed = straight(
        time, (96, 0), (130, 112), (170, 150), (300, 205), (900, 225), (1720, 228), (2080, 240),
        (2180, 240), (2240, 203), (2850, 200), (3060, 160), (3240, 112), (3330, 140), (3560, 135),
        (3900, 108), (3914, 101), (3950, 12), (3970, 0))
    airborne = between(time, (131, 3915))
    banked = between(time, *((k, k + 60) for k in (2240, 2360, 2480, 2640, 2760)))
    heading = (40 + np.cumsum(3.1 * banked + 0.7 * between(time, (3340, 3480))) * 2.0) % 360
    channels: dict[str, Column] = {
        "heading": heading, "roll": 24.0 * banked + 2.0 * noise(len(time), 121),
        "weight_on_wheels": 1.0 - airborne,
        "ground_speed": np.where(airborne > 0, speed * 1.2, np.where(
            (time < 40) | (time > 4060) | ((time > 4000) & (time < 4012)), 0.6, 14.0)),
        "gear_down": 1.0 - between(time, (142, 3080), (3262, 3620)),
        "flap": 15 * (1.0 - between(time, (164, 3040))) + 15 * between(time, (3150, 3990)),
        "vertical_speed": np.gradient(height, time) * 60}
    return time, height, speed, {name: channels[name] for name, kept in more.items() if kept}


def _training(**more: bool) -> tuple[Column, Column, Column, dict[str, Column]]:
    """Stand to stand: steep turns, a stall, reversals, banks, two circuits."""
    time = stamps(3300, 1.0)
    height = 880 + straight(
        time, (90, 0), (160, 1250), (420, 6100), (700, 6100), (962, 6100), (970, 6070),
        (984, 5780), (1030, 6100), (1330, 6100), (1390, 6750), (1400, 6750), (1460, 6080),
        (1468, 6080), (1530, 6720), (1540, 6720), (1602, 6100), (1980, 6100), (2200, 1050),
        (2280, 990), (2372, 30), (2378, 10), (2380, 0), (2384, 0), (2390, 40), (2460, 1000),
        (2640, 1020), (2760, 0), (2766, 0), (2850, 980), (3010, 1000), (3100, 30), (3108, 0))
    speed = straight(
        time, (66, 0), (90, 71), (130, 92), (420, 104), (700, 132), (880, 132), (962, 78),
        (968, 80), (990, 108), (1100, 130), (1980, 128), (2200, 96), (2372, 78), (2384, 66),
        (2392, 76), (2460, 92), (2640, 90), (2760, 74), (2766, 64), (2780, 78), (2850, 92),
        (3010, 88), (3100, 72), (3108, 64), (3130, 14), (3150, 0))
    left, right = between(time, (740, 772)), between(time, (800, 828))
    quick = between(time, (1700, 1706), (1760, 1767), (1850, 1855))
    heading = (200 + np.cumsum(10.5 * left - 9.5 * right + 2.0 * between(
        time, (2280, 2350), (2470, 2560)))) % 360
    channels: dict[str, Column] = {
        "heading": heading, "roll": 46.0 * left - 43.0 * right + 57.0 * quick,
        "weight_on_wheels": 1.0 - between(time, (91, 2380), (2385, 2760), (2767, 3108)),
        "ground_speed": np.where(time < 30, 0.5, np.maximum(speed, 11.0))}
    return time, height, speed, {name: channels[name] for name, kept in more.items() if kept}


def long_flights() -> dict[str, Flight]:
    """Flights of many phases, with none, some and all of what may be recorded beside them."""
    made: dict[str, Flight] = {}
    for label, (time, height, speed, channels) in {
            "transport": _transport(),
            "transport, turns": _transport(heading=True, gear_down=True),
            "transport, roll": _transport(roll=True, weight_on_wheels=True, flap=True),
            "transport, over ground": _transport(ground_speed=True, vertical_speed=True),
            "training": _training(),
            "training, heading": _training(heading=True),
            "training, roll": _training(roll=True, weight_on_wheels=True),
            "training, all": _training(roll=True, heading=True, ground_speed=True)}.items():
        rough = 6.0 * noise(len(time), 122)
        made[label] = flown(time, height + rough, speed + 0.4 * noise(len(time), 123), **channels)
    time, height, speed, channels = _transport(gear_down=True, flap=True)
    for label, name in (("part, gear", "gear_down"), ("part, flap", "flap")):
        rows = slice(300, 1600)
        made[label] = flown(time[rows], height[rows], speed[rows], **{name: channels[name][rows]})
    clock = stamps(1500, 1.0)
    plunge = 26000 + straight(clock, (300, 0), (312, -500), (390, -6300), (420, -7100),
                              (800, -7100), (1490, -17000))
    made["emergency"] = flown(clock, plunge + 6.0 * noise(1500, 124), straight(
        clock, (0, 210), (300, 210), (350, 250), (420, 240), (1490, 200)))
    return {label: replace(flight, also=("thresholds of phases",))
            for label, flight in made.items()}


FAMILIES = {"long_flights": long_flights}
