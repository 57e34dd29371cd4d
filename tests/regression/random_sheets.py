"""Limits sheets and settings of random flights, from all that a sheet may state."""

from __future__ import annotations

from typing import Any

import numpy as np

from loganalyze import LimitsSheet, Settings
from loganalyze.simulate import pressures
from tests.regression.made_columns import FOOT, Column, mach_of, tas_of
from tests.regression.random_draws import Draws
from tests.regression.random_profiles import Profile

QUANTITIES = ("calibrated_airspeed", "calibrated_airspeed", "calibrated_airspeed",
              "indicated_airspeed", "indicated_airspeed", "equivalent_airspeed", "true_airspeed",
              "mach", "mach", "mach", "indicated_mach")
SOUND_KT = pressures.SEA_LEVEL_SOUND * 3600 / 1852


def equivalent(quantity: str, cas_kt: float, height_ft: float) -> float:
    """Return the quantity of a calibrated airspeed on a standard day, as a sheet may state it."""
    cas, height = np.array([cas_kt]), np.array([height_ft])
    match quantity:
        case "mach" | "indicated_mach":
            return round(float(mach_of(cas, height)[0]), 3)
        case "true_airspeed":
            degc = pressures.standard_temperature(height * FOOT) - 273.15
            return round(float(tas_of(cas, height, degc)[0]), 1)
        case "equivalent_airspeed":
            delta = pressures.static_pressure(height * FOOT) / pressures.SEA_LEVEL_PRESSURE
            return round(float((mach_of(cas, height) * SOUND_KT * np.sqrt(delta))[0]), 1)
    return round(cas_kt, 0 if int(10 * cas_kt) % 3 else 1)


def sheet_of(seed: int, flown: Profile, recorded: str, columns: dict[str, Column]) -> LimitsSheet:
    """Draw a limits sheet whose limits lie about what was flown."""
    draw = Draws(seed, "sheet")
    limits = [_limit(draw, flown, columns, k) for k in range(draw.one_of(1, 1, 2, 2, 3, 4, 6))]
    stated: dict[str, Any] = {
        "aircraft": "an invented twin", "airspeed": _airspeed(draw, recorded, flown.centre),
        "limit": limits}
    air = draw.one_of("static", "total", "probe", "none", "static")
    if air != "none":
        stated["temperature"] = {"outside_air": air}
        if air == "probe" or (air == "total" and draw.chance(0.3)):
            stated["temperature"]["recovery_factor"] = draw.one_of(0.7, 0.82, 0.95, 1.0)
    if draw.chance(0.5):
        stated["configuration"] = {
            "flap_transit_s": draw.one_of(0.0, 6.0, 15.0, 40.0),
            "gear_transit_s": draw.one_of(0.0, 5.0, 12.0, 30.0),
            "gear_down": draw.one_of("lever", "locked")}
    if draw.chance(0.25):
        stated["ceiling"] = [_ceiling(draw, flown, columns, k) for k in range(draw.whole(1, 2))]
    if draw.chance(0.3):
        stated["screening"] = _screening(draw)
    if draw.chance(0.4):
        stated["uncertainty"] = _uncertainty(draw)
    if draw.chance(0.4):
        stated["severity"] = _severity(draw, limits)
    if draw.chance(0.2):
        stated["ladder"] = {"kt": [0, 1, 3, 9], "mach": [0.003, 0.02]}
    if draw.chance(0.25):
        stated["warning"] = {"threshold_kt": draw.one_of(0.0, 2.0, 6.0),
                             "tolerance_kt": draw.one_of(0.0, 1.0, 3.0)}
        if draw.chance(0.5):
            stated["warning"]["limits"] = [limits[0]["name"]]
    return LimitsSheet.model_validate(stated)


def settings_of(seed: int) -> Settings | None:
    """Draw settings; None, the defaults, for two flights of three."""
    draw = Draws(seed, "settings")
    if draw.chance(0.65):
        return None
    choices: dict[str, tuple[float, ...]] = {
        "tolerance_kt": (0.0, 0.5, 2.0), "tolerance_mach": (0.0, 0.001, 0.005),
        "join_gap_s": (0.0, 2.0, 12.0, 60.0), "join_margin_kt": (0.0, 0.5, 6.0),
        "join_margin_mach": (0.0, 0.001, 0.02), "ride_gap_s": (0.0, 30.0, 400.0),
        "minimum_duration_s": (2.0, 10.0, 45.0), "judged_least_pct": (5.0, 90.0, 100.0)}
    return Settings(**{name: draw.one_of(*choices[name])
                       for name in draw.some_of(list(choices), draw.whole(1, 4))})


