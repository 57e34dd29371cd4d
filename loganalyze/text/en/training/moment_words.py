"""What is said of a moment of a lesson that is worth a look."""

from __future__ import annotations

import math

from loganalyze.text.en.training.lesson_words import amount, part, seconds, side, size, than
from loganalyze.text.presentation import Presentation
from loganalyze.training import Moment, Segment

CAUSES = {
    "limit moved": "the limit itself moved with altitude",
    "configuration": "flaps or gear brought a lower limit",
    "height trade": "height was traded for speed", "energy": "more energy went in than was lost "
    "(power against drag)", "air temperature": "the air's temperature changed",
    "speed change": "the speed changed (without air temperature it can't be said why)",
    "not known": "the cause can't be told from the recording",
}
CAUSES_SLOWER = {**CAUSES, "height trade": "speed was traded for height",
                 "energy": "less energy went in than was lost (power against drag)"}


def moment(found: Moment, segments: tuple[Segment, ...], how: Presentation) -> str:
    """Return a moment and why, as a sentence or two."""
    said = (f"{how.second(found.time_s)}, at {how.altitude(found.altitude_ft)}: "
            f"{fact(found, segments, how)}.")
    if found.kind == "change" and found.size > 0:
        return said + (" While it is held beyond the crossover, the other speed runs away from "
                       "what was briefed.")
    if found.kind == "margin":
        return f"{said} {_why(found, CAUSES, how)}"
    if found.kind == "departure":
        return f"{said} {_why(found, CAUSES if found.faster else CAUSES_SLOWER, how)}"
    return said


def numbers(moments: tuple[Moment, ...], segments: tuple[Segment, ...], how: Presentation) -> str:
    """Return what each number on the charts is: when, and what was there."""
    return "On the charts: " + "; ".join(
        f"{number} at {how.second(found.time_s)}, {_in_short(found, segments, how)}"
        for number, found in enumerate(moments, 1)) + "."


def _in_short(found: Moment, segments: tuple[Segment, ...], how: Presentation) -> str:
    if found.kind == "departure" and found.segment is not None:
        return (f"{part(segments[found.segment])} {amount(found.size, found.unit, how)} beyond "
                f"tolerance, {side(found.faster)}")
    if found.kind == "change":
        return f"change {abs(found.size):.0f} s {'late' if found.size > 0 else 'early'}"
    return fact(found, segments, how)


def fact(found: Moment, segments: tuple[Segment, ...], how: Presentation) -> str:
    """Return what was at a moment, with its value, as a clause."""
    if found.kind == "ceiling":
        return f"{amount(found.size, found.unit, how)} above the ceiling \"{found.name}\""
    if found.kind == "change":
        first = "Mach number" if found.name == "mach" else "airspeed"
        return (f"the {first} was given up {abs(found.size):.0f} s "
                f"{'later' if found.size > 0 else 'earlier'} than due")
    if found.kind == "margin":
        limit = found.name or "the limit"
        return (f"{size(-found.size, 'kt', how)} over {limit}" if found.size < 0
                else f"{size(found.size, 'kt', how)} left to {limit}")
    assert found.segment is not None
    return (f"{part(segments[found.segment])}: {amount(found.size, found.unit, how)} "
            f"{than(found.faster)}")


def _why(found: Moment, causes: dict[str, str], how: Presentation) -> str:
    cause = causes[found.cause]
    if not math.isfinite(found.cause_kt):
        return f"{cause[:1].upper()}{cause[1:]}."
    before = max(found.time_s - found.start_s, 0.0)
    return (f"Mostly because {cause}: {size(found.cause_kt, 'kt', how)} in the "
            f"{seconds(before)} before.")
