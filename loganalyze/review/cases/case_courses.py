"""What is drawn of a case: speed, limit, margin and altitude as arrays, in the limit's quantity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.air.airspeed import mach_from_cas
from loganalyze.record.units import FOOT, KNOT

Floats = NDArray[np.float64]
Samples = Mapping[str, Sequence[Any]]


@dataclass(frozen=True)
class CaseCourses:
    """Courses around an exceedance, float64[n] each, NaN where not known.

    ``time_s`` : from the exceedance's start; ``speed``, ``limit`` and ``margin`` : Mach numbers
    where ``in_mach``, else knots of calibrated airspeed; ``altitude_ft`` : pressure altitude.
    ``second_speed``, ``second_altitude_ft`` : another source, with its channel, or None.
    """

    time_s: Floats
    speed: Floats
    limit: Floats
    margin: Floats
    altitude_ft: Floats
    in_mach: bool
    second_speed: tuple[Floats, str] | None
    second_altitude_ft: tuple[Floats, str] | None


def case_courses(samples: Samples, start_s: float, *, in_mach: bool) -> CaseCourses:
    """Return what is drawn of a case.

    Parameters
    ----------
    samples : mapping of str to sequence
        Columns of equal length, as `CaseIndex.samples` gives them; None where not known.
    start_s : float
        Of the exceedance [s], on the samples' clock.
    in_mach : bool
        Whether the limit is one of Mach number.
    """
    altitude = _numbers(samples, "pressure_altitude_ft")
    margin = _numbers(samples, "margin_mach" if in_mach else "margin_kt")
    speed = _numbers(samples, "mach" if in_mach else "calibrated_airspeed_kt")
    second = _second(samples, "airspeed", "kt")
    if second is not None and in_mach:
        second = mach_from_cas(second[0] * KNOT, altitude * FOOT), second[1]
    return CaseCourses(
        _numbers(samples, "time_s") - start_s, speed,
        speed + margin if in_mach else _numbers(samples, "limit_airspeed_kt"), margin, altitude,
        in_mach, second, _second(samples, "altitude", "ft"))


def _second(samples: Samples, of: str, unit: str) -> tuple[Floats, str] | None:
    by = next((name for name in samples.get(f"second_{of}_by", ()) if name), "")
    return (_numbers(samples, f"second_{of}_{unit}"), by) if by else None


def _numbers(samples: Samples, name: str) -> Floats:
    values = samples.get(name) or [None] * len(samples["time_s"])
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
