"""Whole-flight screening before the blocks are evaluated: frozen, stale, disagreeing channels.

Only what can change the verdict is found here, in one cheap pass over each judged channel.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from loganalyze.airdata.air_data import AirData
from loganalyze.record.arrays import Bits
from loganalyze.record.channels import kind
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.sample_reasons import HEIGHT, SPEED, Plausible, bit
from loganalyze.record.units import DEGREE, FOOT, KNOT
from loganalyze.screening import quantization, redundant_sources, stuck_channels
from loganalyze.screening.sample_checks import NOISE, Rows, Screen
from loganalyze.screening.stuck_channels import Reference
from loganalyze.sheets.evaluation_settings import Settings

Floats = NDArray[np.float64]

_SUBJECTS = {SPEED: "airspeed", HEIGHT: "pressure altitude"}
_GUST_S = 10.0
"""Longest duration [s] of a gust that steps faster than plausible: a one-minus-cosine gust of
12 kt whose rate exceeds 4 kt/s lasts less than 12 pi / 4 = 9.4 s."""
_ABOUT = 4.0
"""Length of the surroundings of an excursion, on either side, as a multiple of `excursion_s`."""
_LEAST_ROWS = 5
"""Least number of equal samples that make a run, whatever the sampling rate."""
_WIND = 3.0
"""Factor on the change required of ground speed as a reference, since wind changes it too."""
_WIND_S = 90.0
"""Time [s] within which ground speed must change so: in minutes, wind alone may change it."""
_ISOBAR_S = 60.0
"""Time [s] within which a satellite altitude must change: isobaric surfaces slope. In geostrophic
balance the slope is f U / g (f the Coriolis parameter, U the wind speed); with f = 1.4e-4 1/s and
U = 100 m/s, an aircraft at 300 m/s on one surface climbs or descends 26 m in a minute."""
_STEADY_TRACK = 10 * DEGREE
_STEADY_FT = 500.0
_STEADY_SETTING = 30.0
"""Change of the altimeter setting [Pa] above which it was reset: an altitude computed with it
changes before the setting's own next sample."""


def screen_of(
    log: FlightLog, air: AirData, settings: Settings, with_temperature: bool
) -> Screen:
    """Return the screen of a flight's blocks, with the rows rejected by whole-flight checks."""
    return Screen(
        log.time,
        air.screened_airspeed,
        air.screened_altitude,
        air.temperature if with_temperature else None,
        settings,
        log.interval_s,
        _rejected_beforehand(log, air, settings),
        redundant_sources.Corroboration(log, air, settings),
        _others(log),
    )


def _others(log: FlightLog) -> tuple[tuple[Floats, float, float], ...]:
    """Return the other channels recorded at every row, with their plausible ranges [SI].

    Temperatures are left out: a failed probe must not invalidate airspeed and altitude.
    """
    found = []
    for name, channel in log.channels.items():
        known = kind(name)
        if (known is None or channel.rows is not None or known.discrete
                or known.dimension == "temperature" or "airspeed" in name
                or name == "pressure_altitude"):
            continue
        unit = known.unit
        found.append((channel.values, known.lowest * unit.factor + unit.offset,
                      known.highest * unit.factor + unit.offset))
    return tuple(found)


def _rejected_beforehand(
    log: FlightLog, air: AirData, settings: Settings
) -> tuple[Rows, Bits] | None:
    """Return the rows rejected by frozen, stale and disagreeing channels, with reasons; or None."""
    found: dict[str, list[Rows]] = {}
    for subject, values, step, rate, bound in (
        ("airspeed", air.screened_airspeed, settings.stale_kt * KNOT,
         settings.plausible_rate_kt_s * KNOT, SPEED),
        ("pressure altitude", air.screened_altitude, settings.stale_ft * FOOT,
         settings.plausible_rate_ft_s * FOOT, HEIGHT),
    ):
        runs = frozen_runs(log, air, settings, subject, standing(log, values, settings.frozen_s))
        found[f"{subject} frozen while others moved"] = [stuck_channels.rows_of(runs)]
        if _often(log, values, settings):
            runs = stale_runs(log, subject, values, step, settings)
            # The first sample of each run was current.
            rows = stuck_channels.rows_of(runs, skip=1)
            if (len(runs) >= settings.stale_min_count
                    and len(rows) >= settings.stale_least_pct / 100 * len(log)):
                # Beside a step faster than plausible, samples outside the runs were wrong too.
                beside = stuck_channels.beside_steps(
                    log.time, bound.plausible(values), rate, NOISE[bound]
                )
                found[f"{subject} stale"] = [rows, beside]
    found |= _disagreements(log, air, settings)
    if not any(len(rows) for some in found.values() for rows in some):
        return None
    bits = np.zeros(len(log), dtype=np.uint16)
    for reason, some in found.items():
        for rows in some:
            bits[rows] |= bit(reason)
    raised = np.flatnonzero(bits)
    return raised, bits[raised]


