"""Random flights of whole numbers, exceeding their limits, with all that may bear witness.

Times, speeds, heights and thresholds are round, so that many values equal a threshold exactly.
The limits are exceeded in most of them: by steps and by ramps, at the ends of the log, beside gaps
and holes; other channels follow or don't, warnings sound about the right time, levers move.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from loganalyze import LimitsSheet
from loganalyze.record.flight_log import Channel
from loganalyze.testing import make_log
from loganalyze.uncertainty.prior_models import Prior
from tests.regression.kept_results import Flight
from tests.regression.made_columns import (
    Column,
    between,
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
from tests.regression.random_draws import Draws

VMO: dict[str, Any] = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
MMO: dict[str, Any] = {"name": "MMO", "quantity": "mach", "maximum": 0.5}
OTHERS: tuple[dict[str, Any], ...] = (
    {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": 290.0},
    {"name": "VIAS", "quantity": "indicated_airspeed", "maximum_kt": 248.0},
    {"name": "VEAS", "quantity": "equivalent_airspeed", "maximum_kt": 246.0},
    {"name": "VFE", "quantity": "calibrated_airspeed", "maximum_kt": 200.0,
     "when": {"flap_deg": {"above": 5}}},
    {"name": "VLE", "quantity": "indicated_airspeed", "maximum_kt": 240.0,
     "when": {"gear_down": {"is": True}}},
    {"name": "VNE", "quantity": "calibrated_airspeed",
     "by_pressure_altitude": [[0, 255], [10000, 245], [20000, 215]]})
RULES: tuple[dict[str, Any], ...] = (
    {"name": "any", "level": "low"},
    {"name": "3 kt for 6 s", "level": "medium", "excess_kt": 3.0, "time_s": 6.0},
    {"name": "20 s in all", "level": "medium", "time_s": 20.0, "time_counts": "in all",
     "limits": ["VMO"]},
    {"name": "60 kt s", "level": "high", "integral_kt_s": 60.0},
    {"name": "Mach .01", "level": "high", "excess_mach": 0.01},
    {"name": "Mach for 5 s", "level": "medium", "excess_mach": 0.004, "time_s": 5.0},
    {"name": "8 kt", "level": "high", "excess_kt": 8.0, "limits": ["VMO", "VTAS"]},
    {"name": "long", "level": "high", "time_s": 40.0, "example": True})
PARTS = ("assessed", "near", "warnings", "checks", "exceedances")


def exact_flight(seed: int) -> Flight:
    """Draw a flight."""
    draw = Draws(seed, "exact")
    interval = draw.one_of(0.5, 1.0, 1.0, 1.0, 1.0, 2.0, 4.0)
    time = stamps(draw.whole(60, 170) * interval, interval)
    if draw.chance(0.3):  # A step of one and a half intervals, or longer.
        at = draw.whole(10, len(time) - 10)
        time[at:] += draw.one_of(0.5, 0.5, 1.0, 4.0, 9.0, 29.0) * interval
    height = _height(draw, time)
    limits = [VMO, *([MMO] if draw.chance(0.5) else []),
              *draw.some_of(OTHERS, draw.one_of(0, 0, 0, 1, 2))]
    speed = _speed(draw, time, interval, draw.one_of(250.0, 250.0, _of_mach(height)))
    degc = standard_degc(height, float(draw.one_of(0, 0, 10, -15)))
    recorded = {"calibrated_airspeed": speed, "pressure_altitude": stepped(
        height, draw.one_of(1.0, 20.0, 100.0))}
    outside = draw.one_of("static", "total", "none")
    if outside != "none":
        recorded["outside_air_temperature"] = stepped(
            degc if outside == "static" else total_degc(speed, height, degc), 0.5)
    recorded |= _beside(draw, time, speed, height, degc)
    recorded |= _levers(draw, time, speed)
    for name in draw.some_of(list(recorded), draw.one_of(0, 0, 1, 1, 2)):
        begins = draw.whole(0, len(time) - 4)
        recorded[name] = without(recorded[name], slice(
            begins, begins + draw.one_of(1, 2, 3, 5, 12, 40)))
    channels: dict[str, Any] = dict(recorded)
    for name in draw.some_of(list(recorded)[2:], draw.one_of(0, 0, 1)):
        rows = np.arange(draw.whole(0, 1), len(time), draw.one_of(2, 4), dtype=np.int32)
        channels[name] = Channel(recorded[name][rows], rows,
                                 float(np.median(np.diff(time[rows]))), column=name.upper())
    also = tuple(name for name, share in (("pointer", 0.12), ("dial", 0.2), (
        "what if", 0.35 if interval <= 1 and outside != "none" else 0.0)) if draw.chance(share))
    log = make_log(time, interval if draw.chance(0.9) else None, **channels)
    return Flight(log, _sheet(draw, limits, outside), priors=_priors(draw), also=also, condensed=(
        *PARTS, *also), leave=("columns", "uncertainty", "phases", "measures", "highest",
                               "time_to_limit", "quality", "findings", "tolerances", "smallest"))


def _of_mach(height: Column) -> float:
    """The whole airspeed [kt] next to Mach .5 at the height in the middle."""
    tried = np.arange(150.0, 400.0)
    middle = float(height[len(height) // 2])
    return float(tried[np.searchsorted(mach_of(tried, middle + 0 * tried), 0.5)])


def _height(draw: Draws, time: Column) -> Column:
    end = float(time[-1])
    low = float(draw.one_of(2000, 9000, 9000, 17000, 21000))
    change = float(draw.one_of(0, 0, 0, 300, -1000, 2000, -4000))
    begins = draw.between(0, 0.6) * end
    height = low + straight(time, (begins, 0), (begins + draw.between(0.1, 0.4) * end, change))
    if draw.chance(0.1):
        at = float(draw.whole(10, int(end) - 5))
        height += draw.one_of(200, 400, 700) * between(time, (at, at + draw.one_of(2, 8, 30)))
    return np.asarray(height + draw.one_of(0.0, 0.0, 6.0) * noise(len(time), 131))


def _speed(draw: Draws, time: Column, interval: float, limit: float) -> Column:
    """Bumps of whole knots over a limit, in ramps or steps, with what lies between them."""
    end, rows = float(time[-1]), len(time)
    usual = limit - float(draw.one_of(1, 2, 4, 8, 14, 25))
    speed = usual + straight(time, (0, float(draw.one_of(0, 0, -6, 5))), (end, 0.0))
    at = draw.whole(2, rows // 2)
    for _ in range(draw.one_of(1, 1, 1, 2, 3)):
        length = draw.one_of(1, 2, 3, 4, 6, 10, 25, 60)
        rise = draw.one_of(0, 0, 1, 3, 8, 15, 25)
        top = limit + float(draw.one_of(-1, 0, 1, 2, 2, 3, 4, 6, 9, 14, 22, 30)) - usual
        corners = np.array([at, at + max(rise, 0.01), at + rise + length,
                            at + rise + length + max(draw.one_of(rise, 0, 12), 0.01)]) * interval
        bump = (straight if draw.chance(0.6) else through)(
            time, (corners[0], 0.0), (corners[1], top), (corners[2], top), (corners[3], 0.0))
        speed = np.where(np.abs(bump) > np.abs(speed - usual), usual + bump, speed)
        at = int(corners[3] / interval) + draw.one_of(2, 5, 24, 25, 29, 30, 31)
    if draw.chance(0.12):
        begins = draw.whole(1, rows - 6)
        speed[begins:begins + draw.one_of(1, 2, 3, 5)] -= draw.one_of(10, 20, 40)
    speed += draw.one_of(0.0, 0.0, 0.2, 0.6, 1.5) * noise(rows, draw.whole(200, 260))
    speed += draw.one_of(0.0, 0.0, 0.5, 1.0) * smoothed_noise(rows, draw.whole(200, 260), 6)
    return stepped(speed, draw.one_of(0.0625, 0.25, 0.5, 1.0, 1.0, 1.0, 2.0))


def _beside(draw: Draws, time: Column, speed: Column, height: Column, degc: Column
            ) -> dict[str, Column]:
    """Other sources of the airspeed and altitude, which follow it wholly, in part or not."""
    made: dict[str, Column] = {}
    slow = np.minimum(speed, float(np.percentile(speed, 40)) + 1.0)
    share = draw.one_of(0.0, 0.0, 0.3, 0.6, 0.9, 1.0, 1.0, 1.0)
    beside = slow + share * (speed - slow)
    true = tas_of(beside, height, degc)
    shift = float(draw.one_of(0, 0, 1, -2, 5))
    turning = straight(time, (0, 40), (float(time[-1]), 40.0 + draw.one_of(0, 0, 9, 25, 300)))
    ground, track = over_ground(true, turning, float(draw.one_of(0, 20, 45)), 250.0)
    for name, chance, values in (
            ("mach", 0.2, stepped(mach_of(beside + shift, height), draw.one_of(0.001, 1e-5))),
            ("calibrated_airspeed_2", 0.2, stepped(beside + shift, draw.one_of(0.25, 1.0))),
            ("true_airspeed", 0.15, stepped(true + shift, 1.0)),
            ("pressure_altitude_2", 0.08, height + 20 * shift),
            ("satellite_altitude", 0.08, height + 300),
            ("vertical_speed", 0.12, np.gradient(height, time) * 60),
            ("static_air_temperature_2", 0.05, degc + shift)):
        if draw.chance(chance):
            made[name] = values
    if draw.chance(0.25):
        made["ground_speed"] = stepped(ground, draw.one_of(0.5, 1.0))
        if draw.chance(0.85):
            made["track"] = track
        if draw.chance(0.5):
            made["heading"] = turning % 360
    if draw.chance(0.05):
        made["mach"] = np.full(len(time), 0.4)
    return made


def _levers(draw: Draws, time: Column, speed: Column) -> dict[str, Column]:
    """What the crew moved and heard, some seconds from the highest speed."""
    made: dict[str, Column] = {}
    peak, end = float(time[int(speed.argmax())]), float(time[-1])

    def instant() -> float:
        return peak + float(draw.one_of(-30, -12, -5, -4, -3, -2, -1, 0, 1, 2, 3, 5, 8, 15))

    if draw.chance(0.2):
        made["flap"] = float(draw.one_of(1, 5, 10, 20)) * between(time, (instant(), instant() + 40))
    if draw.chance(0.12):
        made["gear_down"] = between(time, (instant(), end + draw.one_of(1, 1, -5)))
    if draw.chance(0.12):
        made["speedbrake"] = 20.0 * between(time, (instant(), end))
    if draw.chance(0.15):
        made[draw.one_of("power_lever", "torque")] = straight(
            time, (at := instant(), 60.0), (at + 2.0, float(draw.one_of(60, 50, 20))))
    if draw.chance(0.15):
        made["pitch"] = straight(time, (at := instant(), -3.0), (at + 6.0, 2.0))
    if draw.chance(0.12):
        made["load_factor"] = 1.0 + 0.3 * between(time, (at := instant(), at + 4.0))
    if draw.chance(0.4):
        limit = float(draw.one_of(246, 250, 253, 256, 256, 257, 262))
        on = (speed >= limit).astype(float)
        for _ in range(draw.one_of(0, 0, 1, 2)):
            on[time == round(instant())] = draw.one_of(0.0, 1.0)
        if draw.chance(0.25):
            on += between(time, (at := instant(), at + draw.one_of(1, 2, 3, 9)))
        made["overspeed_warning"] = np.minimum(on, 1.0)
    if draw.chance(0.1):
        made["limit_pointer"] = 250.0 + 0 * time + draw.one_of(-4.0, 0.0, 1.0)
    if draw.chance(0.1):
        made["autopilot"] = between(time, (0.0, instant()))
    return made


def _sheet(draw: Draws, limits: list[dict[str, Any]], outside: str) -> LimitsSheet:
    stated: dict[str, Any] = {"aircraft": "an invented twin", "limit": limits,
                              "airspeed": {"recorded": "calibrated"}}
    if outside != "none":
        stated["temperature"] = {"outside_air": outside}
    names = {limit["name"] for limit in limits}
    rules = [rule for rule in RULES if {*rule.get("limits", ())} <= names and (
        "MMO" in names or "excess_mach" not in rule)]
    if draw.chance(0.5):
        stated["severity"] = draw.some_of(rules, draw.whole(1, 6))
    if draw.chance(0.3):
        stated["ladder"] = {"kt": [0, 1, 2, 4, 8], "mach": [0.002, 0.01]}
    if draw.chance(0.4):
        stated["warning"] = {
            "threshold_kt": draw.one_of(0.0, 3.0, 6.0), "tolerance_kt": draw.one_of(0.0, 1.0, 3.0),
            "threshold_mach": 0.01, "tolerance_mach": draw.one_of(0.0, 0.004)}
        if draw.chance(0.3):
            stated["warning"]["limits"] = [draw.one_of(*limits)["name"]]
    uncertainty: dict[str, Any] = {}
    for name, chance, sizes in (
            ("airspeed", 0.3, ({"limits": 2}, {"standard": 1.0, "varies": "sample"},
                               {"limits_table": [[150, 5], [260, 2]]})),
            ("pressure_altitude", 0.15, ({"limits": 60}, {"standard": 25, "varies": "sample"})),
            ("temperature", 0.15, ({"limits": 2}, {"limits_table": [[-40, 1], [20, 4]]})),
            ("static_source", 0.15, ({"limits": 2},)),
            ("displayed_airspeed", 0.15, ({"limits": 1}, {"standard": 0.0})),
            ("airspeed_noise", 0.2, ({"standard": 0.5}, {"standard": 0.8, "correlation_s": 3})),
            ("position_correction", 0.1, ({"limits": 1},)), ("mach", 0.1, ({"limits": 0.004},))):
        if draw.chance(chance):
            uncertainty[name] = draw.one_of(*sizes)
    for name, chance, numbers in (
            ("display_quantum_kt", 0.1, (0.0, 2.0)), ("display_lag_s", 0.1, (0.0, 2.0)),
            ("skew_s", 0.1, (0.0, 0.5)), ("airspeed_resolution_kt", 0.1, (0.25, 1.0)),
            ("altitude_resolution_ft", 0.1, (20.0,)), ("display_quantum_mach", 0.05, (0.01,))):
        if draw.chance(chance):
            uncertainty[name] = draw.one_of(*numbers)
    if uncertainty:
        stated["uncertainty"] = uncertainty
    return LimitsSheet.model_validate(stated)


def _priors(draw: Draws) -> dict[str, Prior] | None:
    match draw.one_of(0, 0, 0, 0, 0, 0, 0, 1, 2, 3):
        case 1:
            return {"VMO": Prior.of_histogram("counted", [-10.0, 0.0, 4.0, 8.0, 40.0],
                                              [1, 20, 80, 400])}
        case 2:
            return {"VMO": Prior.of_normals("fleet", [(0.7, 12.0, 5.0), (0.3, 3.0, 3.0)])}
        case 3:
            return {"VMO": Prior.of_histogram("counted", [2.0, 4.0, 8.0, 40.0], [5, 80, 400])}
    return None


def _part(first: int, count: int) -> Callable[[], dict[str, Flight]]:
    return lambda: {str(seed): exact_flight(seed) for seed in range(first, first + count)}


FAMILIES = {f"exact_from_{first}": _part(first, 50) for first in range(0, 200, 50)}
