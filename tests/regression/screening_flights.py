"""Faults of the recording of every kind and of sizes about each threshold."""

from __future__ import annotations

from typing import Any

import numpy as np

from loganalyze.record.flight_log import Channel
from loganalyze.testing import make_log, make_sheet
from tests.regression.kept_results import Flight
from tests.regression.made_columns import (
    Column,
    between,
    mach_of,
    noise,
    smoothed_noise,
    stamps,
    standard_degc,
    stepped,
    straight,
    tas_of,
    through,
    without,
)

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.5}
SCREENED = ("tolerances", "measures", "uncertainty", "time_to_limit", "phases", "near",
            "judged_shares", "smallest", "highest", "assessed", "columns", "airborne")


def base(count: int = 300, interval_s: float = 1.0) -> tuple[Column, Column, Column]:
    """Time, airspeed and height of a stretch of flight somewhat below the limits."""
    time = stamps(count * interval_s, interval_s)
    end = count * interval_s
    return (time, through(time, (0, 205), (end / 2, 226), (end, 215)) + 0.4 * noise(count, 31),
            through(time, (0, 8000), (end, 10500)) + 3.0 * noise(count, 32))


def flight(time: Column, sheet: Any = None, leave: tuple[str, ...] = SCREENED,
           **channels: Any) -> Flight:
    """A flight of which what was screened, and what is suspected, is kept."""
    return Flight(make_log(time, **channels), sheet or make_sheet(VMO, MMO), leave=leave)


def spikes() -> dict[str, Flight]:
    """Single samples that depart, by several sizes, rates and in several noises."""
    made = {}
    for interval in (0.25, 1.0, 2.0):
        time, speed, height = base(300, interval)
        for size in (8.0, 13.0, 17.0, 35.0, 60.0, -60.0, 95.0):
            put = np.array(speed)
            put[150] += size
            made[f"{interval:g} s, {size:g} kt"] = flight(
                time, calibrated_airspeed=put, pressure_altitude=height)
        for size in (180.0, 320.0, 700.0, -1500.0):
            put = np.array(height)
            put[140] += size
            made[f"{interval:g} s, {size:g} ft"] = flight(
                time, calibrated_airspeed=speed, pressure_altitude=put)
    time, speed, height = base()
    for row in (63, 64, 65, 128, 298, 1):
        put, up = np.array(speed), np.array(height)
        put[row] += 70
        up[row] += 2500
        made[f"at row {row}"] = flight(time, calibrated_airspeed=put, pressure_altitude=height)
        made[f"height at row {row}"] = flight(time, calibrated_airspeed=speed,
                                              pressure_altitude=up)
    for rough in (3.0, 6.0, 9.0):
        put = speed + rough * noise(300, 33)
        put[150] += 70
        made[f"in noise of {rough:g} kt"] = flight(
            time, calibrated_airspeed=put, pressure_altitude=height)
    at = np.array(speed)
    at[150] += 60
    for label, channels in {
            "confirmed by load factor": {"load_factor": 1.0 + 0.5 * between(time, (149, 152))},
            "not by load factor": {"load_factor": 1.0 + 0.2 * between(time, (149, 152))},
            "confirmed by pitch": {"pitch": 2.0 + 4.0 * between(time, (150, 151))},
            "confirmed by Mach": {"mach": mach_of(at, height)},
            "half by a second": {"calibrated_airspeed_2": speed + (at - speed) * 0.55},
            "less by a second": {"calibrated_airspeed_2": speed + (at - speed) * 0.4},
            "by true airspeed": {"true_airspeed": tas_of(at, height, standard_degc(height))},
            "not by true airspeed": {"true_airspeed": tas_of(speed, height,
                                                             standard_degc(height))},
    }.items():
        made[label] = flight(time, calibrated_airspeed=at, pressure_altitude=height, **channels)
    return made


