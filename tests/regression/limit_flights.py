"""Flights against every kind of limit, condition and table, and as they were recorded."""

from __future__ import annotations

from typing import Any

import numpy as np

from loganalyze import Settings
from loganalyze.simulate import pressures
from loganalyze.testing import make_log, make_sheet
from tests.regression.kept_results import HOW_SURE, LADDERS, WHY, Flight
from tests.regression.made_columns import (
    KNOT,
    Column,
    between,
    mach_of,
    noise,
    stamps,
    standard_degc,
    stepped,
    straight,
    tas_of,
    through,
    total_degc,
    without,
)

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 257.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.586}
FEW = ("quality", "tolerances", "measures", "near", "uncertainty", "time_to_limit", "phases",
       *WHY, *LADDERS, *HOW_SURE)


def up_and_down() -> tuple[Column, Column, Column]:
    """Time, height and airspeed of a short flight that passes each kind of limit."""
    time = stamps(700)
    height = through(time, (0, 3000), (280, 23000), (420, 23300), (690, 4200))
    speed = (through(time, (0, 205), (120, 238), (260, 232), (400, 226), (470, 262), (560, 246),
                     (640, 256), (690, 228)) + 0.6 * np.sin(time / 2.9) + 0.25 * noise(700, 5))
    return time, stepped(height, 1.0), stepped(speed, 0.125)


def kinds() -> dict[str, Flight]:
    """A limit of each kind, on days of other temperature, the temperature recorded otherwise."""
    time, height, speed = up_and_down()
    limits = (VMO, MMO, {"name": "VEAS", "quantity": "equivalent_airspeed", "maximum_kt": 250},
              {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 357},
              {"name": "VIAS", "quantity": "indicated_airspeed", "maximum_kt": 260,
               "on_pointer": False})
    made = {}
    for label, deviation, kind in (("standard", 0.0, "static"), ("warm, static", 17.0, "static"),
                                   ("cold, total", -14.0, "total"), ("warm, probe", 9.0, "probe")):
        static = standard_degc(height, deviation)
        air = static if kind == "static" else total_degc(
            speed, height, static, 0.82 if kind == "probe" else 1.0)
        sheet = make_sheet(*limits, temperature={"outside_air": kind} | (
            {"recovery_factor": 0.82} if kind == "probe" else {}))
        made[label] = Flight(make_log(
            time, calibrated_airspeed=speed, pressure_altitude=height,
            outside_air_temperature=stepped(air, 0.25)), sheet,
            also=("plain", "curves", "pointer", "dial"),
            leave=("quality", "tolerances", *LADDERS, *HOW_SURE))
    made["no temperature"] = Flight(
        make_log(time, calibrated_airspeed=speed, pressure_altitude=height),
        make_sheet(*limits), leave=FEW)
    made["no altitude"] = Flight(
        make_log(time, calibrated_airspeed=speed, static_air_temperature=standard_degc(height)),
        make_sheet(*limits), leave=FEW)
    made["compiled blocks"] = Flight(
        make_log(time, calibrated_airspeed=speed, pressure_altitude=height,
                 static_air_temperature=without(standard_degc(height), slice(450, 520))),
        make_sheet(*limits), leave=FEW)
    return made


