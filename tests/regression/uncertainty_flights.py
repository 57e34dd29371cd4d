"""Exceedances and near ones with every tolerance, noise, step, rate and further source."""

from __future__ import annotations

from typing import Any

import numpy as np

from loganalyze import FlightLog, LimitsSheet
from loganalyze.record.flight_log import Channel
from loganalyze.simulate import pressures
from loganalyze.testing import make_log
from loganalyze.uncertainty.prior_models import Prior
from tests.regression.kept_results import LADDERS, WHY, Flight
from tests.regression.made_columns import (
    FOOT,
    KNOT,
    Column,
    mach_of,
    noise,
    over_ground,
    smoothed_noise,
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
VTAS = {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 318.0}
VEAS = {"name": "VEAS", "quantity": "equivalent_airspeed", "maximum_kt": 243.0}
VIAS = {"name": "VIAS", "quantity": "indicated_airspeed", "maximum_kt": 249.0}
SURE = ("quality", "findings", "phases", "measures", "time_to_limit", "screened", "judged_shares",
        "smallest", "highest", "airborne", "columns", "exceedances", "unknown", *WHY, *LADDERS)


def sheet(*limits: Any, recorded: str = "calibrated", air: dict[str, Any] | None = None,
          outside_air: dict[str, Any] | None = None, **uncertainty: Any) -> LimitsSheet:
    """A sheet with stated tolerances."""
    return LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": recorded, **(air or {})},
        "temperature": outside_air or {"outside_air": "static"},
        "limit": list(limits or (VMO, MMO)), "severity": [
            {"name": "2 kt", "level": "medium", "excess_kt": 2.0, "time_s": 5.0}],
        **({"uncertainty": uncertainty} if uncertainty else {})})


def over_and_near(interval_s: float = 1.0, seconds: float = 420.0
                  ) -> tuple[Column, Column, Column]:
    """Time, airspeed, height: over VMO by 2.5 kt and MMO by .006, and once near each."""
    time = stamps(seconds, interval_s)
    part = seconds / 420.0
    height = through(time, (0, 20500), (150 * part, 20300), (400 * part, 9500))
    speed = through(time, (0, 214), (70 * part, 224.0), (150 * part, 221.5), (230 * part, 252.3),
                    (262 * part, 244), (300 * part, 249.2), (330 * part, 240), (410 * part, 225))
    return time, speed, height


