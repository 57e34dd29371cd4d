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


def smallest(measure: LimitMeasure, how: Presentation | None = None, quantity: str = "",
             together: str = ANY_LIMIT) -> str:
    """Return the smallest margin to a limit, where and when, as a sentence.

    `quantity` : that of the limit; `together` : what all limits together are called.
    """
    how = how or Presentation()
    name = measure.limit or together
    if quantity and not math.isnan(measure.smallest_margin):
        side = "under" if measure.smallest_margin >= 0 else "over"
        height = ("" if math.isnan(measure.pressure_altitude_ft)
                  else f", at {how.altitude(measure.pressure_altitude_ft)}")
        return (f"Closest to {name}: {how.published_band(abs(measure.smallest_margin), quantity)} "
                f"{side}, {while_in(measure.phase)}{height}, at {how.instant(measure.time_s)}.")
    if math.isnan(measure.smallest_margin_kt):
        if measure.limit and not measure.unknown_s > 0:
            return f"{name} never applied."
        return f"No margin to {name} could be judged."
    side = "under" if measure.smallest_margin_kt >= 0 else "over"
    by_mach = ("" if math.isnan(measure.smallest_margin_mach)
               else f" (Mach {mach(abs(measure.smallest_margin_mach))})")
    height = ("" if math.isnan(measure.pressure_altitude_ft)
              else f", at {how.altitude(measure.pressure_altitude_ft)}")
    return (f"Closest to {name}: {how.speed(abs(measure.smallest_margin_kt))}{by_mach} {side}, "
            f"{while_in(measure.phase)}{height}, at {how.instant(measure.time_s)}.")


def within(measure: LimitMeasure, quantity: str = "") -> str:
    """Return the time within each band of a limit as a sentence.

    Of the bands that were never entered only the widest is named.
    """
    name = measure.limit or "whichever limit applied"
    if not measure.judged_s > 0:
        return (
            f"{duration(measure.unknown_s)} against {name} could not be judged, and nothing else "
            "was recorded."
            if measure.unknown_s > 0
            else f"{name} never applied."
        )
    never = [band for band, seconds in measure.within_s if not seconds > 0]
    parts = [f"never {_where(never[-1], quantity)}"] if never else []
    parts += [f"{duration(seconds)} {_where(band, quantity)}"
              for band, seconds in measure.within_s if seconds > 0]
    unjudged = f"; {duration(measure.unknown_s)} not judged" if measure.unknown_s > 0 else ""
    return f"Of {duration(measure.judged_s)} judged against {name}: {', '.join(parts)}{unjudged}."


def _where(band: float, quantity: str) -> str:
    if band == 0:
        return "over it"
    other = none_of_a_speed(quantity)
    size = amount(band, other) if other else (
        f"Mach {mach(band)}" if is_in_mach(quantity) else f"{band:g} kt")
    return f"less than {size} under it"


def time_to_limit(time: TimeToLimit | None, how: Presentation | None = None) -> str:
    """Return the flight's shortest time to a limit as a sentence."""
    how = how or Presentation()
    if time is None:
        return ("No limit was being approached so fast that it would have been reached within a "
                "minute.")
    name = time.limit or "the limit"
    return (f"Shortest time to {name}: {duration(time.seconds)}, {while_in(time.phase)} at "
            f"{how.instant(time.time_s)}, with {how.speed(time.margin_kt)} left and closing at "
            f"{time.closing_kt_s * how.units.per_knot:.2f} {how.units.speed}/s.")
