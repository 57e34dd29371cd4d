"""Flights of which all is drawn at random from a seed: what is flown, recorded and limited.

    from tests.regression.random_flights import random_flight
    for seed in range(100):
        facts = results_of(random_flight(seed))

The same seed gives the same flight on every machine: a short one (30 to 400 rows) with a limits
sheet and settings, each part drawn from all that the program understands. Each feature is in a
tenth to a half of the flights, so that two features meet in many. `python -m
tests.mutation.triage` looks among them for one whose results a change of the program alters.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from loganalyze import FlightLog, LimitsSheet
from loganalyze.record.flight_log import Channel
from loganalyze.simulate import pressures
from loganalyze.testing import make_log
from loganalyze.uncertainty.prior_models import Prior
from tests.regression.kept_results import Flight
from tests.regression.made_columns import (
    FOOT,
    KNOT,
    Column,
    between,
    mach_of,
    noise,
    over_ground,
    straight,
    total_degc,
)
from tests.regression.random_draws import Draws
from tests.regression.random_faults import faulty
from tests.regression.random_profiles import Profile, profile
from tests.regression.random_sheets import settings_of, sheet_of


def random_flight(seed: int) -> Flight:
    """Draw a flight. One of a dozen can't be judged: it lacks an airspeed, or a flap angle."""
    draw = Draws(seed, "flight")
    flown = profile(seed)
    columns = {**_air(Draws(seed, "air"), flown), **_configuration(Draws(seed, "levers"), flown),
               **_beside(Draws(seed, "beside"), flown)}
    recorded = "indicated" if "indicated_airspeed" in columns else "calibrated"
    if draw.chance(0.1):
        recorded = draw.one_of("indicated", "calibrated")
    sheet = sheet_of(seed, flown, recorded, columns)
    columns = faulty(seed, flown.time, columns)
    log = _log(Draws(seed, "log"), flown, columns)
    also = tuple(name for name, share in (
        ("plain", 0.3), ("curves", 0.15), ("pointer", 0.2), ("dial", 0.2),
        ("what if", 0.1 if len(log) < 150 else 0.0)) if draw.chance(share))
    more = Draws(seed, "also")
    also += tuple(name for name, share in (("sheet", 0.4), ("verdict", 0.3), ("frames", 0.15))
                  if more.chance(share))
    return Flight(log, sheet, settings_of(seed), _declared(draw, sheet, log),
                  _priors(draw, sheet), also, (), draw.one_of(None, None, 16, 64, 100))


def _air(draw: Draws, flown: Profile) -> dict[str, Column]:
    """Airspeed, altitude and temperature, in the channels of one recorder or another."""
    static = pressures.static_pressure(flown.height * FOOT) / 100.0
    impact = pressures.impact_pressure(flown.speed * KNOT) / 100.0
    mach = mach_of(flown.speed, flown.height)
    way = draw.one_of("calibrated", "calibrated", "calibrated", "calibrated", "indicated",
                      "indicated", "indicated", "both", "mach", "impact", "total", "calibrated")
    made: dict[str, Column] = {}
    if way in ("calibrated", "both"):
        made["calibrated_airspeed"] = flown.speed
    if way in ("indicated", "both"):
        made["indicated_airspeed"] = np.maximum(flown.speed + draw.between(-2, 2), 0.0)
    if way == "impact":
        made["impact_pressure"] = impact
    if way == "total":
        made["total_pressure"] = impact + static
    if way == "mach" or draw.chance(0.25):
        made["mach"] = mach
    if way in ("impact", "total") and (way == "total" or draw.chance(0.6)):
        made["static_pressure"] = static
    elif draw.chance(0.1):
        made["indicated_altitude"] = flown.height + draw.one_of(0.0, 300.0)
        made["altimeter_setting"] = np.where(
            flown.time < draw.between(0, 1) * flown.time[-1], 1013.25, draw.one_of(1013.25, 1021.0))
    elif draw.chance(0.93):
        made["pressure_altitude"] = flown.height
    kind = draw.one_of("static_air_temperature", "static_air_temperature",
                       "outside_air_temperature", "outside_air_temperature",
                       "total_air_temperature", "")
    if kind:
        made[kind] = flown.degc if "total" not in kind else total_degc(
            flown.speed, flown.height, flown.degc)
    return made