def tolerances() -> dict[str, Flight]:
    """Each tolerance of the sensors, displays and corrections, in each way of stating it."""
    time, speed, height = over_and_near()
    degc = standard_degc(height, 6)
    ias = stepped(speed + 0.15 * noise(420, 61), 0.25)
    log = make_log(time, indicated_airspeed=ias, pressure_altitude=stepped(height, 4.0),
                   outside_air_temperature=stepped(total_degc(speed, height, degc), 0.5))
    table = [[100, 2.0], [300, -1.5]]
    stated: dict[str, dict[str, Any]] = {
        "none": {}, "airspeed limits": {"airspeed": {"limits": 2}},
        "airspeed standard": {"airspeed": {"standard": 1.3}},
        "airspeed with coverage": {"airspeed": {"limits": 3, "coverage": 0.99}},
        "airspeed table": {"airspeed": {"limits_table": [[150, 5], [260, 2]]}},
        "airspeed in per cent": {"airspeed": {"standard": 0.7, "per_cent": True}},
        "airspeed by sample": {"airspeed": {"standard": 0.9, "varies": "sample"}},
        "altitude": {"pressure_altitude": {"limits": 150}},
        "altitude by sample": {"pressure_altitude": {"standard_table": [[0, 20], [30000, 90]],
                                                     "varies": "sample"}},
        "temperature": {"temperature": {"limits": 1.5}},
        "static source": {"static_source": {"limits": 3}},
        "position": {"position_correction": {"limits": 2}},
        "instrument": {"instrument_correction": {"standard": 0.6}},
        "altimeter": {"altimeter_correction": {"limits": 60}},
        "display": {"displayed_airspeed": {"limits": 0.6}, "display_quantum_kt": 2.0,
                    "display_quantum_mach": 0.01, "display_lag_s": 2.0,
                    "displayed_altitude": {"limits": 30}},
        "display whole": {"display_quantum_kt": 0.0, "display_lag_s": 0.0},
        "steps": {"airspeed_resolution_kt": 1.0, "altitude_resolution_ft": 32.0,
                  "temperature_resolution_degc": 1.0, "skew_s": 0.4},
        "noise": {"airspeed_noise": {"standard": 0.7, "correlation_s": 4}},
        "white noise": {"airspeed_noise": {"standard": 0.7}},
        "no noise": {"airspeed_noise": {"standard": 0.0}},
        "all": {"airspeed": {"limits": 1}, "pressure_altitude": {"limits": 50},
                "temperature": {"limits": 1}, "static_source": {"limits": 1},
                "position_correction": {"limits": 1}, "instrument_correction": {"limits": 0.5},
                "altimeter_correction": {"limits": 20}, "displayed_airspeed": {"limits": 0.5},
                "displayed_altitude": {"limits": 10}, "skew_s": 0.1}}
    air: dict[str, Any] = {"position_correction": table,
                           "instrument_correction": [[0, .5], [300, 1]]}
    leave = tuple({*SURE} - {"tolerances"})
    made = {label: Flight(log, sheet(VMO, MMO, VTAS, VEAS, VIAS, recorded="indicated",
                                     air=air if label in (
                                         "none", "position", "instrument", "all") else {},
                                     outside_air={"outside_air": "total"}, **uncertainty),
                          leave=(*leave, "near") if label in (
                              "none", "all", "display", "noise", "airspeed by sample", "steps")
                          else (*leave, "near", "assessed"))
            for label, uncertainty in stated.items()}
    made["corrected already"] = Flight(log, sheet(
        VMO, MMO, VIAS, recorded="indicated",
        air={"static_source_corrected": True, "altimeter_correction": [[100, 20], [300, 90]]},
        outside_air={"outside_air": "probe", "recovery_factor": 0.75}), leave=leave)
    return made


def rates() -> dict[str, Flight]:
    """The same flight at several rates, in steps, with noise."""
    made = {}
    for interval, step, size in ((0.125, 0.0625, 0.3), (0.25, 1.0, 0.4), (0.5, 0.5, 0.0),
                                 (1.0, 0.0, 0.0), (1.0, 2.0, 0.2), (2.0, 0.25, 0.5),
                                 (4.0, 1.0, 0.0), (8.0, 0.0, 0.1)):
        time, speed, height = over_and_near(interval, 105.0 if interval < 0.5 else 420.0)
        put = stepped(speed + size * noise(len(time), 62), step)
        made[f"{interval:g} s, {step:g} kt, {size:g} kt"] = Flight(
            make_log(time, calibrated_airspeed=put, pressure_altitude=stepped(height, 10.0),
                     static_air_temperature=standard_degc(height)),
            sheet(VMO, MMO, VTAS), leave=(*SURE, "tolerances"))
    time, speed, height = over_and_near()
    degc = standard_degc(height, 5)
    for label, kt, ft, kelvin in (("fine", 0.0625, 4.0, 0.25), ("coarse", 1.0, 100.0, 1.0)):
        steps = {
            "calibrated_airspeed": Channel(stepped(speed, kt) * KNOT, resolution=kt * KNOT,
                                           column="CAS"),
            "pressure_altitude": Channel(stepped(height, ft) * FOOT, resolution=ft * FOOT,
                                         column="ALT"),
            "static_air_temperature": Channel(stepped(degc, kelvin) + 273.15, resolution=kelvin,
                                              column="SAT")}
        made[f"known steps, {label}"] = Flight(
            make_log(time, **steps), sheet(VMO, MMO, VTAS, VEAS),
            leave=tuple({*SURE, "near"} - {"airborne"}))
        made[f"known steps, {label}, stated"] = Flight(
            make_log(time, **steps), sheet(VMO, MMO, VTAS, airspeed_resolution_kt=0.5,
                                           altitude_resolution_ft=25.0),
            leave=tuple({*SURE, "near"} - {"airborne"}))
    static = pressures.static_pressure(height * FOOT)
    impact = pressures.impact_pressure(speed * KNOT)
    for label, pascal in (("fine", 2.0), ("coarse", 40.0)):
        total = Channel(stepped(static + impact, pascal), resolution=pascal, column="PT")
        below = Channel(stepped(static, pascal), resolution=pascal, column="PS")
        made[f"pressures, {label}"] = Flight(make_log(
            time, total_pressure=total, static_pressure=below,
            static_air_temperature=degc), sheet(VMO, MMO, VTAS),
            leave=tuple({*SURE, "near"} - {"airborne"}))
        made[f"pressures, {label}, stated"] = Flight(make_log(
            time, total_pressure=total, static_pressure=below,
            static_air_temperature=degc), sheet(VMO, MMO, altitude_resolution_ft=32.0),
            leave=tuple({*SURE, "near"} - {"airborne"}))
        made[f"impact pressure, {label}"] = Flight(make_log(
            time, impact_pressure=Channel(stepped(impact, pascal), resolution=pascal,
                                          column="QC"), static_pressure=below),
            sheet(VMO, MMO), leave=tuple({*SURE, "near"} - {"airborne"}))
    return made


