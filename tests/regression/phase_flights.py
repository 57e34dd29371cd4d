"""Flights whose phases, circuits, turns and manoeuvres lie about each threshold."""

from __future__ import annotations

from typing import Any

import numpy as np

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
)

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 300.0}
LEFT = ("quality", "tolerances", "uncertainty", "columns", "near", "assessed", "findings",
        "measures", "judged_shares", "screened", "exceedances", "smallest", "unknown",
        "time_to_limit", "screened_s")


def flown(time: Column, height: Column, speed: Column, **channels: Any) -> Flight:
    """A flight of which the phases are kept."""
    interval = float(np.median(np.diff(time)))
    return Flight(make_log(time, interval, pressure_altitude=height,
                           calibrated_airspeed=np.maximum(speed, 0.0), **channels),
                  make_sheet(VMO), leave=LEFT)


def whole(scale: float = 1.0, interval: float = 2.0, ground: float = 500.0
          ) -> tuple[Column, Column, Column]:
    """Time, height and airspeed from stand to stand, with a cruise of some 7 minutes."""
    time = stamps(1900 * scale, interval)
    at = time / scale
    height = ground + straight(at, (130, 0), (170, 1200), (560, 15500), (1000, 15500),
                               (1440, 3500), (1560, 3000), (1700, 60), (1712, 0))
    speed = straight(at, (95, 0), (130, 115), (170, 150), (300, 200), (560, 215), (1000, 225),
                     (1440, 210), (1600, 140), (1712, 108), (1745, 15), (1760, 0))
    return time, height, speed


def from_stand_to_stand() -> dict[str, Flight]:
    """Whole flights, at several rates, with what else was recorded."""
    made = {}
    for interval in (0.25, 1.0, 2.0, 4.0):
        time, height, speed = whole(1.0 if interval >= 1 else 0.5, interval)
        made[f"{interval:g} s"] = flown(time, height + 8 * noise(len(time), 81),
                                        speed + 0.5 * noise(len(time), 82))
    for interval in (60.0, 100.0, 130.0):
        time, height, speed = whole(4.0, interval)
        some = np.arange(len(time)) != 40
        made[f"every {interval:g} s"] = flown(time[some], height[some], speed[some])
    time, height, speed = whole()
    level = {"ground_speed": np.where((time < 30) | (time > 1850), 0.4, np.maximum(speed, 12.0)),
             "vertical_speed": np.gradient(height, time) * 60,
             "weight_on_wheels": 1.0 - between(time, (133, 1713)),
             "gear_down": 1.0 - between(time, (140, 1500)),
             "flap": 15 - 15 * between(time, (160, 1480))}
    for name in level:
        made[name] = flown(time, height, speed, **{name: level[name]})
    made["all"] = flown(time, height, speed, **level)
    made["vertical speed in other unit"] = flown(
        time, height, speed, vertical_speed=level["vertical_speed"] / 3)
    made["clamped"] = flown(time, height, np.maximum(speed, 52.0))
    made["begins in the climb"] = flown(time[150:], height[150:], speed[150:])
    made["ends in the approach, gear"] = flown(
        time[:830], height[:830], speed[:830], gear_down=level["gear_down"][:830])
    made["ends in the approach, flap"] = flown(
        time[:830], height[:830], speed[:830], flap=20 - 20 * between(time[:830], (160, 1480)))
    made["begins on the runway"] = flown(time[52:], height[52:], speed[52:],
                                         weight_on_wheels=level["weight_on_wheels"][52:])
    made["ends on the runway"] = flown(time[:862], height[:862], speed[:862],
                                       weight_on_wheels=level["weight_on_wheels"][:862])
    made["goes to a higher field"] = flown(time, height + straight(
        time, (200, 0), (1400, 2400)), speed)
    for top, dip in ((230.0, 20.0), (290.0, 20.0), (290.0, 60.0), (360.0, 20.0), (1120.0, 900.0),
                     (1300.0, 900.0)):
        sinks = 500 + straight(time, (130, 0), (142, top), (156, dip), (200, 2400), (560, 15500),
                               (1000, 15500), (1440, 3500), (1560, 3000), (1700, 60), (1712, 0))
        made[f"sinks from {top:g} to {dip:g} ft"] = flown(time, sinks, speed)
        rises = 500 + straight(time, (130, 0), (560, 15500), (1000, 15500), (1440, 3500),
                               (1640, dip / 4), (1660, top / 2), (1712, 0))
        made[f"balloons from {dip / 4:g} to {top / 2:g} ft"] = flown(time, rises, speed)
    again = np.concatenate([height[300:], height]), np.concatenate([speed[300:], speed])
    clock = stamps(2.0 * len(again[0]), 2.0)
    made["lands and flies again"] = flown(clock, *again)
    for seconds in (8, 14, 100, 130):
        kept = between(time, (800, 800 + seconds), (1300, 1300 + seconds)) == 0
        made[f"gaps of {seconds} s"] = flown(time[kept], height[kept], speed[kept])
    return made


