"""Flights by what took their margin away, how serious it was, and what the warning did."""

from __future__ import annotations

from typing import Any

import numpy as np

from loganalyze import FlightLog, LimitsSheet
from loganalyze.testing import make_log, make_sheet
from tests.regression.kept_results import WHY as CAUSES
from tests.regression.kept_results import Flight
from tests.regression.made_columns import (
    between,
    noise,
    over_ground,
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
WHY = ("quality", "tolerances", "uncertainty", "columns", "screened", "judged_shares", "unknown",
       "airborne", "exceedances", "phases", "findings", "checks")


def causes() -> dict[str, Flight]:
    """Exceedances by diving, power, warmer air, wind, a falling limit, flaps; with pieces lost."""
    time = stamps(400, 1.0)
    level = 9000 + 0 * time
    dive = through(time, (0, 14000), (150, 14000), (330, 8000))
    high = through(time, (0, 24000), (100, 24000), (300, 20500), (400, 20500))
    rise = through(time, (0, 222), (150, 226), (290, 252.5), (340, 250), (390, 232))
    mach = through(time, (0, 214), (120, 216), (280, 228), (390, 214))
    degc = standard_degc(level)
    flown: dict[str, tuple[LimitsSheet, dict[str, Any]]] = {}
    both = make_sheet(VMO, MMO)
    flown["dive"] = both, {"calibrated_airspeed": rise, "pressure_altitude": dive,
                           "static_air_temperature": standard_degc(dive)}
    flown["power"] = both, {"calibrated_airspeed": rise, "pressure_altitude": level,
                            "static_air_temperature": degc}
    flown["colder air"] = both, {
        "calibrated_airspeed": rise, "pressure_altitude": level,
        "static_air_temperature": degc + through(time, (120, 6), (300, -9))}
    flown["no temperature"] = both, {"calibrated_airspeed": rise, "pressure_altitude": dive}
    flown["Mach limit in a descent"] = both, {
        "calibrated_airspeed": mach, "pressure_altitude": high,
        "static_air_temperature": standard_degc(high, -4)}
    flown["Mach limit in a climb"] = both, {
        "calibrated_airspeed": 222 + 0 * time, "pressure_altitude": through(
            time, (0, 18000), (390, 21500)),
        "static_air_temperature": standard_degc(high, -4)}
    wind = through(time, (0, -20), (200, -20), (280, 15), (400, 15))
    true = tas_of(rise, level, degc)
    ground, track = over_ground(true, 80 + 0 * time, wind, 80.0)
    flown["wind"] = both, {"calibrated_airspeed": rise, "pressure_altitude": level,
                           "static_air_temperature": degc, "ground_speed": ground, "track": track,
                           "heading": 80 + 0 * time}
    ground, track = over_ground(true, 80 + 0.3 * time, 30.0, 150.0)
    flown["turning in wind"] = both, {
        "calibrated_airspeed": rise, "pressure_altitude": level, "static_air_temperature": degc,
        "ground_speed": ground, "track": track, "heading": 80 + 0.3 * time,
        "load_factor": 1 + 0.2 * between(time, (250, 300)), "pitch": 2 - time / 100}
    flaps = make_sheet(VMO, {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 180,
                             "when": {"flap_deg": {"above": 1}}},
                       {"name": "VLE", "quantity": "indicated_airspeed", "maximum_kt": 190,
                        "when": {"gear_down": {"is": True}}})
    slow = through(time, (0, 195), (150, 184), (250, 182), (390, 170))
    flown["flaps lowered"] = flaps, {
        "calibrated_airspeed": slow, "pressure_altitude": level, "static_air_temperature": degc,
        "flap": straight(time, (200, 0), (206, 10)), "gear_down": between(time, (100, 180))}
    table = make_sheet({"name": "VMO", "quantity": "calibrated_airspeed",
                        "by_pressure_altitude": [[0, 235], [10000, 250], [20000, 240]]},
                       {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 296},
                       {"name": "VEAS", "quantity": "equivalent_airspeed", "maximum_kt": 240})
    flown["tables"] = table, {"calibrated_airspeed": rise - 4, "pressure_altitude": dive,
                              "static_air_temperature": standard_degc(dive, 10)}
    flown["gap before"] = both, {"calibrated_airspeed": without(rise, slice(180, 200)),
                                 "pressure_altitude": dive,
                                 "static_air_temperature": standard_degc(dive)}
    flown["temperature lost"] = both, {
        "calibrated_airspeed": rise, "pressure_altitude": dive,
        "static_air_temperature": without(standard_degc(dive), slice(200, 320))}
    flown["twice in 25 s"] = both, {
        "calibrated_airspeed": through(time, (0, 222), (200, 254), (222, 243), (240, 252.5),
                                       (300, 230)),
        "pressure_altitude": dive, "static_air_temperature": standard_degc(dive)}
    flown["twice in 45 s"] = both, {
        "calibrated_airspeed": through(time, (0, 222), (200, 254), (232, 240), (262, 252.5),
                                       (300, 230)),
        "pressure_altitude": dive, "static_air_temperature": standard_degc(dive)}
    flown["over from the start"] = both, {
        "calibrated_airspeed": through(time, (0, 251), (60, 256), (150, 240)),
        "pressure_altitude": level, "static_air_temperature": degc}
    flown["speedbrake and power"] = both, {
        "calibrated_airspeed": rise, "pressure_altitude": dive,
        "static_air_temperature": standard_degc(dive), "speedbrake": 20 * between(time, (300, 330)),
        "power_lever": 40 - 30 * between(time, (295, 400)), "autopilot": between(time, (0, 280)),
        "torque": 60 - 40 * between(time, (296, 400)), "weight": 9000 + 0 * time,
        "vertical_speed": np.gradient(dive) * 60}
    return {label: Flight(make_log(time, **channels), sheet, leave=WHY, also=("pointer", "dial"))
            for label, (sheet, channels) in flown.items()}


def helped() -> dict[str, Flight]:
    """What would have helped: descents with a reduction, earlier and shallower; and refusals."""
    made: dict[str, Flight] = {}
    for interval in (0.25, 1.0):
        for fall in (600.0, 1500.0, 2500.0):
            for size in (0.0, 0.4):
                time = stamps(240, interval)
                height = 14000 - through(time, (40, 0), (60, fall / 6), (200, fall * 2.5))
                speed = through(time, (0, 238), (60, 240), (125, 253), (170, 243), (239, 238))
                made[f"{interval:g} s, {fall:g} ft/min, {size:g} kt"] = Flight(make_log(
                    time, calibrated_airspeed=speed + size * noise(len(time), 91),
                    pressure_altitude=height, static_air_temperature=standard_degc(height, 3)),
                    make_sheet(VMO, MMO), leave=(*WHY, "near", "assessed", "measures"),
                    also=("what if",))
    time = stamps(240, 0.5)
    for label, fall, slower in (("rate changes", 2500.0, 0.0), ("rate changes little", 400.0, 0.0),
                                ("speed bends", 0.0, 6.0), ("speed bends little", 0.0, 2.0)):
        height = 14000 - through(time, (40, 0), (60, 300), (200, 4000)) - through(
            time, (108, 0), (116, fall / 8))
        speed = straight(time, (0, 238), (60, 240), (112, 250 + slower), (125, 253.5),
                         (140, 246), (200, 240))
        made[label] = Flight(make_log(
            time, calibrated_airspeed=speed, pressure_altitude=height,
            static_air_temperature=standard_degc(height, 3)), make_sheet(VMO),
            leave=(*WHY, "near", "assessed", "measures"), also=("what if",))
    for rate in (0.2, 0.35, 0.6):
        height = 14000 - through(time, (40, 0), (60, 300), (200, 5000))
        speed = straight(time, (0, 241), (105, 253.5 - 16 * rate), (121, 253.5), (150, 244),
                         (200, 240))
        made[f"gains {rate:g} kt/s from 105 s"] = Flight(make_log(
            time, calibrated_airspeed=speed, pressure_altitude=height,
            static_air_temperature=standard_degc(height, 3)), make_sheet(VMO),
            leave=(*WHY, "near", "assessed", "measures"), also=("what if",))
    for reduced in (118.0, 121.0):
        height = 14000 - through(time, (40, 0), (60, 300), (200, 5000))
        speed = straight(time, (0, 232), (60, 238), (reduced, 253.2), (150, 244), (200, 240))
        made[f"reduced at {reduced:g}"] = Flight(make_log(
            time, calibrated_airspeed=speed, pressure_altitude=height,
            static_air_temperature=standard_degc(height, 3)), make_sheet(VMO),
            leave=(*WHY, "near", "assessed", "measures"), also=("what if",))
    height = 14000 - through(time, (40, 0), (60, 300), (200, 4000))
    speed = through(time, (0, 238), (60, 240), (125, 253), (170, 243), (239, 238))
    air = standard_degc(height, 3)
    for label, channels in {
            "power at once": {"power_lever": 40 - 30 * between(time, (123, 240))},
            "speedbrake": {"speedbrake": 25 * between(time, (120, 240))},
            "flap moves": {"flap": straight(time, (110, 0), (114, 10))},
            "gear": {"gear_down": between(time, (124, 240))},
            "no temperature": {"static_air_temperature": np.nan + 0 * time},
            "peak not left": {"calibrated_airspeed": through(time, (0, 238), (125, 253))},
            "two peaks": {"calibrated_airspeed": speed + through(
                time, (125, 0), (150, 6), (160, 0))},
            "gap": {"calibrated_airspeed": without(speed, slice(200, 216))}}.items():
        made[label] = Flight(make_log(time, **{
            "calibrated_airspeed": speed, "pressure_altitude": height,
            "static_air_temperature": air, **channels}), make_sheet(VMO),
            leave=(*WHY, "near", "assessed", "measures"), also=("what if",))
    return made


NO_RULES = ("assessed.displayed", "assessed.missed_peak", "assessed.evidence")


def severities() -> dict[str, Flight]:
    """Rules of every kind, met by little, just missed, by all stretches together, by Mach."""
    rules = [
        {"name": "any", "level": "low"},
        {"name": "3 kt for 6 s", "level": "medium", "excess_kt": 3.0, "time_s": 6.0},
        {"name": "2 kt for 20 s in all", "level": "medium", "excess_kt": 2.0, "time_s": 20.0,
         "time_counts": "in all", "limits": ["VMO"]},
        {"name": "60 kt s", "level": "medium", "integral_kt_s": 60.0},
        {"name": "Mach .006", "level": "high", "excess_mach": 0.006},
        {"name": "8 kt", "level": "high", "excess_kt": 8.0, "excess_mach": 0.02},
        {"name": "long", "level": "high", "time_s": 60.0, "example": True}]
    sheet = LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
        "limit": [VMO, MMO, {"name": "VEAS", "quantity": "equivalent_airspeed",
                             "maximum_kt": 246}],
        "severity": rules, "ladder": {"kt": [0, 1, 2, 4, 8], "mach": [0.002, 0.005, 0.02]}})
    made = {}
    for interval in (0.25, 1.0):
        time = stamps(180, interval)
        for excess in (0.4, 2.2, 3.3, 4.5, 8.6):
            for length in (4.0, 12.0, 62.0):
                speed = through(time, (0, 238), (50, 250 + excess), (50 + length, 250 + excess),
                                (160, 236)) + 0.1 * np.sin(time * 2)
                if interval == 0.25 and length != 12.0:
                    continue
                made[f"{interval:g} s, {excess:g} kt for {length:g} s"] = Flight(
                    make_log(time, calibrated_airspeed=speed,
                             pressure_altitude=5000 + 0 * time), sheet,
                    leave=(*WHY, *CAUSES, *NO_RULES, "near", "measures", "time_to_limit"))
    time = stamps(300, 1.0)
    height = through(time, (0, 22000), (299, 19000))
    for excess in (4.0, 9.0, 16.0):
        base = 218 + 12 * time / 300
        speed = base + excess * np.exp(-((time - 150) / 25) ** 2)
        made[f"Mach, {excess:g} kt"] = Flight(make_log(
            time, calibrated_airspeed=speed, pressure_altitude=height,
            static_air_temperature=standard_degc(height)), sheet,
            leave=(*WHY, *CAUSES, *NO_RULES, "near", "measures", "time_to_limit"))
    touches = 247.5 + 6.0 * np.sin(time / 7.0) * between(time, (60, 240))
    made["touches"] = Flight(make_log(time, calibrated_airspeed=touches,
                                      pressure_altitude=5000 + 0 * time), sheet,
                             leave=(*WHY, *CAUSES, *NO_RULES, "near", "measures", "time_to_limit"))
    holed = without(through(time, (0, 238), (100, 256), (200, 256), (280, 238)), slice(150, 156))
    made["with a hole"] = Flight(make_log(time, calibrated_airspeed=holed,
                                          pressure_altitude=5000 + 0 * time), sheet,
                                 leave=(*WHY, *CAUSES, *NO_RULES, "near", "measures",
                                        "time_to_limit"))
    return made