def plateaus() -> dict[str, Flight]:
    """A speed held just over or under a limit, in noise and gusts of several kinds."""
    made = {}
    time = stamps(300, 0.5)
    count = len(time)
    height = straight(time, (0, 9000), (300, 8000))
    for label, level, white, slow, samples, step in (
            ("white", 251.2, 0.6, 0.0, 1, 0.0), ("white, near", 248.9, 0.6, 0.0, 1, 0.25),
            ("coarse", 250.9, 0.2, 0.0, 1, 1.0), ("slow", 251.0, 0.1, 0.8, 8, 0.0),
            ("slow, far", 254.0, 0.2, 1.4, 14, 0.25), ("calm", 250.7, 0.0, 0.0, 1, 0.5)):
        wander = slow * smoothed_noise(count, 64, samples)
        speed = stepped(through(time, (0, 238), (60, level), (240, level), (299, 240))
                        + white * noise(count, 63) + wander, step)
        made[label] = Flight(make_log(time, calibrated_airspeed=speed, pressure_altitude=height),
                             sheet(), leave=(*SURE, "tolerances", "uncertainty"))
    for step, white in ((2.0, 0.5), (2.0, 0.9), (4.0, 1.0)):
        speed = stepped(through(time, (0, 238), (60, 251), (240, 251), (299, 240))
                        + white * noise(count, 63), step)
        made[f"steps of {step:g}, {white:g}"] = Flight(
            make_log(time, calibrated_airspeed=Channel(
                speed * KNOT, resolution=step * KNOT, column="CAS"), pressure_altitude=height),
            sheet(), leave=(*SURE, "tolerances", "uncertainty"))
    long = stamps(3200, 4.0)
    held = through(long, (0, 238), (200, 252), (3000, 252), (3199, 238))
    made["over for 45 minutes"] = Flight(
        make_log(long, calibrated_airspeed=held + 0.3 * noise(800, 70),
                 pressure_altitude=9000 + 0 * long), sheet(VMO),
        leave=(*SURE, "tolerances", "uncertainty"))
    smooth = through(time, (0, 238), (60, 250.8), (240, 250.8), (299, 240))
    for label, own, shared in (("own noise", 0.9, 0.0), ("shared gusts", 0.1, 0.9),
                               ("both", 0.6, 0.7)):
        gust = shared * smoothed_noise(count, 65, 10)
        speed = smooth + gust + own * smoothed_noise(count, 66, 6)
        beside = smooth + gust + 0.15 * noise(count, 67)
        degc = standard_degc(height)
        for other, channels in {
                "Mach": {"mach": stepped(mach_of(beside, height), 1e-5)},
                "second": {"calibrated_airspeed_2": stepped(beside, 0.0625)},
                "true": {"true_airspeed": tas_of(beside, height, degc),
                         "static_air_temperature": degc}}.items():
            made[f"{label}, {other}"] = Flight(
                make_log(time, calibrated_airspeed=speed, pressure_altitude=height, **channels),
                sheet(), leave=(*SURE, "tolerances", "uncertainty"))
    for label, channels in {
            "stands still": {"mach": 0.4 + 0 * time},
            "damaged": {"mach": mach_of(smooth + 9 * noise(count, 68), height)},
            "one bad sample": {"mach": np.where(time == 150, 0.47, mach_of(smooth, height))},
            "too few": {"mach": without(mach_of(smooth, height), slice(20, 580))},
            "half": {"mach": without(mach_of(smooth, height), slice(330, 600))}}.items():
        made[label] = Flight(make_log(
            time, calibrated_airspeed=smooth + 0.5 * smoothed_noise(count, 69, 5),
            pressure_altitude=height, **channels), sheet(),
            leave=(*SURE, "tolerances", "uncertainty"))
    return made


