"""Random flights of whole numbers for what needs no exceedance: phases, turns in wind, warnings."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from loganalyze import LimitsSheet
from loganalyze.testing import make_log, make_sheet
from tests.regression.kept_results import Flight
from tests.regression.made_columns import (
    Column,
    between,
    noise,
    over_ground,
    stamps,
    standard_degc,
    stepped,
    straight,
    tas_of,
    without,
)
from tests.regression.random_draws import Draws

Points = list[tuple[float, float]]
VMO: dict[str, Any] = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 300.0}
OF_PHASES = ("phases alone",)


def flown_in_phases(seed: int) -> Flight:
    """Draw a flight from stand to stand, or a part of one, of which the phases are kept."""
    draw = Draws(seed, "phases")
    interval = draw.one_of(1.0, 2.0, 2.0, 2.0, 4.0, 4.0)
    heights, speeds, marks = _course(draw)
    time = stamps(heights[-1][0] + draw.one_of(0, 30, 60), interval)
    height = float(draw.one_of(0, 500, 3000)) + straight(time, *heights)
    speed = straight(time, *speeds)
    begins, ends = marks
    channels: dict[str, Column] = {}
    in_air = between(time, (begins, ends))
    if draw.chance(0.3):
        channels["weight_on_wheels"] = 1.0 - in_air
    if draw.chance(0.3):
        channels["ground_speed"] = np.where(in_air > 0, speed, np.where(
            (time + draw.one_of(0, 20)) % 60 < draw.one_of(4, 8, 9, 40), 1.0, 15.0))
    if draw.chance(0.25):
        channels["gear_down"] = 1.0 - between(time, (begins + 8, ends - draw.one_of(100, 200, 400)))
    if draw.chance(0.25):
        channels["flap"] = draw.one_of(8.0, 10.0, 20.0) * (
            1.0 - between(time, (begins + 20, ends - draw.one_of(90, 240))))
    if draw.chance(0.3):
        channels["vertical_speed"] = np.gradient(height, time) * draw.one_of(60, 60, 60, 20)
    if draw.chance(0.4):
        turns = [(at := draw.between(begins, ends), at + draw.one_of(8, 20, 30, 60))
                 for _ in range(draw.one_of(1, 2, 4, 9))]
        turning = between(time, *turns)
        if draw.chance(0.7):
            channels["roll"] = turning * draw.one_of(9.0, 11.0, 25.0, 34.0, 38.0, 45.0, 55.0)
        if draw.chance(0.7):
            channels["heading"] = np.cumsum(turning * draw.one_of(
                1.0, 3.0, 3.0, 5.0, 9.0)) * interval % 360
    height = height + draw.one_of(0.0, 0.0, 0.0, 8.0) * noise(len(time), 141)
    speed = np.maximum(speed + draw.one_of(0.0, 0.0, 1.0) * noise(len(time), 142),
                       draw.one_of(0.0, 0.0, 30.0, 45.0))
    if draw.chance(0.2):
        at = draw.whole(1, len(time) - 2)
        lost = slice(at, at + round(draw.one_of(8, 20, 100, 120, 150) / interval))
        height, speed = without(height, lost), without(speed, lost)
    rows = slice(0, len(time))
    if draw.chance(0.25):
        rows = slice(draw.one_of(0, int((begins + draw.one_of(-10, 0, 60, 500)) / interval)),
                     int((ends + draw.one_of(-700, -60, 0, 20)) / interval))
    if rows.stop - rows.start < 60:
        rows = slice(0, len(time))
    time, height, speed = time[rows], height[rows], speed[rows]
    kept = np.ones(len(time), dtype=bool)
    if draw.chance(0.15) and len(time) > 99:
        at = draw.whole(10, len(time) - 90)
        kept[at:at + round(draw.one_of(10, 12, 60, 120, 130) / interval)] = False
    return Flight(make_log(time[kept], interval, calibrated_airspeed=speed[kept],
                           pressure_altitude=height[kept],
                           **{name: values[rows][kept] for name, values in channels.items()}),
                  make_sheet(VMO), also=OF_PHASES, is_assessed=False,
                  leave=("columns", "smallest", "quality", "unjudged", "findings", "airborne"),
                  condensed=OF_PHASES)


def _course(draw: Draws) -> tuple[Points, Points, tuple[float, float]]:
    """Corners of height and airspeed, and when the wheels leave and touch the ground."""
    fast = float(draw.one_of(90, 130, 180, 220))
    at = float(draw.one_of(40, 60, 100))
    lifts = at + 30
    heights, speeds = [(0.0, 0.0), (lifts, 0.0)], [(0.0, 0.0), (at, 0.0), (lifts, fast * 0.6)]
    at, level, slow = lifts, 0.0, False
    if draw.chance(0.65):
        level = float(draw.one_of(4000, 6000, 9000, 12000))
        at += level / draw.one_of(900, 1500) * 60
        heights.append((at, level))
        speeds.append((at, fast))
    for _ in range(draw.whole(2, 9)):
        what = draw.one_of("level", "level", "change", "change", "swing", "slow", "plunge",
                           "stall", "low", "hold")
        if what == "level":
            at += draw.one_of(20, 28, 30, 40, 60, 70, 230, 240, 280, 300, 420, 600, 640)
        elif what == "change":
            to = max(float(draw.one_of(300, 400, 500, 900, 1000, 2000, 3000, 6000, 9000, 12000)),
                     50.0)
            at += max(abs(to - level) / draw.one_of(100, 200, 250, 700, 1500) * 60, 10)
            level = to
        elif what == "swing":
            size = float(draw.one_of(400, 500, 700))
            for _ in range(draw.one_of(2, 3, 4)):
                level += size
                at += draw.one_of(50, 88, 90, 92)
                heights.append((at, level))
                level, size = level - size, size
                at += draw.one_of(50, 90)
                heights.append((at, level))
                at += draw.one_of(0, 5, 30)
                heights.append((at, level))
        elif what == "slow":
            slow = not slow
            at += 40
        elif what == "hold":
            level = max(level - draw.one_of(900, 1000, 2200, 2300), 900.0)
            at += draw.one_of(90, 238, 240, 242)
            heights.append((at, level))
            speeds += [(at - 20, fast * (0.85 if slow else 1.0)),
                       (at, fast * draw.one_of(0.84, 0.87, 0.88, 0.9))]
            at += draw.one_of(228, 230, 240, 480)
            slow = True
        elif what == "plunge" and level > 5000:
            rate, took = draw.one_of(3000, 4000, 4200, 5200), draw.one_of(50, 60, 62, 70)
            at, level = at + took, max(level - rate * took / 60.0, 900.0)
        elif what == "stall" and level > 700:
            low = fast * draw.one_of(0.5, 0.6, 0.7, 0.72, 0.75)
            speeds += [(at, fast), (at + draw.one_of(60, 150, 180), low)]
            at = speeds[-1][0] + 4
            heights += [(at, level), (at + 12, level - draw.one_of(100, 120, 300, 1500))]
            speeds += [(at, low), (at + 20, low + draw.one_of(0.3, 0.35, 0.9) * (fast - low))]
            at += draw.one_of(50, 90, 120)
        elif what == "low":
            low = float(draw.one_of(0, 20, 35, 50, 90, 400, 500, 600))
            at += max(abs(level - low) / 900 * 60, 20)
            heights.append((at, low))
            speeds.append((at, fast * 0.6))
            at += draw.one_of(2, 3, 4, 8, 20)
            heights.append((at, low))
            speeds.append((at, fast * draw.one_of(0.3, 0.6)))
            at, level = at + 80, float(draw.one_of(700, 900, 1000, 2000, 2100))
        heights.append((at, level))
        speeds.append((at, fast * (0.85 if slow else 1.0)))
    touches = at + max(level / draw.one_of(500, 900) * 60, 30)
    rise = float(draw.one_of(0, 0, 0, 90, 100, 300))
    heights += [(touches - 12, rise + draw.one_of(45, 50, 60)), (touches, rise)]
    speeds += [(touches, fast * 0.55), (touches + 30, 10.0), (touches + 60, 0.0)]
    heights.append((touches + draw.one_of(40, 90, 150), rise))
    return heights, speeds, (lifts, touches)


def turned_in_wind(seed: int) -> Flight:
    """Draw a flight that turns in wind, of which the checks are kept."""
    draw = Draws(seed, "wind")
    interval = draw.one_of(0.25, 0.5, 1.0, 1.0, 1.0, 2.0, 4.0)
    time = stamps(draw.one_of(90, 150, 240, 300) if interval >= 1 else 90, interval)
    rate, at = 0 * time, 10.0
    for _ in range(draw.one_of(1, 1, 2, 3)):
        size = draw.one_of(0.4, 0.5, 0.6, 1.0, 2.0, 3.0, 5.0, 12.0)
        took = draw.one_of(58, 60, 62, 90, 180, 360) / size
        rate += draw.one_of(1, -1) * size * between(time, (at, at + took))
        at += took + draw.one_of(1, 2, 4, 30)
    heading = draw.one_of(0.0, 350.0, 120.0) + np.cumsum(rate) * interval
    height = 8000 + straight(time, (10, 0), (draw.one_of(40, 100), float(
        draw.one_of(0, 0, 0, 900, 1000, 1100, -1000))))
    cas = 180 + draw.one_of(0.0, 4.0, 15.0) * np.sin(time / 30)
    degc = standard_degc(height, float(draw.one_of(0, 5, -10)))
    wind = draw.one_of(0.0, 10.0, 34.0, 80.0)
    blows = wind + draw.one_of(0.0, 0.0, 2.0, 6.0) * np.sin(time / draw.one_of(8, 25, 80))
    speed, track = over_ground(tas_of(cas, height, degc) * draw.one_of(1.0, 1.0, 1.01, 0.98),
                               heading + draw.one_of(0.0, 2.0, -5.0), blows, 250.0)
    channels = {
        "calibrated_airspeed": cas, "pressure_altitude": height, "static_air_temperature": degc,
        "heading": (heading + draw.one_of(0.0, 0.0, 0.5, 1.5) * noise(len(time), 143)) % 360,
        "ground_speed": stepped(speed + draw.one_of(0.0, 0.4) * noise(len(time), 144), 0.5),
        "track": stepped(track, draw.one_of(0.01, 0.1, 1.0)) % 360}
    if draw.chance(0.35):
        begins = draw.whole(1, len(time) - 9)
        name = draw.one_of(*channels)
        channels[name] = without(channels[name], slice(begins, begins + draw.one_of(1, 2, 3, 9)))
    kept = np.ones(len(time), dtype=bool)
    if draw.chance(0.2):
        begins = draw.whole(1, len(time) - 9)
        kept[begins:begins + draw.one_of(1, 2, 5)] = False
    return Flight(make_log(time[kept], interval, **{
        name: values[kept] for name, values in channels.items()}), make_sheet(VMO),
        leave=("columns", "uncertainty", "phases", "measures", "smallest", "quality", "findings",
               "highest", "time_to_limit", "tolerances"))


def warned(seed: int) -> Flight:
    """Draw a short flight through two limits, of which the warnings are kept."""
    draw = Draws(seed, "warning")
    interval = draw.one_of(0.5, 1.0, 1.0, 2.0)
    rows = draw.whole(14, 50)
    time = stamps(rows * interval, interval)
    if draw.chance(0.3):
        time[draw.whole(3, rows - 3):] += draw.one_of(0.5, 1.0, 3.0) * interval
    values = [240.0]
    while len(values) < rows:
        to = float(draw.one_of(240, 243, 246, 247, 249, 250, 253, 256, 257, 259, 259, 262, 265))
        values += np.linspace(values[-1], to, draw.one_of(2, 3, 5))[1:].tolist()
        values += [to] * draw.one_of(0, 0, 1, 3, 6)
    speed = stepped(np.array(values[:rows]), draw.one_of(1.0, 1.0, 0.5))
    height = float(draw.one_of(12000, 12300, 15000)) + 0 * time
    on = np.where(speed >= draw.one_of(242, 243, 246, 247, 250, 253, 256, 257, 260, 300), 1.0, 0.0)
    for _ in range(draw.whole(0, 3)):
        at = draw.whole(0, rows - 1)
        on[at:at + draw.one_of(1, 1, 2, 3, 6)] = draw.one_of(0.0, 1.0, float("nan"))
    if draw.chance(0.25):
        begins = draw.whole(0, rows - 2)
        speed = without(speed, slice(begins, begins + draw.one_of(1, 2, 4)))
    if draw.chance(0.25):
        begins = draw.whole(0, rows - 2)
        height = without(height, slice(begins, begins + draw.one_of(1, 2, 4)))
    stated = {"threshold_kt": draw.one_of(0.0, 3.0, 6.0, 6.0),
              "tolerance_kt": draw.one_of(0.0, 1.0, 3.0, 3.0),
              "threshold_mach": draw.one_of(0.0, 0.01), "tolerance_mach": draw.one_of(0.0, 0.004)}
    limits = [{"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0},
              *([{"name": "MMO", "quantity": "mach", "maximum": 0.48}] if draw.chance(0.5) else []),
              *([{"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 304.0}]
                if draw.chance(0.2) else [])]
    if draw.chance(0.25):
        stated["limits"] = [draw.one_of(*limits)["name"]]
    sheet = LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"}, "limit": limits,
        **({"warning": stated} if draw.chance(0.8) else {})})
    return Flight(make_log(time, interval if draw.chance(0.85) else None,
                           calibrated_airspeed=speed, pressure_altitude=height,
                           static_air_temperature=standard_degc(12000 + 0 * time),
                           overspeed_warning=on), sheet,
                  condensed=("warnings", "assessed", "checks", "exceedances"),
                  leave=("columns", "uncertainty", "phases", "measures", "smallest", "quality",
                         "findings", "highest", "time_to_limit", "tolerances", "near"))


def _drawn(of: Callable[[int], Flight], count: int) -> Callable[[], dict[str, Flight]]:
    return lambda: {str(seed): of(seed) for seed in range(count)}


FAMILIES = {"random_phases": _drawn(flown_in_phases, 240),
            "random_turns": _drawn(turned_in_wind, 40), "random_warnings": _drawn(warned, 70)}