def excursions(log: FlightLog, air: AirData, screen: Screen) -> Screen | None:
    """Return the screen with excursions of several samples rejected; None if there are none.

    Spikes of one sample are found block by block. An excursion lies between two steps faster than
    any aircraft flies (`Screen.fast_steps`), and ends at a value that the flight could have
    reached from the last value before it at a plausible rate.
    """
    bits = None
    for bound, values in ((SPEED, screen.speed), (HEIGHT, screen.altitude)):
        for rows in _excursions(log, air, screen, bound, values):
            bits = np.zeros(len(log), dtype=np.uint16) if bits is None else bits
            bits[rows] |= bit(f"{_SUBJECTS[bound]} spike faster than plausible")
    if bits is None:
        return None
    if screen.aside is not None:
        rows, reasons = screen.aside
        bits[rows] |= reasons
    raised = np.flatnonzero(bits)
    return replace(screen, aside=(raised, bits[raised]))


def _excursions(
    log: FlightLog, air: AirData, screen: Screen, bound: Plausible, values: Floats
) -> list[Rows]:
    """Return the rows of each excursion of several samples."""
    if not screen.fast_steps[bound]:
        return []
    # Blocks overlap, so that a step may have been found twice.
    jumps = np.unique(np.concatenate(screen.fast_steps[bound])).tolist()
    settings, noise = screen.settings, NOISE[bound]
    rate = settings.excursion_rate_factor * screen.rate(bound)
    found, done = [], -1
    corroboration = redundant_sources.Corroboration(log, air, settings)
    for i, before in enumerate(jumps):
        if before < done:
            continue
        for last in jumps[i + 1 :]:
            after = last + 1
            if log.time[last] - log.time[before + 1] > settings.excursion_s:
                break
            off = values[before + 1 : after] - values[before]
            back = rate * (log.time[after] - log.time[before]) + noise
            if (last - before > 1 and abs(values[after] - values[before]) <= back
                    and (off * np.sign(off[0]) > abs(off[0]) / 2).all()):
                middle = (before + after) // 2
                if screen.stands_out(bound, before + 1, last) and not _usual(
                        log, settings, values, before, after) and (
                        bound is not SPEED or not corroboration.over(before, middle, after)):
                    found.append(np.arange(before + 1, after))
                done = after
                break
    return found


def _usual(
    log: FlightLog, settings: Settings, values: Floats, before: int, after: int
) -> bool:
    """Whether the samples between two rows fit the surroundings better than the two rows do.

    Then the two rows are corrupt, and the samples between them aren't an excursion.
    """
    reach = _ABOUT * settings.excursion_s
    low, high = np.searchsorted(log.time, (log.time[before] - reach, log.time[after] + reach))
    level = float(np.nanmedian(values[low:high]))
    here = float(np.nanmedian(values[before + 1 : after]))
    beside = float(values[before] + values[after]) / 2
    return abs(here - level) < abs(beside - level)


def standing(log: FlightLog, values: Floats, least_s: float) -> stuck_channels.Runs:
    """Return the runs of equal values without gaps that last at least `least_s` [s], intp[m, 2].

    A run is a pair of its first and last row. None are found in logs of irregular interval (NaN)
    or fewer than five rows.
    """
    if not log.interval_s > 0 or len(log) < _LEAST_ROWS:
        return np.empty((0, 2), dtype=np.intp)
    least = _rows(least_s, log.interval_s)
    runs = stuck_channels.standstills(values, least)
    if not len(runs):
        return runs
    gaps = np.flatnonzero(np.diff(log.time) > HELD_INTERVALS * log.interval_s)
    runs = stuck_channels.without(runs, gaps, least)
    return runs[log.time[runs[:, 1]] - log.time[runs[:, 0]] >= least_s]


