"""Every column and state against an independent computation, one row at a time.

The plain reckoning below is written from the words of the limits sheet and the public functions
of the air engine; it shares no code with the judgement, which takes tables where it can.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from loganalyze import Analysis, Channel, FlightLog, Limit, LimitsSheet, Settings, analyze, evaluate
from loganalyze.air import airspeed, atmosphere, probes
from loganalyze.record.flight_log import aligned
from loganalyze.testing import engine

ONE_BY_ONE = Settings(excursion_s=0.0)
"""The rows are drawn one by one, so that every other is off: no excursion of several is meant."""

NAN = math.nan
KT, FT, DEG = 1852 / 3600, 0.3048, math.pi / 180
UNDER, OVER, UNKNOWN, NOT_APPLICABLE = range(4)
STATES = ("no", "yes", "unknown")


@pytest.fixture(params=["whole arrays", "compiled loops"], autouse=True)
def way(request):
    with engine("compiled" if request.param == "compiled loops" else "arrays"):
        yield


def known(function: Any, *numbers: float) -> float:
    return NAN if any(math.isnan(number) for number in numbers) else float(function(*numbers))


def mach_of(cas: float, altitude: float) -> float:
    """Mach number; the program computes it up to Mach 3."""
    if math.isnan(cas) or math.isnan(altitude):
        return NAN
    try:
        mach = float(airspeed.mach_from_cas(cas, altitude))
    except ValueError:
        return NAN
    return mach if mach <= 3 else NAN


def cas_of(mach: float, altitude: float) -> float:
    return NAN if mach > 3 else known(airspeed.cas_from_mach, mach, altitude)


def linear(table: Iterable[tuple[float, float]], x: float, slack: float = 0.0) -> float:
    rows = list(table)
    if math.isnan(x) or x < rows[0][0] - slack or x > rows[-1][0] + slack:
        return NAN
    x = min(max(x, rows[0][0]), rows[-1][0])
    for (a, fa), (b, fb) in pairwise(rows):
        if x <= b:
            return fa + (fb - fa) * (x - a) / (b - a)
    raise AssertionError(x)


class Plain:
    """One flight, computed a row at a time."""

    def __init__(self, log: FlightLog, sheet: LimitsSheet, declared: dict[str, float]) -> None:
        self.log, self.sheet, self.declared = log, sheet, declared
        self.time = log.time.tolist()
        recorded = sheet.airspeed.recorded
        name = f"{recorded}_airspeed"
        if name not in log:
            name = next(n for n in ("calibrated_airspeed", "indicated_airspeed") if n in log)
        self.is_indicated = recorded == "indicated" and name == "indicated_airspeed"
        self.speed = log.aligned(name).tolist()
        self.altitude = (log.aligned("pressure_altitude").tolist() if "pressure_altitude" in log
                         else [NAN] * len(log))
        self.without_altitude = all(map(math.isnan, self.altitude))
        self.heat, self.recovery = self._temperature()
        self.rounding = log.channels[name].rounding
        self.holds = [[self._holds(c) for c in limit.conditions] for limit in sheet.limit]
        self.flaps = [[self._holds(c) for c in table.conditions]
                      for table in sheet.airspeed.position_tables]

    def _temperature(self) -> tuple[list[float] | None, float]:
        stated = self.sheet.temperature
        if "static_air_temperature" in self.log:
            return self.log.aligned("static_air_temperature").tolist(), 0.0
        if "total_air_temperature" in self.log:
            factor = stated.recovery_factor if stated and stated.recovery_factor else 1.0
            return self.log.aligned("total_air_temperature").tolist(), factor
        if "outside_air_temperature" not in self.log or stated is None:
            return None, 0.0
        factor = {"static": 0.0, "total": stated.recovery_factor or 1.0,
                  "probe": stated.recovery_factor}[stated.outside_air]
        return self.log.aligned("outside_air_temperature").tolist(), factor

    def _holds(self, condition: Any) -> list[str]:
        """Walk through the log with the condition's memory."""
        doubted = [NAN] * len(self.time)
        if condition.channel in self.log:
            values, doubted = self._without_outliers(condition.channel)
        elif condition.channel in self.declared:
            values = [self.declared[condition.channel]] * len(self.log)
        else:
            return ["unknown"] * len(self.log)

        def inside(value: float, by: float) -> bool:
            low, high = condition.low + by, condition.high - by
            slack = 1e-9
            above = (value >= low - slack * abs(low) if condition.low_included
                     else value > low + slack * abs(low)) if math.isfinite(low) else True
            below = (value <= high + slack * abs(high) if condition.high_included
                     else value < high - slack * abs(high)) if math.isfinite(high) else True
            return above and below

        answers, state, firm_seen, since = [], False, False, NAN
        for t, value in zip(self.time, values, strict=True):
            missing = math.isnan(value)
            before = state
            if not missing:
                firm = inside(value, condition.deadband) or not inside(value, -condition.deadband)
                if firm or not firm_seen:
                    state = inside(value, 0.0)
                firm_seen = firm_seen or firm
            if state and not before:
                since = t
            lasted = state and t - since >= condition.dwell_s
            answers.append("unknown" if missing else "yes" if lasted else "no")
        if not condition.dwell_s:
            answers = ["unknown" if answer == "no" and inside(outlier, 0.0) else answer
                       for answer, outlier in zip(answers, doubted, strict=True)]
        return answers

    def _without_outliers(self, name: str) -> tuple[list[float], list[float]]:
        """A channel without samples that are out and at once back, and those samples."""
        least = {"flap": 2 * DEG, "gear_down": 0.5}.get(name)
        channel = self.log.channels[name]
        if least is None:
            return self.log.aligned(name).tolist(), [NAN] * len(self.time)
        rows = range(len(self.log)) if channel.rows is None else channel.rows.tolist()
        seen = [(self.time[row], value, k) for k, (row, value)
                in enumerate(zip(rows, channel.values.tolist(), strict=True)) if value == value]
        mended, outlying = channel.values.copy(), np.full(len(channel.values), NAN)
        i = 1
        while i < len(seen):
            (t, state, _), (_, here, k) = seen[i - 1], seen[i]
            back = i
            if abs(here - state) > least:
                if i + 1 < len(seen) and seen[i + 1][0] - t <= 10:
                    after = seen[i + 1][1]
                    if max(state, after) + least < here or here < min(state, after) - least:
                        state = max(state, after) if here > state else min(state, after)
                        back = i + 1
                if back == i:
                    back = next((j for j in range(i + 1, len(seen)) if seen[j][0] - t <= 2
                                 and abs(seen[j][1] - state) <= least), i)
                for _, was, k in seen[i:back]:
                    mended[k], outlying[k] = state, was
            i = max(back, i) + 1
        clean, alone = (
            FlightLog(self.log.time, {name: replace(channel, values=some)}, self.log.source,
                      interval_s=self.log.interval_s) for some in (mended, outlying))
        # One that is held isn't brought to the rows by a line.
        held = (alone.aligned(name) if channel.rows is None else aligned(
            self.log.time, self.log.time[channel.rows], outlying, channel.interval_s, False))
        return clean.aligned(name).tolist(), held.tolist()

    @staticmethod
    def _all(answers: list[list[str]], i: int) -> str:
        here = [answer[i] for answer in answers]
        return "no" if "no" in here else "unknown" if "unknown" in here else "yes"

    @staticmethod
    def _plausible(values: list[float], i: int, low: float, high: float) -> float:
        return values[i] if low <= values[i] <= high else NAN

    def _stands_out(self, values: list[float], i: int, low: float, high: float,
                    least: float) -> bool:
        """Whether a sample departs from its neighbours as no gust does, and none about it."""
        def departure(j: int) -> float:
            three = [self._plausible(values, k, low, high) for k in (j - 1, j, j + 1)]
            return abs(three[1] - (three[0] + three[2]) / 2)

        n = len(values)
        about = [departure(j) for j in (*range(max(i - 25, 1), i - 1),
                                        *range(i + 2, min(i + 26, n - 1)))]
        about = [one for one in about if not math.isnan(one)]
        return departure(i) > least and (
            len(about) < 12 or departure(i) > 8 * statistics.median(about))

    def _screened(self, values: list[float], i: int, low: float, high: float,
                  rate: float, noise: float, least: float) -> float:
        here = self._plausible(values, i, low, high)
        if 0 < i < len(values) - 1:
            before = self._plausible(values, i - 1, low, high)
            after = self._plausible(values, i + 1, low, high)
            out, back = here - before, after - here
            if (abs(out) > rate * (self.time[i] - self.time[i - 1]) + noise
                    and abs(back) > rate * (self.time[i + 1] - self.time[i]) + noise
                    and (out > 0) != (back > 0)
                    and self._stands_out(values, i, low, high, least)):
                return NAN
        return here

    def _corrupt(self, i: int) -> bool:
        """Whether speed and altitude are garbage at once."""
        for values, *bounds in ((self.speed, 0.0, 1000 * KT, 40 * KT, 2 * KT, 15 * KT),
                                (self.altitude, -2000 * FT, 65000 * FT, 600 * FT, 30.0, 250 * FT)):
            gone = math.isnan(self._screened(values, i, *bounds))
            if not gone or math.isnan(values[i]):
                return False
        return True

    def _lost(self, i: int) -> bool:
        """Whether a frame of 4 s could hold this row and two corrupt ones."""
        near = [j for j in range(max(i - 40, 0), min(i + 40, len(self.time)))
                if abs(self.time[j] - self.time[i]) <= 4.0 and self._corrupt(j)]
        return any(max(self.time[k] for k in (i, a, b)) - min(self.time[k] for k in (i, a, b))
                   <= 4.0 for a, b in pairwise(near))

    def row(self, i: int) -> dict[str, float]:
        """Every column of row i."""
        sheet = self.sheet
        # Plausible ranges and rates as the vocabulary of channels has them.
        read = self._screened(self.speed, i, 0.0, 1000 * KT, 40 * KT, 2 * KT, 15 * KT)
        height = self._screened(self.altitude, i, -2000 * FT, 65000 * FT, 600 * FT, 30.0, 250 * FT)
        felt = (NAN if self.heat is None
                else self._plausible(self.heat, i, 273.15 - 95, 273.15 + 120))
        if self._lost(i):
            read = height = felt = NAN
        self._table = self._position_table(i)
        tables = bool(sheet.airspeed.position_tables)
        indicated_height = height
        if self.is_indicated:
            indicated = read
            if sheet.airspeed.instrument_correction:
                indicated += linear(self._kt(sheet.airspeed.instrument_correction), indicated)
            cas = self._corrected(indicated)
            if sheet.airspeed.altimeter_correction:
                rows = [(v * KT, add * FT) for v, add in sheet.airspeed.altimeter_correction]
                height += linear(rows, indicated)
            elif tables and not sheet.airspeed.static_source_corrected:
                height = known(probes.static_source_pressure_altitude, indicated, cas, height)
            if not -2000 * FT <= height <= 65000 * FT:
                height = NAN
        else:
            cas = read
            indicated = self._uncorrected(cas)
            if tables and not sheet.airspeed.static_source_corrected:
                indicated_height = known(probes.static_source_pressure_altitude, cas, indicated,
                                         height)
        mach = mach_of(cas, height)
        heat = felt
        if self.recovery:
            heat = known(lambda t, m: probes.static_temperature(t, m, self.recovery), felt, mach)
        out = {
            "pressure_altitude_ft": height / FT, "calibrated_airspeed_kt": cas / KT,
            "mach": mach,
            "equivalent_airspeed_kt": known(airspeed.eas_from_mach, mach, height) / KT,
            "true_airspeed_kt": known(airspeed.tas_from_mach, mach, heat) / KT,
            "static_air_temperature_degc": heat - 273.15,
            "isa_deviation_degc": known(atmosphere.isa_deviation, height, heat),
            "density_altitude_ft": NAN,
        }
        if not math.isnan(height + heat):
            try:
                out["density_altitude_ft"] = atmosphere.density_altitude(height, heat) / FT
            except ValueError:
                out["density_altitude_ft"] = NAN
        if self.is_indicated or tables:
            out["indicated_airspeed_kt"] = indicated / KT
        reach, pointer, states = [], [], []
        for k, limit in enumerate(sheet.limit):
            applies = self._all(self.holds[k], i)
            top = self._maximum(limit, height)
            value, equivalent = self._in_quantity(
                limit, top, cas, indicated, height, indicated_height, mach, heat)
            slack = max(1e-9 if "mach" in limit.quantity else 1e-5 * KT, self.rounding * abs(top))
            state = (UNKNOWN if math.isnan(value - top) else
                     OVER if value - top > slack else UNDER)
            state = {"no": NOT_APPLICABLE, "unknown": UNKNOWN, "yes": state}[applies]
            states.append(state)
            out[f"state_{k}"] = state
            usable = applies == "yes" and not math.isnan(equivalent)
            reach.append(equivalent if usable else math.inf)
            pointer.append(equivalent if usable and limit.on_pointer else math.inf)
        lowest = min(reach)
        # Where the altitude is gone for a while a Mach limit may lie anywhere; where there is none
        # at all the limits that need none have a lowest, and so has a pointer that shows no other.
        lost = math.isnan(height) and not self.without_altitude
        if math.isinf(lowest) or lost:
            lowest, governing = NAN, 255
        else:
            governing = reach.index(lowest)
        lost = lost or (self.without_altitude and any(
            limit.on_pointer and (limit.by_pressure_altitude is not None or limit.quantity not in (
                "calibrated_airspeed", "indicated_airspeed")) for limit in sheet.limit))
        shown = NAN if lost or math.isinf(min(pointer)) else min(pointer)
        out["limit_airspeed_kt"], out["governing_limit"] = lowest / KT, governing
        out["limit_pointer_kt"] = self._uncorrected(shown) / KT
        out["margin_kt"] = (lowest - cas) / KT
        out["margin_mach"] = mach_of(lowest, height) - mach
        out["state"] = next((s for s in (OVER, UNKNOWN, UNDER) if s in states), NOT_APPLICABLE)
        return out

    @staticmethod
    def _kt(table: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
        return [(a * KT, b * KT) for a, b in table]

    def _position_table(self, i: int) -> list[tuple[float, float]] | None:
        for k, table in enumerate(self.sheet.airspeed.position_tables):
            if self._all(self.flaps[k], i) == "yes":
                return self._kt(table.table)
        return None

    def _corrected(self, indicated: float) -> float:
        if not self.sheet.airspeed.position_tables:
            return indicated
        return NAN if self._table is None else indicated + linear(self._table, indicated, 1e-9)

    def _uncorrected(self, calibrated: float) -> float:
        if not self.sheet.airspeed.position_tables:
            return calibrated
        if self._table is None:
            return NAN
        return linear([(v + add, v) for v, add in self._table], calibrated, 1e-9)

    @staticmethod
    def _maximum(limit: Limit, height: float) -> float:
        if limit.by_pressure_altitude is None:
            return limit.maximum if "mach" in limit.quantity else limit.maximum_kt * KT
        unit = 1.0 if "mach" in limit.quantity else KT
        table = [(ft * FT, value * unit) for ft, value in limit.by_pressure_altitude]
        if limit.outside == "hold":
            height = min(max(height, table[0][0]), table[-1][0]) if height == height else NAN
        return linear(table, height, 1e-3)

    def _in_quantity(self, limit: Limit, top: float, cas: float, indicated: float, height: float,
                     indicated_height: float, mach: float, heat: float) -> tuple[float, float]:
        """The speed in the limit's quantity, and the limit as calibrated airspeed."""
        match limit.quantity:
            case "calibrated_airspeed":
                return cas, top
            case "indicated_airspeed":
                return indicated, self._corrected(top)
            case "equivalent_airspeed":
                there = NAN
                if not math.isnan(height + top):
                    there = cas_of(float(airspeed.mach_from_eas(top, height)), height)
                return known(airspeed.eas_from_mach, mach, height), there
            case "true_airspeed":
                there = NAN
                if not math.isnan(height + heat + top):
                    there = cas_of(float(airspeed.mach_from_tas(top, heat)), height)
                return known(airspeed.tas_from_mach, mach, heat), there
            case "mach":
                return mach, cas_of(top, height)
            case "indicated_mach":
                return (mach_of(indicated, indicated_height),
                        self._corrected(cas_of(top, indicated_height)))
        raise AssertionError(limit.quantity)


def agree(analysis: Analysis, plain: Plain, rows: Iterable[int]) -> None:
    """Hold every column of the analysis to the independent computation."""
    rows = list(rows)
    wanted = [plain.row(i) for i in rows]
    assert set(analysis.columns) <= set(wanted[0])
    for name, column in analysis.columns.items():
        got = column[rows].astype(np.float64)
        want = np.array([row[name] for row in wanted])
        if column.dtype == np.uint8:
            off = np.flatnonzero(got != want)
        else:
            assert column.dtype == np.float32, name
            # Float32 keeps 24 bits; a difference of two floats keeps those of the larger one.
            slack = 1e-6 + 2.0**-23 * np.abs(want)
            off = np.flatnonzero(~((np.abs(got - want) <= slack)
                                   | (np.isnan(got) & np.isnan(want))))
        assert not len(off), (
            f"{name}: {len(off)} rows differ, first {rows[off[0]]}: "
            f"{got[off[0]]!r}, plainly {want[off[0]]!r}; {wanted[off[0]]}"
        )


SHAPES = ("plain six", "indicated by flap", "calibrated by flap", "instrument and altimeter",
          "conditions", "temperature")


def random_sheet(rng: np.random.Generator, shape: str, make: Any) -> LimitsSheet:
    cas = float(rng.integers(200, 320))
    limits = [
        {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": cas},
        {"name": "MMO", "quantity": "mach", "maximum": round(float(rng.uniform(0.4, 0.85)), 2)},
        {"name": "VD", "quantity": "equivalent_airspeed", "maximum_kt": cas + 15},
    ]
    table = [[0, cas], [8000, cas + 12], [24000, cas + 12], [31000, cas - 25]]
    if shape == "plain six":
        limits += [
            {"name": "VT", "quantity": "calibrated_airspeed", "by_pressure_altitude": table},
            {"name": "MT", "quantity": "mach", "outside": "hold",
             "by_pressure_altitude": [[5000, 0.45], [20000, 0.62], [30000, 0.6]]},
            {"name": "VLE", "quantity": "indicated_airspeed", "maximum_kt": cas - 40,
             "when": {"gear_down": {"is": True}}},
        ]
        return make(*limits, temperature={"outside_air": "static"})
    if shape == "conditions":
        limits += [
            {"name": f"VFE {k}", "quantity": "indicated_airspeed", "maximum_kt": cas - 20 * k,
             "when": {"flap_deg": {"above": 10 * k - 9, "up_to": 10 * k,
                                   **({"deadband": 0.4} if k == 1 else {}),
                                   **({"dwell_s": 2.0} if k < 3 else {})},
                      **({"ladder_out": {"below": 0.5}} if k == 2 else {})}}
            for k in (1, 2, 3)
        ]
        limits += [
            {"name": "MX", "quantity": "indicated_mach", "outside": "hold", "on_pointer": True,
             "by_pressure_altitude": [[2000, 0.5], [9000, 0.55]],
             "when": {"weight_kg": {"from": 9000}, "hook": {"is": 1}}},
        ]
        return make(*limits, temperature={"outside_air": "static"})
    if shape == "temperature":
        limits += [
            {"name": "VTAS", "quantity": "true_airspeed", "maximum_kt": cas + 60},
            {"name": "VTAS high", "quantity": "true_airspeed",
             "by_pressure_altitude": [[10000, cas + 40], [30000, cas + 120]]},
        ]
        kind = [{"outside_air": "probe", "recovery_factor": 0.8}, {"outside_air": "total"},
                {"outside_air": "static"}][int(rng.integers(3))]
        return make(*limits, temperature=kind)
    limits += [
        {"name": "VI", "quantity": "indicated_airspeed", "maximum_kt": cas - 3},
        {"name": "VIT", "quantity": "indicated_airspeed", "by_pressure_altitude": table},
        {"name": "MI", "quantity": "indicated_mach", "maximum": 0.6},
    ]
    straight = [[60, 2], [150, -1], [260, 4.5], [420, 6]]
    if shape == "instrument and altimeter":
        return make(*limits, recorded="indicated",
                    instrument_correction=[[50, 1], [200, -2], [450, 3]],
                    position_correction=straight if rng.random() < 0.7 else None,
                    altimeter_correction=[[40, 10], [300, 250], [460, 300]])
    by_flap = [{"flap_deg": {"up_to": 1}, "table": straight},
               {"flap_deg": {"above": 1, "up_to": 20}, "table": [[60, 4], [240, -3]]}]
    return make(*limits, recorded=shape.split()[0], position_correction=by_flap,
                static_source_corrected=[None, True][int(rng.integers(2))])


def walk(rng: np.random.Generator, n: int, start: float, step: float, low: float, high: float
         ) -> np.ndarray:
    values = start + np.cumsum(rng.normal(0, step, n))
    values = low + np.abs(values - low)
    return high - np.abs(high - values)


def random_log(rng: np.random.Generator, n: int, sheet: LimitsSheet, make: Any,
               gust_kt: float = 4.0) -> FlightLog:
    steps = rng.choice([0.25, 0.25, 0.25, 0.26, 0.35, 5.0], n, p=[.3, .3, .3, .04, .04, .02])
    time = np.cumsum(steps) - steps[0]
    ft = walk(rng, n, rng.uniform(0, 35000), 40, -500, 42000)
    kt = walk(rng, n, 250, gust_kt, 0, 380)
    # Stand at, just under and just over the limits, as they are at the row's altitude.
    for i in rng.choice(n, min(n // 4, 500)):
        limit = sheet.limit[int(rng.integers(len(sheet.limit)))]
        top = float(limit.maximum_at(ft[i] * FT))
        if math.isnan(top):
            continue
        delta = float(rng.choice([0.0, 5e-6, -5e-6, 2e-5, -2e-5, 5e-4, -5e-4, 0.01, -0.01]))
        if "mach" in limit.quantity:
            tiny = float(rng.choice([0.0, 5e-10, -5e-10, 2e-9, -2e-9, 1e-6, -1e-6]))
            kt[i] = airspeed.cas_from_mach(top + tiny, ft[i] * FT) / KT
        elif limit.quantity == "equivalent_airspeed":
            kt[i] = airspeed.cas_from_eas(top + delta * KT, ft[i] * FT) / KT
        else:
            kt[i] = top / KT + delta
    degc = 15 - 1.98 * ft / 1000 + walk(rng, n, 0, 0.2, -20, 20)

    def dirty(values: np.ndarray, share: float = 0.03) -> np.ndarray:
        rough = values.copy()
        bad = rng.random(n) < share
        kinds = np.array([NAN, -9999.0, 9999.0, 99999.0, -99999.0])
        rough[bad] = rng.choice(kinds, int(bad.sum()))
        spikes = rng.choice(n, max(1, n // 60))
        rough[spikes] += rng.choice([-1.0, 1.0], len(spikes)) * 90
        if rng.random() < 0.4:
            rough = rough.astype(np.float32).astype(np.float64)
        return rough

    name = f"{sheet.airspeed.recorded}_airspeed"
    channels: dict[str, Any] = {name: dirty(kt), "pressure_altitude": dirty(ft)}
    if rng.random() < 0.3:
        kept = channels[name].astype(np.float32).astype(np.float64)
        channels[name] = Channel(kept * KT, rounding=2.0**-24, column="V")
    if rng.random() < 0.9:
        kind = "outside" if sheet.temperature else "total"
        channels[f"{kind}_air_temperature"] = dirty(degc)
    if rng.random() < 0.9:
        flap = np.repeat(rng.choice([0, 0.9, 1.1, 5, 9.8, 10, 10.2, 20, 30], n // 12 + 1), 12)[:n]
        flap = flap + rng.choice([0, 0, 0.3, -0.3], n)
        flap[rng.random(n) < 0.02] = NAN
        for start in rng.choice(n, 3):
            flap[start : start + int(rng.integers(1, 12))] = rng.choice([0.0, 30.0])
        if rng.random() < 0.5:
            # A slow channel, with a stretch in which it wasn't recorded.
            rows = np.flatnonzero((np.arange(n) % 4 == 1) & ~((np.arange(n) > n // 2)
                                                             & (np.arange(n) < n // 2 + 40)))
            channels["flap"] = Channel(flap[rows] * DEG, rows.astype(np.int32), 1.0)
        else:
            channels["flap"] = flap
    if rng.random() < 0.7:
        channels["gear_down"] = np.where(rng.random(n) < 0.02, NAN, np.arange(n) // 50 % 2)
    channels["weight"] = walk(rng, n, 9000, 3, 8000, 10000)
    if rng.random() < 0.5:
        channels["ladder_out"] = np.arange(n) // 30 % 2
    return make(time, **channels)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("shape", SHAPES)
def test_every_column_as_computed_row_by_row(shape, seed, log, sheet):
    rng = np.random.default_rng([seed, SHAPES.index(shape)])
    stated = random_sheet(rng, shape, sheet)
    flight = random_log(rng, 260, stated, log)
    declared = {} if seed == 3 else {"hook": 1.0}
    for absent in ("ladder_out", "gear_down"):
        if seed == 2 and absent not in flight:
            declared[absent] = 0.0
    plain = Plain(flight, stated, declared)
    how = {"declared": declared, "settings": ONE_BY_ONE}
    with engine(block=64 if seed % 2 else None):  # many blocks in a short log
        whole = analyze(flight, stated, **how)
        verdict = analyze(flight, stated, **how, verdict_only=True)
    agree(whole, plain, range(len(flight)))
    agree(verdict, plain, range(len(flight)))


@pytest.mark.parametrize("blank", [False, True], ids=["absent", "blank"])
@pytest.mark.parametrize("shape", SHAPES)
def test_without_an_altitude_as_computed_row_by_row(shape, blank, log, sheet):
    rng = np.random.default_rng([9, SHAPES.index(shape)])
    stated = random_sheet(rng, shape, sheet)
    flight = random_log(rng, 260, stated, log)
    channels = dict(flight.channels)
    altitude = channels.pop("pressure_altitude")
    if blank:
        channels["pressure_altitude"] = replace(altitude, values=np.full(260, NAN))
    flight = replace(flight, channels=channels)
    plain = Plain(flight, stated, {"hook": 1.0})
    how = {"declared": {"hook": 1.0}, "settings": ONE_BY_ONE}
    with engine(block=64):
        whole = analyze(flight, stated, **how)
        verdict = analyze(flight, stated, **how, verdict_only=True)
    agree(whole, plain, range(len(flight)))
    agree(verdict, plain, range(len(flight)))
    if shape == "plain six":
        assert (whole.columns["margin_kt"] < 0).any()


@pytest.mark.parametrize("shape", ["plain six", "conditions", "indicated by flap"])
def test_long_logs_as_computed_row_by_row(shape, log, sheet):
    """Several blocks on two threads; the rows beside block boundaries and some others."""
    rng = np.random.default_rng(7)
    block = 32768
    n = 2 * block + block // 8 + 1
    stated = random_sheet(rng, shape, sheet)
    flight = random_log(rng, n, stated, log, gust_kt=0.4)
    declared = {"hook": 1.0}
    with engine(block=block):
        whole, verdict = (
            analyze(flight, stated, declared=declared, settings=ONE_BY_ONE, verdict_only=only)
            for only in (False, True))
    edges = [row for start in range(0, n, block) for row in range(start - 2, start + 3)]
    rows = {*rng.choice(n, 200).tolist(), *edges, n - 2, n - 1}
    agree(whole, Plain(flight, stated, declared), sorted(row for row in rows if 0 <= row < n))
    assert set(verdict.columns) < set(whole.columns)
    for name, column in verdict.columns.items():
        np.testing.assert_array_equal(column, whole.columns[name], err_msg=name)
    assert whole.exceedances
    # As text: NaN isn't equal to itself.
    assert list(map(str, verdict.exceedances)) == list(map(str, whole.exceedances))
    assert verdict.judged_s == pytest.approx(whole.judged_s, abs=1e-6)


@pytest.mark.parametrize("shape", SHAPES)
def test_the_plain_reading_called_alone(shape, log, sheet):
    rng = np.random.default_rng(SHAPES.index(shape))
    stated = random_sheet(rng, shape, sheet)
    n = 60
    kt, ft = walk(rng, n, 250, 4.0, 60, 380), walk(rng, n, 20000, 40, 0, 42000)
    flap = np.repeat(rng.choice([0, 5, 15, 25], n // 12), 12).astype(float)
    name = f"{stated.airspeed.recorded}_airspeed"
    kind = "outside" if stated.temperature else "static"
    recorded = {name: ("kt", kt), "pressure_altitude": ("ft", ft), "flap": ("deg", flap),
                f"{kind}_air_temperature": ("degc", 15 - 1.98 * ft / 1000),
                "weight": ("kg", walk(rng, n, 9000, 3, 8000, 10000))}
    gear = (np.arange(n) // 10 % 2).astype(float)
    frame = {f"{name}_{unit}": values for name, (unit, values) in recorded.items()}
    found = evaluate({**frame, "gear_down": gear}, stated)
    plain = Plain(log(range(n), **{name: values for name, (_, values) in recorded.items()},
                      gear_down=gear), stated, {})
    words = ("under", "over", "unknown", "not applicable")
    for i in range(n):
        row = plain.row(i)
        for k, limit in enumerate(stated.limit):
            assert found[f"state_{limit.name}"][i] == words[int(row[f"state_{k}"])], (i, limit)
        for column in ("limit_airspeed_kt", "limit_pointer_kt", "margin_kt", "margin_mach"):
            assert found[column][i] == pytest.approx(row[column], abs=1e-6, nan_ok=True), column