def excursions() -> dict[str, Flight]:
    """Several samples that depart together and come back, for as long and by as much."""
    made = {}
    time, speed, height = base(600, 0.5)
    for samples in (2, 5, 9, 10, 11, 14):
        for size in (50.0, 90.0, 170.0):
            put = np.array(speed)
            put[300:300 + samples] += size
            made[f"{samples} samples, {size:g} kt"] = flight(
                time, calibrated_airspeed=put, pressure_altitude=height)
    put = np.array(height)
    put[300:304] += 2500
    made["height"] = flight(time, calibrated_airspeed=speed, pressure_altitude=put)
    twice = np.array(speed)
    twice[300:304] += 110
    twice[306:309] += 110
    made["twice"] = flight(time, calibrated_airspeed=twice, pressure_altitude=height)
    inner = np.array(speed)
    inner[280:340] += 110
    inner[300:303] -= 110
    made["a dip in what is usual"] = flight(time, calibrated_airspeed=inner,
                                            pressure_altitude=height)
    slanting = np.array(speed)
    slanting[300:305] += np.array([110.0, 80, 54, 30, 12])
    made["decays"] = flight(time, calibrated_airspeed=slanting, pressure_altitude=height)
    blank = np.array(speed)
    blank[300:304] += 110
    blank[302] = np.nan
    made["with a blank"] = flight(time, calibrated_airspeed=blank, pressure_altitude=height)
    return made


def ranges() -> dict[str, Flight]:
    """Values that no aircraft has, blanks, and instants at which several are corrupt."""
    time, speed, height = base()
    made: dict[str, Flight] = {}
    degc = standard_degc(height)
    fill = np.where(between(time, (100, 120)) > 0, 1023.0, speed)
    high = np.where(between(time, (130, 133)) > 0, 70000.0, height)
    cold = np.where(between(time, (200, 230)) > 0, -99.75, degc)
    limits = make_sheet(VMO, MMO, {"name": "VTAS", "quantity": "true_airspeed",
                                   "maximum_kt": 300})
    made["fill values"] = flight(time, limits, calibrated_airspeed=fill, pressure_altitude=high,
                                 static_air_temperature=cold)
    made["blanks"] = flight(time, limits, calibrated_airspeed=without(speed, slice(50, 58)),
                            pressure_altitude=without(height, [90, 91, 150]),
                            static_air_temperature=without(degc, slice(0, 40)))
    for label, apart in (("frames 2 s apart", 2), ("frames 4 s apart", 4),
                         ("frames 5 s apart", 5)):
        put, up = np.array(speed), np.array(height)
        for row in (150, 150 + apart):
            put[row], up[row] = 1010.0, -4000.0
        made[label] = flight(time, limits, calibrated_airspeed=put, pressure_altitude=up)
        made[label + ", pitch"] = flight(
            time, limits, calibrated_airspeed=put, pressure_altitude=height,
            pitch=np.where(up < 0, 170.0, 2.0), heading=90.0)
    for label, channels in {"ground speed 0": {"ground_speed": 0 * time},
                            "ground speed 90": {"ground_speed": 90 + 0 * time},
                            "roll of 180": {"roll": 180 + 0 * time},
                            "all three": {"ground_speed": 0 * time, "roll": 181 + 0 * time,
                                          "load_factor": 20 + 0 * time}}.items():
        put = np.where((time == 150) | (time == 152), 1010.0, speed)
        made[f"corrupt beside {label}"] = flight(
            time, limits, calibrated_airspeed=put, pressure_altitude=height, **channels)
    slow = through(time, (0, 30), (60, 30), (200, 180), (299, 200))
    for label, floor in (("clamped at 45", 45.0), ("clamped at 58", 58.0),
                         ("clamped at 62", 62.0)):
        made[label] = flight(time, limits, tuple({*SCREENED} - {"airborne"}),
                             calibrated_airspeed=np.maximum(slow, floor),
                             pressure_altitude=through(time, (0, 900), (120, 900), (299, 4000)))
    return made


