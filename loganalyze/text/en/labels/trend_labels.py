"""What the page of a fleet's trends says: its sections, columns, sentences and pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence

from loganalyze.text.en.number_format import rate

TITLE = "Trends of a fleet"
SUBTITLE = "{span} · {aircraft} · {flights} · {hours:,.0f} judged hours"
NO_DATES = "without dates"
FOOTER = "loganalyze {version} · rates of a fleet, not of a person"

SECTIONS: dict[str, str] = {
    "verdict": "What the fleet shows",
    "course": "Over time",
    "change": "Before and after {day}",
    "aircraft": "By aircraft",
    "margins": "Smallest margins",
    "tails": "Expected time to an exceedance",
    "errors": "Each aircraft's own instrument errors",
    "outliers": "The closest flights",
    "unusual": "Flights unlike the others",
    "captured": "What was captured",
    "cautions": "Cautions",
    "method": "How this was computed",
}
GROUPS: dict[str, str] = {
    "whole": "All flights", "month": "By month", "aircraft": "By aircraft", "limit": "By limit",
    "phase": "By phase of flight", "severity": "By severity", "cause": "By main cause",
}
BEHIND = "Flights behind: {name}"
NAMES: dict[str, str] = {
    "whole": "", "month": "month", "aircraft": "aircraft", "limit": "limit",
    "phase": "phase of flight", "severity": "severity", "cause": "main cause"}
COLUMNS: dict[str, str] = {
    "flights": "flights", "captured": "captured", "hours": "hours", "judged": "judged",
    "episodes": "episodes",
    "rate": "per 1,000 h", "interval": "95 % interval", "per_100": "per 100 flights",
    "times": "times the others'", "probability": "p, adjusted", "period": "period",
    "flight": "flight key", "margin": "smallest margin, recorded",
    "as_flown": "95 % interval, as flown", "usual": "usual margin", "score": "modified z-score",
    "kind": "why", "logs": "logs", "recorded": "flights, recorded", "surely": "surely, as flown",
    "possibly": "possibly, as flown", "limit": "limit", "altitude": "altitude",
    "phase": "phase", "sheet": "limits sheet", "peaks": "peaks", "threshold": "closer than",
    "displayed": "flights to an exceedance, as displayed", "flown": "the same, as flown",
    "aircraft": "aircraft", "channel": "channel", "way": "shown by", "reads_high": "reads high by",
    "per_year": "drift a year", "finding": "finding",
    "severity": "severity", "below": "margin of less than", "share": "share of the flights",
}
WHOLE = "the fleet"
ALL_FLIGHTS = "all flights"


def group_title(dimension: str) -> str:
    """Return the title of the section of a dimension."""
    return GROUPS.get(dimension, f"By {dimension.removeprefix('tag:')}")


def group_name(dimension: str) -> str:
    """Return what a group of a dimension is."""
    return NAMES.get(dimension, dimension.removeprefix("tag:"))


def rate_caption(dimension: str, proven: bool) -> str:
    """Return the caption of a table of rates."""
    what = "proven exceedances" if proven else "exceedances"
    of = f" by {group_name(dimension)}" if dimension != "whole" else ""
    if dimension != "whole":
        return f"Episodes with {what}{of}"
    return (f"Episodes with {what}{of}. Captured: share of the flights, expected or else read, "
            "that were judged for some time. Judged: share of their recorded time that could be; "
            "what wasn't isn't in the hours.")


def number(value: float, digits: int | None = None) -> str:
    """Return a number to so many decimals, or as a rate; a dash where it isn't known."""
    if digits is None:
        return rate(value)
    return f"{value:,.{digits}f}" if math.isfinite(value) else "–"


def interval(low: float, high: float) -> str:
    """Return an interval, or a dash where it isn't known."""
    return f"{rate(low)} to {rate(high)}" if math.isfinite(low + high) else "–"


def signed_interval(low: float, high: float, digits: int = 1) -> str:
    """Return an interval of a difference, with signs; a dash where it isn't known."""
    return f"{low:+.{digits}f} to {high:+.{digits}f}" if math.isfinite(low + high) else "–"


