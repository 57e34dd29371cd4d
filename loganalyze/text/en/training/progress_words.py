"""What is said of a trainee's progress."""

from __future__ import annotations

import math
from collections.abc import Sequence

from loganalyze.text.en.number_format import count, sentence_case
from loganalyze.text.en.training.exercise_words import KINDS, MEASURES
from loganalyze.text.en.training.lesson_words import CRITERIA, OUTCOMES

TITLE = "Progress"
SUBTITLE = "Trainee {trainee}, {flights}"
SECTIONS = {"found": "What changes", "measures": "Exercise by exercise",
            "flights": "Flight by flight", "grades": "In the school's words",
            "about": "How to read this"}
COLUMNS = {"exercise": "Exercise", "measure": "Measure", "flight": "Flight",
           "flights": "Flights",
           "level": "Mean of these flights", "per_flight": "Change a flight",
           "direction": "What that says", "spread": "Flights differ by", "measured": "Measured to",
           "course": "Middle half of the course",
           "part": "Part", "word": "School's word", "rule": "What its rule asks for, and what was "
           "flown"}
GRADES_CAPTION = "Each graded part of each flight; what is in doubt counts for the trainee"
GRADES_ABOUT = ("Each word is the school's own, given by the rules of its schedule to one part of "
                "one flight. Words aren't added up, and no trend is drawn through them.")
NO_RULE_MET = "no rule met"
NOT_MEASURED = "not measured"
CAPTION = "Means and changes, each with the interval that holds the true one with 95 % confidence"
DIRECTIONS = {
    "improving": "improving", "getting worse": "getting worse", "no change shown":
    "no change shown", "too few flights": "too few flights to say", "no better or worse":
    "neither is better"}
AMONG_MANY = "{direction}: chance does as much in one of so many measures"
WOULD_SHOW = "{direction}; would show from about {least} a flight"
FLIGHTS_CAPTION = "Value and standard uncertainty by the measurement"
PICTURE = "Each measure with a better side, over the flights: values with their uncertainty."
PICTURE_CAPTION = ("Each point is a flight, its bar the standard uncertainty of the measurement; "
                   "the dashed line is the trend. Less is better in all of these.")
PICTURE_COURSE = " A grey band is the middle half of the course."
FLIGHT_AXIS = "flight"
NONE_SHOWN = "None of the measures shows a change beyond what chance makes of so many."
NOTHING = "No exercise has a measure in any of these flights."
TOO_FEW = "Too few flights to say what changes: it takes four with the same exercise."
NOT_DATED = "Not all flights have a date: they are in the order in which they were given."
NO_COURSE = ("How others of the course flew is not shown: fewer than {least} of them have flown "
             "the same.")
COURSE = ("The course is shown as the range of the middle half of the other trainees' means, where "
          "at least {least} have flown the same. Nobody is ranked.")
ABOUT = (
    "Every figure is of the flights, not of the person: aircraft, weather and task differ from "
    "flight to flight, and no score sums them up.",
    "\u201cImproving\u201d is said where 0 is outside the interval of the change. Somebody who "
    "doesn't change would show as much by chance in at most 5 % of cases, over all measures looked "
    "at here together ({compared}). That a change isn't shown doesn't say that there is none.",
    "Flights in succession may be alike, and then look like a trend. The interval of the change "
    "allows for that. With fewer than {many} flights it is wider than it would have to be if they "
    "weren't alike, since so few can't tell; with fewer than {least}, no change is stated.",
    "The mean is of these flights as they were flown, uncertain by the measurement alone; what an "
    "aircraft's instruments show wrong in every flight is not in its interval. How flights differ "
    "is what is left beside the trend and the measurement's own uncertainty.",
)
WRITTEN = "Progress in {folder}"
FOOTER = "loganalyze {version}"
UNITS = {"kt_s": "kt/s", "kt": "kt", "ft": "ft", "deg": "deg", "s": "s", "mach": "Mach"}
UNKNOWN = "not known"


def measure(name: str) -> str:
    """Return a measure in words."""
    return MEASURES.get(name, name)


def inside(name: str) -> str:
    """Return a measure in words as they stand inside a sentence; abbreviations stay as they are."""
    words = measure(name)
    return words if words[1:2].isupper() else words[:1].lower() + words[1:]