def corrections() -> dict[str, Flight]:
    """Indicated airspeeds with instrument, position and altimeter corrections."""
    time, height, speed = up_and_down()
    flap = straight(time, (30, 20), (42, 0), (600, 0), (612, 12), (640, 12), (650, 35))
    tables: list[dict[str, Any]] = [
        {}, {"instrument_correction": [[80, 1.5], [180, 0.5], [260, -2.0]]},
        {"position_correction": [[100, 3.0], [200, 1.0], [280, -4.0]]},
        {"position_correction": [
            {"flap_deg": {"up_to": 5}, "table": [[100, 2.0], [280, -3.0]]},
            {"flap_deg": {"above": 5, "below": 25}, "table": [[90, -1.0], [280, 2.5]]}]},
        {"altimeter_correction": [[100, 30], [200, 90], [270, 240]]},
        {"instrument_correction": [[80, 1], [260, -1]],
         "position_correction": [[100, 2], [280, -3]],
         "altimeter_correction": [[100, 20], [270, 200]], "static_source_corrected": False},
        {"position_correction": [[100, 2], [280, -3]], "static_source_corrected": True},
        {"position_correction": [[100, 2], [280, -3]], "static_source_corrected": False},
    ]
    limits = (VMO, MMO, {"name": "VIAS", "quantity": "indicated_airspeed", "maximum_kt": 258},
              {"name": "VFE", "quantity": "indicated_airspeed", "maximum_kt": 200,
               "when": {"flap_deg": {"above": 1}}})
    return {f"{k}": Flight(
        make_log(time, indicated_airspeed=speed, pressure_altitude=height, flap=flap,
                 static_air_temperature=standard_degc(height, 4)),
        make_sheet(*limits, recorded="indicated", **stated), also=("plain", "dial"),
        leave=(*FEW, "smallest")) for k, stated in enumerate(tables)}


def tables() -> dict[str, Flight]:
    """Limits tabulated by altitude, left at either end, unknown there or held."""
    time, height, speed = up_and_down()
    made = {}
    for outside in ("unknown", "hold"):
        for low, high in ((3500.0, 22000.0), (-500.0, 23200.0), (5000.0, 60000.0)):
            middle = (low + min(high, 30000)) / 2
            sheet = make_sheet(
                {"name": "VMO", "quantity": "calibrated_airspeed", "outside": outside,
                 "by_pressure_altitude": [[low, 258], [middle, 258], [high, 242]]},
                {"name": "MMO", "quantity": "mach", "outside": outside,
                 "by_pressure_altitude": [[low, .45], [middle, .55], [high, .588]]},
                {"name": "VTAS", "quantity": "true_airspeed", "outside": "hold",
                 "by_pressure_altitude": [[low, 320], [high, 362]]})
            made[f"{outside} {low:g} to {high:g}"] = Flight(
                make_log(time, calibrated_airspeed=speed, pressure_altitude=height,
                         static_air_temperature=standard_degc(height, -6)), sheet,
                also=("plain", "curves", "pointer"), leave=FEW)
    return made


