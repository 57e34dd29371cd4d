"""Exceedances that other channels confirm or contradict, and edges that no aircraft flies."""

from __future__ import annotations

from typing import Any

import numpy as np

from loganalyze.testing import make_log, make_sheet
from tests.regression.kept_results import HOW_SURE, LADDERS, WHY, Flight
from tests.regression.made_columns import (
    Column,
    between,
    mach_of,
    noise,
    over_ground,
    stamps,
    standard_degc,
    stepped,
    straight,
    tas_of,
    through,
    total_degc,
    without,
)

VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.5}
CHECKED = ("quality", "tolerances", "uncertainty", "columns", "screened", "judged_shares",
           "unknown", "airborne", "exceedances", "phases", "findings", "measures", "near",
           "time_to_limit", "smallest", "highest", "screened_s", *WHY, *LADDERS, *HOW_SURE)


def flight(time: Column, *limits: Any, **channels: Any) -> Flight:
    """A flight of which the evidence is kept."""
    interval = float(np.median(np.diff(time)))
    return Flight(make_log(time, interval, **channels), make_sheet(*(limits or (VMO,))),
                  leave=CHECKED)


def references() -> dict[str, Flight]:
    """References that follow the exceedance, don't, follow in part, stand still, are lost."""
    made = {}
    time = stamps(300, 1.0)
    height = straight(time, (0, 9000), (300, 8200))
    degc = standard_degc(height, 4)
    usual = through(time, (0, 236), (120, 243), (300, 238)) + 0.2 * noise(300, 101)
    for excess in (9.5, 13.0, 22.0):
        bump = excess * np.clip(through(time, (120, 0), (136, 1), (146, 1), (160, 0)), 0, 1)
        speed = usual + bump
        for share in (1.0, 0.7, 0.3, 0.0):
            beside = usual + share * bump
            true = tas_of(beside, height, degc)
            ground, track = over_ground(true, 70 + 0 * time, 22.0, 180.0)
            references: dict[str, dict[str, Any]] = {
                "Mach": {"mach": stepped(mach_of(beside, height), 0.001)},
                "second": {"calibrated_airspeed_2": stepped(beside + 1.5, 0.5)},
                "true": {"true_airspeed": stepped(true, 1.0), "static_air_temperature": degc},
                "ground": {"ground_speed": stepped(ground, 1.0), "track": track,
                           "static_air_temperature": degc}}
            for name, channels in references.items():
                if excess == 13.0 or name in ("Mach", "ground"):
                    made[f"{excess:g} kt, {name} {share:g}"] = flight(
                        time, calibrated_airspeed=speed, pressure_altitude=height, **channels)
    bump = 13.0 * through(time, (120, 0), (136, 1), (146, 1), (160, 0))
    speed = usual + bump
    mach = mach_of(speed, height)
    for label, channels in {
            "no temperature, true": {"true_airspeed": tas_of(speed, height, degc)},
            "Mach stands still": {"mach": np.full(300, 0.42)},
            "Mach lost inside": {"mach": without(mach, slice(118, 165))},
            "Mach lost beside": {"mach": without(mach, np.r_[0:125, 155:300])},
            "Mach lost before": {"mach": without(mach, slice(0, 130))},
            "Mach of another unit": {"mach": 1.5 * mach},
            "Mach late": {"mach": np.roll(mach, 2)},
            "Mach very late": {"mach": np.roll(mach, 9)},
            "Mach drifts": {"mach": mach + straight(time, (80, 0), (200, 0.012))},
            "track turns": {"ground_speed": tas_of(usual, height, degc),
                            "track": straight(time, (110, 60), (150, 120))},
            "heading alone": {"ground_speed": tas_of(usual, height, degc),
                              "heading": 60 + 0 * time},
            "all against": {"mach": mach_of(usual, height), "calibrated_airspeed_2": usual,
                            "ground_speed": tas_of(usual, height, degc), "track": 60 + 0 * time},
            "for and against": {"mach": mach, "calibrated_airspeed_2": usual}}.items():
        made[label] = flight(time, calibrated_airspeed=speed, pressure_altitude=height, **channels)
    for off in (9.4, 10.6, 18.0, 21.0):
        made[f"track off by {off:g}"] = flight(
            time, calibrated_airspeed=speed, pressure_altitude=height,
            ground_speed=tas_of(usual, height, degc) + 20 * between(time, (60, 100)),
            track=60 + off * between(time, (60, 100)), static_air_temperature=degc)
    for outside, recovery in (("total", 1.0), ("probe", 0.7)):
        temperature: dict[str, Any] = {"outside_air": outside} | (
            {"recovery_factor": recovery} if outside == "probe" else {})
        for share in (1.0, 0.0):
            flown = usual + share * bump
            true = tas_of(flown, height, degc)
            made[f"true airspeed {share:g}, {outside} temperature"] = Flight(make_log(
                time, calibrated_airspeed=speed, pressure_altitude=height, true_airspeed=true,
                outside_air_temperature=total_degc(flown, height, degc, recovery)),
                make_sheet(VMO, temperature=temperature), leave=CHECKED)
    return made


