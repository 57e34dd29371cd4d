"""What the crew could see: the words about the speed ruler, for pictures and for the page."""

from __future__ import annotations

import math

from loganalyze.explain.dial_reading import DialReading
from loganalyze.text.presentation import Presentation

TITLE = "What the crew could see"
LETTERS = {"indicated": "IAS", "calibrated": "CAS"}
SPEED = "speed {speed} {letters}"
POINTER = "limit pointer {pointer}"
NO_POINTER = "limit pointer not known"
NO_SPEED = "speed not known"
SPEED_MARK, POINTER_MARK = "speed {value}", "limit pointer {value}"
OVER = "{by} over"
UNDER = "{by} under"
TREND = "Last 10 s: {speed}, {pointer}."
NO_TREND = "Last 10 s: no trend ({why})."
STEADY = "steady"
SPEED_TREND = "speed {change}"
POINTER_TREND = "pointer {change}"
NO_SPEED_TREND = "no trend of the speed ({why})"
NO_POINTER_TREND = "no trend of the pointer ({why})"
WHY = {
    "gap": "a gap or an unknown sample in them",
    "start": "the recording had not run for 10 s",
    "slow": "recorded too slowly",
    "unknown": "not known now",
}
UNSEEN = "{limit} was the lowest limit, and the pointer doesn't show it."
CALIBRATED = "No indicated airspeed is known; the ruler shows calibrated airspeed."
CAPTION = (
    "What the airspeed indicator showed at the worst instant, {instant}, as a ruler of {letters}: "
    "above it the speed, below it the limit pointer (hatched: beyond it). Arrows come from where "
    "each stood 10 s before, by a straight line through those 10 s.")

PAGE: dict[str, str] = {
    "title": TITLE, "speed": SPEED, "pointer": POINTER, "no_pointer": NO_POINTER,
    "no_speed": NO_SPEED, "speed_mark": SPEED_MARK, "pointer_mark": POINTER_MARK,
    "over": OVER, "under": UNDER, "trend": TREND, "no_trend": NO_TREND, "steady": STEADY,
    "speed_trend": SPEED_TREND, "pointer_trend": POINTER_TREND,
    "no_speed_trend": NO_SPEED_TREND, "no_pointer_trend": NO_POINTER_TREND,
    "unseen": UNSEEN, "calibrated": CALIBRATED,
    "back_10": "10 s back", "back_1": "1 s back", "on_1": "1 s on", "on_10": "10 s on",
    "keys": ("Arrow keys: 1 s; Page Up and Page Down: 10 s; Home and End: the flight's first and "
             "last sample."),
}
"""What the page's script says of the instant at its cursor."""


def reading_lines(reading: DialReading, how: Presentation) -> tuple[str, ...]:
    """Return what the dial showed: speed and pointer, their trends, and what it doesn't show."""
    letters = LETTERS[reading.basis]
    parts = [SPEED.format(speed=how.speed(reading.speed_kt), letters=letters)
             if math.isfinite(reading.speed_kt) else NO_SPEED,
             POINTER.format(pointer=how.speed(reading.pointer_kt))
             if math.isfinite(reading.pointer_kt) else NO_POINTER]
    by = margin_words(reading, how)
    lines = [", ".join(parts) + (f": {by}" if by else "") + "."]
    lines[0] = lines[0][:1].upper() + lines[0][1:]
    if reading.speed_no_trend and reading.speed_no_trend == reading.pointer_no_trend:
        lines.append(NO_TREND.format(why=WHY[reading.speed_no_trend]))
    else:
        lines.append(
            TREND.format(
                speed=_trend(
                    reading.speed_trend_kt, reading.speed_no_trend, SPEED_TREND, NO_SPEED_TREND, how
                ),
                pointer=_trend(
                    reading.pointer_trend_kt,
                    reading.pointer_no_trend,
                    POINTER_TREND,
                    NO_POINTER_TREND,
                    how,
                ),
            )
        )
    if reading.unseen:
        lines.append(UNSEEN.format(limit=reading.unseen))
    if reading.basis == "calibrated":
        lines.append(CALIBRATED)
    return tuple(lines)


def margin_words(reading: DialReading, how: Presentation) -> str:
    """Return by how much the speed was over or under the pointer; empty where not known."""
    margin = reading.pointer_kt - reading.speed_kt
    if not math.isfinite(margin):
        return ""
    return (UNDER if margin >= 0 else OVER).format(by=how.speed(abs(margin)))


def _trend(change: float, why: str, said: str, no: str, how: Presentation) -> str:
    if why:
        return no.format(why=WHY[why])
    put = f"{abs(change) * how.units.per_knot:.1f}"
    if put == "0.0":
        return said.format(change=STEADY)
    sign = "+" if change >= 0 else "\N{MINUS SIGN}"
    return said.format(change=f"{sign}{put} {how.units.speed}")