def _rows(least_s: float, interval: float) -> int:
    # A tenth fewer rows: the interval is the usual one, and some may be longer.
    return max(math.ceil(0.9 * least_s / interval), _LEAST_ROWS)


def _often(log: FlightLog, values: Floats, settings: Settings) -> bool:
    return log.interval_s > 0 and stuck_channels.standing_often(
        values, _rows(settings.stale_s, log.interval_s), settings.stale_least_pct / 100)


def frozen_runs(
    log: FlightLog, air: AirData, settings: Settings, subject: str, still: stuck_channels.Runs
) -> stuck_channels.Runs:
    """Return those of the runs `still` in which the subject's channel was frozen, intp[m, 2].

    `subject` : "airspeed" or "pressure altitude".
    """
    still = _in_flight(log, air, settings, subject, still)
    if not len(still):
        return still
    values = _values(air, subject)
    found = stuck_channels.frozen(still, references(log, air, settings, subject),
                          quantization.step_of(values, _resolution(log, air, subject)),
                          log.interval_s)
    finest = (settings.steadiest_kt * KNOT if subject == "airspeed"
              else settings.steadiest_ft * FOOT)
    for i in np.flatnonzero(~found & _stirred(air, settings, subject, still)).tolist():
        first, last = still[i].tolist()
        found[i] = stuck_channels.too_still(values, first, last, finest, settings.frozen_p_value)
    return still[found]


def quieter_runs(
    log: FlightLog, air: AirData, settings: Settings, subject: str
) -> stuck_channels.Runs:
    """Return the runs without the usual noise while the aircraft climbed or changed its speed.

    They may be a frozen sensor, steady flight or a coarse quantization step: this can't be decided.
    """
    values = _values(air, subject)
    still = _in_flight(log, air, settings, subject, standing(log, values, settings.frozen_s))
    if not len(still):
        return still
    still = still[_stirred(air, settings, subject, still)]
    found = [stuck_channels.quieter(values, first, last, settings.frozen_p_value)
             for first, last in still.tolist()]
    return np.asarray(still[np.array(found, dtype=bool)])


def _in_flight(
    log: FlightLog, air: AirData, settings: Settings, subject: str, still: stuck_channels.Runs
) -> stuck_channels.Runs:
    if subject == "pressure altitude":
        return _off_the_ground(log, air, settings, still)
    return still


def _values(air: AirData, subject: str) -> Floats:
    return air.screened_airspeed if subject == "airspeed" else air.screened_altitude


def _resolution(log: FlightLog, air: AirData, subject: str) -> float:
    """Return the quantization step [SI] of a judged channel as the reader found it, else NaN."""
    names = air.airspeed_sources if subject == "airspeed" else air.altitude_sources
    # A quantity computed from several channels has none of their steps.
    return log.channels[names[0]].resolution if names[0] in (
        "indicated_airspeed", "calibrated_airspeed", "pressure_altitude") else math.nan


def _stirred(
    air: AirData, settings: Settings, subject: str, still: stuck_channels.Runs
) -> NDArray[np.bool_]:
    """Whether the other of airspeed and altitude changed in each run, bool[m]."""
    other, least = air.screened_altitude, settings.frozen_moved_ft * FOOT
    if subject != "airspeed":
        other, least = air.screened_airspeed, settings.frozen_moved_kt * KNOT
    return np.asarray(stuck_channels.moved(other.__getitem__, still) > least)


def _off_the_ground(
    log: FlightLog, air: AirData, settings: Settings, still: stuck_channels.Runs
) -> stuck_channels.Runs:
    """Remove from the runs what may be a ground roll, where only the speed changes."""
    slow = log.time[np.flatnonzero(air.screened_airspeed < settings.ground_kt * KNOT)]
    if not len(slow):
        return still
    kept = []
    for first, last in still.tolist():
        time = log.time[first : last + 1]
        after = np.searchsorted(slow, time)
        near = np.minimum(
            np.abs(slow[np.minimum(after, len(slow) - 1)] - time),
            np.abs(time - slow[np.maximum(after - 1, 0)])) <= settings.ground_roll_s
        edges = np.flatnonzero(np.diff(near, prepend=True, append=True))
        kept += [(first + a, first + b - 1) for a, b in edges.reshape(-1, 2).tolist()
                 if time[b - 1] - time[a] >= settings.frozen_s]
    return np.array(kept, dtype=np.intp).reshape(-1, 2)


