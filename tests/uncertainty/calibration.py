"""Are the stated probabilities true? Simulated flights of known truth, recorded with known errors.

    python -m tests.uncertainty.calibration [FLIGHTS [SEED]]

Truth is flown in static and impact pressure by `loganalyze.simulate.pressures`, which shares no
code with the engine; the recording gets its errors in those pressures and in what is recorded.
Each flight comes near one limit once; the probability is the one stated for its worst instant.

Pass rule, stated before it was run: where truth is flat and the errors are those that the sheet
states, in every tenth of stated probability the number of flights truly over lies within 3.29
standard deviations (99.9 %, normal) and half a flight of the sum of their probabilities. For
errors unlike the sheet's (uniform, autocorrelated, coarsely quantised) and for a fleet whose
margins are wide the tables are printed, and the Brier score beats both the base rate and plain
excess over uncertainty.

Plateaus have a table and rules of their own: see `plateaus`.

Plain excess over uncertainty is what one would do without any of this: the greatest recorded
excess over the root sum of squares of the uncertainties (no correlation, no fit), as the linear
forecast (1 + e / 2u) / 2 between 0 and 1.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from loganalyze import Channel, FlightLog, LimitsSheet, Prior, Source, analyze, prior_of_margins
from loganalyze.simulate import pressures
from loganalyze.uncertainty.exceedance_probability import at_rows
from loganalyze.uncertainty.sample_uncertainty import uncertainty_of

FOOT, KNOT = 0.3048, 1852 / 3600
VMO_KT, MMO = 250.0, 0.78


@dataclass(frozen=True)
class Errors:
    """How a recorder and its sensors err: standard uncertainties, and the kind of errors."""

    rate_hz: float = 4.0
    step_kt: float = 0.25
    step_ft: float = 4.0
    noise_kt: float = 0.1
    airspeed_per_cent: float = 0.6
    altitude_ft: float = 60.0
    static_kt: float = 1.0
    kind: str = "normal"
    """Of the errors common to a flight: "normal" or "uniform"."""
    correlated_s: float = 0.0
    """Time over which the noise is correlated [s]; 0: white."""
    truncated: bool = False
    """Whether values are cut off to the recorder's step rather than rounded."""


@dataclass(frozen=True, eq=False)
class Outcome:
    """Per flight: stated probability, truth, and what it was stated from (limit's own unit)."""

    probability: np.ndarray
    over: np.ndarray
    excess: np.ndarray
    u: np.ndarray
    plain: np.ndarray
    true_excess: np.ndarray

    def joined(self, other: Outcome) -> Outcome:
        """Both together."""
        return Outcome(*(np.concatenate([getattr(self, name), getattr(other, name)])
                         for name in self.__dataclass_fields__))


