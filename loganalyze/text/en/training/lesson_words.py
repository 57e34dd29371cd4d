"""What is said of a flight against its schedule. Nothing here is a verdict on who flew."""

from __future__ import annotations

import math

from loganalyze.text.en.number_format import duration, mach
from loganalyze.text.presentation import Presentation
from loganalyze.training import (
    Change,
    Criterion,
    Departure,
    KeptMargin,
    Lesson,
    Measured,
    Segment,
)

TITLE = "Lesson"
FOOTER = "loganalyze {version} · for the trainee's own hands"
SECTIONS = {
    "found": "Flown against briefed", "course": "Over time", "track": "Over altitude",
    "change": "The change between airspeed and Mach number",
    "moments": "Worth looking at together", "margins": "Steadiness, and the margin kept",
    "grades": "In the school's words", "turns": "Steep turns against their tolerance",
    "exercises": "Exercises in the flight",
    "demonstration": "Beside the demonstration", "exact": "The schedule flown exactly, and in "
    "warmer air", "other": "With another schedule",
    "handout": "Where {cas} and Mach {mach} are the same speed",
}
CAUTION_TITLE = "For learning"
CAUTION = (
    "These numbers show how a speed was held. They don't show why, what else was to be done, or "
    "what an instructor had asked for. They are no test result, and no basis for a sanction.",
    "The flight manual, the instructor and the authority prevail.")
KINDS = {"climb": "Climb", "cruise": "Cruise", "descent": "Descent",
         "configuration": "Configuration", "steep_turn": "Steep turn"}
PARTS = {"airspeed": "airspeed", "lower airspeed": "lower airspeed", "mach": "Mach"}
COLUMNS = {
    "part": "Part", "briefed": "Briefed", "mean": "Mean error", "within": "Within tolerance",
    "longest": "Longest outside", "furthest": "Farthest outside", "settled": "Settled after",
    "steady": "Change in 8 s", "grade": "School's word", "limit": "Limit",
    "smallest": "Smallest margin", "when": "When", "where": "At", "near": "Time with less than "
    "{near}", "asked": "Asked for", "flown": "Flown", "outcome": "Outcome", "rule": "Rule",
    "altitude": "Pressure altitude", "cas": "CAS", "mach": "Mach", "tas": "TAS that day",
    "warmer": "TAS, {warmer:.0f} °C warmer", "stated": "Limit as CAS", "margin": "Margin",
    "rms": "RMS error", "largest": "Largest error", "to_limit": "Least margin to {limit}",
    "number": "Number", "exercise": "Exercise", "from": "From", "to": "To",
    "how": "How flown",
    "before": "Demonstration", "after": "This flight", "what": "",
}
SEGMENTS_CAPTION = "Each part of the flight against its schedule, after the speed had settled"
MARGINS_CAPTION = ("Errors of each part, how much the speed changed within 8 s, and the smallest "
                   "margin to each limit, with the share of time with less than {near} left")
GRADES_CAPTION = "All that each rule asks for; in doubt counts for the trainee"
EXACT_CAPTION = {"climb": "The climb flown exactly as briefed",
                 "descent": "The descent flown exactly as briefed"}
EVERY_EXERCISE = "Every kind of exercise could be looked for."
EXERCISES_CAPTION = ("Found by the program, with how sure it is; what isn't right is corrected by "
                     "its number, with loganalyze correct")
TURNS_CAPTION = "Each steep turn from the altitude and the airspeed of its entry"
TURNS_NOTE = ("Tolerance, {source}. The bank is measured and held against none. In doubt is what "
              "lies within the recording's uncertainty; it counts for the trainee.")
DEMONSTRATION_CAPTION = "The same parts in the demonstration and in this flight: RMS error and " \
                        "share of time within tolerance"
EXACT_NOTE = ("Warmer air makes the true airspeed greater at the same CAS or Mach number. It "
              "changes neither the limit, nor the margin, nor the altitude at which the two "
              "briefed speeds meet: all three follow from pressures alone.")
OTHER_NOTE = "Schedule {other}: what its speeds would have left, flown exactly."
NO_MOMENTS = "No moment stands out: no small margin, no departure that is sure, no late change."
NO_SEGMENTS = "No part of the flight fits the schedule."
NOTHING_GRADED = "The schedule holds no rules of the school, so that nothing is graded."
COURSE_WORDS = ("Flown speed and altitude over time, with the briefed speed and the tolerance of "
                "each part.")