def probability(value: float) -> str:
    """Return a probability as p = .012."""
    return "p not known" if math.isnan(value) else (
        "p < 0.001" if value < 0.001 else f"p = {value:.3f}")


def chance(value: float) -> str:
    """Return whether chance explains a difference."""
    return "more than chance explains" if value < 0.05 else "chance can explain that"


def lead(changes: Sequence[int]) -> str:
    """Return the first answer, from the changes that chance doesn't explain: 1 closer, -1 further.
    """
    if not changes:
        return "No change with time that chance can't explain."
    if len({*changes}) > 1:
        return ("Episodes and margins change in opposite directions, each by more than chance "
                "explains.")
    if changes[0] > 0:
        return "The fleet gets closer to its limits, by more than chance explains."
    return "The fleet keeps further from its limits than it did, by more than chance explains."


def rate_sentence(episodes: int, flights: int, rate: float, low: float, high: float,
                  per_100: float, share: float, proven: bool) -> str:
    """Return how often limits were exceeded."""
    what = "proven exceedance" if proven else "exceedance"
    return (f"{episodes:,} episode{'' if episodes == 1 else 's'} with {_an(what)} in {flights:,} "
            f"flights: {number(rate)} in 1,000 judged hours (95 % interval {interval(low, high)}), "
            f"{number(per_100)} in 100 flights. {100 * share:.1f} % of the recorded time was "
            "judged.")


def _an(what: str) -> str:
    return f"an {what}" if what[0] in "aeiou" else f"a {what}"


def rate_course(rises: int, adjusted: float) -> str:
    """Return whether the rate changes with time, and in which direction."""
    way = {1: "more often", -1: "less often"}.get(rises, "a change")
    return ("Episodes with time, aircraft by aircraft: "
            + (f"{way}, by more than chance explains" if adjusted < 0.05 else
               "no change that chance can't explain") + f" ({probability(adjusted)}).")


def margin_course(slope: str, low: str, high: str, adjusted: float) -> str:
    """Return how the smallest margin of a flight changes with time."""
    return (f"The smallest margin of a flight changes by {slope} a year (95 % interval {low} to "
            f"{high}), aircraft by aircraft: {chance(adjusted)} ({probability(adjusted)}).")


NO_COURSE = ("Whether margins change with time can't be said: too few flights with a date, or all "
             "of one day.")


def where(found: Sequence[tuple[str, str, int]], total: int) -> str:
    """Return where most episodes were: dimension, group and number of each."""
    said = [f"{group_name(dimension)} {group} ({episodes:,} of {total:,})"
            for dimension, group, episodes in found]
    return f"Most often: {', '.join(said)}."


def outlying(name: str, times: float, adjusted: float) -> str:
    """Return that an aircraft's rate differs from that of the others."""
    return (f"Aircraft {name}: {number(times, 1)} times the rate of the others "
            f"({probability(adjusted)}); its airspeed indication is worth a check.")


NO_OUTLYING = "No aircraft differs from the others by more than chance explains."
ONE_AIRCRAFT = "Aircraft can't be compared: fewer than two groups are large enough to be shown."


def change(day: str, ratio: float, adjusted: float) -> str:
    """Return how the rate after a day compares with that before."""
    times = f"{ratio:.2f} times" if math.isfinite(ratio) else "in no known ratio to"
    return (f"From {day} on the rate is {times} the one before, in the same aircraft: "
            f"{chance(adjusted)} ({probability(adjusted)}).")


BEFORE, AFTER = "before", "from then on"


def left_out(flights: int, least: int) -> str:
    """Return that small groups aren't shown."""
    return (f"Groups of fewer than {least} flights aren't shown, nor others from which they would "
            f"follow ({flights:,} flights here).")


def undated(flights: int) -> str:
    """Return that flights without a date aren't placed in time."""
    return f"{flights:,} flights without a date aren't placed in time."


def problems(logs: int) -> str:
    """Return that logs weren't judged."""
    return (f"{logs:,} {'log' if logs == 1 else 'logs'} could not be judged, and "
            f"{'is' if logs == 1 else 'are'} in no number here.")


