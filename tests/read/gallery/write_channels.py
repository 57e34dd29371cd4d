"""Writes rates, lags, sources, units and channels; called by ``write.py``."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from gallery.climb import truth
from gallery.writing import (
    FAHRENHEIT,
    FEW,
    INHG,
    KELVIN,
    KMH,
    MPS,
    PLAIN,
    PSI,
    M,
    Spec,
    T,
    by,
    elapsed,
    grid,
    numbers,
    put,
    same,
    stamps,
    text,
)


def rates() -> None:
    spec: list[Spec] = [("Pressure Altitude [ft]", "pressure_altitude", same, 0),
                        ("IAS [kt]", "indicated_airspeed", same, 1),
                        ("SAT [degC]", "static_air_temperature", same, 2),
                        ("Heading [deg]", "heading", same, 1)]
    rows = grid(T, elapsed(), spec)
    blank = [[*row] for row in rows]
    held = [[*row] for row in rows]
    for i in range(1, 41):
        if (i - 1) % 4:
            blank[i][3] = ""
            held[i][3] = held[i - (i - 1) % 4][3]
        if (i - 1) % 2:
            blank[i][4] = ""
            held[i][4] = held[i - 1][4]
    put("mixed_rates.csv", text(blank))
    put("held_values.csv", text(held))
    late = [[*row] for row in rows]
    for i in range(1, 41):
        if (i - 1) % 4 != 2:
            late[i][3] = ""
    put("mixed_rates_offset.csv", text(late))
    lagging = grid(T, elapsed(), FEW)
    for row, value in zip(lagging[1:], numbers(truth("static_air_temperature", T - 3), 2),
                          strict=True):
        row[3] = value
    for row, value in zip(lagging[1:], numbers(truth("indicated_airspeed", T - 2), 1),
                          strict=True):
        row[2] = value
    put("lag.csv", text(lagging), """[columns]
indicated_airspeed = { column = "IAS [kt]", lag_s = 2 }
static_air_temperature = { column = "SAT [degC]", lag_s = 3 }
""")
    skewed = grid(T, elapsed(), FEW)
    for row, value in zip(skewed[1:], numbers(truth("indicated_airspeed", T + 0.5), 2),
                          strict=True):
        row[2] = value
    for row, value in zip(skewed[1:], numbers(truth("pressure_altitude", T + 0.25), 0),
                          strict=True):
        row[1] = value
    put("skew.csv", text(skewed), """[columns]
pressure_altitude = { column = "Pressure Altitude [ft]", skew_s = 0.25 }
indicated_airspeed = { column = "IAS [kt]", skew_s = 0.5 }
""")
    altitude = truth("pressure_altitude", T)
    wobble = 300 * np.sin(T)  # The coarse word is a synchro that is only good to a fine turn.
    clock = elapsed()
    coarse = [["Time [s]", "ALT COARSE [ft]", "ALT FINE [ft]", "IAS [kt]", "SAT [degC]"]]
    few_rows = grid(T, clock, FEW)
    for row, rough, fine in zip(few_rows[1:], numbers(altitude + wobble, 0),
                                numbers(altitude % 1000, 0), strict=True):
        coarse.append([row[0], rough, fine, row[2], row[3]])
    put("coarse_and_fine.csv", text(coarse), """[columns]
pressure_altitude = { column = "ALT COARSE [ft]", fine = "ALT FINE [ft]", fine_span = 1000 }
""")
    wrapped = [["Time [s]", "ALT 12 BIT [ft]", *few_rows[0][2:]]]
    for row, value in zip(few_rows[1:], numbers(altitude % 4096, 0), strict=True):
        wrapped.append([row[0], value, *row[2:]])
    put("wrap_around.csv", text(wrapped), """[columns]
pressure_altitude = { column = "ALT 12 BIT [ft]", wraps_at = 4096 }
""")
    two: list[Spec] = [
        ("ALT STD 1 [ft]", "pressure_altitude", same, 0),
        ("ALT STD 2 [ft]", "pressure_altitude", same, 0),
        ("IAS L [kt]", "indicated_airspeed", same, 1),
        ("IAS R [kt]", "indicated_airspeed", same, 1),
        ("SAT [degC]", "static_air_temperature", same, 1),
    ]
    rows = grid(T, elapsed(), two)
    put("two_sources.csv", text(rows), """[columns]
