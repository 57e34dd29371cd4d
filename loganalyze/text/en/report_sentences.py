"""The sentences of a report; its titles, headings and captions are in `labels`.

A translation replaces these modules and their neighbours; no sentence stands anywhere else.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.record.channels import CHANNELS, kind
from loganalyze.results.assessment_results import (
    AssessedExceedance,
    Severity,
    TimeToLimit,
)
from loganalyze.results.decisive_exceedance import decisive_first, on_basis
from loganalyze.text.en.labels import report_labels as label
from loganalyze.text.en.labels.phase_labels import while_in_all
from loganalyze.text.en.number_format import (
    count,
    duration,
    in_judged,
    mach,
    sentence_case,
    too_little,
)
from loganalyze.text.en.quantity_words import UNKNOWN
from loganalyze.text.en.quantity_words import panel_words as panel_words_of
from loganalyze.text.en.sentences import quality_text, severity_text
from loganalyze.text.en.sentences.decision_text import decision, tolerance_words, with_reason
from loganalyze.text.en.sentences.finding_text import but_not_judged, not_judged
from loganalyze.text.facts import ExceedanceFacts, FlightFacts, SmallestFacts
from loganalyze.text.presentation import Presentation


def number_words(values: int) -> str:
    """Return a small count in words, a larger one in figures."""
    said = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return said[values] if values < len(said) else f"{values:,}"


def verdict(
    facts: FlightFacts, assessed: Sequence[AssessedExceedance], near: int, how: Presentation
) -> str:
    """Return what happened, in a few plain sentences.

    Of several exceedances the one that decides is told: the greatest of those that are proven,
    before a greater one that isn't. `assessed` tells how sure each is; empty if nobody assessed.
    """
    found = facts.exceedances
    known = [one for one in facts.smallest_margins if one.known]
    doubted = facts.quality.suspects
    if facts.judged_s <= 0 and not found and not known and not doubted:
        return f"Nothing of the {duration(facts.recorded_s)} recorded could be judged."
    judged = in_judged(facts.recorded_s, facts.judged_s)
    if not found:
        closest = smallest_of_all(facts)
        unjudged = not_judged(facts.taken)
        said = f"No limit was exceeded{judged}{but_not_judged(unjudged)}."
        little = [one for one in facts.unjudged_limits if one not in unjudged]
        if facts.outcome == "not judged" and little:
            said = f"{too_little(facts.judged_shares, little)} {said}"
        if doubted:
            said = (
                f"{quality_text.not_determined(doubted, how)} {quality_text.nothing_else(judged)}"
            )
        if near:
            said += (f" {sentence_case(number_words(near))} "
                     f"{'stretch' if near == 1 else 'stretches'} came so near that the reading "
                     "doesn't prove that the aircraft stayed under.")
        elif closest is not None:
            margin = (how.speed(closest.margin_kt) if closest.quantity is None else
                      how.published_band(closest.margin or 0.0, closest.quantity))
            said += (f" The smallest margin was {margin}, at "
                     f"{how.instant(closest.time_s)} and "
                     f"{_height(closest.pressure_altitude_ft, how)}.")
        return said
    names = list(dict.fromkeys(one.limit for one in found))
    said = f"{listed(names)} {'was' if len(names) == 1 else 'were'} exceeded"
    if len(found) > len(names):
        often = "twice" if len(found) == 2 else f"{number_words(len(found))} times"
        said += f" {often}" + (" in all" if len(names) > 1 else "")
    first = decisive_first([one.worst_excess_kt for one in found], assessed, how.basis)[0]
    worst = found[first]
    said += while_in_all([one.phase for one in assessed]) + (judged if facts.unknown_s > 0 else "")
    said += (f". Worst: {how.published(worst.worst_value, worst.quantity)}, "
             f"{how.exceeded_by(worst)} over {worst.limit}, "
             f"at {_height(worst.worst_pressure_altitude_ft, how)}, "
             f"{how.instant(worst.worst_time_s)}.")
    if assessed:
        sure = on_basis(assessed[first], how.basis)
        said += f" {sentence_case(sure.basis)} {decision(sure, worst.quantity, how)}."
    return " ".join(filter(None, (said, greater_readings(found, assessed, first, how),
                                  quality_text.also_in_doubt(doubted, names, how))))


def smallest_of_all(facts: FlightFacts) -> SmallestFacts | None:
    """Return the smallest margin to whichever limit applied, or to the only one, if it is known."""
    known = [one for one in facts.smallest_margins if one.known]
    if any(one.limit is None for one in known):
        return next(one for one in known if one.limit is None)
    return known[0] if known and len(facts.smallest_margins) == 2 else None


def greater_readings(
    found: Sequence[ExceedanceFacts], assessed: Sequence[AssessedExceedance], first: int,
    how: Presentation,
) -> str:
    """Return which exceedances read more than the one that decides, as a sentence, and why they
    don't decide; empty where there is none."""
    def size(one: ExceedanceFacts) -> float:
        return (one.worst_excess_kt if one.unit is None else one.worst_excess) or 0.0

    # Those of another unit are neither greater nor smaller.
    greater = [i for i, one in enumerate(found)
               if one.unit == found[first].unit and size(one) > size(found[first])]
    if not greater:
        return ""
    i = max(greater, key=lambda i: size(found[i]))
    one = found[i]
    read = (f"{how.exceeded_by(one)} over {one.limit} at "
            f"{how.instant(one.worst_time_s)}")
    outcome = f"is {with_reason(on_basis(assessed[i], how.basis))}."
    if len(greater) == 1:
        return f"A greater reading, {read}, {outcome}"
    return (f"{sentence_case(number_words(len(greater)))} greater readings decide less; the "
            f"greatest, {read}, {outcome}")