def rejected() -> dict[str, Flight]:
    """Take-offs that were given up, at several speeds; fast taxiing; wind at the stand."""
    made = {}
    time = stamps(420, 1.0)
    for top in (38.0, 45.0, 56.0, 66.0, 105.0):
        speed = straight(time, (60, 0), (60 + top / 3.5, top), (60 + top / 3.5 + top / 5, 0),
                         (400, 0))
        made[f"{top:g} kt"] = flown(time, 900 + 2 * noise(420, 83), speed)
        if top > 60:
            for begun in (2.0, 8.0):
                made[f"{top:g} kt from {begun:g} s"] = flown(
                    time, 900 + 2 * noise(420, 83), straight(
                        time, (begun, 0), (begun + top / 3.5, top),
                        (begun + top / 3.5 + top / 5, 0), (400, 0)))
        made[f"{top:g} kt, lifted"] = flown(
            time, 900 + straight(time, (70, 0), (85, 60 if top < 70 else 130), (100, 0)), speed)
    for seconds in (5, 7, 9, 20):
        speed = 120 - 100 * between(time, (200, 200 + seconds))
        made[f"slow for {seconds} s"] = flown(time, 900 + 0 * time, speed)
    return made


def circuits() -> dict[str, Flight]:
    """Circuits with touch-and-goes and go-arounds, of several heights and times on the ground."""
    made = {}
    for interval in (0.5, 1.0, 2.0):
        for down in (1.0, 2.0, 2.6, 3.4, 4.0, 6.0, 14.0):
            made[f"touch of {down:g} s, {interval:g} s"] = _circuit(down, interval)
            if interval == 1.0:
                made[f"touch of {down:g} s, wheels"] = _circuit(down, interval, wheels=True)
    for top in (700.0, 1900.0, 2100.0):
        made[f"at {top:g} ft"] = _circuit(8.0, 1.0, top)
    for low in (20.0, 30.0, 45.0, 90.0, 400.0, 600.0):
        made[f"go-around at {low:g} ft"] = _circuit(0.0, 1.0, 1000.0, low)
    for leg in (300.0, 860.0, 940.0):
        made[f"leg of {leg:g} s"] = _circuit(8.0, 2.0, 1000.0, 0.0, leg)
    made["other ground"] = _circuit(8.0, 1.0, 1000.0, 0.0, 180.0, 140.0)
    return made


def _circuit(down: float, interval: float, top: float = 1000.0, low: float = 0.0,
             leg: float = 180.0, rise: float = 0.0, wheels: bool = False) -> Flight:
    begin = 60.0
    lift, up = begin + 22, begin + 22 + top / 13
    out = up + leg
    touch = out + top / 11
    off, high = touch + down, touch + down + top / 13
    home = high + leg
    land = home + top / 11
    end = land + 60
    time = stamps(end, interval)
    height = 400 + straight(time, (lift, 0), (up, top), (out, top), (touch, low + rise),
                            (off, low + rise), (high, top), (home, top), (land, rise))
    speed = straight(time, (begin, 0), (lift, 78), (up, 92), (out, 90), (touch, 74),
                     (off - 0.6 * down, 74 - 4 * min(down, 5)), (off + 4, 80), (high, 92),
                     (home, 90), (land, 72), (land + 30, 8), (land + 40, 0))
    more = {"weight_on_wheels": 1.0 - between(time, (lift, touch), (off, land))} if wheels else {}
    return flown(time, height + 1.5 * np.sin(time), speed, **more)


