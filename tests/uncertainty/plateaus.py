"""Are the stated probabilities true on plateaus? Flights that stay near a limit for a while.

Truth is flown in static and impact pressure by `loganalyze.simulate.pressures`, which shares no
code with the engine. Each flight comes up to a limit (VMO, MMO or a VMO table) level, climbing or
descending, stays for 10 s to 10 min with a slow wander of up to 0.5 kt (none in three of ten), and
leaves it. Rates of 1 and 4 Hz, steps of 0.25 and 1 kt, sensors' errors as the sheet states them.

Pass rules, stated before they were run. In each cell (a kind of noise and a duration):

- at most one decile of stated probability of ten outside its 99.9 % bounds;
- the interval as flown holds the truth in 93 to 97 % of the flights; where a cell has so few that
  chance alone spreads a true 95 % further (3.29 standard deviations), within that;
- the bias of the stated worst excess is within 0.2 kt or a tenth of u, whichever is greater.

Correlated noise that neither sheet nor another channel tells can't be told from gusts: there the
interval covers both readings in at least 93 %, and deciles and bias don't count. Beside a gap what
is stated is "at least": it may be true more often than it says, and not less often.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import calibration
import numpy as np

from loganalyze.events.analysis import analyze
from loganalyze.record.flight_log import Channel, FlightLog, Source
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.simulate import pressures
from loganalyze.uncertainty.exceedance_probability import at_rows
from loganalyze.uncertainty.sample_uncertainty import uncertainty_of

FOOT, KNOT = calibration.FOOT, calibration.KNOT
LEAD_S, AWAY_KT = 120.0, 20.0
MACH_A_KNOT = 2.4e-3
TABLE_FT, TABLE_KT = (0.0, 10000.0, 30000.0), (240.0, 250.0, 270.0)
LIMITS = ("VMO", "MMO", "table")
DURATIONS = (10.0, 40.0, 150.0, 600.0)


@dataclass(frozen=True)
class Noise:
    """Noise of the recorded airspeed: standard deviation [kt], correlation time [s]."""

    name: str
    standard: float
    correlated_s: tuple[float, ...] = (0.0,)
    told_by: str = ""
    """"sheet", "channel" (a second airspeed with its own noise) or nobody."""
    gap: bool = False


NOISES = (
    Noise("none", 0.0),
    Noise("white 0.5 kt", 0.5),
    Noise("white 1 kt", 1.0),
    Noise("0.8 kt over 2 to 10 s, stated", 0.8, (2.0, 5.0, 10.0), "sheet"),
    Noise("0.8 kt over 2 to 10 s, a second airspeed", 0.8, (2.0, 5.0, 10.0), "channel"),
    Noise("0.8 kt over 2 to 10 s, told by nobody", 0.8, (2.0, 5.0, 10.0)),
    Noise("white 0.5 kt, a gap of 5 s", 0.5, gap=True),
)


@dataclass(frozen=True, eq=False)
class Flown:
    """Per flight, in kt: what was stated and the truth."""

    probability: np.ndarray
    over: np.ndarray
    excess: np.ndarray
    u: np.ndarray
    low: np.ndarray
    high: np.ndarray
    low_shown: np.ndarray
    high_shown: np.ndarray
    reading: np.ndarray
    at_least: np.ndarray
    not_told: np.ndarray
    true: np.ndarray
    shown: np.ndarray
    """What was displayed: the greatest excess of the readings without noise and steps."""

    def joined(self, other: Flown) -> Flown:
        return Flown(*(np.concatenate([getattr(self, name), getattr(other, name)])
                       for name in self.__dataclass_fields__))


def sheet_of(limit: str, noise: Noise, seconds: float, errors: calibration.Errors) -> LimitsSheet:
    base = calibration.sheet_of(errors, limit == "MMO").model_dump(exclude_unset=True)
    if limit == "table":
        base["limit"] = [{"name": "VMO", "quantity": "calibrated_airspeed",
                          "by_pressure_altitude": list(zip(TABLE_FT, TABLE_KT, strict=True))}]
    if noise.told_by == "sheet":
        base["uncertainty"]["airspeed_noise"] = {
            "standard": noise.standard, "correlation_s": seconds}
    return LimitsSheet.model_validate(base)


def correlated(rng, shape, standard, seconds, interval):
    values = rng.normal(0, standard, shape)
    if seconds:
        keep = np.exp(-interval / seconds)
        for i in range(1, shape[1]):
            values[:, i] = keep * values[:, i - 1] + np.sqrt(1 - keep**2) * values[:, i]
    return values


def course(rng, flights, seconds, interval):
    """Excess over the limit less its top [kt], float64[flights, n]."""
    ramp = rng.uniform(0.3, 2.0, (flights, 1))
    begin = LEAD_S + AWAY_KT / 0.3
    time = np.arange(0, begin + seconds + AWAY_KT / 0.3, interval)
    away = np.maximum(0, np.maximum(begin - time, time - begin - seconds))
    size = np.where(rng.random((flights, 1)) < 0.3, 0.0, rng.uniform(0, 0.5, (flights, 1)))
    period, phase = rng.uniform(20, 60, (flights, 4, 1)), rng.uniform(0, 2 * np.pi, (flights, 4, 1))
    slow = np.sqrt(0.5) * np.sin(2 * np.pi * time / period + phase).sum(axis=1)
    below = np.minimum(ramp * away, AWAY_KT) - size * slow
    return time, -(below - below.min(axis=1, keepdims=True))


def fly(limit, noise, seconds, rate, step_kt, climb_fps, flights, seed):
    """Fly, record and assess flights, one worst instant each."""
    rng = np.random.default_rng(seed)
    errors = calibration.Errors(rate_hz=rate, step_kt=step_kt)
    correlated_s = float(rng.choice(noise.correlated_s))
    time, course_kt = course(rng, flights, seconds, 1 / rate)
    shape = course_kt.shape
    true = rng.uniform(-9, 9, flights)
    excess = course_kt + true[:, None]
    start = {"MMO": 33000.0, "VMO": 12000.0, "table": 14000.0}[limit]
    height = np.broadcast_to((start + climb_fps * time) * FOOT, shape)
    static = pressures.static_pressure(height)
    if limit == "MMO":
        impact = static * pressures.impact_ratio(calibration.MMO + excess * MACH_A_KNOT)
    else:
        allowed = (calibration.VMO_KT if limit == "VMO"
                   else np.interp(height / FOOT, TABLE_FT, TABLE_KT))
        impact = pressures.impact_pressure((allowed + excess) * KNOT)
    cas = pressures.calibrated_airspeed(impact) / KNOT

    def common():
        return rng.normal(0, 1, (flights, 1))

    wrong = impact - pressures.impact_pressure((cas + errors.static_kt * common()) * KNOT)
    felt = pressures.calibrated_airspeed(impact - wrong) / KNOT
    read = felt * (1 + errors.airspeed_per_cent / 100 * common())
    shown = (pressures.pressure_altitude(static + wrong) / FOOT + errors.altitude_ft * common())
    if limit == "MMO":
        mach = pressures.mach_of(pressures.impact_pressure(read * KNOT)
                                 / pressures.static_pressure(shown * FOOT))
        seen = (mach - calibration.MMO) / MACH_A_KNOT
    else:
        seen = read - (calibration.VMO_KT if limit == "VMO"
                       else np.interp(shown, TABLE_FT, TABLE_KT))
    stamps = (time + np.arange(flights)[:, None] * (time[-1] + 60)).ravel()

    def channel(values, step, unit, name):
        return Channel((np.round(values / step) * step).ravel() * unit, resolution=step * unit,
                       interval_s=1 / rate, column=name)

    channels = {
        "calibrated_airspeed": channel(
            read + correlated(rng, shape, noise.standard, correlated_s, 1 / rate), step_kt, KNOT,
            "CAS"),
        "pressure_altitude": channel(shown, errors.step_ft, FOOT, "HP")}
    if noise.told_by == "channel":
        channels["calibrated_airspeed_2"] = channel(
            read + rng.normal(0, 1, (flights, 1))
            + correlated(rng, shape, 0.5, 3.0, 1 / rate), 0.25, KNOT, "CAS2")
    keep = np.ones(shape, dtype=bool)
    if noise.gap:
        hole = rng.uniform(LEAD_S + AWAY_KT / 0.3, LEAD_S + AWAY_KT / 0.3 + seconds, (flights, 1))
        keep = np.abs(time - hole) > 2.5
    flat = keep.ravel()
    log = FlightLog(stamps[flat], {
        name: replace(one, values=one.values[flat]) for name, one in channels.items()},
        Source(Path("simulated")), interval_s=1 / rate)
    analysis = analyze(log, sheet_of(limit, noise, correlated_s, errors))
    margin = analysis.columns["margin_mach" if limit == "MMO" else "margin_kt"]
    ends = np.cumsum(keep.sum(axis=1))
    spans = list(zip((ends - keep.sum(axis=1)).tolist(), (ends - 1).tolist(), strict=True))
    worst = np.array([first + int(np.nanargmin(margin[first : last + 1])) for first, last in spans])
    stated = at_rows(uncertainty_of(analysis), 0, worst, spans=spans)
    scale = MACH_A_KNOT if limit == "MMO" else 1.0

    def of(name, basis="flown"):
        return np.array([getattr(getattr(one, basis), name) for one in stated])

    return Flown(
        of("probability"), true > 0, of("excess") / scale,
        np.hypot(of("common_u"), of("random_u")) / scale, of("low") / scale, of("high") / scale,
        of("low", "displayed") / scale, of("high", "displayed") / scale, of("reading") / scale,
        of("at_least"), of("noise_told_by") == "not told apart", true,
        seen.max(axis=1))


def cell(noise, seconds, flights, seed):
    """All limits, rates, steps and slopes together."""
    rng = np.random.default_rng(seed)
    batches = [(limit, rate, step) for limit in LIMITS for rate in (1.0, 4.0)
               for step in (0.25, 1.0)]
    found = None
    for k, (limit, rate, step) in enumerate(batches):
        climb = float(rng.choice([0.0, 15.0, -15.0]))
        some = fly(limit, noise, seconds, rate, step, climb, -(-flights // len(batches)),
                   seed + k + 1)
        found = some if found is None else found.joined(some)
    return found


@dataclass(frozen=True)
class Verdict:
    flights: int
    outside: int
    coverage: float
    covered_as_displayed: float
    bias: float
    allowed_bias: float
    bias_of_reading: float
    at_least: float
    not_told: float
    passed: bool


def judged(noise: Noise, flown: Flown) -> Verdict:
    """A cell against the rules."""
    at_least = flown.at_least.astype(bool)
    rows = calibration.reliability(flown.probability[~at_least], flown.over[~at_least])
    outside = sum(z > 3.29 for *_, z in rows)
    # What reads "at least" may be true more often than it says, and not less often.
    rows = calibration.reliability(flown.probability[at_least], flown.over[at_least])
    outside += sum(z > 3.29 and found < expected for _, _, expected, found, z in rows)
    number = len(flown.true)
    inside = (flown.low <= flown.true) & ~(flown.high < flown.true)
    shown = (flown.low_shown <= flown.shown) & ~(flown.high_shown < flown.shown)
    coverage, slack = float(inside.mean()), 3.29 * np.sqrt(0.95 * 0.05 / number)
    # Errors common to a flight are unbiased as they are drawn: less them the bias is sharper.
    bias = float((flown.excess - flown.shown).mean())
    allowed = max(0.2, float(flown.u.mean()) / 10)
    if noise.correlated_s != (0.0,) and not noise.told_by:
        passed = coverage >= 0.93 - max(slack - 0.02, 0)
    else:
        passed = (outside <= 1 and 0.95 - max(0.02, slack) <= coverage <= 0.95 + max(0.02, slack)
                  and abs(bias) <= allowed)
    return Verdict(number, outside, coverage, float(shown.mean()), bias, allowed,
                   float((flown.reading - flown.shown).mean()), float(at_least.mean()),
                   float(flown.not_told.mean()), bool(passed))


def main(flights: int = 1200, only: str = "") -> None:
    print("\nPlateaus (bias in kt)\n  noise, duration                                     flights"
          "  deciles outside  covered  as displayed   bias  allowed  of reading  at least"
          "  not told")
    for k, noise in enumerate(NOISES):
        for j, seconds in enumerate(DURATIONS if only in noise.name else ()):
            one = judged(noise, cell(noise, seconds, flights, 9000 + 1000 * k + 100 * j))
            print(f"  {noise.name + f', {seconds:g} s':52}{one.flights:7,}{one.outside:17}"
                  f"{one.coverage:9.3f}{one.covered_as_displayed:14.3f}{one.bias:7.2f}"
                  f"{one.allowed_bias:9.2f}{one.bias_of_reading:12.2f}{one.at_least:10.2f}"
                  f"{one.not_told:10.2f}  {'passed' if one.passed else 'FAILED'}", flush=True)


if __name__ == "__main__":
    import sys
    main(int(sys.argv[1]), *sys.argv[2:])
