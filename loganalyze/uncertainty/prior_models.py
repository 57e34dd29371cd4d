"""What is known beforehand of a flight's greatest excess, and what a reading makes of it.

The flat prior holds every excess for equally likely beforehand. A fleet's own margins say
otherwise: most flights stay well under.

References
----------
.. [1] JCGM 106:2012, 6.2 (Bayes' theorem for a measured quantity), 7.2 (conformance probability).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loganalyze.sheets.priors_file import PriorsFile

Floats = NDArray[np.float64]

_STANDARD = NormalDist()
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)
_SHIFTS = tuple(zip(_NODES.tolist(), (_WEIGHTS / _WEIGHTS.sum()).tolist(), strict=True))
"""Nodes and weights for the mean over a standard normal error."""


def phi(z: float) -> float:
    """Standard normal distribution function; 0, 1 at the infinities, NaN for NaN."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


@dataclass(frozen=True, slots=True)
class Flat:
    """Every excess equally likely beforehand."""

    name: str = "flat"
    displayed: bool = False

    def probability(self, excess: float, u: float, added_u: float = 0.0) -> float:
        """P(truly over) = Phi(e / u); a reading without uncertainty is the truth."""
        u = math.hypot(u, added_u)
        if u == 0.0:
            return float(excess > 0)
        return phi(excess / u)

    def interval(self, excess: float, u: float, coverage: float, added_u: float = 0.0
                 ) -> tuple[float, float]:
        """Return the expanded interval e -+ k u."""
        k = _STANDARD.inv_cdf((1 + coverage) / 2)
        u = math.hypot(u, added_u)
        return excess - k * u, excess + k * u


@dataclass(frozen=True, slots=True)
class Prior:
    """A distribution of true excesses (positive is over), as a histogram or as normals.

    ``pieces`` : (lower edge, upper edge, weight), each piece flat; ``normals`` : (weight, mean,
    standard deviation). Both may be given. The unit is that of the limit, kt or Mach.
    ``displayed`` : they are the excesses that crews were shown; what is flown differs from them by
    the instrument's own error, which is independent of them, since crews fly by what they see.
    """

    name: str
    pieces: tuple[tuple[float, float, float], ...] = ()
    normals: tuple[tuple[float, float, float], ...] = ()
    displayed: bool = False

    @classmethod
    def of_histogram(cls, name: str, margin_edges: Sequence[float], counts: Sequence[float]
                     ) -> Prior:
        """Make a prior from a histogram of margins (positive is under).

        Raises ValueError unless the edges rise, there is one count less than edges, none of them
        negative and some positive.
        """
        edges, weights = np.asarray(margin_edges, float), np.asarray(counts, float)
        if len(edges) != len(weights) + 1 or not (np.diff(edges) > 0).all():
            raise ValueError("a histogram needs rising edges, one more than counts")
        if not (weights >= 0).all() or not weights.sum() > 0:
            raise ValueError("a histogram's counts are not negative, and not all 0")
        return cls(name, tuple((-float(high), -float(low), float(weight)) for low, high, weight
                               in zip(edges[:-1], edges[1:], weights, strict=True) if weight))

    @classmethod
    def of_normals(cls, name: str, normals: Sequence[tuple[float, float, float]]) -> Prior:
        """Make a prior from normals of margins: (weight, mean, standard deviation).

        Raises ValueError unless weights and deviations are positive.
        """
        if not normals or not all(weight > 0 and sd > 0 for weight, _, sd in normals):
            raise ValueError("a mixture needs positive weights and standard deviations")
        return cls(name, normals=tuple((w, -mean, sd) for w, mean, sd in normals))

    def probability(self, excess: float, u: float, added_u: float = 0.0) -> float:
        """P(truly over) given the reading; NaN where the prior excludes the reading."""
        return 1.0 - self.below(0.0, excess, u, added_u)

    def below(self, level: float, excess: float, u: float, added_u: float = 0.0) -> float:
        """P(true excess <= level) given the reading.

        `u` (above 0) is the reading's standard uncertainty as a measurement of what the prior is
        of; `added_u` that by which the true excess differs from it, independently.
        """
        whole = lower = 0.0
        # The likeliest scale is taken out, so that a far reading doesn't underflow.
        peaks = [_log_normal(excess, mean, math.hypot(sd, u)) for _, mean, sd in self.normals]
        top = max(peaks, default=0.0) if not self.pieces else 0.0
        for (weight, mean, sd), log in zip(self.normals, peaks, strict=True):
            mass = weight * math.exp(log - top)
            spread = sd * sd + u * u
            centre = (mean * u * u + excess * sd * sd) / spread
            whole += mass
            lower += mass * phi((level - centre) / math.hypot(sd * u / math.sqrt(spread), added_u))
        shifts = _SHIFTS if added_u and self.pieces else ((0.0, 1.0),)
        for low, high, weight in self.pieces:
            density = weight / (high - low)
            whole += density * _between((low - excess) / u, (high - excess) / u)
            for shift, share in shifts:
                reached = level - added_u * shift
                if reached > low:
                    lower += share * density * _between(
                        (low - excess) / u, (min(reached, high) - excess) / u)
        return lower / whole if whole > 0 else float("nan")

    def interval(self, excess: float, u: float, coverage: float, added_u: float = 0.0
                 ) -> tuple[float, float]:
        """Return the interval with equal probability beyond either end."""
        tail = (1 - coverage) / 2
        return (self._quantile(tail, excess, u, added_u),
                self._quantile(1 - tail, excess, u, added_u))

    def _quantile(self, share: float, excess: float, u: float, added_u: float) -> float:
        if math.isnan(self.below(0.0, excess, u)):
            return float("nan")
        ends = [edge for low, high, _ in self.pieces for edge in (low, high)]
        ends += [mean + side * 10 * sd for _, mean, sd in self.normals for side in (-1, 1)]
        wide = 10 * math.hypot(u, added_u)
        low, high = min(*ends, excess) - wide, max(*ends, excess) + wide
        for _ in range(80):
            middle = 0.5 * (low + high)
            if self.below(middle, excess, u, added_u) < share:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)