def warnings() -> dict[str, Flight]:
    """Overspeed warnings on time, early, late, missing, spurious, chopped, in gaps."""
    time = stamps(240, 1.0)
    speed = through(time, (0, 240), (100, 252), (130, 262), (160, 250), (239, 238))
    height = through(time, (0, 17000), (239, 12000))
    spans: dict[str, list[tuple[float, float]]] = {
        "on time": [(121, 148)], "early": [(82, 150)], "a little early": [(96, 150)],
        "late": [(131, 146)], "missing": [], "spurious": [(20, 26)],
        "chopped": [(121, 124), (126, 129), (131, 148)],
        "chopped for long": [(121, 124), (130, 148)], "on from the start": [(0, 130)],
        "to the end": [(121, 240)], "at the peak": [(130, 131)], "late by much": [(140, 150)],
        "twice": [(121, 128), (138, 147), (200, 204)]}
    limits = (VMO, {"name": "MMO", "quantity": "mach", "maximum": 0.52},
              {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180,
               "when": {"flap_deg": {"above": 1}}})
    leave = (*WHY, "near", "assessed", "measures", "time_to_limit", "screened_s")
    made = {}
    for label, on in spans.items():
        for margin, stated in (("", {}), (", other", {
                "limits": ["MMO"], "threshold_mach": 0.004, "tolerance_mach": 0.002})):
            sheet = LimitsSheet.model_validate({
                "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
                "limit": list(limits), "warning": stated})
            made[label + margin] = Flight(make_log(
                time, calibrated_airspeed=speed, pressure_altitude=height, flap=0 * time,
                overspeed_warning=between(time, *on)), sheet, leave=leave)
    on = between(time, (121, 148))
    sheet = make_sheet(*limits[:2])
    tight = LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
        "limit": [VMO], "warning": {"threshold_kt": 0.0, "tolerance_kt": 0.0}})
    for label, channels in {
            "altitude missing at the onset": {"pressure_altitude": without(
                height, slice(118, 124)), "overspeed_warning": on},
            "airspeed missing at the onset": {"calibrated_airspeed": without(
                speed, slice(118, 124)), "overspeed_warning": on},
            "blank at the onset": {"overspeed_warning": without(on, slice(118, 124))},
            "blank while on": {"overspeed_warning": without(on, slice(130, 136))},
            "blank at the end": {"overspeed_warning": without(on, slice(140, 240))}}.items():
        made[label] = Flight(make_log(time, **{"calibrated_airspeed": speed,
                                               "pressure_altitude": height, **channels}),
                             sheet, leave=leave)
    made["no tolerance"] = Flight(make_log(time, calibrated_airspeed=speed,
                                           pressure_altitude=height, overspeed_warning=on), tight,
                                  leave=leave)
    from loganalyze.record.flight_log import Channel

    rows = np.arange(0, 240, 4, dtype=np.int32)
    made["every 4 s"] = Flight(make_log(
        time, calibrated_airspeed=speed, pressure_altitude=height,
        overspeed_warning=Channel(on[rows], rows, 4.0, column="OVSP")), sheet, leave=leave)
    kept = between(time, (118, 125)) == 0
    made["gap at the onset"] = Flight(make_log(
        time[kept], 1.0, calibrated_airspeed=speed[kept], pressure_altitude=height[kept],
        overspeed_warning=on[kept]), sheet, leave=leave)
    return made