def sheet_of(errors: Errors, is_mach: bool) -> LimitsSheet:
    """The limits sheet that states these errors."""
    limit = ({"name": "MMO", "quantity": "mach", "maximum": MMO} if is_mach else
             {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": VMO_KT})
    none = {"standard": 0.0}
    return LimitsSheet.model_validate({
        "aircraft": "an invented twin", "airspeed": {"recorded": "calibrated"}, "limit": [limit],
        "uncertainty": {
            "airspeed": {"standard": errors.airspeed_per_cent, "per_cent": True},
            "pressure_altitude": {"standard": errors.altitude_ft},
            "static_source": {"standard": errors.static_kt},
            "position_correction": none, "displayed_airspeed": none, "displayed_altitude": none,
        }})


def _common(rng: np.random.Generator, errors: Errors, flights: int) -> np.ndarray:
    """Errors common to a flight, of unit standard deviation, float64[flights, 1]."""
    if errors.kind == "uniform":
        return rng.uniform(-np.sqrt(3), np.sqrt(3), (flights, 1))
    return rng.normal(0, 1, (flights, 1))


def _noise(rng: np.random.Generator, errors: Errors, shape: tuple[int, int]) -> np.ndarray:
    white = rng.normal(0, errors.noise_kt, shape)
    if not errors.correlated_s:
        return white
    keep = np.exp(-1 / (errors.correlated_s * errors.rate_hz))
    for i in range(1, shape[1]):
        white[:, i] = keep * white[:, i - 1] + np.sqrt(1 - keep**2) * white[:, i]
    return white


def _stepped(values: np.ndarray, step: float, errors: Errors) -> np.ndarray:
    return (np.floor(values / step) if errors.truncated else np.round(values / step)) * step


def fly(errors: Errors, true_excess: np.ndarray, *, is_mach: bool, seed: int) -> Outcome:
    """Fly, record and assess flights whose greatest true excesses are given, in kt CAS."""
    rng = np.random.default_rng(seed)
    flights = len(true_excess)
    seconds = 40.0
    time = np.arange(round(seconds * errors.rate_hz)) / errors.rate_hz
    shape = (flights, len(time))

    def one_each(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, (flights, 1))

    # One bump of 15 to 60 s and 6 to 25 kt, its top anywhere between samples; and one climb or
    # descent, through which the recorded altitude lags or leads by up to a sample.
    top, length, depth = one_each(15, 25), one_each(15, 60), one_each(6, 25)
    start_ft = one_each(29000, 37000) if is_mach else one_each(4000, 18000)
    climb_fps, late = one_each(-40, 40), one_each(-1, 1) / errors.rate_hz
    height = (start_ft + climb_fps * time) * FOOT
    skewed = height - climb_fps * late * FOOT
    below = depth * 0.5 * (1 - np.cos(2 * np.pi * np.clip((time - top) / length, -0.5, 0.5)))
    static = pressures.static_pressure(height)
    if is_mach:
        # The bump is flown in Mach: so many thousandths for a knot, as near the limit up there.
        impact = static * pressures.impact_ratio(MMO + (true_excess[:, None] - below) * 2.4e-3)
    else:
        impact = pressures.impact_pressure((VMO_KT + true_excess[:, None] - below) * KNOT)
    cas = pressures.calibrated_airspeed(impact) / KNOT
    wrong = impact - pressures.impact_pressure(
        (cas + errors.static_kt * _common(rng, errors, flights)) * KNOT)
    felt = pressures.calibrated_airspeed(impact - wrong) / KNOT
    read = felt * (1 + errors.airspeed_per_cent / 100 * _common(rng, errors, flights))
    read = _stepped(read + _noise(rng, errors, shape), errors.step_kt, errors)
    shown = pressures.pressure_altitude(pressures.static_pressure(skewed) + wrong) / FOOT
    shown = _stepped(shown + errors.altitude_ft * _common(rng, errors, flights),
                     errors.step_ft, errors)

    # End to end in one log, with a gap after each flight: one pass of the engine for all.
    stamps = (time + np.arange(flights)[:, None] * (seconds + 60)).ravel()
    log = FlightLog(stamps, {
        "calibrated_airspeed": Channel(read.ravel() * KNOT, resolution=errors.step_kt * KNOT,
                                       interval_s=1 / errors.rate_hz, column="CAS"),
        "pressure_altitude": Channel(shown.ravel() * FOOT, resolution=errors.step_ft * FOOT,
                                     interval_s=1 / errors.rate_hz, column="HP"),
    }, Source(Path("simulated")), interval_s=1 / errors.rate_hz)
    analysis = analyze(log, sheet_of(errors, is_mach))
    margin = analysis.columns["margin_mach" if is_mach else "margin_kt"].reshape(shape)
    worst = np.nanargmin(margin, axis=1) + np.arange(flights) * len(time)
    uncertainty = uncertainty_of(analysis)
    flown = [one.flown for one in at_rows(uncertainty, 0, worst)]
    excess = np.array([one.excess for one in flown])
    u = np.array([np.hypot(one.common_u, one.random_u) for one in flown])
    # The same uncertainties added up as if a static source moved airspeed or altitude alone.
    per_kt = uncertainty.at(0, worst).per_kt
    speed = read.ravel()[worst]
    parts = [errors.airspeed_per_cent / 100 * speed * per_kt, errors.static_kt * per_kt,
             errors.step_kt / np.sqrt(12) * per_kt]
    if is_mach:
        by_foot = 1.6e-5  # Mach per foot, as near as such a reckoning needs
        parts += [errors.altitude_ft * by_foot, errors.static_kt * 60 * by_foot]
    plain = -margin.ravel()[worst] / np.sqrt(sum(part**2 for part in parts))
    scale = 2.4e-3 if is_mach else 1.0
    return Outcome(np.array([one.probability for one in flown]), true_excess > 0, excess / scale,
                   u / scale, plain, true_excess)


SETS = {
    "errors as stated": (
        Errors(),
        Errors(rate_hz=1, step_kt=0.5, noise_kt=0.05, static_kt=2.0, airspeed_per_cent=0.3),
        Errors(rate_hz=8, step_kt=0.0625, step_ft=1, noise_kt=0.2, altitude_ft=120),
        Errors(rate_hz=2, step_kt=1.0, noise_kt=0.3, static_kt=0.5, airspeed_per_cent=1.2),
    ),
}
_STATED = SETS["errors as stated"]
SETS["uniform errors"] = tuple(replace(one, kind="uniform") for one in _STATED)
SETS["noise correlated over 5 s"] = tuple(
    replace(one, correlated_s=5.0, noise_kt=0.5) for one in _STATED)
SETS["steps of 2 kt and 50 ft"] = tuple(
    replace(one, step_kt=2.0, step_ft=50.0) for one in _STATED)
CUT_OFF = tuple(replace(one, step_kt=1.0, step_ft=20.0, truncated=True) for one in _STATED)
"""A recorder that cuts values off reads low by half a step, which nothing in a log tells: stated
probabilities then read low. Shown, and not asked to beat anything."""


def flat_truth(errors: tuple[Errors, ...], flights: int, seed: int) -> Outcome:
    """Fly with true excesses that are equally likely from 15 kt under to 15 kt over."""
    rng = np.random.default_rng(seed)
    each = flights // (2 * len(errors))
    outcome: Outcome | None = None
    for k, one in enumerate(errors):
        for is_mach in (False, True):
            some = fly(one, rng.uniform(-15, 15, each), is_mach=is_mach,
                       seed=seed + 10 * k + is_mach)
            outcome = some if outcome is None else outcome.joined(some)
    assert outcome is not None
    return outcome


def fleet_truth(flights: int, seed: int) -> Outcome:
    """Fly a fleet that mostly stays well under its limit: 1 flight in 60 or so is over."""
    rng = np.random.default_rng(seed)
    margins = np.where(rng.random(flights) < 0.9, rng.normal(22, 8, flights),
                       rng.normal(5, 4, flights))
    return fly(_STATED[0], -margins, is_mach=False, seed=seed)


def reliability(probability: np.ndarray, over: np.ndarray
                ) -> list[tuple[float, int, float, int, float]]:
    """By tenth of stated probability: lower edge, flights, expected and observed over, z."""
    rows = []
    tenth = np.minimum((probability * 10).astype(int), 9)
    for i in range(10):
        p, truth = probability[tenth == i], over[tenth == i]
        spread = np.sqrt((p * (1 - p)).sum())
        miss = max(abs(truth.sum() - p.sum()) - 0.5, 0.0)
        rows.append((i / 10, len(p), float(p.sum()), int(truth.sum()),
                     float(miss / spread) if spread > 0 else 0.0))
    return rows


def brier(probability: np.ndarray, over: np.ndarray) -> float:
    """Mean square of the forecast's error."""
    return float(((probability - over) ** 2).mean())


def ranking(score: np.ndarray, over: np.ndarray) -> float:
    """Chance that a flight truly over ranks above one that wasn't."""
    order = np.argsort(score, kind="stable")
    rank = np.empty(len(score))
    rank[order] = np.arange(1, len(score) + 1)
    above = over.sum()
    return float((rank[over].sum() - above * (above + 1) / 2) / (above * (len(over) - above)))


def skills(outcome: Outcome, probability: np.ndarray | None = None) -> dict[str, float]:
    """Brier score, and its skill over the base rate and over plain excess over uncertainty."""
    p = outcome.probability if probability is None else probability
    own = brier(p, outcome.over)
    base = brier(np.full(len(p), outcome.over.mean()), outcome.over)
    plain = brier(np.clip((1 + outcome.plain / 2) / 2, 0, 1), outcome.over)
    return {"brier": own, "over base rate": 1 - own / base, "over plain excess": 1 - own / plain,
            "ranking": ranking(outcome.excess / outcome.u if probability is None else p,
                               outcome.over),
            "ranking of plain excess": ranking(outcome.plain, outcome.over)}


def with_prior(outcome: Outcome, prior: Prior) -> np.ndarray:
    """The probabilities under a prior."""
    return np.array([prior.probability(e, u)
                     for e, u in zip(outcome.excess, outcome.u, strict=True)])


def fleet_halves(flights: int, seed: int) -> tuple[Outcome, Prior, np.ndarray]:
    """A fleet: the second half's outcome, the first half's prior, and what that makes of it."""
    past, now = fleet_truth(flights // 2, seed), fleet_truth(flights // 2, seed + 1)
    prior = prior_of_margins("the fleet's own margins", -past.excess, past.u)
    return now, prior, with_prior(now, prior)


def show(title: str, outcome: Outcome, probability: np.ndarray | None = None) -> None:
    """Print a reliability table and the skills."""
    p = outcome.probability if probability is None else probability
    print(f"\n{title}: {len(p):,} flights, {int(outcome.over.sum()):,} truly over")
    print("  stated       flights  expected over  truly over  sd apart")
    for low, number, expected, found, z in reliability(p, outcome.over):
        print(f"  {low:.1f} to {low + 0.1:.1f}  {number:8,}  {expected:13.1f}  {found:10,}"
              f"  {z:8.1f}")
    said = skills(outcome, probability)
    print("  " + ", ".join(f"{name} {value:.4f}" for name, value in said.items()))


def main(flights: int = 10_000, seed: int = 4100) -> None:
    """Print everything."""
    for k, (title, errors) in enumerate(SETS.items()):
        outcome = flat_truth(errors, flights, seed=seed + 100 * k)
        show(f"Flat truth, {title}", outcome)
        if title == "errors as stated":
            passed = all(z <= 3.29 for *_, z in reliability(outcome.probability, outcome.over))
            print(f"  pass rule (every tenth within 3.29 sd): {'passed' if passed else 'FAILED'}")
    show("Flat truth, steps of 1 kt and 20 ft, cut off",
         flat_truth(CUT_OFF, flights, seed=seed + 400))
    now, prior, posterior = fleet_halves(2 * flights, seed=seed - 4023)
    show("A fleet with wide margins, flat prior", now)
    show("The same with the prior from the fleet's own margins", now, posterior)
    print("  prior (weight, mean excess, sd): "
          + "; ".join(f"{w:.3f}, {m:.1f}, {s:.1f} kt" for w, m, s in prior.normals))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
    sys.path.insert(0, str(Path(__file__).parent))
    import plateaus

    plateaus.main(max(60, int(sys.argv[1]) // 16) if len(sys.argv) > 1 else 600,
                  *map(int, sys.argv[2:]))