def levels() -> dict[str, Flight]:
    """Levels, steps between levels and level-offs, of several lengths, heights and rates."""
    made = {}
    for seconds in (50.0, 70.0, 280.0, 320.0, 590.0, 620.0):
        for share in (0.4, 0.62, 0.7, 0.985):
            time = stamps(1500 + seconds, 2.0)
            level = 12000 * share
            height = 1000 + straight(
                time, (0, 0), (600 * share, level), (600 * share + seconds, level),
                (600 + seconds, 12000), (800 + seconds, 12000), (1450 + seconds, 2000))
            made[f"{seconds:g} s at {share:g}"] = flown(time, height, 190 + 0 * time)
    for change in (300.0, 380.0, 430.0, 900.0):
        for rate in (150.0, 260.0, 700.0):
            time = stamps(1500, 2.0)
            took = change / rate * 60
            height = straight(time, (0, 4000), (240, 9000), (600, 9000),
                              (600 + took, 9000 + change), (1200, 9000 + change), (1490, 4000))
            made[f"step of {change:g} ft at {rate:g}"] = flown(time, height, 190 + 0 * time)
    for pause in (20.0, 28.0, 36.0, 55.0):
        for wiggle in (0.0, 40.0, 70.0):
            time = stamps(900, 1.0)
            height = straight(time, (0, 3000), (200, 7000), (200 + pause, 7000 - wiggle),
                              (400 + pause, 11000), (700, 11000), (880, 8000))
            made[f"pause of {pause:g} s, {wiggle:g} ft"] = flown(time, height, 170 + 0 * time)
    return made


def holds() -> dict[str, Flight]:
    """Holding patterns by turns, by roll and by speed, stacks, and what is none."""
    made = {}
    for seconds in (200.0, 224.0, 245.0, 480.0):
        for slower in (0.84, 0.87, 0.9):
            time = stamps(1400 + seconds, 2.0)
            height = straight(time, (0, 16000), (500, 16000), (800, 9000), (800 + seconds, 9000),
                              (1390 + seconds, 1500))
            speed = straight(time, (0, 240), (780, 240), (820, 240 * slower),
                             (800 + seconds, 240 * slower), (1390 + seconds, 150))
            speed = speed + 0.3 * noise(len(time), 84)
            made[f"{seconds:g} s at {slower:g}"] = flown(time, height, speed)
            if slower == 0.9:
                rate = 3.0 * between(time, *((800 + k * 120, 860 + k * 120) for k in range(5)))
                for turn in (0.5, 0.8, 1.0):
                    heading = np.cumsum(rate * turn) * 2.0 % 360
                    made[f"{seconds:g} s, turns of {turn:g}"] = flown(time, height, speed,
                                                                      heading=heading)
                for banked in (8.0, 12.0, 22.0, 37.0):
                    made[f"{seconds:g} s, banked {banked:g}"] = flown(
                        time, height, speed, roll=np.where(rate > 0, banked, 1.0))
    time = stamps(1900, 2.0)
    height = straight(time, (0, 16000), (500, 16000), (800, 9000), (1300, 9000), (1890, 1500))
    for length in (20.0, 26.0, 34.0, 50.0):
        for until in (1100.0, 1300.0):
            turns = [(k, k + length) for k in np.arange(810.0, until - 60, 120.0).tolist()]
            made[f"turns of {length:g} s until {until:g}"] = flown(
                time, height, 205 + 0 * time, roll=21.0 * between(time, *turns))
            made[f"turns of {length:g} s until {until:g}, heading"] = flown(
                time, height, 205 + 0 * time,
                heading=np.cumsum(3.0 * between(time, *turns)) * 2.0 % 360)
    for step in (1000.0, 2100.0, 2400.0):
        for took in (90.0, 260.0):
            time = stamps(1900, 2.0)
            height = straight(time, (0, 16000), (400, 16000), (600, 11000), (860, 11000),
                              (860 + took, 11000 - step), (1400, 11000 - step), (1890, 1500))
            made[f"stack of {step:g} ft in {took:g} s"] = flown(
                time, height, straight(time, (0, 245), (580, 245), (620, 205), (1400, 203),
                                       (1890, 140)))
    time = stamps(1600, 2.0)
    height = straight(time, (0, 16000), (500, 16000), (800, 9000), (1080, 9000), (1590, 1500))
    for steep in (0.0, 30.0, 60.0):
        gentle = between(time, (850, 890), (960, 1010))
        made[f"steep for {steep:g} s beside gentle turns"] = flown(
            time, height, 205 + 0 * time, heading=np.cumsum(3.0 * gentle) * 2.0 % 360,
            roll=22.0 * gentle + 40.0 * between(time, (900, 900 + steep)))
    for label, speed in {
            "unsteady": straight(time, (0, 240), (780, 240), (820, 205)) + 9 * np.sin(time / 15),
            "fast": straight(time, (0, 285), (780, 285), (820, 244)),
            "stands still": straight(time, (0, 240), (780, 240), (800, 200))}.items():
        made[label] = flown(time, height, speed)
    return made


