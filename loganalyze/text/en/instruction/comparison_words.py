"""What is said of two flights side by side."""

from __future__ import annotations

from loganalyze.text.en.number_format import duration
from loganalyze.text.presentation import Presentation

TITLE = "Two flights side by side"
NAMES = ("A", "B")
SECTIONS = {"found": "What differs", "track": "Both on one picture of the limit airspeed",
            "course": "Margin along the way", "run_in": "What led to the smallest margin",
            "keep": "To keep in mind", "about": "How they were aligned"}
ALIGNED = {
    "altitude": "Aligned by pressure altitude, in the descent from each flight's greatest "
                "altitude: {low} to {high}.",
    "descent": "Aligned by time from the top of each flight's descent: {low} to {high}.",
    "instant": "Aligned by time from the instants marked: {low} to {high}.",
}
AXES = {"altitude": "pressure altitude [{unit}]", "descent": "time from the top of descent [s]",
        "instant": "time from the instants marked [s]"}
MARGIN_AXIS = "margin [{unit} CAS]"
DIFFERENCE_AXIS = "margin of B\nless that of A [{unit}]"
SPEED_AXIS = "airspeed [{unit} CAS]"
LIMIT, LIMIT_OF = "limit airspeed", "limit airspeed of {name}"
FACTS_CAPTION = "Both flights, in the part that is compared"
COLUMNS = {"what": "What", "A": "A", "B": "B", "difference": "B less A", "from": "At"}
ORIGIN = {"altitude": "Top of descent", "descent": "Top of descent", "instant": "Instant marked"}
ROWS: dict[str, str] = {
    "file": "Recording", "outcome": "Limits, in the whole flight",
    "smallest": "Smallest margin", "limit": "to", "when": "when", "where": "at",
    "judged": "Judged time", "over": "Time over a limit", "near": "Time with less than {band}",
}
RUN_IN_CAPTION = "Margin lost before it, as CAS, by cause"
RUN_IN = {"lost_kt": "Margin lost", "limit_moved_kt": "limit moved with altitude",
          "configuration_kt": "configuration", "height_trade_kt": "height traded for speed",
          "energy_kt": "energy gained", "air_temperature_kt": "air temperature",
          "speed_change_kt": "speed gained", "remainder_kt": "remainder"}
NO_RUN_IN = "not known"
STEPS_CAPTION = "Margins at {count} steps of the way; differences.csv has all"
TRACK_WORDS = ("Calibrated airspeed against pressure altitude: both flights, and the limit "
               "airspeed.")
COURSE_WORDS = "The margin of both flights along the way, and the difference between them."
COURSE_CAPTION = ("Above: the margin of each flight; below zero is over a limit. Below: the margin "
                  "of B less that of A; below zero B had less.")
NOTES = {
    "two aircraft": "The two limits sheets are of different aircraft: {first} and {second}.",
    "other limits": "The two flights were judged against different limits, so that a difference "
                    "of margin is not one of speed alone.",
    "other rates": "They were recorded at different rates, a sample every {first:g} s and every "
                   "{second:g} s: a short peak may show in one alone.",
    "gaps": "Part of the way was not judged in one of them; nothing is compared there.",
    "little overlap": "They have little of the way in common.",
    "same recording": "Both are the same flight of the same recording.",
}
HIDDEN = "De-identified: no names, dates or files"
TWO_HIDDEN = "The two limits sheets are of different aircraft."
ABOUT = ("Each flight was judged by itself, and its own report prevails. Nothing here is a verdict "
         "on either, or on who flew it.")
NO_DIFFERENCE = "At no step are both margins known."
NEVER_NEAR = "Neither was within 20 kt of a limit."
WRITTEN = "Comparison in {folder}"
FOOTER = "loganalyze {version}"


def side(value: float, how: Presentation) -> str:
    """Return a margin in words: "3.2 kt over", "5.0 kt under"."""
    return f"{how.speed(abs(value))} {'under' if value >= 0 else 'over'}"


def signed(value: float, how: Presentation) -> str:
    """Return a difference with its sign."""
    if abs(value) < 0.05:
        value = 0.0
    return ("+" if value > 0 else "") + how.speed(value)


def place(by: str, step: float, how: Presentation) -> str:
    """Return a step of the alignment: an altitude, or a time from the origin."""
    if by == "altitude":
        return how.altitude(step)
    if step == 0:
        return "0 s"
    return f"{'-' if step < 0 else '+'}{duration(abs(step))}"


def aligned(by: str, first: float, last: float, how: Presentation) -> str:
    """Return how the flights were aligned, and over what, as a sentence."""
    return ALIGNED[by].format(low=place(by, first, how), high=place(by, last, how))


def lead(smallest: tuple[float, float], how: Presentation) -> str:
    """Return the smallest margins of both, as a sentence."""
    a, b = smallest
    if a != a or b != b:
        return "The smallest margin of one of them is not known."
    return (f"Closest to the limit, A was {side(a, how)} it and B {side(b, how)}: "
            f"{how.speed(abs(b - a))} between them.")


def greatest(least: float, where: str, how: Presentation) -> str:
    """Return where B had least margin compared with A, as a sentence."""
    near = "Where either was within 20 kt of a limit"
    if least >= 0:
        return f"{near}, B had nowhere less margin than A."
    return f"{near}, B had least margin beside A at {where}: {how.speed(-least)} less."


def note(code: str, first: str | float, second: str | float) -> str:
    """Return what to keep in mind, as a sentence."""
    return NOTES[code].format(first=first, second=second)
