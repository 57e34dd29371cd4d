"""Why the limit pointer moved, in the numbers of one flight."""

from __future__ import annotations

import math

from loganalyze.explain.pointer_movement import (
    AtConstantMach,
    PointerInstant,
    PointerMovement,
    TemperatureCase,
)
from loganalyze.record.units import FOOT, KNOT, ZERO_CELSIUS
from loganalyze.text.en.number_format import mach
from loganalyze.text.presentation import Presentation

TITLE = "Why the limit pointer moved"
LETTERS = tuple("ABCDEFGH")
"""One for each instant, in the table and in the picture."""

INSTANTS = {
    "run-in": "start of the run-in", "passed": "limit passed", "crossover": "crossover passed",
    "worst": "worst", "under": "back under", "before": "a minute before",
    "closest": "closest to a limit",
}
COLUMNS = {
    "mark": "Mark", "instant": "Instant", "when": "When", "altitude": "Pressure altitude",
    "governs": "Lowest limit", "limit": "It stood at (CAS)", "pointer": "Limit pointer (IAS)",
    "flown": "Flown (CAS)", "day": "Day", "temperature": "Static air temperature",
    "sound": "Speed of sound", "true": "True airspeed at {limit}", "mach": "Mach number",
    "cas": "The limit as CAS",
}
INSTANTS_CAPTION = "Where the limit stood, and what was flown"
CASES_TITLE = "What air temperature does, and what it doesn't"
CASES_CAPTION = "{limit} at {altitude} ({letter}) on four days"
CASES_CAPTION_SHORT = "{limit} at {altitude} ({letter}) on three days"
NO_TEMPERATURE = "No static air temperature is known there, so the day of the flight is not listed."
DAYS = {
    "colder": "{off:.0f} degC colder than standard", "standard": "standard",
    "warmer": "{off:.0f} degC warmer than standard",
}
RECORDED = "this flight's: {off:.1f} degC {side} than standard"
SIDES = {True: "warmer", False: "colder"}

AT_MACH = (
    "{limit} is a Mach number, {mach}. As an airspeed it depends on pressure altitude alone: "
    "lower down, the same Mach number is a higher airspeed. In this flight it was {first} CAS at "
    "{first_altitude} ({first_letter}) and {last} CAS at {last_altitude} ({last_letter}). "
    "{way} {climb} moved the limit pointer {direction} by {moved}: {slope} for every {step}.")
WAYS = {True: "The descent of", False: "The climb of"}
DIRECTIONS = {True: "up", False: "down"}
MEANWHILE = ("In the same time the airspeed {rose} by {by}, so the margin {changed} by {margin}.")
ROSE = {True: "rose", False: "fell"}
CHANGED = {True: "grew", False: "shrank"}
CROSSOVER = (
    "{below} and {above} are the same speed at {altitude}, the crossover. Above it {above} is the "
    "lower of the two and the pointer moves with altitude; below it {below} is, and the pointer "
    "stands still at {speed}.")
STILL = ("At all instants listed here the lowest limit was {limit}, a constant airspeed: the limit "
         "pointer stood still, whatever altitude and air temperature did.")
CHANGED_LIMIT = ("The limit moved because another limit became the lowest, or because the limits "
                 "sheet gives it by altitude: see the column \N{LEFT DOUBLE QUOTATION MARK}Lowest "
                 "limit\N{RIGHT DOUBLE QUOTATION MARK}.")
NO_MACH_LIMIT = ("The limits sheet has no limit in Mach, so no limit pointer moves with altitude "
                 "for that reason.")
NO_INSTANT = ("The pressure altitude or the limit isn't known at the instants that matter, so its "
              "movement can't be shown.")
TEMPERATURE = (
    "Warm air carries sound faster. At one Mach number the true airspeed grows with the speed of "
    "sound by the same factor, and the Mach number, their quotient, stays. The impact pressure at "
    "the pitot tube depends on Mach number and static pressure alone, so the limit as calibrated "
    "airspeed is the same on every day. Temperature moves the true airspeed, never the pointer.")
PICTURE_WORDS = (
    "Calibrated airspeed against pressure altitude through the flight, with the limit airspeed at "
    "each altitude and the crossover. Marked are {marks}.")