def _configuration(draw: Draws, flown: Profile) -> dict[str, Column]:
    """Flaps, slats, gear, weight and a state of the operator's own, moved at random times."""
    time, end = flown.time, max(float(flown.time[-1]), 1.0)
    made: dict[str, Column] = {}
    if draw.chance(0.45):
        settings = [draw.one_of(0.0, 0.0, 5.0, 10.0, 20.0, 35.0) for _ in range(draw.whole(1, 5))]
        moves = sorted(draw.one_of(0.0, draw.between(0, end), draw.between(0, end),
                                   float(time[-1])) for _ in settings[1:])
        lever = np.full(len(time), settings[0])
        surface, rate = lever.copy(), draw.one_of(1.0, 2.5, 6.0)
        for move, setting in zip(moves, settings[1:], strict=True):
            lever = np.where(time >= move, setting, lever)
            before = float(np.interp(move, time, surface))
            took = max(abs(setting - before) / rate, 0.01)
            surface = np.where(time >= move, straight(
                time, (move, before), (move + took, setting)), surface)
        if draw.chance(0.7):
            made["flap"] = surface + draw.one_of(0.0, 0.0, 0.3, 1.2)
        if draw.chance(0.45) or not made:
            made["flap_lever"] = lever
        if draw.chance(0.25):
            made["slat"] = np.minimum(surface, 15.0)
    if draw.chance(0.3):
        spans = [(begin, begin + draw.between(0.05, 0.6) * end) for begin in (
            draw.between(-0.2, 0.9) * end for _ in range(draw.whole(1, 3)))]
        made["gear_down"] = between(time, *spans)
    if draw.chance(0.2):
        made["weight"] = straight(time, (0, draw.between(6000, 9000)), (end, draw.between(
            5500, 6500)))
    if draw.chance(0.15):
        made["mode"] = between(time, (draw.between(0, 0.5) * end, draw.between(0.5, 1.1) * end))
    if draw.chance(0.15):
        made["speedbrake"] = 30.0 * between(time, (draw.between(0, 0.7) * end,
                                                   draw.between(0.7, 1) * end))
    return made


def _beside(draw: Draws, flown: Profile) -> dict[str, Column]:
    """Further sources, and channels that reveal what the air data do not."""
    made: dict[str, Column] = {}
    time, end = flown.time, max(float(flown.time[-1]), 1.0)
    if draw.chance(0.25):
        made["calibrated_airspeed_2"] = flown.speed + draw.between(-3, 3)
    if draw.chance(0.12):
        made["indicated_airspeed_2"] = flown.speed + draw.between(-3, 3)
    if draw.chance(0.2):
        made["pressure_altitude_2"] = flown.height + draw.between(-150, 150)
    if draw.chance(0.12):
        made["static_air_temperature_2"] = flown.degc + draw.between(-4, 4)
    if draw.chance(0.25):
        made["true_airspeed"] = flown.tas * draw.one_of(1.0, 1.0, 1.02)
    if draw.chance(0.3):
        wind = draw.one_of(0.0, draw.between(5, 90))
        blows = wind + draw.one_of(0.0, 0.3) * wind * np.sin(time / 37.0)
        speed, track = over_ground(flown.tas, flown.heading, blows, draw.between(0, 360))
        made["ground_speed"] = np.where(flown.on_ground > 0, flown.speed, speed)
        if draw.chance(0.7):
            made["track"] = track
    if draw.chance(0.35):
        made["heading"] = flown.heading
    if draw.chance(0.3):
        made["roll"] = flown.bank
    if draw.chance(0.25):
        made["pitch"] = np.clip(flown.rate / np.maximum(flown.tas, 30) * 0.57 + 2, -60, 60)
    if draw.chance(0.3):
        steady = 1.0 / np.cos(np.radians(flown.bank))
        made["load_factor"] = steady + draw.one_of(0.0, 0.02, 0.25) * noise(len(time), 7)
    if draw.chance(0.2):
        made["vertical_speed"] = flown.rate
    if draw.chance(0.15):
        made["satellite_altitude"] = flown.height * 1.02 + draw.between(-400, 400)
    if draw.chance(0.3 if flown.on_ground.any() else 0.05):
        made["weight_on_wheels"] = flown.on_ground
    if draw.chance(0.25):
        made["overspeed_warning"] = (flown.speed > flown.centre + draw.between(-2, 8)).astype(float)
    if draw.chance(0.15):
        made["limit_pointer"] = flown.centre + draw.between(-3, 3) + 0.0 * time
    if draw.chance(0.15):
        made["autopilot"] = between(time, (0.0, draw.between(0, 1.2) * end))
    if draw.chance(0.25):
        level = [(end * k / 4, draw.between(0, 100)) for k in range(5)]
        made[draw.one_of("torque", "fan_speed", "power_lever")] = straight(time, *level)
    return made


def _log(draw: Draws, flown: Profile, columns: dict[str, Column]) -> FlightLog:
    """Make the log: slow channels, skewed ones, a date."""
    channels: dict[str, Any] = dict(columns)
    main = ("calibrated_airspeed", "indicated_airspeed")
    for name in columns:
        if draw.chance(0.04 if name in main else 0.2) and len(flown.time) > 20:
            channels[name] = _slow(draw, flown, name, columns[name])
    log = make_log(flown.time, flown.interval if draw.chance(0.8) else None, **channels)
    if draw.chance(0.15):
        log = FlightLog(log.time, log.channels, log.source,
                        np.datetime64("2020-02-29T23:58:30", "ns"), log.interval_s)
    return log