def closing() -> dict[str, Flight]:
    """How soon a limit would have been reached, at several rates, rates of sampling and heights."""
    made = {}
    leave = tuple({*WHY, "assessed", "near"} - {"phases"})
    for interval in (0.25, 1.0, 4.0):
        for rate in (0.1, 0.4, 1.0, 2.5):
            time = stamps(300, interval)
            top = 244.0
            speed = straight(time, (0, top - rate * 60 - 10), (120, top - rate * 60),
                             (180, top), (190, top - 4), (300, top - 20))
            made[f"{interval:g} s, {rate:g} kt/s"] = Flight(make_log(
                time, calibrated_airspeed=stepped(speed + 0.2 * noise(len(time), 95), 0.25),
                pressure_altitude=7000 + 4 * time,
                static_air_temperature=standard_degc(7000 + 4 * time)),
                make_sheet(VMO, MMO), leave=leave)
    for interval in (1.0,):
        for fall in (1000.0, 3000.0):
            time = stamps(300, interval)
            height = 23000 - fall / 60 * np.clip(time - 100, 0, 90)
            made[f"descent of {fall:g} ft/min"] = Flight(make_log(
                time, calibrated_airspeed=straight(time, (0, 200), (100, 203), (190, 216),
                                                   (300, 205)), pressure_altitude=height),
                make_sheet(VMO, MMO), leave=leave)
    return made