PICTURE_CAPTION = (
    "The lowest limit at each pressure altitude with no conditional limit applying (dashed), and "
    "the flight's track through it. Marked instants: a filled dot where the speed was, an open one "
    "where the limit stood; the line between them is the margin. Conditional limits are drawn "
    "where they governed.")


def why_it_moved(found: PointerMovement, how: Presentation) -> list[str]:
    """Return why the limit moved in a flight, or didn't, a sentence or some for each reason."""
    said = []
    if found.at_mach is not None:
        said.append(_at_mach(found.at_mach, found.instants, how))
        said.append(_meanwhile(found.at_mach, found.instants, how))
    elif found.instants:
        limits = {instant.limit for instant in found.instants}
        spread = [instant.limit_airspeed_kt for instant in found.instants]
        if len(limits) == 1 and max(spread) - min(spread) < 0.05:
            said.append(STILL.format(limit=limits.pop()))
        else:
            said.append(CHANGED_LIMIT)
    else:
        said.append(NO_INSTANT)
    if not found.mach_limits:
        said.append(NO_MACH_LIMIT)
    said += [
        CROSSOVER.format(
            below=crossing.below,
            above=crossing.above,
            altitude=how.altitude(crossing.pressure_altitude / FOOT),
            speed=how.speed(crossing.limit_airspeed / KNOT, "calibrated_airspeed"),
        )
        for crossing in found.crossings
        if crossing.above in found.mach_limits
    ]
    return said


def _at_mach(point: AtConstantMach, instants: tuple[PointerInstant, ...], how: Presentation) -> str:
    first, last = instants[point.first], instants[point.last]
    down = first.pressure_altitude_ft > last.pressure_altitude_ft
    return AT_MACH.format(
        limit=point.limit, mach=mach(point.mach), first=how.speed(point.first_kt),
        last=how.speed(point.last_kt), first_altitude=how.altitude(first.pressure_altitude_ft),
        last_altitude=how.altitude(last.pressure_altitude_ft), first_letter=LETTERS[point.first],
        last_letter=LETTERS[point.last], way=WAYS[down], direction=DIRECTIONS[down],
        climb=how.altitude(abs(first.pressure_altitude_ft - last.pressure_altitude_ft)),
        moved=how.speed(abs(point.last_kt - point.first_kt)), slope=how.speed(point.slope_kt),
        step=how.altitude(1000.0))


def _meanwhile(point: AtConstantMach, instants: tuple[PointerInstant, ...], how: Presentation
               ) -> str:
    first, last = instants[point.first], instants[point.last]
    by = last.airspeed_kt - first.airspeed_kt
    margin = (last.limit_airspeed_kt - last.airspeed_kt) - (
        first.limit_airspeed_kt - first.airspeed_kt)
    if not math.isfinite(margin):
        return ""
    return MEANWHILE.format(rose=ROSE[by >= 0], by=how.speed(abs(by)), changed=CHANGED[margin >= 0],
                            margin=how.speed(abs(margin)))


def instant_row(
    i: int, instant: PointerInstant, pointer: bool, how: Presentation
) -> tuple[str, ...]:
    """Return an instant as a row of the table."""
    row = [LETTERS[i], INSTANTS[instant.code], how.instant(instant.time_s),
           how.altitude(instant.pressure_altitude_ft), instant.limit or "-",
           how.speed(instant.limit_airspeed_kt)]
    row += [how.speed(instant.pointer_kt)] if pointer else []
    return (*row, how.speed(instant.airspeed_kt))


def case_row(case: TemperatureCase, number: float, how: Presentation) -> tuple[str, ...]:
    """Return a Mach limit on one day as a row of the table."""
    off = abs(case.isa_deviation)
    day = (RECORDED.format(off=off, side=SIDES[case.isa_deviation >= 0])
           if case.code == "recorded" else DAYS[case.code].format(off=off))
    return (day, f"{case.temperature - ZERO_CELSIUS:.1f} degC", how.speed(case.speed_of_sound_kt),
            how.speed(case.true_airspeed_kt), mach(number), how.speed(case.calibrated_airspeed_kt))