def _height(feet: float | None, how: Presentation) -> str:
    return how.altitude(feet) if feet is not None else "an unknown altitude"


def unjudged(facts: FlightFacts) -> str:
    """Return how much could not be judged, as a sentence; empty when nothing was left."""
    measures = [one for one in facts.assessment.measures if one.limit] if facts.assessment else []
    longer = [one for one in measures if one.judged_s > facts.judged_s + 1]
    if facts.unknown_s <= 0 or (facts.judged_s <= 0 and not longer):
        return ""
    said = (f"{sentence_case(duration(facts.unknown_s))} of {duration(facts.recorded_s)} could "
            f"not be judged ({count(facts.unknown_stretches, 'stretch', 'stretches')})")
    if not longer:
        return f"{said}."
    return (f"{said}, as at least one limit was unknown; {listed([one.limit for one in longer])} "
            f"could be judged for up to {duration(max(one.judged_s for one in longer))}.")


def listed(said: Sequence[str]) -> str:
    """Return "a", "a and b", or "a, b and c"."""
    return said[0] if len(said) == 1 else ", ".join(said[:-1]) + " and " + said[-1] if said else ""


def exceedance_title(number: int, one: ExceedanceFacts, how: Presentation) -> str:
    """Return the title of an exceedance's own section."""
    return (f"Exceedance {number}: {one.limit} by "
            f"{how.exceeded_by(one)}")


def touches(one: ExceedanceFacts) -> str:
    """Return how an exceedance is made up, as sentences that follow on; empty where it's whole."""
    said = ""
    if one.touches > 1:
        ridden = one.touches >= RIDDEN_TOUCHES and one.time_over_s < one.duration_s / 2
        how_often = "twice" if one.touches == 2 else f"{one.touches:,} times"
        longest = f"over it {how_often}, the longest for {duration(one.longest_over_s)}."
        said = f" The speed ran along the limit: {longest}" if ridden and not (
            none_of_a_speed(one.quantity)) else f" It was {longest}"
    if one.bounded_s > 0:
        said += (f" For {duration(one.bounded_s)} of it nothing was recorded: too short to have "
                 "come back under the limit.")
    return said


RIDDEN_TOUCHES = 4
"""From so many stretches over a limit on, that fill less than half of the span, the speed is said
to have run along it."""


def exceedance(one: ExceedanceFacts, how: Presentation) -> str:
    """Return one exceedance as a few sentences."""
    said = (f"{one.limit} was exceeded from {how.instant(one.start_s)} to "
            f"{how.instant(one.end_s)}: {duration(one.duration_s)} from start to end, "
            f"{duration(one.time_over_s)} over. Worst at {how.instant(one.worst_time_s)}: "
            f"{how.published(one.worst_value, one.quantity)}, {how.exceeded_by(one)} over the "
            f"limit of {how.published(one.limit_value, one.quantity)}, at "
            f"{_height(one.worst_pressure_altitude_ft, how)}.")
    said += touches(one)
    if one.began_by != "crossed":
        said += f" {label.BEGAN[one.began_by]}"
    if one.ended_by != "recovered":
        said += f" {label.ENDED[one.ended_by]}"
    if one.brief:
        said += " It was brief: less time over than the minimum duration."
    return said


def closest(one: SmallestFacts, how: Presentation) -> str:
    """Return the smallest margin to a limit in a few words."""
    if one.quantity is not None and one.margin is not None:
        side = "under" if one.margin >= 0 else "over"
        return f"{how.published_band(abs(one.margin), one.quantity)} {side}"
    if one.margin_kt is None:
        return UNKNOWN
    side = "under" if one.margin_kt >= 0 else "over"
    return f"{how.speed(abs(one.margin_kt))} {side}"