COURSE_CAPTION = ("Above: calibrated airspeed (CAS) as flown, the briefed speed as CAS, and shaded "
                  "its tolerance; the dashed line is the limit airspeed. Below: pressure altitude. "
                  "Green numbers are the moments worth looking at together.")
TRACK_WORDS = "Calibrated airspeed against pressure altitude: flown, briefed, and the limit."
TRACK_CAPTION = ("Altitude upwards. Where the two briefed speeds meet, the briefed line bends: "
                 "that is the crossover.")
LINES = {"flown": "flown", "briefed": "briefed", "tolerance": "tolerance", "limit":
         "limit airspeed", "climb": "briefed climb", "descent": "briefed descent",
         "demonstration": "demonstration"}
READ_ALONE = ("Errors are flown less briefed: + is faster. Behind ± stands one standard "
              "uncertainty: the true value lies within twice that in 19 of 20 cases. Only what was "
              "outside beyond the recording's uncertainty counts as outside.")
WHERE_MEASURED = "Parts begin and end where the flight did so; the last 15 s of a climb, a level " \
                 "or a descent belong to the change to the next."
LETTERS = "Both laid side by side: A is the demonstration, B this flight."
BRIEFED_SPEEDS = ("airspeed", "Mach number")
OUTCOMES = {"met": "met", "not met": "not met", "in doubt": "in doubt",
            "not measured": "not measured"}
CRITERIA = {
    "least_within_pct": "time within tolerance at least", "longest_outside_s":
    "longest outside at most", "furthest_outside_kt": "farthest outside at most",
    "furthest_outside_mach": "farthest outside at most", "settled_after_s":
    "settled after at most", "overshoot_kt": "overshoot at most", "overshoot_mach":
    "overshoot at most", "turn_above_ft": "above the altitude of the entry at most",
    "turn_below_ft": "below the altitude of the entry at most",
    "turn_faster_kt": "faster than at the entry at most",
    "turn_slower_kt": "slower than at the entry at most",
}
WRITTEN = "Lesson in {folder}"
NEW_SCHEDULE = "Schedule written to {path}: correct its numbers, then give it with --schedule."


def part(segment: Segment) -> str:
    """Return the name of a segment: "Climb, airspeed"."""
    name = segment.name[:1].upper() + segment.name[1:]
    return name or f"{KINDS[segment.kind]}, {PARTS[segment.part]}"


def briefed(segment: Segment, how: Presentation) -> str:
    """Return the briefed speed and its tolerance: "190 kt +5/-10"."""
    low, high = segment.slower, segment.faster

    def edge(value: float | None, sign: str) -> str:
        return "" if value is None else f"{sign}{_edge(value, segment.unit, how)}"

    both = (f" ±{_edge(low, segment.unit, how)}" if low is not None and low == high
            else f" {'/'.join(bound for bound in (edge(high, '+'), edge(low, '-')) if bound)}"
            if segment.has_tolerance else "")
    if segment.unit == "mach":
        return f"Mach {mach(segment.target)}{both}"
    return f"{segment.target * how.units.per_knot:.0f} {how.units.speed}{both}"


def _edge(value: float, unit: str, how: Presentation) -> str:
    return mach(value) if unit == "mach" else f"{value * how.units.per_knot:.3g}"


def size(value: float, unit: str, how: Presentation, signed: bool = False) -> str:
    """Return a speed or a difference in its unit: "+2.3 kt", "Mach .012"."""
    if not math.isfinite(value):
        return "-"
    sign = "+" if signed and value > 0 else ""
    if unit == "mach":
        return f"{sign}{mach(0.0 if abs(value) < 0.0005 else value)}"
    value *= how.units.per_knot
    return f"{sign}{value:.1f} {how.units.speed}"


def error(found: Measured, unit: str, how: Presentation) -> str:
    """Return a mean error with its standard uncertainty."""
    if not math.isfinite(found.value):
        return "-"
    u = mach(found.u) if unit == "mach" else f"{found.u * how.units.per_knot:.1f}"
    return f"{size(found.value, unit, how, signed=True)} ± {u}"


