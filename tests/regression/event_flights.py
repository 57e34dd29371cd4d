"""Flights along a limit: touches that are joined or not, holes, gaps, edges of the log."""

from __future__ import annotations

from typing import Any

import numpy as np

from loganalyze import FlightLog, Settings
from loganalyze.testing import make_log, make_sheet
from tests.regression.kept_results import LADDERS, WHY, Flight
from tests.regression.made_columns import (
    Column,
    between,
    noise,
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
EVENTS = ("quality", "tolerances", "measures", "uncertainty", "time_to_limit", "phases", "near",
          "columns", "judged_shares", "smallest", "highest", "airborne", "checks", "assessed")


def cut(time: Column, *gaps: tuple[float, float], interval_s: float | None = None,
        **channels: Column) -> FlightLog:
    """A log without the rows in [start, end) of each gap."""
    kept = between(time, *gaps) == 0.0
    interval = interval_s or float(np.median(np.diff(time)))
    return make_log(time[kept], interval, **{name: np.broadcast_to(values, time.shape)[kept]
                                             for name, values in channels.items()})


def two_touches(apart: float, dip: float, interval_s: float = 0.5, over: float = 2.5) -> FlightLog:
    """Two stretches over the limit; between them a dip below it of the size and length."""
    time = stamps(160, interval_s)
    half = apart / 2
    speed = straight(time, (0, 240), (50, 248), (60, 250 + over), (80 - half - 1, 250 + over),
                     (80 - half, 250), (80, 250 - dip), (80 + half, 250),
                     (80 + half + 1, 250 + over), (100, 250 + over), (110, 247), (160, 238))
    return make_log(time, calibrated_airspeed=speed, pressure_altitude=straight(
        time, (0, 9000), (160, 8000)), static_air_temperature=-2.0)


def joined() -> dict[str, Flight]:
    """Touches so far apart, so far below the limit between them; settings that join otherwise."""
    sheet = make_sheet(VMO)
    made = {f"{apart:g} s, {dip:g} kt": Flight(two_touches(apart, dip), sheet, leave=EVENTS)
            for apart in (2.2, 4.4, 4.9, 5.4, 8.2) for dip in (0.4, 1.9, 2.2, 3.6)}
    made["longer joins"] = Flight(two_touches(8.2, 1.9), sheet, leave=EVENTS,
                                  settings=Settings(join_gap_s=9))
    made["wider joins"] = Flight(two_touches(4.4, 3.6), sheet, leave=EVENTS,
                                 settings=Settings(join_margin_kt=4))
    made["brief"] = Flight(two_touches(8.2, 2.2), sheet, leave=EVENTS,
                           settings=Settings(minimum_duration_s=26.0, ride_gap_s=0.0))
    return made


def joined_mach() -> dict[str, Flight]:
    """The same against a Mach limit and a table, at several rates."""
    made = {}
    for interval in (0.25, 1.0, 2.0):
        for dip in (0.0021, 0.0039, 0.0044, 0.009):
            time = stamps(240, interval)
            height = through(time, (0, 21000), (240, 19500))
            mach = straight(time, (0, .48), (70, .503), (100, .503), (102, .4999), (104, .5 - dip),
                            (106, .4999), (108, .504), (150, .504), (160, .49))
            cas = _cas_of(mach, height)
            made[f"{interval:g} s, {dip:g}"] = Flight(
                make_log(time, calibrated_airspeed=cas, pressure_altitude=height,
                         static_air_temperature=standard_degc(height, 5)),
                make_sheet(MMO, {"name": "M table", "quantity": "mach", "by_pressure_altitude": [
                    [15000, .47], [25000, .5167]]}),
                leave=(*({*EVENTS} - {"assessed"}), *WHY, "assessed.displayed")
                if dip == 0.009 else EVENTS)
    return made


def _cas_of(mach: Column, height_ft: Column) -> Column:
    from loganalyze.simulate import pressures

    static = pressures.static_pressure(height_ft * 0.3048)
    return pressures.calibrated_airspeed(pressures.impact_ratio(mach) * static) * 3600 / 1852


def ridden() -> dict[str, Flight]:
    """A speed held below the limit in noise of several sizes, touches far apart."""
    made = {}
    for size in (0.12, 0.5, 1.1):
        for apart in (30.0, 100.0, 117.0, 123.0, 240.0):
            time = stamps(700)
            speed = (straight(time, (0, 235), (120, 250 - 2 * size), (600, 250 - 2 * size),
                              (690, 236)) + size * np.clip(noise(700, 9), -1.8, 1.8))
            for at in (250.0, 250.0 + apart):
                speed[int(at)] = 250.0 + 0.7 * size
            made[f"{size:g} kt, {apart:g} s"] = Flight(
                make_log(time, calibrated_airspeed=stepped(speed, 0.0625),
                         pressure_altitude=9000 + time), make_sheet(VMO), leave=EVENTS)
    time = stamps(500)
    for label, step in (("steps of 1 kt", 1.0), ("steps of 2 kt", 2.0)):
        speed = stepped(249.6 + 1.2 * np.sin(time / 17.0) + 0.6 * noise(500, 2), step)
        made[label] = Flight(make_log(time, calibrated_airspeed=speed, pressure_altitude=9000.0),
                             make_sheet(VMO, {"name": "VTAS", "quantity": "true_airspeed",
                                              "maximum_kt": 287}), leave=EVENTS)
    return made


def holes() -> dict[str, Flight]:
    """Holes in an exceedance: gaps and rejected samples, of several lengths and excesses."""
    made = {}
    time = stamps(220, 0.5)
    for wait in (2.0, 5.0, 9.0, 9.9, 10.6):
        for excess in (1.2, 4.0, 9.0, 26.0, 62.0):
            speed = straight(time, (0, 240), (90, 250 + excess), (130, 250 + 1.3 * excess),
                             (200, 238)) + 0.1 * np.sin(time)
            height = straight(time, (0, 12000), (220, 9000))
            if wait in (5.0, 10.6):
                lost = without(speed, np.flatnonzero((time >= 110) & (time < 110 + wait)))
                log = make_log(time, calibrated_airspeed=lost, pressure_altitude=height)
            else:
                log = cut(time, (110, 110 + wait), calibrated_airspeed=speed,
                          pressure_altitude=height)
            made[f"{wait:g} s, {excess:g} kt"] = Flight(log, make_sheet(VMO), leave=EVENTS)
    for size in (0.25, 0.5, 0.9):
        for excess in (7.0, 16.0):
            speed = straight(time, (0, 240), (90, 250 + excess), (130, 250 + excess), (200, 238))
            lost = without(speed + size * noise(len(time), 12),
                           np.flatnonzero((time >= 110) & (time < 114)))
            made[f"noise of {size:g} kt, {excess:g} kt"] = Flight(
                make_log(time, calibrated_airspeed=lost, pressure_altitude=7000 + 0 * time),
                make_sheet(VMO), leave=EVENTS)
    level = 270.0 + 0.5 * np.sin(time)
    for under in (249.0, 235.0, 251.0):
        for first, stop in ((110.0, 113.0), (110.0, 116.0)):
            middle = (first + stop) / 2
            speed = np.where(time == middle, under, level)
            kept = (time < first) | (time >= stop) | (time == middle)
            made[f"{under:g} kt within {stop - first:g} s"] = Flight(
                make_log(time[kept], 0.5, calibrated_airspeed=speed[kept],
                         pressure_altitude=7000 + 0 * time[kept]), make_sheet(VMO), leave=EVENTS)
    return made


def not_in_force() -> dict[str, Flight]:
    """What lies between two stretches over a limit that wasn't in force, or not known to be."""
    time = stamps(200)
    limit = {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180.0,
             "when": {"flap_deg": {"above": 5.0}}}
    speed = straight(time, (0, 170), (80, 182), (100, 186), (160, 172))
    made = {}
    for label, flap in {
            "retracted for 2 s": 10.0 - 10.0 * between(time, (96, 98)),
            "retracted for 40 s": 10.0 - 10.0 * between(time, (90, 130)),
            "unknown for 3 s": without(10.0 + 0 * time, slice(96, 99)),
            "retracted in the hole": 10.0 - 10.0 * between(time, (96, 99)),
            "unknown in the hole": without(10.0 + 0 * time, slice(96, 99)),
            "out throughout": 10.0 + 0 * time}.items():
        hole = "hole" in label or label == "out throughout"
        values = without(speed, slice(95, 101)) if hole else speed
        made[label] = Flight(make_log(time, calibrated_airspeed=values, pressure_altitude=6000.0,
                                      flap=flap), make_sheet(limit), leave=EVENTS)
        dip = np.where((time >= 94) & (time <= 100), 179.5, speed)
        made[label + ", dip"] = Flight(make_log(
            time, calibrated_airspeed=dip, pressure_altitude=6000.0, flap=flap),
            make_sheet(limit), leave=EVENTS)
    return made


def ends() -> dict[str, Flight]:
    """Exceedances at the ends of the log, of single samples, on irregular stamps, with dates."""
    time = stamps(90)
    shapes = {
        "begins over": straight(time, (0, 253), (20, 247), (60, 247), (80, 240)),
        "ends over": straight(time, (0, 240), (70, 249), (89, 254)),
        "one sample": np.where(time == 45, 250.8, 248.0),
        "last sample": np.where(time == 89, 251.0, 247.0),
        "first sample": np.where(time == 0, 251.0, 247.0),
        "all over": 252.0 + 0.5 * np.sin(time),
        "at the limit": np.full(90, 250.0),
        "touches it": np.where(time == 45, 250.0, 248.0),
    }
    made = {label: Flight(make_log(time, calibrated_airspeed=speed, pressure_altitude=7000.0),
                          make_sheet(VMO), leave=(*({*EVENTS} - {"assessed", "near"}), *WHY,
                                                  *LADDERS, "assessed.displayed"))
            for label, speed in shapes.items()}
    irregular = np.cumsum(np.tile([1.0, 1.2, 0.7, 1.4, 0.9, 2.6], 20))
    speed = 246 + 6 * np.sin(irregular / 9)
    made["irregular"] = Flight(make_log(irregular, calibrated_airspeed=speed,
                                        pressure_altitude=7000.0), make_sheet(VMO), leave=EVENTS)
    log = make_log(time, calibrated_airspeed=shapes["begins over"], pressure_altitude=7000.0)
    dated = FlightLog(log.time, log.channels, log.source,
                      np.datetime64("2020-02-29T23:59:30", "ns"), log.interval_s)
    made["dated"] = Flight(dated, make_sheet(VMO), leave=EVENTS)
    for rows in (2, 3):
        made[f"{rows} rows"] = Flight(make_log(
            time[:rows], calibrated_airspeed=[245.0, 360.0, 250.0][:rows],
            pressure_altitude=[7000.0, 9000.0, 7000.0][:rows]), make_sheet(VMO),
            leave=EVENTS[1:])
    made["one row"] = Flight(make_log([0.0], calibrated_airspeed=[251.0],
                                      pressure_altitude=[7000.0]), make_sheet(VMO), leave=EVENTS)
    return made


def gaps() -> dict[str, Flight]:
    """Gaps of several lengths, as far below the limits; which of them can hide an exceedance."""
    made = {}
    time = stamps(400)
    for kt in (90.0, 150.0, 205.0, 236.0):
        for wait in (3.0, 12.0, 40.0, 110.0):
            speed = straight(time, (0, kt - 20), (150, kt), (150 + wait, kt + 6), (400, kt - 30))
            height = straight(time, (0, 6000), (400, 16000))
            log = cut(time, (150, 150 + wait), (300, 302), calibrated_airspeed=speed,
                      pressure_altitude=height, static_air_temperature=standard_degc(height))
            made[f"{kt:g} kt, {wait:g} s"] = Flight(log, make_sheet(
                VMO, MMO, {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 300}),
                leave=tuple({*EVENTS} - {"judged_shares", "smallest"}))
    return made


def in_force() -> dict[str, Flight]:
    """Limits of flaps or gear whose channel rests at a value at which they apply."""
    time = stamps(1500, 1.0)
    height = through(time, (0, 1000), (400, 12000), (1000, 12000), (1490, 1500))
    speed = through(time, (0, 120), (200, 190), (500, 215), (1200, 200), (1490, 130))
    limits = (VMO, {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180.0,
                    "when": {"flap_deg": {"above": 1.0, "up_to": 20}}},
              {"name": "VLE", "quantity": "calibrated_airspeed", "maximum_kt": 190.0,
               "when": {"gear_down": {"is": True}}})
    out = straight(time, (40, 15), (60, 0), (1380, 0), (1400, 15))
    made: dict[str, Flight] = {}
    for label, flap, gear in (
            ("rests at 1.2", out + 1.2, between(time, (0, 50), (1350, 1500))),
            ("rests at 0.8", out + 0.8, between(time, (0, 50), (1350, 1500))),
            ("forgotten for 290 s", np.where(between(time, (500, 790)) > 0, 15, out),
             between(time, (0, 50))),
            ("forgotten for 310 s", np.where(between(time, (500, 810)) > 0, 15, out),
             between(time, (0, 50))),
            ("gear always down", out, np.ones(1500)),
            ("gear down for most", out, between(time, (0, 1340))),
            ("gear inverted", out, 1.0 - between(time, (0, 50), (1350, 1500)))):
        made[label] = Flight(make_log(
            time, calibrated_airspeed=speed, pressure_altitude=height, flap=flap, gear_down=gear),
            make_sheet(*limits), leave=("quality", "tolerances", "measures", "uncertainty", "near",
                                        "phases", "checks", "assessed", "columns"))
    low = {"name": "VFE low", "quantity": "calibrated_airspeed", "maximum_kt": 180.0,
           "when": {"flap_deg": {"above": 1.0, "up_to": 20},
                    "pressure_altitude_ft": {"up_to": 9000}}}
    clean = out * 0 + 1.2
    for far, near in ((350, 200), (200, 350), (350, 350), (250, 280), (200, 80)):
        held = straight(time, (100, 150), (110, 206), (110 + far, 206), (115 + far, 187),
                        (115 + far + near, 187), (120 + far + near, 150))
        for reading in (1.2, 2.0, 2.7):
            if reading == 1.2 or (far == 350 and near == 200):
                flap = np.where(between(time, (105, 120 + far + near)) > 0, reading, clean)
                made[f"{far} s far, {near} s near over at {reading:g}"] = Flight(make_log(
                    time, calibrated_airspeed=held, flap=flap,
                    pressure_altitude=through(time, (0, 3000), (900, 4000), (1100, 12000))),
                    make_sheet(VMO, low), leave=("quality", "tolerances", "measures",
                                                 "uncertainty", "near", "phases", "checks",
                                                 "assessed", "columns"))
    for share in (0.3, 0.48, 0.52, 0.9):
        lost = without(standard_degc(height), slice(200, 200 + int(1300 * share)))
        made[f"temperature lost for {share:g}"] = Flight(make_log(
            time, calibrated_airspeed=speed, pressure_altitude=height,
            static_air_temperature=lost), make_sheet({
                "name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 262}, VMO),
            leave=tuple({*EVENTS} - {"judged_shares", "airborne"}))
    return made


def near() -> dict[str, Flight]:
    """Stretches that stayed below a limit, by how much, how long, and how far apart."""
    made = {}
    time = stamps(420, 1.0)
    sheet = make_sheet(VMO, {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 292},
                       temperature={"outside_air": "static"})
    for below in (0.2, 0.9, 1.7, 2.4, 3.5):
        for apart in (24.0, 33.0):
            speed = through(time, (0, 225), (100, 250 - below), (110, 250 - below),
                            (110 + apart / 2, 240), (110 + apart, 250 - below - 0.3),
                            (122 + apart, 250 - below - 0.3), (250, 238), (420, 236))
            made[f"{below:g} kt, {apart:g} s"] = Flight(make_log(
                time, calibrated_airspeed=speed + 0.05 * noise(420, 6),
                pressure_altitude=9000 + 2 * time,
                static_air_temperature=standard_degc(9000 + 2 * time, 8)), sheet,
                leave=tuple({*EVENTS} - {"near", "measures", "smallest"})
                if apart == 24.0 else tuple({*EVENTS} - {"near"}))
    return made


def episodes() -> dict[str, Flight]:
    """Several limits exceeded one after the other and at once."""
    time = stamps(500, 1.0)
    height = through(time, (0, 24000), (150, 24000), (480, 8000))
    made: dict[str, Flight] = {}
    for label, extra in (("a", 0.0), ("b", 4.0), ("c", -6.0)):
        speed = through(time, (0, 205), (140, 212 + extra), (260, 247 + extra), (330, 256 + extra),
                        (480, 220))
        degc = standard_degc(height, 12)
        limits: list[dict[str, Any]] = [
            VMO, {"name": "MMO", "quantity": "mach", "maximum": 0.492},
            {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 306},
            {"name": "VEAS", "quantity": "equivalent_airspeed", "maximum_kt": 246}]
        made[label] = Flight(make_log(
            time, calibrated_airspeed=speed, pressure_altitude=height, static_air_temperature=degc,
            true_airspeed=tas_of(speed, height, degc)), make_sheet(*limits),
            leave=("quality", "measures", "assessed.displayed"), also=("pointer", "dial"))
    return made


FAMILIES = {"joined": joined, "joined_in_Mach": joined_mach, "ridden": ridden, "holes": holes,
            "not_in_force": not_in_force, "ends_of_the_log": ends, "gaps": gaps,
            "limits_in_force": in_force, "near": near, "episodes": episodes}