def severity(one: Severity | None) -> str:
    """Return a severity in a cell of a table."""
    if one is None:
        return "not rated"
    return severity_text.level(one)


def phase(code: str) -> str:
    """Return a phase of flight in words."""
    return code.replace("_", " ") or UNKNOWN


def code_words(code: str) -> str:
    """Return a code's name in words."""
    return sentence_case(code.replace("_", " "))


_SUFFIXES: dict[str, tuple[str, Callable[[float, Presentation], str]]] = {
    "_kt": ("", lambda value, how: how.speed(value)),
    "_kt_s": ("", lambda value, how: f"{how.speed(value)}/s"),
    "_ft_s": ("", lambda value, how: f"{how.altitude(value)}/s"),
    "_ft": ("", lambda value, how: how.altitude(value)),
    "_fpm": ("", lambda value, how: f"{value:,.0f} ft/min" if how.units.name == "kt-ft"
             else f"{value * 0.3048 / 60:.1f} m/s"),
    "_mach": (" Mach", lambda value, how: how.published(value, "mach")),
    "_s": ("", lambda value, _: length(value) if value >= 0 else f"-{length(-value)}"),
    "_degc": ("", lambda value, _: f"{value:.1f} degC"),
    "_deg": ("", lambda value, _: f"{value:.1f} deg"),
    "_g": ("", lambda value, _: f"{value:.2f} g"),
    "_kg": ("", lambda value, _: f"{value:,.0f} kg"),
    "_hpa": ("", lambda value, _: f"{value:.1f} hPa"),
    "_percent": ("", lambda value, _: f"{value:.1f} %"),
    "_pct": ("", lambda value, _: f"{value:.1f} %"),
}


def named_value(name: str, value: Any, how: Presentation) -> tuple[str, str]:
    """Return a value known by a name with a unit suffix, as its words and its text."""
    for suffix in sorted(_SUFFIXES, key=len, reverse=True):
        if name.endswith(suffix) and isinstance(value, int | float):
            words, put = _SUFFIXES[suffix]
            known = put(float(value), how) if math.isfinite(value) else UNKNOWN
            return channel_words(name.removesuffix(suffix)) + words, known
    channel = kind(name)
    if name == "mach" and isinstance(value, int | float):
        return sentence_case(CHANNELS["mach"].words), how.published(value, "mach")
    if channel is not None and channel.discrete and isinstance(value, int | float):
        known = ("yes" if value else "no") if math.isfinite(value) else UNKNOWN
        return channel_words(name), known
    if isinstance(value, float):
        return channel_words(name), f"{value:.4g}" if math.isfinite(value) else UNKNOWN
    return channel_words(name), str(value)


def channel_words(name: str) -> str:
    """Return a channel's name in words; that of a second source says so."""
    stem, _, number = name.rpartition("_")
    if number.isdigit() and stem in CHANNELS:
        return f"{sentence_case(CHANNELS[stem].words)}, source {number}"
    found = CHANNELS.get(name)
    return sentence_case(found.words) if found else code_words(name)


def condition(name: str, said: Mapping[str, Any]) -> str:
    """Return a limit's condition in words: "flap angle above 2, up to 20 deg"."""
    stem, _, unit = name.rpartition("_")
    channel = CHANNELS.get(name)
    if "is" in said:
        state = {1.0: "yes", 0.0: "no"}.get(said["is"], said["is"])
        return f"{channel.words if channel else name.replace('_', ' ')}: {state}"
    edges = ", ".join(f"{key.replace('_', ' ')} {said[key]:g}"
                      for key in ("above", "from", "up_to", "below") if key in said)
    words = CHANNELS[stem].words if stem in CHANNELS else stem.replace("_", " ")
    extra = [f"deadband {said['deadband']:g}"] if said.get("deadband") else []
    extra += [f"for {said['dwell_s']:g} s"] if said.get("dwell_s") else []
    return f"{words} {edges} {unit}" + (f" ({', '.join(extra)})" if extra else "")


def tolerance(code: str, u: float, how: Presentation) -> tuple[str, str]:
    """Return what an uncertainty is of, and its size in its unit."""
    if code not in label.TOLERANCES:
        channel = CHANNELS[code.removesuffix("_resolution")]
        return tolerance_words(code), (
            f"{u:.2g} {channel.unit.name}" if math.isfinite(u) else UNKNOWN)
    words, suffix = label.TOLERANCES[code]
    if suffix in ("_s", "_mach", "_degc"):
        unit = {"_s": " s", "_mach": " Mach", "_degc": " degC"}[suffix]
        return words, f"{u:.2g}{unit}" if math.isfinite(u) else UNKNOWN
    return words, _SUFFIXES[suffix][1](u, how)


