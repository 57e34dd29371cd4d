"""The sentences of a report; its titles, headings and captions are in `labels`.

A translation replaces these modules and their neighbours; no sentence stands anywhere else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.results.assessment_results import (
    AssessedExceedance,
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
from loganalyze.text.en.sentences import quality_text
from loganalyze.text.en.sentences.decision_text import basis, decision, with_reason
from loganalyze.text.en.sentences.finding_text import but_not_judged, not_judged
from loganalyze.text.en.value_words import length
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
        said += f" {sentence_case(basis(sure.basis))} {decision(sure, worst.quantity, how)}."
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
            none_of_a_speed(one.quantity)) else f" The flight was {longest}"
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


def time_to_limit(one: TimeToLimit, how: Presentation) -> str:
    """Return the shortest time to a limit, in a few words."""
    return (f"{length(one.seconds)} to {one.limit}, at {how.instant(one.time_s)}, closing at "
            f"{how.speed(one.closing_kt_s)}/s")


def unknown_caption(shown: int, number: int) -> str:
    """Return the caption of the stretches that couldn't be judged."""
    if shown < number:
        return f"The {shown} longest of {number:,} stretches that could not be judged"
    return "Stretches that could not be judged, longest first"


def versions(found: Mapping[str, str]) -> str:
    """Return which versions computed it, in a line."""
    return "Made with " + ", ".join(f"{name} {number}" for name, number in found.items()) + "."


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
