"""The all-flights measurement and the time to limit, in sentences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from loganalyze.quantities.quantity_registry import is_in_mach, none_of_a_speed
from loganalyze.text.en.labels.phase_labels import while_in
from loganalyze.text.en.number_format import duration, mach
from loganalyze.text.en.quantity_words import amount
from loganalyze.text.presentation import Presentation

if TYPE_CHECKING:
    from loganalyze.results.assessment_results import LimitMeasure, TimeToLimit


ANY_LIMIT, ANY_SPEED_LIMIT = (
    "whichever limit applied", "whichever limit in airspeed or Mach applied")


def smallest(one: LimitMeasure, how: Presentation | None = None, quantity: str = "",
             together: str = ANY_LIMIT) -> str:
    """Return the smallest margin to a limit, where and when, as a sentence.

    `quantity` : that of the limit; `together` : what all limits together are called.
    """
    how = how or Presentation()
    name = one.limit or together
    if quantity and not math.isnan(one.smallest_margin):
        side = "under" if one.smallest_margin >= 0 else "over"
        height = ("" if math.isnan(one.pressure_altitude_ft)
                  else f", at {how.altitude(one.pressure_altitude_ft)}")
        return (f"Closest to {name}: {how.published_band(abs(one.smallest_margin), quantity)} "
                f"{side}, {while_in(one.phase)}{height}, at {how.instant(one.time_s)}.")
    if math.isnan(one.smallest_margin_kt):
        if one.limit and not one.unknown_s > 0:
            return f"{name} never applied."
        return f"No margin to {name} could be judged."
    side = "under" if one.smallest_margin_kt >= 0 else "over"
    by_mach = ("" if math.isnan(one.smallest_margin_mach)
               else f" (Mach {mach(abs(one.smallest_margin_mach))})")
    height = ("" if math.isnan(one.pressure_altitude_ft)
              else f", at {how.altitude(one.pressure_altitude_ft)}")
    return (f"Closest to {name}: {how.speed(abs(one.smallest_margin_kt))}{by_mach} {side}, "
            f"{while_in(one.phase)}{height}, at {how.instant(one.time_s)}.")


def within(one: LimitMeasure, quantity: str = "") -> str:
    """Return the time within each band of a limit as a sentence.

    Of the bands that were never entered only the widest is named.
    """
    name = one.limit or "whichever limit applied"
    if not one.judged_s > 0:
        return (f"{duration(one.unknown_s)} against {name} could not be judged, and nothing else "
                "was recorded." if one.unknown_s > 0 else f"{name} never applied.")
    never = [band for band, seconds in one.within_s if not seconds > 0]
    parts = [f"never {_where(never[-1], quantity)}"] if never else []
    parts += [f"{duration(seconds)} {_where(band, quantity)}"
              for band, seconds in one.within_s if seconds > 0]
    told = f"; {duration(one.unknown_s)} not judged" if one.unknown_s > 0 else ""
    return f"Of {duration(one.judged_s)} judged against {name}: {', '.join(parts)}{told}."


def _where(band: float, quantity: str) -> str:
    if band == 0:
        return "over it"
    other = none_of_a_speed(quantity)
    size = amount(band, other) if other else (
        f"Mach {mach(band)}" if is_in_mach(quantity) else f"{band:g} kt")
    return f"less than {size} under it"


def time_to_limit(one: TimeToLimit | None, how: Presentation | None = None) -> str:
    """Return the flight's shortest time to a limit as a sentence."""
    how = how or Presentation()
    if one is None:
        return ("No limit was being approached so fast that it would have been reached within a "
                "minute.")
    name = one.limit or "the limit"
    return (f"Shortest time to {name}: {duration(one.seconds)}, {while_in(one.phase)} at "
            f"{how.instant(one.time_s)}, with {how.speed(one.margin_kt)} left and closing at "
            f"{one.closing_kt_s * how.units.per_knot:.2f} {how.units.speed}/s.")