def manoeuvres() -> dict[str, Flight]:
    """Steep turns, stalls, reversals and emergency descents about their thresholds."""
    made = {}
    time = stamps(700, 1.0)
    height = straight(time, (0, 1500), (150, 6000), (600, 6000), (690, 3000))
    for bank in (33.0, 39.0, 52.0):
        for through_deg in (130.0, 170.0, 360.0):
            rate = 6.0 if bank < 50 else 12.0
            first = between(time, (300, 300 + through_deg / rate))
            second = between(time, (400, 400 + through_deg / rate))
            heading = np.cumsum(rate * first - rate * second) % 360
            roll = bank * (first - second)
            made[f"turns at {bank:g} through {through_deg:g}"] = flown(
                time, height, 150 + 0 * time, roll=roll, heading=heading)
            made[f"turns at {bank:g} through {through_deg:g}, heading"] = flown(
                time, height, 150 + 0 * time, heading=heading)
            made[f"turns at {bank:g} through {through_deg:g}, roll"] = flown(
                time, height, 150 + 0 * time, roll=roll)
    for label, share, lost, regained, wander in (
            ("a", 0.55, 300.0, 0.8, 60.0), ("b", 0.7, 200.0, 0.8, 60.0),
            ("c", 0.75, 300.0, 0.8, 60.0), ("d", 0.55, 90.0, 0.8, 60.0),
            ("e", 0.55, 1300.0, 0.8, 60.0), ("f", 0.55, 1700.0, 0.8, 60.0),
            ("g", 0.55, 300.0, 0.25, 60.0), ("h", 0.55, 300.0, 0.45, 60.0),
            ("i", 0.55, 300.0, 0.8, 350.0), ("j", 0.55, 300.0, 0.8, 500.0)):
        low = 150 * share
        speed = straight(time, (0, 150), (250, 150), (330, low), (334, low),
                         (355, low + regained * (150 - low)), (440, 150), (690, 140))
        up = 6000 + straight(time, (250, 0), (330, wander), (334, wander), (350, wander - lost),
                             (420, 0), (690, 0)) - 3000 * between(time, (690, 700))
        made[f"stall {label}"] = flown(time, up, speed)
    for count, swing, size, pause in ((2, 60.0, 700.0, 5.0), (4, 60.0, 700.0, 5.0),
                                      (4, 86.0, 700.0, 5.0), (4, 96.0, 700.0, 5.0),
                                      (4, 60.0, 380.0, 5.0), (4, 60.0, 700.0, 27.0),
                                      (4, 60.0, 700.0, 36.0)):
        points, at, up = [(0.0, 5000.0), (200.0, 7000.0), (330.0, 7000.0)], 330.0, 7000.0
        for k in range(count):
            up += size if k % 2 else -size
            points += [(at + swing, up), (at + swing + pause, up)]
            at += swing + pause
        points += [(at + 200, up), (at + 400, 3000.0)]
        clock = stamps(at + 420, 1.0)
        made[f"{count} swings of {swing:g} s, {size:g} ft, {pause:g} s"] = flown(
            clock, straight(clock, *points), 160 + 0 * clock)
    for rate in (3600.0, 4200.0, 5200.0):
        for seconds in (50.0, 62.0, 75.0, 120.0):
            clock = stamps(900, 1.0)
            drop = rate * seconds / 60
            made[f"{rate:g} ft/min for {seconds:g} s"] = flown(clock, 24000 + straight(
                clock, (300, 0), (306, -200), (306 + seconds, -drop), (330 + seconds, -drop - 700),
                (700, -drop - 700), (890, -15000)), 240 + 0 * clock)
    return made