def _limit(draw: Draws, flown: Profile, columns: dict[str, Column], k: int) -> dict[str, Any]:
    quantity = draw.one_of(*QUANTITIES)
    made: dict[str, Any] = {"name": f"limit {k + 1}", "quantity": quantity}
    above = 0.0 if k == 0 else draw.one_of(
        draw.between(-1, 3), draw.between(0, 10), draw.between(-15, 5), draw.between(5, 60))
    _maximum(draw, made, flown, above)
    if draw.chance(0.2 if k == 0 else 0.5):
        made["when"] = dict(_condition(draw, flown, columns)
                            for _ in range(draw.one_of(1, 1, 1, 2)))
    if draw.chance(0.15) and "mach" not in quantity:
        made["on_pointer"] = draw.chance(0.5)
    return made


def _maximum(draw: Draws, made: dict[str, Any], flown: Profile, above: float) -> None:
    """State a constant or a table by altitude whose values lie about what was flown."""
    quantity, low, high = made["quantity"], float(flown.height.min()), float(flown.height.max())
    at = draw.between(low, high)
    if draw.chance(0.65):
        made["maximum" if "mach" in quantity else "maximum_kt"] = equivalent(
            quantity, flown.centre + above, at)
        return
    span = max(high - low, 200.0)
    begins = low + draw.one_of(-2000.0, -1500.0, draw.between(0.0, 0.5) * span)
    ends = max(high + draw.one_of(3000.0, 1500.0, draw.between(-0.5, 0.0) * span), begins + 150.0)
    nodes = np.linspace(begins, ends, draw.whole(2, 5))
    made["by_pressure_altitude"] = [
        [round(float(node)), equivalent(quantity, flown.centre + above + draw.between(-4, 4),
                                        float(node))] for node in nodes]
    made["outside"] = draw.one_of("unknown", "hold")


def _condition(draw: Draws, flown: Profile, columns: dict[str, Column]
               ) -> tuple[str, dict[str, Any]]:
    kinds = {"flap_deg": ("flap", "flap_lever"), "slat_deg": ("slat",), "mode": ("mode",),
             "speedbrake_deg": ("speedbrake",), "weight_kg": ("weight",),
             "gear_down": ("gear_down",), "gear_extending": ("gear_down",),
             "gear_retracting": ("gear_down",), "pressure_altitude_ft": ("pressure_altitude",)}
    possible = [key for key, names in kinds.items()
                if any(name in columns for name in names)] or ["flap_deg", "gear_down"]
    key = draw.one_of(*(list(kinds) if draw.chance(0.12) else possible))
    dwell = {"dwell_s": draw.one_of(1.0, 3.0, 12.0)} if draw.chance(0.25) else {}
    if key.startswith("gear"):
        return key, {"is": draw.chance(0.6), **dwell}
    if key == "mode":
        return key, {"is": draw.one_of(0, 1), **dwell}
    names = [name for name in kinds[key] if name in columns]
    values = columns[names[0]] if names else np.array([0.0, 20.0])
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    edges = sorted((draw.between(low - 0.1, high), draw.between(low, high + 0.1)))
    decimals = 0 if "ft" in key or "kg" in key else 1
    first, second = (round(edge, decimals) for edge in edges)
    stated: dict[str, Any] = {draw.one_of("above", "from"): first}
    if second > first and draw.chance(0.5):
        stated[draw.one_of("up_to", "below")] = second
        if draw.chance(0.3):
            stated = {name: value for name, value in stated.items() if name in ("up_to", "below")}
    if draw.chance(0.3) and (len(stated) == 1 or second - first > 4 * 0.2):
        stated["deadband"] = draw.one_of(0.1, 0.3)
    return key, {**stated, **dwell}


def _ceiling(draw: Draws, flown: Profile, columns: dict[str, Column], k: int) -> dict[str, Any]:
    made: dict[str, Any] = {"name": f"ceiling {k + 1}", "set_by": "the school",
                            "quantity": draw.one_of(*QUANTITIES)}
    _maximum(draw, made, flown, draw.between(-15, 1))
    if draw.chance(0.3):
        made["when"] = dict([_condition(draw, flown, columns)])
    return made