def _slow(draw: Draws, flown: Profile, name: str, values: Column) -> Channel:
    every = draw.one_of(2, 4, 4, 8, 16)
    rows = np.arange(draw.whole(0, every - 1), len(values), every, dtype=np.int32)
    own = make_log(flown.time[rows], **{name: values[rows]}).channels[name]
    stated: dict[str, Any] = {}
    if draw.chance(0.25):
        stated = {"skew_s": 0.3 * flown.interval, "skew_known": True}
    return Channel(own.values, rows, every * flown.interval, column=name.upper(),
                   held=draw.chance(0.3), **stated)


def _declared(draw: Draws, sheet: LimitsSheet, log: FlightLog) -> dict[str, float] | None:
    """State what no channel records, for some of the flights that lack it."""
    wanted = {one.channel for stated in (*sheet.limit, *sheet.airspeed.position_tables)
              for one in stated.conditions}
    made = {"flap": float(np.radians(draw.one_of(0.0, 10.0, 20.0))),
            "gear_down": draw.one_of(0.0, 1.0)}
    lacking = {"flap": "flap" not in log and "flap_lever" not in log,
               "gear_down": "gear_down" not in log}
    return {name: value for name, value in made.items()
            if name in wanted and lacking[name] and draw.chance(0.75)} or None


def _priors(draw: Draws, sheet: LimitsSheet) -> dict[str, Prior] | None:
    if not draw.chance(0.12):
        return None
    limit = sheet.limit[0]
    unit = 1.0 if limit.kind.unit.name == "kt" else 0.0016
    if draw.chance(0.5):
        return {limit.name: Prior.of_histogram("a fleet", [unit * at for at in (-9, 0, 8, 40)],
                                               [3, 90, 900])}
    return {limit.name: Prior("a fleet", normals=((0.9, -20 * unit, 9 * unit),
                                                  (0.1, -3 * unit, 4 * unit)),
                              displayed=draw.chance(0.4))}


JUDGED = (
    0, 1, 2, 4, 5, 7, 14, 15, 17, 26, 33, 34, 44, 49, 50, 55, 58, 62, 65, 67, 68, 74, 76, 79,
    80, 87, 91, 96, 98, 99, 105, 106, 111, 119, 120, 123, 126, 127, 128, 130, 131, 134, 135,
    139, 140, 142, 143, 149, 150, 154, 157, 164, 168, 170, 171, 174, 175, 177, 180, 184, 190,
    192, 201, 202, 205, 206, 211, 213, 214, 216, 220, 221, 224, 227, 234, 235, 240, 241, 242,
    244, 246, 248, 250, 252, 253, 256, 260, 261, 265, 268, 274, 277, 278, 288, 289, 293, 294,
    296, 301, 302, 307, 308, 312, 313, 314, 315, 323, 332, 337, 339, 343, 345, 353, 358, 361,
    367, 372, 379, 382, 388, 390, 391, 392, 394, 396, 400, 402, 404, 405, 412, 414, 417, 424,
    429, 434, 435, 436, 438, 441, 442, 443, 448, 457, 468, 474, 475, 476, 486, 488, 489, 490,
    494, 500, 502, 504, 508, 513, 523, 529, 532, 534, 536, 539, 541, 545, 548, 550, 559, 564,
    568, 569, 571, 573, 575, 576, 581, 586, 590, 594, 595, 597, 601, 602, 605, 606, 608, 609,
    610, 611, 612, 616, 618, 619, 627, 634, 639, 641, 642, 645, 646, 650, 653, 655, 662, 669,
    683, 685, 686, 687, 688, 695, 696)
"""Of the first 700 flights, those without which fewer than eight (or all that there are) would take
some step from one line to the next in `limits`, `engine`, `events`, `screening` and `airdata`; each
chosen for the most steps not yet taken so often, by its time."""

ASSESSED = tuple(range(30))

CONDENSED = (
    "judged_shares", "screened", "screened_s", "unknown", "gaps", "airborne", "exceedances",
    "suspects", "ceilings", "findings", "smallest", "quality", "columns", "assessed", "near",
    "phases", "measures", "highest", "time_to_limit", "warnings", "checks", "tolerances",
    "uncertainty", "what if", "pointer", "dial", "curves", "plain", "sheet", "verdict", "frames")
"""Results of which a number is kept: with them all the flights' results would take megabytes. What
has changed in them shows when those of two versions of the program are printed."""


def _family(seeds: tuple[int, ...], is_assessed: bool) -> dict[str, Flight]:
    return {f"{seed}": replace(random_flight(seed), is_assessed=is_assessed, condensed=CONDENSED)
            for seed in seeds}


FAMILIES = {
    **{f"random_judged_{k + 1}": partial(_family, JUDGED[k::5], False) for k in range(5)},
    "random_assessed": partial(_family, ASSESSED, True)}