def peaks_and_gaps() -> dict[str, Flight]:
    """Peaks beside a gap, an end of the log, another exceedance; few samples."""
    made: dict[str, Flight] = {}
    time = stamps(240, 1.0)
    height = 7000 + 0 * time
    peak = through(time, (0, 236), (120, 252.5), (239, 236)) + 0.2 * noise(240, 71)

    def rows(label: str, kept: Any, speed: Column = peak) -> None:
        made[label] = Flight(make_log(time[kept], 1.0, calibrated_airspeed=speed[kept],
                                      pressure_altitude=height[kept]), sheet(VMO),
                             leave=(*SURE, "tolerances", "uncertainty"))

    rows("gap before the peak", np.r_[0:100, 119:240])
    rows("gap after the peak", np.r_[0:122, 140:240])
    rows("short gap after", np.r_[0:122, 125:240])
    rows("gap of 4 s", np.r_[0:118, 122:240])
    rows("gap farther", np.r_[0:128, 150:240])
    rows("starts at the peak", np.r_[118:240])
    rows("ends at the peak", np.r_[0:123])
    rows("ends 7 s after", np.r_[0:128])
    rows("channel lost", np.arange(240), without(peak, slice(121, 126)))
    for lost in (1, 2, 3, 6, 9):
        rows(f"lost for {lost} s after the peak", np.arange(240),
             without(peak, slice(122, 122 + lost)))
        rows(f"lost for {lost} s before the peak", np.arange(240),
             without(peak, slice(118 - lost, 118)))
        rows(f"lost for {lost} s before the end", np.arange(126),
             without(peak, slice(126 - lost, 126)))
    rows("three samples", np.r_[119:122])
    twice = through(time, (0, 236), (70, 252), (95, 243), (120, 251), (150, 240), (239, 236))
    rows("two peaks", np.arange(240), twice)
    sharp = straight(time, (0, 236), (118, 246), (120, 252), (122, 246), (239, 236))
    rows("sharp", np.arange(240), sharp)
    for coverage in (0.8, 0.99):
        prior = Prior.of_normals("fleet", [(0.7, 12.0, 5.0), (0.3, 3.0, 3.0)])
        made[f"prior {coverage:g}"] = Flight(
            make_log(time, calibrated_airspeed=peak - 2 * coverage, pressure_altitude=height),
            sheet(VMO), priors={"VMO": prior}, leave=(*SURE, "tolerances", "uncertainty"))
    counts = Prior.of_histogram("counted", np.arange(-10.0, 41.0, 5.0).tolist(),
                                [0, 2, 9, 30, 80, 120, 90, 40, 10, 3])
    made["prior of counts"] = Flight(
        make_log(time, calibrated_airspeed=peak, pressure_altitude=height), sheet(VMO),
        priors={"VMO": counts}, leave=(*SURE, "tolerances", "uncertainty"))
    return made