def within(segment: Segment) -> str:
    """Return the share of time within the tolerance, and what is in doubt."""
    if not segment.has_tolerance:
        return "no tolerance"
    doubt = f" ({100 * segment.in_doubt:.0f} % in doubt)" if segment.in_doubt >= 0.005 else ""
    return f"{100 * segment.within.value:.0f} %{doubt}"


def longest(departure: Departure | None) -> str:
    """Return how long the longest departure was."""
    return "-" if departure is None else (
        f"{seconds(departure.seconds, departure.seconds_u)} {side(departure.faster)}")


def seconds(found: float, u: float = 0.0) -> str:
    """Return a length of time as finely as it was measured: in seconds from ten on, or where its
    standard uncertainty is half a second or more; below that to the tenth."""
    whole = found >= 9.95 or u >= 0.5
    return duration(float(round(found))).replace(".0 s", " s") if whole else duration(found)


def furthest(departure: Departure | None, unit: str, how: Presentation) -> str:
    """Return how far the farthest departure went."""
    return (
        "-"
        if departure is None
        else f"{size(departure.furthest, unit, how)} {side(departure.faster)}"
    )


def amount(value: float, unit: str, how: Presentation) -> str:
    """Return a difference with its unit in a sentence: "2.3 kt", "Mach .012"."""
    return f"{'Mach ' if unit == 'mach' else ''}{size(value, unit, how)}"


def than(faster: bool) -> str:
    """Return on which side of the tolerance something was, as a clause."""
    return f"{'faster' if faster else 'slower'} than the tolerance allows"


def side(faster: bool) -> str:
    """Return on which side of the briefed speed something was, in a word."""
    return "fast" if faster else "slow"


def settled(segment: Segment, how: Presentation) -> str:
    """Return how long the speed took to settle, and its overshoot."""
    if segment.settled == "no change":
        return "at once"
    if segment.settled == "not settled":
        return "not settled"
    past = segment.overshoot
    beyond = (f", {size(past.value, segment.unit, how)} past"
              if past.value > 2 * past.u else "")
    return f"{segment.settling_s.value:.0f} ± {segment.settling_s.u:.0f} s{beyond}"


def school(segment: Segment) -> str:
    """Return the school's word for a segment."""
    if segment.grade is None:
        return "-"
    return segment.grade.name or "no rule met"


def lead(lesson: Lesson, how: Presentation) -> str:
    """Return the lesson in a sentence or two."""
    if not lesson.segments:
        return NO_SEGMENTS
    held = [segment for segment in lesson.segments if segment.has_tolerance]
    clear = [segment for segment in held if not segment.sure_departures]
    summary = f"{len(lesson.segments)} parts of the flight were measured. "
    if held:
        summary += (f"None of the {len(held)} with a tolerance stayed within it. " if not clear else
                    f"As far as can be told, {'all' if len(clear) == len(held) else len(clear)} of "
                    f"the {len(held)} with a tolerance stayed within it. ")
    outside = [
        (departure, segment) for segment in held if (departure := segment.furthest) is not None
    ]
    if outside:
        departure, segment = max(outside, key=lambda pair: pair[0].furthest / (
            (pair[1].faster if pair[0].faster else pair[1].slower) or 1.0))
        summary += (
            f'Farthest outside was "{part(segment)}": '
            f"{amount(departure.furthest, segment.unit, how)} too "
            f"{'fast' if departure.faster else 'slow'}, at {how.second(departure.furthest_s)}. "
        )
    margins = [margin for segment in lesson.segments for margin in segment.margins]
    if margins:
        least = min(margins, key=lambda margin: margin.smallest_kt)
        where = f"{least.limit}, at {how.altitude(least.pressure_altitude_ft)}"
        summary += (f"The smallest margin was {size(least.smallest_kt, 'kt', how)} to {where}."
                    if least.smallest_kt >= 0 else
                    f"The speed was {size(-least.smallest_kt, 'kt', how)} over {where}: "
                    "`loganalyze analyze` judges that.")
    return summary.strip()


