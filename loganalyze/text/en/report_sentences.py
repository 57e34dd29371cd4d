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

    Of several exceedances the one that decides is named: the greatest of those that are proven,
    before a greater one that isn't. `assessed` tells how sure each is; empty if nobody assessed.
    """
    found = facts.exceedances
    known = [smallest for smallest in facts.smallest_margins if smallest.known]
    doubted = facts.quality.suspects
    if facts.judged_s <= 0 and not found and not known and not doubted:
        return f"Nothing of the {duration(facts.recorded_s)} recorded could be judged."
    judged = in_judged(facts.recorded_s, facts.judged_s)
    if not found:
        closest = smallest_of_all(facts)
        unjudged = not_judged(facts.taken)
        said = f"No limit was exceeded{judged}{but_not_judged(unjudged)}."
        little = [limit for limit in facts.unjudged_limits if limit not in unjudged]
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
    names = list(dict.fromkeys(event.limit for event in found))
    said = f"{listed(names)} {'was' if len(names) == 1 else 'were'} exceeded"
    if len(found) > len(names):
        often = "twice" if len(found) == 2 else f"{number_words(len(found))} times"
        said += f" {often}" + (" in all" if len(names) > 1 else "")
    first = decisive_first([event.worst_excess_kt for event in found], assessed, how.basis)[0]
    worst = found[first]
    said += while_in_all([event.phase for event in assessed]) + (
        judged if facts.unknown_s > 0 else ""
    )
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
    known = [smallest for smallest in facts.smallest_margins if smallest.known]
    if any(smallest.limit is None for smallest in known):
        return next(smallest for smallest in known if smallest.limit is None)
    return known[0] if known and len(facts.smallest_margins) == 2 else None


def greater_readings(
    found: Sequence[ExceedanceFacts], assessed: Sequence[AssessedExceedance], first: int,
    how: Presentation,
) -> str:
    """Return which exceedances read more than the one that decides, as a sentence, and why they
    don't decide; empty where there is none."""
    def size(facts: ExceedanceFacts) -> float:
        return (facts.worst_excess_kt if facts.unit is None else facts.worst_excess) or 0.0

    # Those of another unit are neither greater nor smaller.
    greater = [i for i, facts in enumerate(found)
               if facts.unit == found[first].unit and size(facts) > size(found[first])]
    if not greater:
        return ""
    i = max(greater, key=lambda i: size(found[i]))
    facts = found[i]
    read = (f"{how.exceeded_by(facts)} over {facts.limit} at "
            f"{how.instant(facts.worst_time_s)}")
    outcome = f"is {with_reason(on_basis(assessed[i], how.basis))}."
    if len(greater) == 1:
        return f"A greater reading, {read}, {outcome}"
    return (f"{sentence_case(number_words(len(greater)))} greater readings decide less; the "
            f"greatest, {read}, {outcome}")


def _height(feet: float | None, how: Presentation) -> str:
    return how.altitude(feet) if feet is not None else "an unknown altitude"


def unjudged(facts: FlightFacts) -> str:
    """Return how much could not be judged, as a sentence; empty when nothing was left."""
    measures = (
        [measure for measure in facts.assessment.measures if measure.limit]
        if facts.assessment
        else []
    )
    longer = [measure for measure in measures if measure.judged_s > facts.judged_s + 1]
    if facts.unknown_s <= 0 or (facts.judged_s <= 0 and not longer):
        return ""
    said = (f"{sentence_case(duration(facts.unknown_s))} of {duration(facts.recorded_s)} could "
            f"not be judged ({count(facts.unknown_stretches, 'stretch', 'stretches')})")
    if not longer:
        return f"{said}."
    longest = duration(max(measure.judged_s for measure in longer))
    return (f"{said}, as at least one limit was unknown; "
            f"{listed([measure.limit for measure in longer])} could be judged for up to {longest}.")


def listed(said: Sequence[str]) -> str:
    """Return "a", "a and b", or "a, b and c"."""
    return said[0] if len(said) == 1 else ", ".join(said[:-1]) + " and " + said[-1] if said else ""


def exceedance_title(number: int, facts: ExceedanceFacts, how: Presentation) -> str:
    """Return the title of an exceedance's own section."""
    return (f"Exceedance {number}: {facts.limit} by "
            f"{how.exceeded_by(facts)}")


def touches(facts: ExceedanceFacts) -> str:
    """Return how an exceedance is made up, as sentences that follow on; empty where it's whole."""
    said = ""
    if facts.touches > 1:
        ridden = facts.touches >= RIDDEN_TOUCHES and facts.time_over_s < facts.duration_s / 2
        how_often = "twice" if facts.touches == 2 else f"{facts.touches:,} times"
        longest = f"over it {how_often}, the longest for {duration(facts.longest_over_s)}."
        said = f" The speed ran along the limit: {longest}" if ridden and not (
            none_of_a_speed(facts.quantity)) else f" The flight was {longest}"
    if facts.bounded_s > 0:
        said += (f" For {duration(facts.bounded_s)} of it nothing was recorded: too short to have "
                 "come back under the limit.")
    return said