def behind(name: str, group: str, flights: int, shown: int) -> str:
    """Return the caption of a list of flights."""
    what = f"{name} {group}: " if group else ""
    rest = f"; the {shown:,} with the smallest margins" if shown < flights else ""
    return f"{what}{flights:,} flight{'' if flights == 1 else 's'} with episodes{rest}"


def query(dimension: str) -> str:
    """Return how a store is asked for all flights of a group."""
    condition = {
        "month": "strftime(start_utc, '%Y-%m') = '2031-01'",
        "aircraft": "coalesce(registration, aircraft) = '…'",
    }.get(dimension, f"json_extract_string(tags, '{dimension.removeprefix('tag:')}') = '…'"
          if dimension.startswith("tag:") else "judged_s > 0")
    return ("Every flight of a group, with and without episodes, from the store in SQL: select "
            f"flight_key from flights where {condition}. Rows of exceedances, near ones, measures "
            "and samples carry the same flight_key.")


MARGINS_CAPTION = ("Flights by the smallest margin to any limit, as calibrated airspeed. Recorded: "
                   "in any sample, noise included. As flown: surely where the whole 95 % interval "
                   "lies below, possibly where a part of it does")
QUANTILES = "{share} of the flights came to {margin} or closer."
OUTLIERS_CAPTION = ("The flights with the smallest margins; negative is over. Recorded: in one "
                    "sample, noise included; the interval allows for noise, steps and the "
                    "instruments' errors")
NO_MARGIN = "No flight has a known margin."

TAILS = ("By extreme-value statistics: what the closest flights of one type and phase to one "
         "limit, its peaks, say of those still to come; each flight counts for the limit that it "
         "came closest to. As displayed: on the crew's instruments; as flown: with their errors.")
TAILS_CAPTION = ("How many flights from one exceedance to the next are to be expected, with the "
                 "95 % interval; refused below 50 peaks, and beyond five times the flights")


def lacking(tails: int, alone: bool) -> str:
    """Return that some tails can't be estimated, or that none can."""
    what = f"{tails:,} {'other pair' if not alone else 'pair'}{'' if tails == 1 else 's'}"
    return (f"For {what} of phase and limit nothing is estimated: fewer than 50 flights are "
            "peaks.")


REFUSED: dict[str, str] = {
    "too few peaks": "not estimated: too few peaks",
    "beyond five times the exposure": "not estimated: beyond five times the flights",
}
BEHIND_TAILS = "peaks of the tails"
BEHIND_MARGINS = "smallest margins"


def peaks(name: str, flights: int, shown: int) -> str:
    """Return the caption of the flights that a tail rests on."""
    rest = f"; the {shown:,} closest of them" if shown < flights else ""
    return f"{name}: the {flights:,} closest flights, on which the tail rests{rest}"


UNUSUAL = ("Came far closer to a limit in a phase of flight than flights by the same limits sheet "
           "usually do in it: a modified z-score below -3.5 (B. Iglewicz, D. C. Hoaglin, How to "
           "Detect and Handle Outliers, ASQC, 1993, p. 11). Phases with fewer than 20 flights "
           "aren't looked at. Unusual isn't wrong: look at these flights one by one.")
NO_UNUSUAL = "No flight is unlike the others."


def unusual(flights: int, shown: int) -> str:
    """Return the caption of the flights unlike the others."""
    rest = f" (of {flights:,}, the farthest from usual)" if shown < flights else ""
    return f"Flights unlike the others{rest}; margins as recorded, negative is over"


CAPTURED_HEADING = "Read and not judged"
PROBLEMS_CAPTION = "Logs that gave no flight, by the reason"
PROBLEM_KINDS: dict[str, str] = {
    "wrong input": "what it holds can't be judged", "unreadable": "it can't be read",
    "unexpected error": "an unexpected error, a fault of this program",
    "worker lost": "two worker processes ended while they judged it"}
CAPTURED_QUERY = ("All of them, from the store in SQL: select source, reason from problems; select "
                  "flight_key, source, outcome from flights where judged_s = 0.")