def priors_of(file: PriorsFile) -> dict[str, Prior]:
    """Return the priors of a priors file, by limit.

    Examples
    --------
    >>> from pathlib import Path
    >>> import loganalyze as la
    >>> text = ('prior = [{ limit = "VMO", source = "a fleet", '
    ...         "edges = [-10, 0, 10], counts = [1, 9] }]")
    >>> _ = Path("priors.toml").write_text(text, encoding="utf-8")
    >>> sorted(la.priors_of(la.read_priors("priors.toml")))
    ['VMO']
    """
    return {
        table.limit: replace(
            Prior.of_histogram(table.source, table.edges, table.counts)
            if table.edges is not None and table.counts is not None
            else Prior.of_normals(table.source, table.normals or ()), displayed=table.displayed)
        for table in file.prior}


def prior_of_margins(
    name: str, margins: ArrayLike, u: ArrayLike, normals: int = 3, rounds: int = 300
) -> Prior:
    """Estimate a prior from a fleet's own smallest margins, freed of their measurement error.

    Parameters
    ----------
    name : str
        What to call it beside the probabilities.
    margins : array_like, shape (n,)
        Measured smallest margins of past flights to one limit [kt or Mach]; NaN are left out.
    u : array_like, shape (n,) or ()
        Their standard uncertainties, above 0.
    normals : int
        How many normals to mix.
    rounds : int
        Rounds of expectation and maximisation.

    Returns
    -------
    Prior
        The mixture of normals of the true excess.

    Raises
    ------
    ValueError
        For fewer than 30 margins: too few to learn a distribution from.

    References
    ----------
    Bovy, Hogg and Roweis, Annals of Applied Statistics 5 (2011), 1657: a mixture of normals
    seen through errors of known size, by expectation and maximisation.

    Examples
    --------
    >>> import loganalyze as la
    >>> import numpy as np
    >>> margins = np.random.default_rng(1).normal(20, 8, 200)
    >>> type(la.prior_of_margins("our fleet", margins, 2.0)).__name__
    'Prior'
    """
    values = -np.asarray(margins, dtype=np.float64)
    error = np.broadcast_to(np.asarray(u, dtype=np.float64), values.shape) ** 2
    known = np.isfinite(values) & np.isfinite(error) & (error > 0)
    values, error = values[known], error[known]
    if len(values) < 30:
        raise ValueError("a prior needs the margins of at least 30 flights")
    mean = np.quantile(values, (np.arange(normals) + 0.5) / normals)
    spread = np.full(normals, max(values.var(), 1e-12))
    weight = np.full(normals, 1 / normals)
    least = 1e-4 * values.var() + 1e-12
    for _ in range(rounds):
        seen = spread + error[:, None]
        gap = values[:, None] - mean
        log = np.log(weight) - 0.5 * (gap**2 / seen + np.log(seen))
        share = np.exp(log - log.max(axis=1, keepdims=True))
        share /= share.sum(axis=1, keepdims=True)
        whole = share.sum(axis=0) + 1e-300
        moved = mean + spread / seen * gap
        left = spread * error[:, None] / seen
        mean = (share * moved).sum(axis=0) / whole
        spread = np.maximum((share * ((moved - mean) ** 2 + left)).sum(axis=0) / whole, least)
        weight = whole / whole.sum()
    return Prior(name, normals=tuple(
        (float(w), float(m), float(np.sqrt(s)))
        for w, m, s in zip(weight, mean, spread, strict=True) if w > 1e-6))


def _log_normal(x: float, mean: float, sd: float) -> float:
    return -0.5 * ((x - mean) / sd) ** 2 - math.log(sd * math.sqrt(2.0 * math.pi))


def _between(low: float, high: float) -> float:
    """Phi(high) - Phi(low), without loss far out on either side."""
    if low > 0:
        return phi(-low) - phi(-high)
    return phi(high) - phi(low)