def conditions() -> dict[str, Flight]:
    """Limits of flaps, gear, slats, weight and altitude, with bands and dwell times."""
    time = stamps(600)
    height = through(time, (0, 4000), (200, 11000), (400, 11000), (590, 3000))
    speed = stepped(through(time, (0, 160), (60, 190), (200, 210), (400, 214), (470, 188),
                            (540, 172), (590, 150)) + 0.5 * noise(600, 3), 0.25)
    flap = (straight(time, (40, 18), (49, 5), (90, 5), (96, 0), (460, 0), (466, 10), (500, 10),
                     (507, 20), (545, 20), (556, 35)) + 0.15 * noise(600, 4))
    lever = straight(time, (39, 20), (39.5, 5), (88, 5), (88.5, 0), (459, 0), (459.5, 10),
                     (499, 10), (499.5, 20), (544, 20), (544.5, 35))
    gear = 1.0 - between(time, (25, 520))
    weight = straight(time, (0, 9200), (599, 8900))
    shapes: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
        "surface": ({"flap": flap}, {}),
        "lever": ({"flap_lever": lever}, {"configuration": {"flap_transit_s": 8}}),
        "lever, slow": ({"flap_lever": lever}, {"configuration": {"flap_transit_s": 25}}),
        "both": ({"flap": flap, "flap_lever": lever}, {}),
        "locked": ({"flap": flap}, {"configuration": {"gear_down": "locked",
                                                      "gear_transit_s": 22}}),
        "flap lost": ({"flap": without(flap, slice(465, 530))}, {}),
        "spike of the flap": ({"flap": np.where((time == 300) | (time == 480), 25.0, flap)}, {}),
        "offset": ({"flap": flap + 1.4}, {}),
    }
    limits = (
        {"name": "VFE 10", "quantity": "indicated_airspeed", "maximum_kt": 186,
         "when": {"flap_deg": {"above": 1, "up_to": 12, "deadband": 0.4}}},
        {"name": "VFE 20", "quantity": "indicated_airspeed", "maximum_kt": 176,
         "when": {"flap_deg": {"above": 12, "below": 25, "dwell_s": 3}}},
        {"name": "VFE 35", "quantity": "indicated_airspeed", "maximum_kt": 158,
         "when": {"flap_deg": {"from": 25}}},
        {"name": "VLE", "quantity": "indicated_airspeed", "maximum_kt": 180,
         "when": {"gear_down": {"is": True, "dwell_s": 2}}},
        {"name": "VLO", "quantity": "indicated_airspeed", "maximum_kt": 165,
         "when": {"gear_extending": {"is": True}}},
        {"name": "VLO up", "quantity": "calibrated_airspeed", "maximum_kt": 162,
         "when": {"gear_retracting": {"is": True}}},
        {"name": "heavy", "quantity": "calibrated_airspeed", "maximum_kt": 208,
         "when": {"weight_kg": {"above": 9050}, "pressure_altitude_ft": {"from": 8000}}},
        {"name": "high", "quantity": "mach", "outside": "unknown",
         "by_pressure_altitude": [[9000, .36], [10900, .383]],
         "when": {"pressure_altitude_ft": {"above": 6000}}})
    made = {}
    for label, (channels, stated) in shapes.items():
        base = make_sheet(*limits).model_dump(exclude_none=True, by_alias=True)
        sheet = type(make_sheet(VMO)).model_validate(
            {"aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"},
             "limit": list(limits), **stated})
        assert base["limit"]
        made[label] = Flight(
            make_log(time, calibrated_airspeed=speed, pressure_altitude=height, gear_down=gear,
                     weight=weight, static_air_temperature=standard_degc(height), **channels),
            sheet, also=("plain",), leave=("quality", "tolerances", "uncertainty", *LADDERS,
                                          *HOW_SURE, "measures"))
    made["declared"] = Flight(
        make_log(time, calibrated_airspeed=speed, pressure_altitude=height, weight=weight),
        make_sheet(*limits), declared={"flap": np.radians(10.0), "gear_down": 1.0,
                                       "gear_extending": 0.0}, leave=FEW)
    return made


def ceilings() -> dict[str, Flight]:
    """Ceilings of a school beside limits, with conditions and tables."""
    time, height, speed = up_and_down()
    own = ({"name": "school", "set_by": "the school", "quantity": "calibrated_airspeed",
            "maximum_kt": 240},
           {"name": "low", "set_by": "the operator", "quantity": "indicated_airspeed",
            "by_pressure_altitude": [[3000, 205], [10000, 240]], "outside": "hold",
            "when": {"pressure_altitude_ft": {"up_to": 10000}}},
           {"name": "buffet", "set_by": "the school", "quantity": "mach", "maximum": .485})
    channels = {"calibrated_airspeed": speed, "pressure_altitude": height,
                "static_air_temperature": standard_degc(height)}
    gap = np.r_[0:130, 190:500, 504:700]
    return {
        "whole": Flight(make_log(time, **channels), make_sheet(VMO, MMO, ceilings=own), leave=FEW),
        "with gaps": Flight(make_log(time[gap], 1.0, **{
            name: values[gap] for name, values in channels.items()}),
            make_sheet(VMO, ceilings=own), leave=FEW),
        "without altitude": Flight(make_log(time, calibrated_airspeed=speed),
                                   make_sheet(VMO, ceilings=own), leave=FEW),
    }