def references(
    log: FlightLog, air: AirData, settings: Settings, subject: str
) -> list[Reference]:
    """Return the reference channels that can show that a judged channel was frozen."""
    def recorded(name: str) -> Callable[[], NDArray[np.bool_]]:
        return lambda: log.recorded(name)

    if subject == "airspeed":
        least, drift = settings.frozen_moved_kt * KNOT, settings.frozen_drift_kt * KNOT
        found = [Reference(name, at, recorded(name), least, drift)
                 for name, at in redundant_sources.ways_to_the_airspeed(log, air).items()]
        if "ground_speed" in log and "track" in log:
            found.append(Reference(
                "ground_speed", log.aligned("ground_speed").__getitem__, recorded("ground_speed"),
                _WIND * least, _WIND * drift,
                ((log.aligned("track").__getitem__, _STEADY_TRACK),
                 (air.screened_altitude.__getitem__, _STEADY_FT * FOOT)), _WIND_S))
        return found
    least, drift = settings.frozen_moved_ft * FOOT, settings.frozen_drift_ft * FOOT
    found = []
    for name, at in redundant_sources.ways_to_the_altitude(log, air).items():
        steady: tuple[tuple[Callable[[Rows], Floats], float], ...] = ()
        if name == "indicated_altitude":
            steady = tuple((at, _STEADY_SETTING) for at in _settings_of(log))
        window = _ISOBAR_S if name == "satellite_altitude" else math.inf
        found.append(Reference(name, at, recorded(name), least, drift, steady, window))
    return found


def _settings_of(log: FlightLog) -> tuple[Callable[[Rows], Floats], ...]:
    """Return functions of rows: the altimeter setting, and that of its own next sample."""
    setting = log.channels["altimeter_setting"]
    values = log.aligned("altimeter_setting")
    ahead = 0
    if setting.rows is not None and log.interval_s > 0:
        ahead = math.ceil(HELD_INTERVALS * setting.interval_s / log.interval_s)
    return (values.__getitem__,
            lambda rows: values[np.minimum(rows + ahead, len(values) - 1)])


def stale_runs(
    log: FlightLog, subject: str, values: Floats, step: float, settings: Settings
) -> stuck_channels.Runs:
    """Return the runs of equal values that ended in a step greater than `step` [SI], intp[m, 2]."""
    runs = standing(log, values, settings.stale_s)
    # Gusts don't change the pressure altitude.
    gust_s = _GUST_S if subject == "airspeed" else 0.0
    return runs[stuck_channels.stale(log.time, values, runs, step, log.interval_s, gust_s)]


def _disagreements(log: FlightLog, air: AirData, settings: Settings) -> dict[str, list[Rows]]:
    """Return the rows at which two sources of a judged channel disagree, by reason."""
    found: dict[str, list[Rows]] = {}
    for subject, names, values, apart in judged_sources(log, air, settings):
        rows = [
            redundant_sources.disagreeing(
                log.time, log.interval_s, values, log.aligned(name), apart, settings.sources_apart_s
            )
            for name in redundant_sources.seconds(log, names)
        ]
        if rows:
            found[f"{subject} sources disagree"] = rows
    return found


def judged_sources(
    log: FlightLog, air: AirData, settings: Settings
) -> list[tuple[str, tuple[str, ...], Floats, Floats | float]]:
    """Return the judged quantities that may have second sources.

    Each as its subject, the names of its channels, its values [SI], float64[n], and the greatest
    distance [SI] at which two sources agree.
    """
    warm = next((name for name in redundant_sources.TEMPERATURES if name in log), None)
    found: list[tuple[str, tuple[str, ...], Floats, Floats | float]] = []
    if redundant_sources.seconds(log, air.airspeed_sources):
        found.append(("airspeed", air.airspeed_sources, air.screened_airspeed,
                      redundant_sources.speeds_apart(air.screened_airspeed, settings)))
    found.append(("pressure altitude", air.altitude_sources, air.screened_altitude,
                  settings.sources_apart_ft * FOOT))
    if warm is not None and air.temperature is not None:
        found.append(("temperature", (warm,), air.temperature, settings.sources_apart_degc))
    return found