def frozen() -> dict[str, Flight]:
    """Channels that stand still while others show that they must have moved."""
    made: dict[str, Flight] = {}
    time = stamps(400)
    height = through(time, (0, 9000), (400, 9600)) + 2 * noise(400, 41)
    true = through(time, (0, 200), (150, 200), (230, 246), (400, 230)) + 0.3 * noise(400, 42)
    degc = standard_degc(height, 5)
    for seconds in (16, 19, 22, 30, 60):
        held = np.array(true)
        held[165:165 + seconds] = held[165]
        for label, channels in {
                "Mach": {"mach": mach_of(true, height)},
                "ground speed": {"ground_speed": tas_of(true, height, degc) + 12.0,
                                 "track": 90 + 0 * time},
                "alone": {}}.items():
            made[f"{seconds} s, {label}"] = flight(
                time, calibrated_airspeed=held, pressure_altitude=height, **channels)
    for gain in (3.0, 6.0, 9.0, 13.0):
        slow = through(time, (0, 215), (150, 215), (300, 215 + gain), (400, 214))
        held = np.array(slow)
        held[150:300] = held[150]
        made[f"{gain:g} kt by a second"] = flight(
            time, calibrated_airspeed=held, calibrated_airspeed_2=slow + 0.3 * noise(400, 43),
            pressure_altitude=height)
        made[f"{gain:g} kt by a coarse second"] = flight(
            time, calibrated_airspeed=held, calibrated_airspeed_2=stepped(slow, 2.0),
            pressure_altitude=height)
    climb = through(time, (0, 9000), (100, 9000), (300, 14000), (400, 14000))
    stuck = np.array(climb)
    stuck[140:200] = stuck[140]
    setting = np.where(time < 170, 1013.25, 1020.0)
    for label, channels in {
            "satellite": {"satellite_altitude": climb + 300},
            "indicated": {"indicated_altitude": climb + 20, "altimeter_setting": 1013.25},
            "indicated, reset": {"indicated_altitude": climb + 20, "altimeter_setting": setting},
            "second": {"pressure_altitude_2": climb + 15},
            "vertical speed": {"vertical_speed": np.gradient(climb) * 60}, "alone": {}}.items():
        made[f"height, {label}"] = flight(time, calibrated_airspeed=true, pressure_altitude=stuck,
                                          **channels)
    for step in (0.06, 0.12, 0.2):
        jitter = stepped(true + 3 * step * noise(400, 44), step)
        quiet = np.array(jitter)
        quiet[200:248] = quiet[200]
        made[f"ceased to flicker, {step:g} kt"] = flight(
            time, calibrated_airspeed=quiet, pressure_altitude=height + 3 * time)
    held = np.array(true)
    held[160:230] = held[160]
    for label, gap in {"gap early": (165, 170), "gap in the middle": (193, 196),
                       "gap late": (212, 215), "two gaps": (178, 216)}.items():
        kept = between(time, gap if label != "two gaps" else (178, 180), (214, 216)
                       if label == "two gaps" else (0, 0)) == 0
        made[f"frozen with a {label}"] = flight(
            time[kept], calibrated_airspeed=held[kept], pressure_altitude=height[kept],
            mach=mach_of(true, height)[kept])
    roll = through(time, (0, 0), (60, 0), (90, 110), (200, 150), (330, 110), (350, 30), (399, 20))
    for seconds in (30, 50, 75):
        field = 900 + straight(time, (40 + seconds, 0), (300, 2500), (310, 2500))
        made[f"level for {seconds} s from the roll"] = flight(
            time, calibrated_airspeed=roll, pressure_altitude=stepped(field, 100.0),
            satellite_altitude=field + 500 * between(time, (60, 400)))
    slow_setting = np.arange(0, 400, 16, dtype=np.int32)
    for label, change in (("kept", 400), ("reset at 150", 150), ("reset at 205", 205)):
        hpa = np.where(time < change, 1013.25, 1022.0)
        made[f"height, setting every 16 s {label}"] = flight(
            time, calibrated_airspeed=true, pressure_altitude=stuck,
            indicated_altitude=climb + 20 + 238 * (time >= change - 6),
            altimeter_setting=Channel(hpa[slow_setting] * 100.0, slow_setting, 16.0,
                                      column="QNH"))
    rough = stepped(height + 3 * noise(400, 45), 1.0)
    rough[170:225] = rough[170]
    made["height ceased to flicker"] = flight(time, calibrated_airspeed=true,
                                              pressure_altitude=rough)
    return made