def _airspeed(draw: Draws, recorded: str, centre: float) -> dict[str, Any]:
    made: dict[str, Any] = {"recorded": recorded, "from_mach": draw.chance(0.9)}
    ends = (round(0.4 * centre), round(centre), round(1.4 * centre))
    table = [[at, round(draw.between(-4, 4), 1)] for at in ends]
    if draw.chance(0.25):
        made["instrument_correction"] = [[ends[0], round(draw.between(-2, 2), 1)],
                                         [ends[2], round(draw.between(-2, 2), 1)]]
    if draw.chance(0.4):
        made["position_correction"] = table if draw.chance(0.6) else [
            {"flap_deg": {"up_to": 5}, "table": table},
            {"flap_deg": {"above": 5, "up_to": draw.one_of(15, 40)},
             "table": [[ends[0], -1.0], [ends[2], 2.5]]}]
    if draw.chance(0.25):
        made["altimeter_correction"] = [[ends[0], 20], [ends[2], round(draw.between(-300, 300))]]
    if draw.chance(0.25):
        made["static_source_corrected"] = draw.chance(0.5)
    return made


def _screening(draw: Draws) -> dict[str, float]:
    choices: dict[str, tuple[float, ...]] = {
        "frozen_s": (8.0, 40.0), "frozen_moved_kt": (3.0, 20.0), "frozen_drift_kt": (1.0, 15.0),
        "spike_least_kt": (5.0, 40.0), "spike_least_ft": (80.0, 900.0), "spike_noise": (4.0, 20.0),
        "excursion_s": (2.0, 12.0), "plausible_rate_kt_s": (10.0, 90.0), "gust_load_g": (0.1, 1.0),
        "stale_s": (2.0, 9.0), "stale_kt": (1.0, 12.0), "stale_min_count": (3.0, 60.0),
        "sources_apart_kt": (4.0, 30.0), "sources_apart_s": (1.0, 20.0), "floor_s": (2.0, 60.0),
        "lost_frame_s": (1.0, 9.0), "lost_channels": (1.0, 3.0), "at_rest_s": (30.0, 900.0),
        "hole_longest_s": (3.0, 30.0), "hole_least_rate_kt_s": (0.2, 6.0), "ground_kt": (30., 80.)}
    return {name: draw.one_of(*choices[name])
            for name in draw.some_of(list(choices), draw.whole(1, 5))}


def _uncertainty(draw: Draws) -> dict[str, Any]:
    choices: dict[str, Any] = {
        "airspeed": {"limits": draw.one_of(1.0, 3.0), "varies": draw.one_of("flight", "sample")},
        "pressure_altitude": {"standard": 60.0}, "temperature": {"limits": 3.0},
        "mach": {"limits": 0.006}, "static_source": {"limits": 1.5, "coverage": 0.95},
        "position_correction": {"limits": 2.0, "per_cent": draw.chance(0.5)},
        "airspeed_noise": {"standard": 0.6, "correlation_s": draw.one_of(0.0, 4.0)},
        "displayed_airspeed": {"standard_table": [[80, 1.0], [300, 3.0]]},
        "display_quantum_kt": 5.0, "display_lag_s": 1.5, "skew_s": draw.one_of(0.0, 0.4),
        "airspeed_resolution_kt": 1.0, "altitude_resolution_ft": 50.0}
    return {name: choices[name] for name in draw.some_of(list(choices), draw.whole(1, 4))}


def _severity(draw: Draws, limits: list[dict[str, Any]]) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    of_mach = [one["name"] for one in limits if "mach" in one["quantity"]]
    for k, level in enumerate(draw.some_of(("low", "medium", "high"), draw.whole(1, 3))):
        rule: dict[str, Any] = {"name": f"rule {k + 1}", "level": level}
        if draw.chance(0.6):
            rule["excess_kt"] = draw.one_of(0.5, 3.0, 12.0)
        if draw.chance(0.5) and of_mach:
            rule["excess_mach"] = draw.one_of(0.002, 0.02)
        if draw.chance(0.4) or len(rule) == 2:
            rule["time_s"] = draw.one_of(2.0, 10.0, 40.0)
            rule["time_counts"] = draw.one_of("at a stretch", "in all")
        if draw.chance(0.2):
            rule["integral_kt_s"] = draw.one_of(5.0, 200.0)
        if draw.chance(0.2):
            names = of_mach if "excess_mach" in rule else [one["name"] for one in limits]
            rule["limits"] = draw.some_of(names, 1)
        made.append(rule)
    return made