def sources() -> dict[str, Flight]:
    """What the airspeed and the temperature were taken from, and how often."""
    time, speed, height = over_and_near()
    degc = standard_degc(height, -7)
    rows = np.arange(0, 420, 4, dtype=np.int32)
    slow = Channel(degc[rows] + 273.15, rows, 4.0, resolution=0.25, column="SAT")
    flown: dict[str, tuple[LimitsSheet, dict[str, Any]]] = {
        "slow temperature": (sheet(VMO, MMO, VTAS), {"static_air_temperature": slow}),
        "no temperature": (sheet(VMO, MMO, VTAS), {}),
        "lag and skew": (sheet(VMO, MMO, VTAS), {
            "static_air_temperature": Channel(degc + 273.15, column="SAT", lag_s=1.5, skew_s=0.25,
                                              skew_known=True)}),
        "ground speed": (sheet(VMO, MMO), {
            "ground_speed": over_ground(tas_of(speed, height, degc), 90 + 0 * time, 25, 200)[0],
            "track": 92 + 0 * time, "heading": 90 + 0 * time, "static_air_temperature": degc}),
        "total": (sheet(VMO, MMO, VTAS, outside_air={"outside_air": "total"}), {
            "outside_air_temperature": total_degc(speed, height, degc)}),
    }
    made = {label: Flight(make_log(time, calibrated_airspeed=speed, pressure_altitude=height,
                                   **channels), one, leave=(*SURE, "tolerances"))
            for label, (one, channels) in flown.items()}
    float32 = make_log(time, calibrated_airspeed=Channel(
        speed * 1852 / 3600, rounding=2.0**-24, column="CAS"), pressure_altitude=height)
    made["float32"] = Flight(float32, sheet(VMO, MMO), leave=(*SURE, "tolerances"))
    by_mach: FlightLog = make_log(time, mach=mach_of(speed, height), pressure_altitude=height)
    made["from Mach"] = Flight(by_mach, sheet(VMO, MMO, air={"from_mach": True}),
                               leave=(*SURE, "tolerances"))
    return made


def quieter() -> dict[str, Flight]:
    """Noise or gusts, by the flight's quieter stretches: slow beginnings, rates, pieces, gaps."""
    made: dict[str, Flight] = {}
    leave = (*SURE, "tolerances", "uncertainty", "near", "assessed.evidence")
    for interval in (0.25, 0.5, 1.0):
        time = stamps(300 if interval < 1 else 700, interval)
        count, end = len(time), float(time[-1])
        course = through(time, (0, 95), (end * 0.25, 110), (end * 0.4, 238), (end * 0.6, 253.2),
                         (end * 0.8, 253.2), (end, 240))
        for label, slow, fast in (("rough when slow", 2.5, 0.5), ("rough when fast", 0.5, 1.6),
                                  ("as rough", 0.9, 0.9)):
            size = np.where(course < 150, slow, fast)
            speed = course + size * smoothed_noise(count, 72, 4.0 / interval) + (
                0.1 * noise(count, 73))
            made[f"{interval:g} s, {label}"] = Flight(make_log(
                time, calibrated_airspeed=speed, pressure_altitude=6000 + 0 * time), sheet(VMO),
                leave=leave)
    time = stamps(600, 1.0)
    course = through(time, (0, 239), (120, 252.4), (420, 252.4), (599, 240))
    gusts = 0.5 * smoothed_noise(600, 74, 8)
    own = course + gusts + 0.6 * smoothed_noise(600, 75, 5)
    height = 6000 + 0 * time
    mach = mach_of(course + gusts, height)
    worst = int(own.argmax())
    for label, gaps in {"piece of 40": (20, 25), "piece of 56": (28, 33), "piece of 64": (32, 37),
                        "piece of 300": (150, 155)}.items():
        kept = np.ones(600, dtype=bool)
        for side in (-1, 1):
            near, far = sorted((worst + side * gaps[0], worst + side * gaps[1]))
            kept[max(near, 0):max(far, 0)] = False
        made[label] = Flight(make_log(time[kept], 1.0, calibrated_airspeed=own[kept],
                                      pressure_altitude=height[kept], mach=mach[kept]),
                             sheet(VMO), leave=leave)
    for every in (1, 2, 3):
        rows = np.arange(0, 600, every, dtype=np.int32)
        made[f"Mach every {every} s"] = Flight(make_log(
            time, calibrated_airspeed=own, pressure_altitude=height,
            mach=Channel(mach[rows], rows, float(every), column="M")), sheet(VMO), leave=leave)
    for after in (112, 114, 115, 116, 118):
        peak = through(time, (0, 236), (120, 252.5), (239, 236)) + 0.2 * noise(600, 71)
        rows = np.r_[0:90, after:240]
        made[f"gap until {after}"] = Flight(make_log(
            time[rows], 1.0, calibrated_airspeed=peak[rows], pressure_altitude=height[rows]),
            sheet(VMO), leave=leave)
    return made


FAMILIES = {"quieter": quieter, "tolerances": tolerances, "rates": rates, "plateaus": plateaus,
            "peaks_and_gaps": peaks_and_gaps, "sources": sources}