def captured(share: float, flights: int, logs: int) -> str:
    """Return how much of what was flown is in the numbers."""
    lost = [f"{flights:,} {'flight was' if flights == 1 else 'flights were'} read and not judged "
            "for any time" if flights else "",
            f"{logs:,} {'log' if logs == 1 else 'logs'} gave no flight" if logs else ""]
    said = " and ".join(part for part in lost if part)
    whole = "" if math.isnan(share) else (
        f"{100 * share:.1f} % of the flights, expected or else read, were judged. ")
    return (f"{whole}{said[:1].upper()}{said[1:]}." if said else
            f"{whole}Nothing that was read was lost.") + (
        " Flights that aren't captured are in no rate: where they differ from the others, rates "
        "are those of the captured ones alone.")


def longer_than(flights: float) -> str:
    """Return that an estimate is refused but for what it is longer than."""
    return f"more than {flights:,.0f}"


def recurrence(flights: float, low: float, high: float) -> str:
    """Return an expected number of flights with its interval."""
    ends = f"{low:,.1f} or more" if math.isinf(high) else f"{low:,.1f} to {high:,.1f}"
    return f"{flights:,.1f} ({ends})"


ERRORS = ("Estimated from ordinary flights: turns, two sources against each other, recorded "
          "against computed values, the air's temperature against that of the fleet. A finding for "
          "the avionics shop; nothing of it was applied to any flight.")
ERRORS_CAPTION = ("How much a channel reads too high in one aircraft, with its 95 % interval; "
                  "probabilities are adjusted for the number of errors looked at")
ERRORS_QUERY = ("The flights behind an error, from the store in SQL: select flight_key, reads_high "
                "from checks join flights using (flight_key) where way = '…' and channel = '…' and "
                "coalesce(registration, flights.aircraft) = '…'.")
FINDING = "worth a check"
NO_FINDING = "No error is both sure and great enough to matter."


def finding(aircraft: str, channel: str, value: str, interval: str) -> str:
    """Return an error that is worth a check; `value` with its sign."""
    way = "low" if value.startswith(("-", "\N{MINUS SIGN}")) else "high"
    return (f"Aircraft {aircraft}: {channel} reads {way} by {value[1:]} (95 % interval of how much "
            f"it reads high: {interval}).")


METHOD = (
    "Counted are episodes: overlapping exceedances of a flight once. The time that counts is the "
    "judged time, for a limit that in which it was judged.",
    "Intervals hold where aircraft differ: the rate of each aircraft is drawn from a gamma "
    "distribution, its episodes from a Poisson distribution (together negative binomial), and "
    "counts are divided by the dispersion of the flights.",
    "Changes with time and before and after a day are tested by permutation among the flights of "
    "each aircraft, so that aircraft that differ can't pass for a change.",
    "The change of the smallest margin is the mean slope inside the aircraft, by least squares; "
    "its interval holds where slopes differ between aircraft.",
    "An aircraft is compared with all others by the binomial distribution of its share of the "
    "episodes, given its share of the hours.",
)


def tests(count: int) -> str:
    """Return how probabilities are adjusted."""
    return (f"All probabilities are adjusted for the number of tests on this page, {count} (S. "
            "Holm, Scand. J. Statist. 6, 1979, p. 65).")


COURSE_WORDS = "Rate of episodes of each month with its 95 % interval, and the judged hours below"
COURSE_CAPTION = ("Bars: 95 % interval; one that leaves the picture goes on. The line is the "
                  "fleet's rate, the band its interval.")
AIRCRAFT_WORDS = "Rate of episodes of each aircraft with its 95 % interval"
MARGINS_WORDS = ("Left: number of flights by smallest margin. Right: share of flights with less "
                 "than a margin, on a logarithmic scale")
CHANGE_WORDS = "Rate before and after the day, each with its 95 % interval"

RATE_AXIS = "episodes in 1,000 h"
HOURS_AXIS = "judged hours"
FLIGHTS_AXIS = "flights"
SHARE_AXIS = "share with less"
MARGIN_AXIS = "smallest margin recorded [{unit} CAS]"
FLEET_LINE = "the fleet"
ACTION_LINE = "{day}"
OVER_LIMIT = "over the limit"
NO_MONTHS = "no month is large enough to be shown"
NO_AIRCRAFT = "no aircraft has enough flights to be shown"