def heights() -> dict[str, Flight]:
    """Mach limits exceeded by a false height, with other heights beside it."""
    made = {}
    time = stamps(300, 1.0)
    true = straight(time, (0, 17800), (300, 18200))
    for size in (300.0, 700.0, 1600.0):
        bump = size * through(time, (120, 0), (132, 1), (150, 1), (162, 0))
        for share in (1.0, 0.4, 0.0):
            beside = true + share * bump
            degc = standard_degc(true)
            for name, channels in {
                    "satellite": {"satellite_altitude": beside + 400},
                    "second": {"pressure_altitude_2": stepped(beside, 4.0)},
                    "static": {"static_pressure": 1013.25 * (1 - 6.87559e-6 * beside) ** 5.25588},
                    "vertical speed": {"vertical_speed": np.gradient(beside) * 60},
                    "indicated": {"indicated_altitude": beside + 60,
                                  "altimeter_setting": 1013.25 + 0 * time},
                    "Mach": {"mach": mach_of(230 + 0 * time, beside)},
                    "true": {"true_airspeed": tas_of(230 + 0 * time, beside, degc),
                             "static_air_temperature": degc}}.items():
                if size == 700.0 or name in ("satellite", "vertical speed"):
                    made[f"{size:g} ft, {name} {share:g}"] = flight(
                        time, {"name": "MMO", "quantity": "mach", "maximum": 0.4915},
                        calibrated_airspeed=230 + 0.2 * noise(300, 102),
                        pressure_altitude=true + bump, **channels)
    gapped = without(np.gradient(true + bump) * 60, slice(140, 144))
    made["vertical speed with a gap"] = flight(
        time, {"name": "MMO", "quantity": "mach", "maximum": 0.4915},
        calibrated_airspeed=230 + 0 * time, pressure_altitude=true + bump, vertical_speed=gapped)
    return made