def recorded() -> dict[str, Flight]:
    """The same flight recorded as pressures, as Mach number, or both, and at other rates."""
    time, height, speed = up_and_down()
    static = pressures.static_pressure(height * 0.3048) / 100.0
    impact = pressures.impact_pressure(speed * KNOT) / 100.0
    limits = (VMO, MMO, {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 357})
    degc = standard_degc(height, 3)
    every = np.arange(0, len(time), 4)
    return {
        "impact": Flight(make_log(time, impact_pressure=impact, static_pressure=static,
                                  static_air_temperature=degc), make_sheet(*limits),
                         leave=FEW[1:]),
        "total": Flight(make_log(time, total_pressure=impact + static, static_pressure=static,
                                 static_air_temperature=degc), make_sheet(*limits),
                        leave=FEW[1:]),
        "Mach": Flight(make_log(time, mach=mach_of(speed, height), pressure_altitude=height,
                                static_air_temperature=degc),
                       make_sheet(*limits, from_mach=True), leave=FEW),
        "beside": Flight(make_log(time, calibrated_airspeed=speed, pressure_altitude=height,
                                  mach=mach_of(speed, height),
                                  true_airspeed=tas_of(speed, height, degc),
                                  static_air_temperature=degc), make_sheet(*limits),
                         leave=("quality", *LADDERS, *WHY)),
        "quarter rate": Flight(make_log(time[every], calibrated_airspeed=speed[every],
                                        pressure_altitude=height[every],
                                        static_air_temperature=degc[every]),
                               make_sheet(*limits), leave=FEW),
        "tolerance": Flight(make_log(time, calibrated_airspeed=speed, pressure_altitude=height),
                            make_sheet(VMO, MMO), leave=FEW,
                            settings=Settings(tolerance_kt=2.5, tolerance_mach=0.004)),
        "indicated altitude": Flight(make_log(
            time, calibrated_airspeed=speed, indicated_altitude=height + 310.0,
            altimeter_setting=np.where(time < 250, 1024.5, 1013.25)), make_sheet(*limits),
            leave=FEW),
    }


def crossings() -> dict[str, Flight]:
    """Where limits of several kinds cross, low and high, with corrections and conditions."""
    cas = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 180.0}
    mach = {"name": "MMO", "quantity": "mach", "maximum": 0.55}
    tas = {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 260.0}
    eas = {"name": "VEAS", "quantity": "equivalent_airspeed", "maximum_kt": 176.0}
    ias = {"name": "VIAS", "quantity": "indicated_airspeed", "maximum_kt": 181.0}
    table = {"name": "VMO table", "quantity": "calibrated_airspeed",
             "by_pressure_altitude": [[0, 170], [9000, 190], [30000, 165]]}
    machs = {"name": "MMO table", "quantity": "mach",
             "by_pressure_altitude": [[0, .3], [20000, .42], [42000, .6]], "outside": "hold"}
    flapped = {**cas, "name": "VFE", "maximum_kt": 120.0, "when": {"flap_deg": {"above": 1}}}
    sheets: dict[str, tuple[list[dict[str, Any]], dict[str, Any]]] = {
        "CAS and Mach, high": ([cas, mach], {}), "TAS and CAS": ([cas, tas], {}),
        "TAS and Mach": ([mach, tas], {}), "EAS and Mach": ([eas, mach], {}),
        "EAS and CAS": ([cas, eas], {}), "IAS and Mach": ([ias, mach], {}),
        "five": ([cas, mach, tas, eas, table], {}), "tables": ([table, machs], {}),
        "table and TAS": ([machs, tas], {}), "one": ([cas], {}),
        "corrected": ([ias, mach, tas], {"position_correction": [[100, 2], [250, -3]]}),
        "with a condition": ([flapped, cas, mach], {})}
    time = stamps(30, 1.0)
    height = straight(time, (0, 30000), (29, 21000))
    made = {}
    for label, (limits, stated) in sheets.items():
        recorded = "indicated" if stated else "calibrated"
        made[label] = Flight(make_log(time, **{
            f"{recorded}_airspeed": 171 + time / 3, "pressure_altitude": height,
            "static_air_temperature": standard_degc(height, 6)}),
            make_sheet(*limits, recorded=recorded, **stated), also=("curves", "pointer", "dial"),
            leave=(*FEW, "assessed", "columns", "findings", "exceedances", "phases"))
    return made


FAMILIES = {"crossings": crossings, "kinds_of_limits": kinds, "corrections": corrections,
            "tables": tables,
            "conditions": conditions, "ceilings": ceilings, "recorded_otherwise": recorded}