def within(seconds: float, band: float, quantity: str, how: Presentation) -> str:
    """Return the time spent within a band of margin: "2 min 58 s over it"."""
    where = "over it" if band == 0 else f"within {how.published_band(band, quantity)}"
    return f"{where}: {length(seconds)}"


def length(seconds: float) -> str:
    """Return a length of time, which may be none at all, or not known."""
    if not math.isfinite(seconds):
        return UNKNOWN
    return "none" if seconds == 0 else duration(seconds)


def over_by(excess: str) -> str:
    """Return an excess in a cell of a table."""
    return f"{excess} over"


def under_by(margin: str) -> str:
    """Return a margin in a cell of a table."""
    return f"{margin} under"


def panel_words(one: ExceedanceFacts, how: Presentation) -> str:
    """Return what an exceedance's picture shows, for those who can't see it."""
    other = none_of_a_speed(one.quantity)
    shown = f"{panel_words_of(other)} and" if other else "Speed against its limit, margin and"
    return (f"{shown} altitude about the exceedance of {one.limit}: "
            f"over from {how.instant(one.start_s)} to {how.instant(one.end_s)}, worst at "
            f"{how.instant(one.worst_time_s)} with "
            f"{how.exceeded_by(one)}.")


def glance_words(facts: FlightFacts, how: Presentation) -> str:
    """Return what the picture of the whole flight shows, for those who can't see it."""
    return (f"Margin, airspeed against the limit airspeed, and pressure altitude over "
            f"{duration(facts.recorded_s)}; {count(len(facts.exceedances), 'exceedance')} marked.")


def histogram_words(within: Sequence[tuple[float, float]], how: Presentation) -> str:
    """Return what the histogram shows, for those who can't see it."""
    parts = [f"{length(time)} {'over' if band == 0 else 'with less than ' + how.speed(band)}"
             for band, time in within]
    return "Time spent at each margin" + (f": {listed(parts)}." if parts else ".")


def sampling(samples: int, interval_s: float | None) -> str:
    """Return how many samples there are, and how often."""
    every = f", one every {interval_s:g} s" if interval_s else ""
    return f"{samples:,}{every}"


def time_to_limit(one: TimeToLimit, how: Presentation) -> str:
    """Return the shortest time to a limit, in a few words."""
    return (f"{length(one.seconds)} to {one.limit}, at {how.instant(one.time_s)}, closing at "
            f"{how.speed(one.closing_kt_s)}/s")


def unknown_caption(shown: int, number: int) -> str:
    """Return the caption of the stretches that couldn't be judged."""
    if shown < number:
        return f"The {shown} longest of {number:,} stretches that could not be judged"
    return "Stretches that could not be judged, longest first"


def yes_no(value: bool) -> str:
    """Return yes or no."""
    return "yes" if value else "no"


def declared(name: str) -> str:
    """Return the name of a declared state."""
    return f"{code_words(name)} (declared)"


def versions(found: Mapping[str, str]) -> str:
    """Return which versions computed it, in a line."""
    return "Made with " + ", ".join(f"{name} {number}" for name, number in found.items()) + "."


def by_altitude(rows: int) -> str:
    """Return how a limit that varies with altitude is given."""
    return f"by pressure altitude, {count(rows, 'row')}"


def quantity(name: str) -> str:
    """Return the quantity in which a limit is published, in words."""
    return name.replace("_", " ").replace("mach", "Mach")


def closest_sentence(one: SmallestFacts, how: Presentation) -> str:
    """Return how close it came to whichever limit applied, as a sentence."""
    if one.quantity is not None and one.margin is not None:
        return (f"Closest: {closest(one, how)} {one.limit} at {how.instant(one.time_s)}, "
                f"{_height(one.pressure_altitude_ft, how)}.")
    if one.margin_kt is None:
        return "Closest: unknown."
    by_mach = f" (Mach {mach(abs(one.margin_mach))})" if one.margin_mach is not None else ""
    return (f"Closest: {how.speed(abs(one.margin_kt))}{by_mach} "
            f"{'under' if one.margin_kt >= 0 else 'over'} the limit of "
            f"{how.speed(one.limit_airspeed_kt, 'calibrated_airspeed')} at "
            f"{how.instant(one.time_s)}, {_height(one.pressure_altitude_ft, how)}.")