def exercise(name: str) -> str:
    """Return an exercise in words."""
    return KINDS.get(name, name.removesuffix("mach") + "Mach number" if name.endswith(", mach")
                     else name)


def heading(name: str) -> str:
    """Return an exercise in words, as a heading."""
    return sentence_case(exercise(name))


def unit(name: str) -> str:
    """Return the unit that a measure's name ends with, "" where it has none."""
    return next((words for end, words in UNITS.items() if name.endswith(f"_{end}")), "")


def figure(name: str, number: float) -> str:
    """Return a measure's value without its unit."""
    size = abs(number)
    if unit(name) == "Mach":
        digits = 3 if size >= 0.01 else 4
    else:
        digits = 0 if size >= 100 else 1 if size >= 1 else 2
    # Without the sign of a negative number that is rounded to zero.
    return f"{round(number, digits) + 0.0:.{digits}f}"


def value(name: str, number: float) -> str:
    """Return a measure's value with its unit."""
    return UNKNOWN if math.isnan(number) else f"{figure(name, number)} {unit(name)}".strip()


def interval(name: str, number: float, low: float, high: float) -> str:
    """Return a value with its interval."""
    if math.isnan(number):
        return UNKNOWN
    if math.isnan(low):
        return value(name, number)
    first, last, middle = (figure(name, bound) for bound in (low, high, number))
    return f"{middle} ({first} to {last}) {unit(name)}".strip()


def course(name: str, low: float, high: float) -> str:
    """Return the range of the middle half of the course, or that it isn't shown."""
    return "not shown" if math.isnan(low) else f"{value(name, low)} to {value(name, high)}"


def uncertain(name: str, number: float, error: float) -> str:
    """Return a value with its standard uncertainty."""
    if math.isnan(number):
        return "none"
    return value(name, number) if math.isnan(error) else (
        f"{figure(name, number)} ± {value(name, error)}")


def changes(kind: str, name: str, direction: str, per_flight: float, low: float, high: float
            ) -> str:
    """Return a change that is shown, as a sentence."""
    side = "less" if per_flight < 0 else "more"
    ends = sorted((abs(low), abs(high))) if low * high > 0 else None
    span = (f", with 95 % confidence {value(name, ends[0])} to {value(name, ends[1])}"
            if ends else "")
    return (f"{heading(kind)}, {inside(name)}: "
            f"{direction}, {value(name, abs(per_flight))} {side} from flight to flight{span}.")


def change(name: str, number: float, low: float, high: float) -> str:
    """Return a change a flight with its interval; a dash where too few flights show one."""
    return "-" if math.isnan(low) else interval(name, number, low, high)


def flight(number: int, day: str) -> str:
    """Return which flight it is: its number and its day."""
    return f"{number}: {day[:10]}" if day else str(number)


def picture_caption(course: bool) -> str:
    """Return what is printed below the picture."""
    return PICTURE_CAPTION + (PICTURE_COURSE if course else "")


def direction(name: str, code: str, low: float, high: float) -> str:
    """Return what is said of a change, and what would have shown where none did."""
    said = DIRECTIONS[code]
    if code != "no change shown" or math.isnan(low):
        return said
    if low * high > 0:
        return AMONG_MANY.format(direction=said)
    return WOULD_SHOW.format(direction=said, least=value(name, 0.5 * (high - low)))


def asked_and_flown(criteria: Sequence[tuple[str, float, float | None, str]]) -> str:
    """Return what a rule asks for, and what was flown, a clause for each thing."""
    return "; ".join(
        f"{CRITERIA[key]} {_bound(key, asked)}: "
        f"{NOT_MEASURED if flown is None else _bound(key, flown)}"
        f"{'' if code in ('met', 'not measured') else f', {OUTCOMES[code]}'}"
        for key, asked, flown, code in criteria)


def _bound(key: str, number: float) -> str:
    return f"{number:.0f} %" if key.endswith("_pct") else value(key, number)


def subtitle(trainee: str, flights: int) -> str:
    """Return whose progress it is, over how many flights."""
    return SUBTITLE.format(trainee=trainee, flights=count(flights, "flight"))