def approaches() -> dict[str, Flight]:
    """Approaches, go-arounds and low flights to a ground that was recorded."""
    made = {}
    for top in (2500.0, 3400.0, 5500.0, 6500.0):
        for again in (180.0, 900.0):
            time = stamps(2100 + again, 2.0)
            height = 300 + straight(
                time, (80, 0), (400, 9000), (800, 9000), (1100, 300), (1240, top),
                (1240 + again, top), (1500 + again, 60), (1512 + again, 0))
            speed = straight(time, (50, 0), (80, 110), (200, 190), (1000, 180), (1100, 120),
                             (1240, 150), (1240 + again, 150), (1512 + again, 100),
                             (1540 + again, 10), (1560 + again, 0))
            made[f"again over {top:g} ft for {again:g} s"] = flown(time, height, speed)
    for seconds in (900.0, 1600.0):
        time = stamps(1400 + seconds, 2.0)
        height = 300 + straight(time, (80, 0), (300, 6000), (500, 6000), (650, 2500),
                                (650 + seconds, 2500), (800 + seconds, 0))
        speed = straight(time, (50, 0), (80, 110), (200, 170), (650 + seconds, 160),
                         (800 + seconds, 100), (830 + seconds, 10), (850 + seconds, 0))
        made[f"low for {seconds:g} s"] = flown(time, height, speed)
        made[f"never high for {seconds:g} s"] = flown(time, np.minimum(height, 2500.0), speed)
    return made


def turns() -> dict[str, Flight]:
    """Turns in wind at several rates, levels, climbs and errors of the airspeed."""
    made = {}
    kept = tuple({*LEFT} - {"measures"})
    for interval in (0.125, 0.25, 1.0, 2.0, 4.0):
        for climb in (0.0, 700.0, 1300.0):
            if interval not in (1.0, 4.0) and climb:
                continue
            time = stamps(300 if interval >= 1 else 150, interval)
            rate = 3.0 * between(time, (20, 100)) - 2.0 * between(time, (120, 149), (180, 280))
            heading = (30 + np.cumsum(rate) * interval) % 360
            height = 8000 + straight(time, (20, 0), (100, climb))
            cas = 180 + 4 * np.sin(time / 30)
            degc = standard_degc(height, 5)
            true = tas_of(cas, height, degc)
            speed, track = over_ground(true * 1.01, heading + 2.0, 34.0, 250.0)
            log = make_log(time, calibrated_airspeed=cas, pressure_altitude=height,
                           static_air_temperature=degc, heading=heading,
                           ground_speed=stepped(speed + 0.4 * noise(len(time), 85), 0.5),
                           track=stepped(track, 0.1) % 360)
            made[f"{interval:g} s, {climb:g} ft"] = Flight(log, make_sheet(VMO), leave=kept)
    for jitter in (0.6, 1.5, 3.0):
        time = stamps(300, 1.0)
        rate = 1.2 * between(time, (20, 130)) - 0.9 * between(time, (150, 280))
        heading = (30 + np.cumsum(rate)) % 360
        height = 8000 + 0 * time
        degc = standard_degc(height, 5)
        speed, track = over_ground(tas_of(180 + 0 * time, height, degc), heading, 34.0, 250.0)
        made[f"heading jitters by {jitter:g}"] = Flight(make_log(
            time, calibrated_airspeed=180 + 0 * time, pressure_altitude=height,
            static_air_temperature=degc, heading=(heading + jitter * noise(300, 86)) % 360,
            ground_speed=speed, track=track), make_sheet(VMO), leave=kept)
    for label, total in (("short", 50.0), ("just a turn", 66.0), ("whole", 360.0)):
        time = stamps(260, 1.0)
        heading = (10 + straight(time, (30, 0), (30 + total / 2.5, total))) % 360
        height = 12000 + 0 * time
        degc = standard_degc(height)
        speed, track = over_ground(tas_of(200 + 0 * time, height, degc), heading,
                                   25 + 3 * np.sin(time / 40), 320.0)
        made[label] = Flight(make_log(
            time, calibrated_airspeed=200 + 0 * time, pressure_altitude=height,
            static_air_temperature=degc, heading=heading, ground_speed=speed, track=track),
            make_sheet(VMO), leave=kept)
    return made


FAMILIES = {"from_stand_to_stand": from_stand_to_stand, "rejected": rejected,
            "circuits": circuits, "levels": levels, "holds": holds, "manoeuvres": manoeuvres,
            "approaches": approaches, "turns": turns}