pressure_altitude = { column = "ALT STD 2 [ft]" }
pressure_altitude_2 = { column = "ALT STD 1 [ft]" }
indicated_airspeed = { column = "IAS L [kt]" }
indicated_airspeed_2 = { column = "IAS R [kt]" }
""")
    put("one_of_two_sources.csv", text(rows), """[columns]
pressure_altitude = { column = "ALT STD 1 [ft]" }
indicated_airspeed = { column = "IAS R [kt]" }
""")




def units() -> None:
    def put_units(name: str, spec: Sequence[Spec], columns: str = "") -> None:
        put(name, text(grid(T, elapsed(), spec)), columns)

    put_units("metric.csv", [
        ("Pressure altitude [m]", "pressure_altitude", M, 1),
        ("IAS [km/h]", "indicated_airspeed", KMH, 1),
        ("SAT [K]", "static_air_temperature", KELVIN, 1),
        ("Vertical speed [m/s]", "vertical_speed", by(0.3048 / 60), 2),
        ("Ground speed [m/s]", "ground_speed", MPS, 1),
        ("Heading [rad]", "heading", np.radians, 3),
        ("Gross weight [t]", "weight", by(1e-3), 3),
    ])
    put_units("suffixes.csv", [
        ("press_alt_ft", "pressure_altitude", same, 0), ("ias_mps", "indicated_airspeed", MPS, 2),
        ("sat_degf", "static_air_temperature", FAHRENHEIT, 1),
        ("vertical_speed_fpm", "vertical_speed", same, 0),
        ("qnh_hpa", "altimeter_setting", same, 0), ("fuel_lb", "fuel", by(1 / 0.45359237), 0),
    ])
    put_units("imperial.csv", [
        ("Pressure Altitude (feet)", "pressure_altitude", same, 0),
        ("Indicated Airspeed (mph)", "indicated_airspeed", by(1852 / 1609.344), 1),
        ("OAT (deg F)", "outside_air_temperature", FAHRENHEIT, 1),
        ("QNH (inHg)", "altimeter_setting", INHG, 2),
        ("Gross Weight (lbs)", "weight", by(1 / 0.45359237), 0),
    ])
    put_units("flight_level.csv", [
        ("FL", "pressure_altitude", by(0.01), 0), ("KIAS", "indicated_airspeed", same, 0),
        ("SAT (C)", "static_air_temperature", same, 0)])
    put_units("kelvin_unstated.csv", [
        *FEW[:2], ("OAT", "outside_air_temperature", KELVIN, 1)])
    put_units("units_told.csv", [
        ("HP", "pressure_altitude", M, 1), ("VI", "indicated_airspeed", KMH, 1),
        ("T1", "static_air_temperature", same, 1)], """[columns]
pressure_altitude = { column = "HP", unit = "m" }
indicated_airspeed = { column = "VI", unit = "km/h" }
static_air_temperature = { column = "T1", unit = "degC" }
""")
    put_units("raw_pressures.csv", [
        ("Static pressure [hPa]", "static_pressure", same, 2),
        ("Total pressure [hPa]", "total_pressure", same, 2),
        ("TAT [degC]", "total_air_temperature", same, 1)])
    put_units("impact_pressure.csv", [
        ("Ps [mbar]", "static_pressure", same, 2), ("Qc [psi]", "impact_pressure", PSI, 4),
        ("OAT [K]", "outside_air_temperature", KELVIN, 1)])
    put_units("pressures_pascal.csv", [
        ("Static Pressure [Pa]", "static_pressure", by(100), 0),
        ("Impact Pressure [inHg]", "impact_pressure", INHG, 3)])
    put_units("indicated_altitude.csv", [
        ("Baro Altitude [ft]", "indicated_altitude", same, 0),
        ("Altimeter Setting [inHg]", "altimeter_setting", INHG, 2),
        ("CAS [kt]", "calibrated_airspeed", same, 1),
        ("SAT [degC]", "static_air_temperature", same, 1)])
    put_units("mach_and_altitude.csv", [
        ("Pressure Altitude [ft]", "pressure_altitude", same, 0), ("Mach", "mach", same, 4),
        ("CAS [kt]", "calibrated_airspeed", same, 2), ("TAS [kt]", "true_airspeed", same, 1),
        ("TAT [degC]", "total_air_temperature", same, 1)])
    put_units("no_altitude.csv", PLAIN[1:])
    put_units("satellite_altitude_alone.csv", [
        ("GPS Altitude [m]", "satellite_altitude", M, 1), *FEW[1:]])
    put_units("indicated_altitude_alone.csv", [
        ("Baro Altitude [ft]", "indicated_altitude", same, 0), *FEW[1:]])
    put_units("impact_pressure_alone.csv", [("Qc [psi]", "impact_pressure", PSI, 4), FEW[2]])
    put_units("no_temperature.csv", FEW[:2])
    put_units("which_temperature.csv", [
        *FEW[:2], ("Temperature [degC]", "static_air_temperature", same, 1)])
    put_units("temperature_unstated.csv", [*FEW[:2], ("OAT", "static_air_temperature", same, 1)])
    put_units("no_altitude_nor_temperature.csv", FEW[1:2])
    family = grid(T, {"CLK": [f"{t:g}" for t in T]}, [
        ("HPA", "pressure_altitude", M, 1), ("VIA", "indicated_airspeed", KMH, 1),
        ("TSA", "static_air_temperature", same, 1)])
    put("family.csv", text(family, ";"))
    put("families/metric_recorder.toml", """[signature]