def stale() -> dict[str, Flight]:
    """Values that are held and then step, again and again."""
    made: dict[str, Flight] = {}
    time = stamps(600)
    true = 205 + 30 * np.sin(time / 40.0)
    height = 9000 + 4000 * np.sin(time / 90.0)
    for hold, times in ((4, 60), (6, 60), (8, 19), (8, 22), (12, 30), (6, 10)):
        index = np.arange(600)
        held = np.where(index < 20 + hold * times, index - (index - 20) % hold, index)
        held = np.where(index < 20, index, held)
        made[f"{hold} s, {times} times"] = flight(
            time, calibrated_airspeed=true[held], pressure_altitude=height)
        made[f"height {hold} s, {times} times"] = flight(
            time, calibrated_airspeed=true, pressure_altitude=height[held])
    return made


def disagreeing() -> dict[str, Flight]:
    """Two sources of a quantity that differ by as much, for as long."""
    made: dict[str, Flight] = {}
    time, speed, height = base()
    degc = standard_degc(height)
    for apart in (6.0, 9.0, 12.0, 15.0, 25.0):
        for seconds in (3, 6, 80):
            second = speed + apart * between(time, (120, 120 + seconds))
            made[f"{apart:g} kt for {seconds} s"] = flight(
                time, calibrated_airspeed=speed, calibrated_airspeed_2=second,
                pressure_altitude=height)
    for apart in (250.0, 390.0, 410.0, 900.0):
        made[f"{apart:g} ft"] = flight(
            time, calibrated_airspeed=speed, pressure_altitude=height,
            pressure_altitude_2=height + apart * between(time, (120, 200)))
    for apart in (3.5, 5.8, 6.3, 13.0):
        made[f"{apart:g} degC"] = flight(
            time, make_sheet(VMO, {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 262}),
            calibrated_airspeed=speed, pressure_altitude=height, static_air_temperature=degc,
            static_air_temperature_2=degc + apart * between(time, (120, 200)))
    made["by Mach"] = flight(time, calibrated_airspeed=speed, pressure_altitude=height,
                             mach=mach_of(speed + 20 * between(time, (120, 180)), height))
    made["second over"] = flight(time, calibrated_airspeed=speed, pressure_altitude=height,
                                 calibrated_airspeed_2=speed + 40 * between(time, (120, 180)))
    made["first over"] = flight(time, calibrated_airspeed=speed + 40 * between(time, (120, 180)),
                                pressure_altitude=height, calibrated_airspeed_2=speed)
    return made


def steps_and_noise() -> dict[str, Flight]:
    """Quantization and noise of several sizes and colours, as the quality flags show them."""
    made: dict[str, Flight] = {}
    time = stamps(900, 0.5)
    count = len(time)
    smooth = through(time, (0, 215), (450, 251), (900, 222))
    height = through(time, (0, 9000), (900, 16000))
    keep = tuple({*SCREENED} - {"assessed", "near"})
    for step, size, samples in ((0.25, 0.0, 0), (1.0, 0.3, 0), (0.125, 0.8, 0), (0.125, 0.8, 3),
                                (0.0, 1.5, 12), (2.0, 0.1, 0)):
        wander = size * (smoothed_noise(count, 51, samples) if samples else noise(count, 51))
        made[f"{step:g} kt, {size:g} kt, {samples}"] = flight(
            time, make_sheet(VMO), keep, calibrated_airspeed=stepped(smooth + wander, step),
            pressure_altitude=stepped(height + 4 * noise(count, 52), 25.0 if step else 0.0))
    slow = np.arange(0, count, 8)
    made["held second"] = flight(
        time, make_sheet(VMO), keep, calibrated_airspeed=smooth + 0.6 * noise(count, 53),
        pressure_altitude=height, mach=mach_of(smooth, height),
        static_air_temperature=straight(time, *zip(
            time[slow], standard_degc(height)[slow], strict=True)))
    return made


FAMILIES = {"spikes": spikes, "excursions": excursions, "ranges": ranges, "frozen": frozen,
            "stale": stale, "disagreeing_sources": disagreeing,
            "steps_and_noise": steps_and_noise}