def chance(probability: float) -> str:
    """Return a probability in whole percents; one close to none or to all as such."""
    if probability < 0.01:
        return "less than 1 %"
    return "more than 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def change(made: Change, how: Presentation) -> str:
    """Return when the change at the crossover was made, as a sentence."""
    first, second = (("airspeed", "Mach number") if made.first == "airspeed"
                     else ("Mach number", "airspeed"))
    due = (
        f"In the {made.kind} the {first} was to be held until {how.altitude(made.crossover_ft)}, "
        f"where both briefed speeds are the same; that was passed at "
        f"{how.second(made.due_s)}. "
    )
    if made.code == "not recorded":
        return due + "Too little is recorded about it to say when the change was made."
    if made.code == "not made":
        return due + (f"It can't be seen that the {first} was given up for the {second}: the "
                      f"chance that it was is {chance(made.probability)}.")
    late, sure = made.late_s, chance(made.probability)
    if abs(late.value) <= 1.6449 * late.u:
        return due + (f"The change to the {second} was made ({sure} sure), and when due as far as "
                      f"can be told: {late.value:+.0f} s ± {late.u:.0f} s.")
    return due + (f"The change to the {second} was made ({sure} sure), {abs(late.value):.0f} s ± "
                  f"{late.u:.0f} s too {'late' if late.value > 0 else 'early'}, "
                  f"{how.altitude(abs(made.late_ft.value))} "
                  f"{'beyond' if late.value > 0 else 'short of'} it.")


def smallest(margin: KeptMargin, how: Presentation) -> str:
    """Return a margin in its own unit."""
    over = " over" if margin.smallest_kt < 0 else ""
    if margin.in_mach:
        return f"Mach {mach(abs(margin.smallest))}{over}"
    u = f" ± {margin.u_kt * how.units.per_knot:.1f}" if math.isfinite(margin.u_kt) else ""
    return f"{size(abs(margin.smallest_kt), 'kt', how)}{u}{over}"


def kept(margin: KeptMargin | None, how: Presentation) -> str:
    """Return the smallest margin to a limit, where, and how long it was small."""
    if margin is None:
        return "-"
    near = f"; {100 * margin.near_share:.0f} % of the time" if margin.near_share >= 0.005 else ""
    return f"{smallest(margin, how)} at {how.altitude(margin.pressure_altitude_ft)}{near}"


def criterion(asked: Criterion, how: Presentation) -> tuple[str, str, str]:
    """Return what was asked for, what was flown, and the outcome."""
    unit = asked.key.rpartition("_")[2]

    def put(value: float) -> str:
        if not math.isfinite(value):
            return "-"
        if unit == "pct":
            return f"{value:.0f} %"
        if unit == "ft":
            return how.altitude(value)
        return seconds(value) if unit == "s" else size(value, unit, how)

    return f"{CRITERIA[asked.key]} {put(asked.asked)}", put(asked.flown), OUTCOMES[asked.code]


def sources(lesson: Lesson, how: Presentation) -> list[str]:
    """Return whose tolerances were taken, and what was not flown or not recorded."""
    said = []
    for source in dict.fromkeys(segment.tolerance_source for segment in lesson.segments):
        named = [part(segment) for segment in lesson.segments if segment.tolerance_source == source]
        listed = "; ".join(dict.fromkeys(named))
        said.append(f"Tolerance, {source}: {listed}." if source else
                    f"No tolerance is stated or published for it, so it is measured and not held "
                    f"against any: {listed}.")
    said += [f"Briefed and not found in the flight: {KINDS[kind].lower()}."
             for kind in lesson.unflown]
    if lesson.converted:
        known = any(
            converted.indicated_kt != converted.calibrated_kt for converted in lesson.converted
        )
        said.append("The airspeeds were briefed as indicated; " + (
            "by the limits sheet's corrections they are, as CAS: " + ", ".join(
                f"{converted.indicated_kt:.0f} kt IAS {size(converted.calibrated_kt, 'kt', how)}"
                for converted in lesson.converted) + "." if known else
            "the limits sheet states no correction for them, so that they are taken as "
            "calibrated."))
    said += [
        f"The {level_off.kind} was interrupted by a level at "
        f"{how.altitude(level_off.altitude_ft)} from {how.second(level_off.start_s)} to "
        f"{how.second(level_off.end_s)}; what was flown there counts to no part."
        for level_off in lesson.level_offs
    ]
    said += [f"The log holds no channel for the speed \"{name}\"." for name in lesson.lacking]
    return said

