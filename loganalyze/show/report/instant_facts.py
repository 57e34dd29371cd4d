"""The facts of an exceedance's worst instant, those that matter to the reader first."""

from __future__ import annotations

import math
from collections.abc import Iterator

from loganalyze.quantities.limited_quantity import LimitedQuantity
from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.results.assessment_results import AssessedExceedance
from loganalyze.show.report.report_subject import Subject
from loganalyze.text.facts import ExceedanceFacts
from loganalyze.text.language import number_format, quantity_words, value_words
from loganalyze.text.language import report_labels as label

POWER = ("torque", "fan_speed", "power_lever")

CREW_CONTEXT = ("overspeed_warning", "autopilot", "autothrottle", "torque", "fan_speed",
                "power_lever", "pitch", "vertical_speed", "limit_pointer")
"""The facts of the worst instant that a crew is shown first."""


def instant_facts(subject: Subject, exceedance: ExceedanceFacts, assessed: AssessedExceedance | None
                  ) -> Iterator[tuple[str, str]]:
    """Give the worst instant's facts, those that matter to the reader first."""
    how = subject.how
    if other := none_of_a_speed(exceedance.quantity):
        noun = quantity_words.noun(exceedance.quantity)
        yield (
            number_format.sentence_case(noun),
            how.published(exceedance.worst_value, exceedance.quantity),
        )
        yield label.INSTANT["own_limit"], how.published(exceedance.limit_value, exceedance.quantity)
        yield label.INSTANT["over"], value_words.length(exceedance.time_over_s)
    else:
        yield from _speeds_then(subject, exceedance)
    context = {name: value for name, value in (assessed.context if assessed else {}).items()
               if not how.hides(name) and not (other and _is_said(name, other))}
    if how.reader == "maintenance":
        for name in ("load_factor", "weight"):
            if name not in subject.analysis.log:
                yield value_words.channel_words(name), label.NOT_RECORDED
        single = not any(
            name.rpartition("_")[2].isdigit() for name in subject.analysis.log.channels)
        if single and other is None:
            yield label.INSTANT["sources"], label.ONE_SOURCE
    else:
        for name in CREW_CONTEXT[1 if other else 0 : 3]:
            if name not in subject.analysis.log:
                yield value_words.channel_words(name), label.NOT_RECORDED
        if not any(name in subject.analysis.log for name in POWER):
            yield label.INSTANT["power"], label.NOT_RECORDED
    first = CREW_CONTEXT if how.reader in ("crew", "training") else ()
    sat = subject.column_at("static_air_temperature_degc", exceedance.worst_time_s)
    if math.isfinite(sat):
        context.pop("static_air_temperature_degc", None)
        yield label.INSTANT["sat"], value_words.named_value("temperature_degc", sat, how)[1]
    raw = context.pop("outside_air_temperature_degc", math.nan)
    stated = subject.analysis.sheet.temperature
    outside = stated.outside_air if stated else ""
    if math.isfinite(raw) and outside != "static":
        yield (label.OUTSIDE_AIR[outside],
               value_words.named_value("temperature_degc", raw, how)[1])
    for name in sorted(context, key=lambda name: not name.startswith(first or ("\0",))):
        yield value_words.named_value(name, context[name], how)
    if assessed is not None:
        peak = assessed.missed_peak
        yield label.INSTANT["missed"], how.published_band(peak.bound, exceedance.quantity)


def _is_said(name: str, quantity: LimitedQuantity) -> bool:
    """Whether a recorded channel, by its suffixed name, is the limited quantity itself."""
    return any(name.startswith(channel) for channel in quantity.channels)


def _speeds_then(subject: Subject, exceedance: ExceedanceFacts) -> Iterator[tuple[str, str]]:
    """Give the speeds at the worst instant, as displayed and as flown, with their limits."""
    how = subject.how
    displayed = subject.column_at("indicated_airspeed_kt", exceedance.worst_time_s)
    yield label.INSTANT["displayed"], how.speed(displayed, "indicated_airspeed")
    pointer = exceedance.worst_limit_pointer_kt
    yield label.INSTANT["pointer"], how.speed(pointer, "indicated_airspeed")
    yield (
        label.INSTANT["flown"],
        how.speed(exceedance.worst_calibrated_airspeed_kt, "calibrated_airspeed"),
    )
    yield (
        label.INSTANT["limit"],
        how.speed(exceedance.worst_limit_airspeed_kt, "calibrated_airspeed"),
    )
    yield label.INSTANT["mach"], how.published(exceedance.worst_mach, "mach")
    yield label.INSTANT["over"], value_words.length(exceedance.time_over_s)
