"""Random flights along and over one limit: touches, holes, gaps, levers that move beside them.

Shorter and simpler than `random_flights`, and nearly all about the question which stretches over a
limit are one exceedance: few features, drawn so that each rule of joining decides in many flights.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np

from loganalyze import LimitsSheet, Settings
from loganalyze.testing import make_log
from tests.regression.kept_results import Flight
from tests.regression.made_columns import (
    Column,
    between,
    noise,
    standard_degc,
    stepped,
    straight,
    tas_of,
)
from tests.regression.random_draws import Draws
from tests.regression.random_flights import CONDENSED
from tests.regression.random_sheets import equivalent

VMO = 250.0


def event_flight(seed: int) -> Flight:
    """Draw a flight that is over its limit for a good part of the time."""
    draw = Draws(seed, "events")
    interval = draw.one_of(0.25, 0.5, 1.0, 1.0, 2.0, 3.0, 4.0)
    count = draw.whole(40, 220)
    time = np.arange(count) * interval
    height = straight(time, (0, 9000), (float(time[-1]), draw.one_of(9000.0, 8000.0, 15000.0)))
    speed = _speed(draw, seed, time)
    kept, channels = _holes(draw, time, {
        "calibrated_airspeed": speed, "pressure_altitude": height,
        "static_air_temperature": standard_degc(height, draw.one_of(0.0, 8.0))})
    limits = [_limit(draw, float(height[count // 2]))]
    if draw.chance(0.35):
        limits[0]["when"] = {"flap_deg": {"above": 5, **draw.one_of(
            {}, {}, {"dwell_s": 2.0}, {"deadband": 1.0})}}
        channels["flap"] = _flaps(draw, time)
    if draw.chance(0.3):
        limits.append({**_limit(draw, 9000.0), "name": "second"})
    if draw.chance(0.2):
        channels["calibrated_airspeed_2"] = speed + draw.one_of(0.0, 2.0, 14.0)
    if draw.chance(0.2):
        channels["true_airspeed"] = tas_of(speed, height, standard_degc(height))
    log = make_log(time[kept], interval if draw.chance(0.9) else None, **{
        name: np.broadcast_to(values, time.shape)[kept] for name, values in channels.items()})
    sheet = LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"}, "limit": limits,
        "screening": _holes_allowed(draw) if draw.chance(0.3) else {}})
    return Flight(log, sheet, _settings(draw, sheet), leave=(), is_assessed=False,
                  condensed=CONDENSED, block=draw.one_of(None, 16, 50))


def _speed(draw: Draws, seed: int, time: Column) -> Column:
    end, offsets = float(time[-1]), []
    for _ in range(draw.whole(3, 12)):
        offsets.append(draw.one_of(
            draw.between(0.1, 3), draw.between(0.1, 3), draw.between(3, 12), draw.between(10, 40),
            -draw.between(0.05, 1), -draw.between(0.2, 4), -draw.between(3, 15)))
        if draw.chance(0.5):
            offsets.append(offsets[-1])
    steps = np.cumsum([draw.one_of(0.1, 0.4, 1.0) for _ in offsets])
    speed = VMO + straight(time, *zip((steps / steps[-1] * end).tolist(), offsets, strict=True))
    speed = speed + draw.one_of(0.0, 0.05, 0.2, 0.5, 1.2) * np.clip(
        noise(len(time), seed + 17), -2.5, 2.5)
    return stepped(speed, draw.one_of(0.0, 0.0625, 0.25, 0.5, 1.0))


def _holes(draw: Draws, time: Column, channels: dict[str, Column]
           ) -> tuple[np.ndarray, dict[str, Column]]:
    """Take rows out, or values of a channel; leave one known sample in some of the holes."""
    kept = np.ones(len(time), dtype=bool)
    made = {name: np.array(values) for name, values in channels.items()}
    interval = float(time[1])
    for _ in range(draw.whole(0, 4)):
        length = draw.one_of(1, 2, round(draw.between(1, 12) / interval),
                             round(draw.between(3, 11) / interval))
        first = draw.whole(1, len(time) - 2)
        hole = np.arange(first, min(first + max(length, 1), len(time) - 1))
        if draw.chance(0.25) and len(hole) > 2:
            hole = np.delete(hole, len(hole) // 2)
        if draw.chance(0.5):
            kept[hole] = False
        else:
            name = draw.one_of("calibrated_airspeed", "calibrated_airspeed", "pressure_altitude",
                               "static_air_temperature")
            made[name][hole] = draw.one_of(np.nan, np.nan, np.nan, 0.0, -9999.0, 400.0)
    return kept, made


def _limit(draw: Draws, height: float) -> dict[str, Any]:
    quantity = draw.one_of("calibrated_airspeed", "calibrated_airspeed", "indicated_airspeed",
                           "mach", "true_airspeed", "equivalent_airspeed")
    maximum = equivalent(quantity, VMO, height)
    made: dict[str, Any] = {"name": "first", "quantity": quantity}
    if draw.chance(0.25):
        made["by_pressure_altitude"] = [
            [8000, equivalent(quantity, VMO, 8000.0)], [draw.one_of(11000, 30000), maximum]]
        made["outside"] = draw.one_of("hold", "unknown")
    else:
        made["maximum" if quantity == "mach" else "maximum_kt"] = maximum
    return made


def _flaps(draw: Draws, time: Column) -> Column:
    end = float(time[-1])
    spans = [(begin, begin + draw.one_of(1.0, 3.0, 0.2 * end)) for begin in (
        draw.between(0, end) for _ in range(draw.whole(0, 3)))]
    flap = draw.one_of(10.0, 10.0, 6.0) * (1.0 - between(time, *spans))
    if draw.chance(0.4):
        first = draw.whole(0, len(time) - 2)
        flap[first : first + draw.whole(1, 6)] = np.nan
    return flap


def _holes_allowed(draw: Draws) -> dict[str, float]:
    return {"hole_longest_s": draw.one_of(3.0, 6.0, 20.0),
            "hole_least_rate_kt_s": draw.one_of(0.3, 1.0, 4.0),
            "hole_greatest_rate_kt_s": draw.one_of(3.0, 8.0, 20.0),
            "ride_gap_s": draw.one_of(20.0, 120.0), "ride_noise": draw.one_of(3.0, 7.0, 12.0)}


def _settings(draw: Draws, sheet: LimitsSheet) -> Settings | None:
    if draw.chance(0.6):
        return None
    return Settings(**{
        **sheet.screening, "join_gap_s": draw.one_of(2.0, 5.0, 15.0),
        "join_margin_kt": draw.one_of(0.5, 2.0, 5.0),
        "join_margin_mach": draw.one_of(0.001, 0.004, 0.01),
        "minimum_duration_s": draw.one_of(0.0, 4.0, 20.0),
        "tolerance_kt": draw.one_of(1e-5, 0.5)})


def _part(first: int) -> dict[str, Flight]:
    return {f"{seed}": event_flight(seed) for seed in range(first, first + 60)}


FAMILIES = {f"random_events_from_{first}": partial(_part, first) for first in range(0, 180, 60)}