def edges() -> dict[str, Flight]:
    """Exceedances that begin and end by steps, of several sizes, rates and lengths."""
    made = {}
    for interval in (0.25, 1.0, 4.0):
        time = stamps(200 * interval, interval)
        mid = float(time[100])
        height = 9000 + 5 * time
        for size in (8.0, 14.0, 24.0, 38.0):
            for rows in (3, 12, 45):
                speed = 241 + 2 * np.sin(time / 20) + 0.15 * noise(200, 103)
                speed[80:80 + rows] += size
                made[f"{interval:g} s, {size:g} kt for {rows}"] = flight(
                    time, calibrated_airspeed=speed, pressure_altitude=height)
        assert mid
    time = stamps(200, 1.0)
    usual = 241 + 2 * np.sin(time / 20)
    level = 9000 + 0 * time
    into = usual + 16 * between(time, (80, 120))
    out = usual + straight(time, (60, 0), (100, 16)) * between(time, (0, 101))
    ramp = usual + straight(time, (60, 0), (90, 14), (110, 14), (140, 0))
    for label, speed in {
            "step in": np.where(time < 100, into, usual + straight(time, (100, 16), (140, 0))),
            "step out": out, "flown": ramp,
            "dip inside": ramp - 30 * between(time, (98, 101)),
            "dip before": ramp - 30 * between(time, (84, 87)),
            "in noise": ramp + 3 * noise(200, 104),
            "one sample": usual + 12 * between(time, (100, 101)),
            "two samples": usual + 12 * between(time, (100, 102)),
            "lost before": without(ramp, slice(66, 88)),
            "lost after": without(ramp, slice(112, 135)),
            "lost around": without(ramp, np.r_[60:95, 106:135]),
            "lost around, short": without(ramp, np.r_[60:99, 101:135]),
            "begins over": ramp[90:], "ends over": ramp[:112]}.items():
        made[label] = flight(time[:len(speed)], calibrated_airspeed=speed,
                             pressure_altitude=level[:len(speed)])
    made["diving"] = flight(time, calibrated_airspeed=usual + 26 * between(time, (80, 120)),
                            pressure_altitude=9000 - 300 * np.clip(time - 78, 0, 30))
    made["ground speed shows none"] = flight(
        time, calibrated_airspeed=usual + 24 * between(time, (80, 120)), pressure_altitude=level,
        ground_speed=280 + 0 * time, track=10 + 0 * time)
    made["ground speed shows it"] = flight(
        time, calibrated_airspeed=usual + 24 * between(time, (80, 120)), pressure_altitude=level,
        ground_speed=280 + 28 * between(time, (80, 120)), track=10 + 0 * time)
    mmo = {"name": "MMO", "quantity": "mach", "maximum": 0.4915}
    for size in (250.0, 380.0, 450.0, 900.0):
        made[f"height steps by {size:g} ft"] = flight(
            time, mmo, calibrated_airspeed=230 + 0 * time,
            pressure_altitude=17600 + size * between(time, (80, 95)))
    for count in (3, 4, 5, 6, 8):
        made[f"{count} samples, all over"] = flight(
            time[:count], calibrated_airspeed=255 + 0 * time[:count],
            pressure_altitude=level[:count])
    over = np.where(time < 60, 254.0, 240.0)
    for label, lost in {"lost after 4 from the start": (4, 40), "lost after 6": (6, 40),
                        "lost after 20": (20, 40)}.items():
        made[label] = flight(time, calibrated_airspeed=without(over, slice(*lost)),
                             pressure_altitude=level)
    for first, stop in ((1, 6), (1, 9), (2, 9), (0, 9)):
        some = without(254 + 0 * time[:10], np.r_[0:first, stop:10])
        made[f"known from {first} to {stop} of ten"] = flight(
            time[:10], calibrated_airspeed=some, pressure_altitude=level[:10])
    high = 17700 + straight(time, (80, 0), (95, 600), (110, 600), (125, 0))
    for label, put in {"height spike inside": np.where(time == 100, 20500, high),
                       "height missing inside": without(high, slice(98, 103)),
                       "height out of range inside": np.where(time == 100, 70000.0, high),
                       "height held inside": high}.items():
        made[label] = flight(time, mmo, calibrated_airspeed=230 + 0 * time, pressure_altitude=put)
    vfe = {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 180,
           "when": {"flap_deg": {"above": 5}}}
    for label, flap in {"flap steps": 20 * between(time, (80, 120)),
                        "flap steps less": 12 * between(time, (80, 120)),
                        "flap moves": straight(time, (76, 0), (86, 20), (116, 20), (126, 0)),
                        "from the start": 20 + 0 * time}.items():
        made[label] = flight(time, vfe, calibrated_airspeed=184 + 0 * time,
                             pressure_altitude=level, flap=flap)
    slat = {"name": "slats", "quantity": "calibrated_airspeed", "maximum_kt": 180,
            "when": {"slat_deg": {"above": 5}}}
    made["slat steps"] = flight(time, slat, calibrated_airspeed=184 + 0 * time,
                                pressure_altitude=level, slat=25 * between(time, (80, 120)))
    return made


def sources_beside() -> dict[str, Flight]:
    """Recorded Mach, true airspeed, pointer and second sources over a whole flight."""
    made = {}
    time = stamps(300, 1.0)
    height = straight(time, (0, 9000), (300, 15000))
    degc = standard_degc(height, 4)
    speed = through(time, (0, 226), (150, 246), (300, 228))
    for label, channels in {
            "right": {"mach": mach_of(speed, height), "true_airspeed": tas_of(speed, height, degc),
                      "limit_pointer": 250 + 0 * time, "calibrated_airspeed_2": speed + 0.4,
                      "static_air_temperature_2": degc + 0.5, "pressure_altitude_2": height - 20},
            "off": {"mach": mach_of(speed, height) + 0.012,
                    "true_airspeed": tas_of(speed, height, degc) - 9,
                    "limit_pointer": 243 + 0 * time, "calibrated_airspeed_2": speed - 7,
                    "static_air_temperature_2": degc - 5, "pressure_altitude_2": height + 300,
                    "calibrated_airspeed_3": speed + 2},
            "rarely": {"mach": without(mach_of(speed, height), slice(9, 300)),
                       "true_airspeed": without(tas_of(speed, height, degc), slice(11, 300))},
            "none": {}}.items():
        made[label] = Flight(make_log(
            time, calibrated_airspeed=speed, pressure_altitude=height,
            static_air_temperature=degc, **channels), make_sheet(VMO, MMO),
            leave=(*CHECKED, "assessed"))
    return made


FAMILIES = {"references": references, "heights": heights, "edges": edges,
            "sources_beside": sources_beside}