RIDDEN_TOUCHES = 4
"""From so many stretches over a limit on, that fill less than half of the span, the speed is said
to have run along it."""


def exceedance(facts: ExceedanceFacts, how: Presentation) -> str:
    """Return one exceedance as a few sentences."""
    said = (
        f"{facts.limit} was exceeded from {how.instant(facts.start_s)} to "
        f"{how.instant(facts.end_s)}: {duration(facts.duration_s)} from start to end, "
        f"{duration(facts.time_over_s)} over. Worst at {how.instant(facts.worst_time_s)}: "
        f"{how.published(facts.worst_value, facts.quantity)}, {how.exceeded_by(facts)} over the "
        f"limit of {how.published(facts.limit_value, facts.quantity)}, at "
        f"{_height(facts.worst_pressure_altitude_ft, how)}."
    )
    said += touches(facts)
    if facts.began_by != "crossed":
        said += f" {label.BEGAN[facts.began_by]}"
    if facts.ended_by != "recovered":
        said += f" {label.ENDED[facts.ended_by]}"
    if facts.brief:
        said += " It was brief: less time over than the minimum duration."
    return said


def closest(smallest: SmallestFacts, how: Presentation) -> str:
    """Return the smallest margin to a limit in a few words."""
    if smallest.quantity is not None and smallest.margin is not None:
        side = "under" if smallest.margin >= 0 else "over"
        return f"{how.published_band(abs(smallest.margin), smallest.quantity)} {side}"
    if smallest.margin_kt is None:
        return UNKNOWN
    side = "under" if smallest.margin_kt >= 0 else "over"
    return f"{how.speed(abs(smallest.margin_kt))} {side}"


def panel_words(facts: ExceedanceFacts, how: Presentation) -> str:
    """Return what an exceedance's picture shows, for those who can't see it."""
    other = none_of_a_speed(facts.quantity)
    shown = f"{panel_words_of(other)} and" if other else "Speed against its limit, margin and"
    return (f"{shown} altitude about the exceedance of {facts.limit}: "
            f"over from {how.instant(facts.start_s)} to {how.instant(facts.end_s)}, worst at "
            f"{how.instant(facts.worst_time_s)} with "
            f"{how.exceeded_by(facts)}.")


def glance_words(facts: FlightFacts, how: Presentation) -> str:
    """Return what the picture of the whole flight shows, for those who can't see it."""
    return (f"Margin, airspeed against the limit airspeed, and pressure altitude over "
            f"{duration(facts.recorded_s)}; {count(len(facts.exceedances), 'exceedance')} marked.")


def histogram_words(within: Sequence[tuple[float, float]], how: Presentation) -> str:
    """Return what the histogram shows, for those who can't see it."""
    parts = [f"{length(time)} {'over' if band == 0 else 'with less than ' + how.speed(band)}"
             for band, time in within]
    return "Time spent at each margin" + (f": {listed(parts)}." if parts else ".")


def time_to_limit(time: TimeToLimit, how: Presentation) -> str:
    """Return the shortest time to a limit, in a few words."""
    return (f"{length(time.seconds)} to {time.limit}, at {how.instant(time.time_s)}, closing at "
            f"{how.speed(time.closing_kt_s)}/s")


def unknown_caption(shown: int, number: int) -> str:
    """Return the caption of the stretches that couldn't be judged."""
    if shown < number:
        return f"The {shown} longest of {number:,} stretches that could not be judged"
    return "Stretches that could not be judged, longest first"


def versions(found: Mapping[str, str]) -> str:
    """Return which versions computed it, in a line."""
    return "Made with " + ", ".join(f"{name} {number}" for name, number in found.items()) + "."


def closest_sentence(smallest: SmallestFacts, how: Presentation) -> str:
    """Return how close it came to whichever limit applied, as a sentence."""
    if smallest.quantity is not None and smallest.margin is not None:
        return (
            f"Closest: {closest(smallest, how)} {smallest.limit} at "
            f"{how.instant(smallest.time_s)}, {_height(smallest.pressure_altitude_ft, how)}."
        )
    if smallest.margin_kt is None:
        return "Closest: unknown."
    by_mach = (
        f" (Mach {mach(abs(smallest.margin_mach))})" if smallest.margin_mach is not None else ""
    )
    return (f"Closest: {how.speed(abs(smallest.margin_kt))}{by_mach} "
            f"{'under' if smallest.margin_kt >= 0 else 'over'} the limit of "
            f"{how.speed(smallest.limit_airspeed_kt, 'calibrated_airspeed')} at "
            f"{how.instant(smallest.time_s)}, {_height(smallest.pressure_altitude_ft, how)}.")