header = ["CLK", "HPA", "VIA"]
[columns]
time = { column = "CLK", unit = "s" }
pressure_altitude = { column = "HPA", unit = "m" }
indicated_airspeed = { column = "VIA", unit = "km/h" }
static_air_temperature = { column = "TSA", unit = "degC" }
""")
    put("families/other_recorder.toml", """[signature]
header = ["CLK", "HPB", "VIB"]
[columns]
time = { column = "CLK", unit = "ms" }
pressure_altitude = { column = "HPB", unit = "ft" }
indicated_airspeed = { column = "VIB", unit = "kt" }
""")
    every()


def every() -> None:
    spec: list[Spec] = [
        ("Pressure Altitude [ft]", "pressure_altitude", same, 0),
        ("Baro Altitude [ft]", "indicated_altitude", same, 0),
        ("GPS Altitude [m]", "satellite_altitude", M, 1),
        ("IAS [kt]", "indicated_airspeed", same, 1), ("CAS [kt]", "calibrated_airspeed", same, 1),
        ("TAS [kt]", "true_airspeed", same, 1), ("Mach", "mach", same, 3),
        ("SAT [degC]", "static_air_temperature", same, 1),
        ("TAT [degC]", "total_air_temperature", same, 1),
        ("Static Pressure [hPa]", "static_pressure", same, 1),
        ("Total Pressure [hPa]", "total_pressure", same, 1),
        ("Impact Pressure [hPa]", "impact_pressure", same, 1),
        ("Altimeter Setting [hPa]", "altimeter_setting", same, 1),
        ("Ground Speed [kt]", "ground_speed", same, 0),
        ("Vertical Speed [ft/min]", "vertical_speed", same, 0),
        ("Magnetic Heading [deg]", "heading", same, 1), ("Track Angle [deg]", "track", same, 1),
        ("Pitch Angle [deg]", "pitch", same, 1), ("Roll Angle [deg]", "roll", same, 1),
        ("Normal Acceleration [g]", "load_factor", same, 3),
        ("Latitude [deg]", "latitude", same, 4), ("Longitude [deg]", "longitude", same, 4),
        ("Flap Surface Angle [deg]", "flap", same, 1),
        ("Flap Lever [deg]", "flap_lever", same, 0), ("Slat Angle [deg]", "slat", same, 1),
        ("Speedbrake [deg]", "speedbrake", same, 1), ("Gear Down", "gear_down", same, 0),
        ("Weight On Wheels", "weight_on_wheels", same, 0),
        ("Overspeed Warning", "overspeed_warning", same, 0),
        ("Autopilot Engaged", "autopilot", same, 0),
        ("Autothrottle Engaged", "autothrottle", same, 0),
        ("Gross Weight [kg]", "weight", same, 0), ("Fuel Quantity [kg]", "fuel", same, 1),
        ("Engine Torque [%]", "torque", same, 1), ("N1 [%]", "fan_speed", same, 1),
        ("Power Lever Angle [deg]", "power_lever", same, 0),
        ("Max Allowable Airspeed [kt]", "limit_pointer", same, 0),
    ]
    put("every_channel.csv", text(grid(T, {"UTC": stamps("%Y-%m-%dT%H:%M:%SZ")}, spec)))