def measured() -> dict[str, Flight]:
    """The measures of every flight: bands, histograms, smallest margins, with gaps and phases."""
    made: dict[str, Flight] = {}
    leave = ("quality", "tolerances", "columns", "exceedances", "assessed", "near", "checks",
             "findings")
    time = stamps(60, 1.0)
    for margin in (0.0, 5.0, 10.0, 20.0):
        made[f"{margin:g} kt below"] = Flight(
            make_log(time, calibrated_airspeed=250.0 - margin + 1.0 * (time > 40),
                     pressure_altitude=7000 + 0 * time), make_sheet(VMO), leave=leave)
    for interval in (0.5, 3.0):
        time = stamps(1500, interval)
        height = 800 + through(time, (60, 0), (500, 17000), (900, 17000), (1450, 200))
        speed = through(time, (30, 0), (70, 120), (200, 205), (500, 214), (900, 222),
                        (1150, 246.5), (1300, 190), (1450, 110), (1490, 5))
        gap = (between(time, (600, 640)) == 0)
        flap = straight(time, (150, 15), (160, 0), (1280, 0), (1290, 15))
        log: FlightLog = make_log(
            time[gap], interval, calibrated_airspeed=np.maximum(speed, 30)[gap],
            pressure_altitude=height[gap], flap=flap[gap],
            static_air_temperature=without(standard_degc(height), slice(10, 30))[gap])
        made[f"{interval:g} s"] = Flight(log, make_sheet(
            VMO, MMO, {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 205,
                       "when": {"flap_deg": {"above": 2}}},
            {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 300}), leave=leave)
    return made




FAMILIES = {"causes": causes, "what_would_have_helped": helped, "severities": severities,
            "warnings": warnings, "closing": closing, "measures": measured}
