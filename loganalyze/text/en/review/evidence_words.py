"""What the review desk says beside a verdict: quality flags, other sources, instrument errors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from loganalyze.text.en.number_format import duration
from loganalyze.text.en.sentences.recording_text import FLAGS
from loganalyze.text.en.value_words import channel_words

MINUS = "\N{MINUS SIGN}"
UNKNOWN = "not known"
QUALITY, SOURCES, ERRORS = (
    "Quality of the recording here", "Other sources", "Known error of the instruments")
NO_FLAGS = "No quality flag was raised from a minute before the exceedance to a minute after it."
NO_QUALITY = ("The store holds no quality flags of this exceedance: it is gone, or was judged "
              "where none are kept.")
NO_SOURCES = ("The log records no other channel by which this speed or altitude could be confirmed "
              "or contradicted.")
SOURCES_CAPTION = "What other recorded channels say of the exceedance, about its worst sample"
SOURCES_COLUMNS = ("Channel", "It", "The judged one reads more than usual by", "Excess by it")
NO_ERRORS = ("None is known: fewer than {least} flights of the aircraft in the store show an error "
             "of its instruments.")
ERRORS_CAPTION = ("How much a channel of this aircraft reads too high, as its ordinary flights "
                  "show it; nothing of it was applied to the verdict")
ERRORS_COLUMNS = ("Channel", "Reads high by", "95 % interval", "Shown by")
SAYS: Mapping[str, str] = {
    "confirms": "confirms it", "confirms less": "confirms it, but less",
    "contradicts": "contradicts it", "can't tell": "is inconclusive"}
WAYS: Mapping[str, str] = {
    "turns": "turns", "turns, split": "turns, airspeed and temperature parted",
    "two sources": "a second source", "recorded and computed": "recorded against computed",
    "from standard atmosphere": "the air's temperature against the fleet's"}
UNIT_WORDS: Mapping[str, str] = {"degC": "°C"}
FLAG_NAMES: Mapping[str, str] = {
    "missing": "missing values", "out of range": "implausible values",
    "faster than plausible": "spikes", "frozen": "frozen channels", "stale": "held values",
    "ceased to flicker": "channels without noise", "sources disagree": "two sources",
    "implausible step": "implausible steps", "synchronisation lost": "lost synchronisation"}


def channel(name: str) -> str:
    """Return a channel's name inside a sentence."""
    words = channel_words(name)
    return words if words.startswith("Mach") else words[0].lower() + words[1:]


def flag_line(flag: Mapping[str, Any]) -> str:
    """Return what a quality flag found around an exceedance, times from the flight's start."""
    subject = f"{channel_words(flag['channel'])}: " if flag["channel"] else ""
    inside = (f", {duration(flag['raised_inside_s'])} of it in the exceedance"
              if flag["raised_inside_s"] else ", none of it in the exceedance")
    out = "; no verdict rests on that" if flag["screened_out"] else ""
    return (f"{subject}{FLAGS[flag['flag']]} for {duration(flag['raised_s'])} between "
            f"{flag['first_s']:,.0f} s and {flag['last_s']:,.0f} s of the flight{inside}{out}.")


def flags_checked(flags: Sequence[Mapping[str, Any]]) -> str:
    """Return what was checked without finding anything, and what couldn't be checked."""
    found = {flag["flag"] for flag in flags if flag["raised_s"]} | {"quantised"}
    checked = [FLAG_NAMES[code] for code in FLAG_NAMES if code not in found and any(
        flag["flag"] == code and flag["checked_s"] for flag in flags)]
    never = [FLAG_NAMES[code] for code in FLAG_NAMES if code not in found and not any(
        flag["flag"] == code and flag["checked_s"] for flag in flags)]
    said = f"Checked, and nothing found: {', '.join(checked)}." if checked else ""
    return f"{said} Couldn't be checked here: {', '.join(never)}." if never else said


def source_line(source: Mapping[str, Any], quantity: str) -> tuple[str, str, str, str]:
    """Return another source: its channel, what it says, by how much it differs, its excess."""
    unit = "kt" if source["compared"] == "airspeed" else "ft"
    digits = 1 if unit == "kt" else 0
    apart = UNKNOWN if source["difference"] is None else (
        f"{_signed(source['difference'], digits)} {unit}, "
        f"{source['allowed'] or 0:.{digits}f} {unit} allowed")
    excess_by = UNKNOWN if source["excess"] is None else (
        f"Mach {_signed(source['excess'], 3)}" if quantity == "mach"
        else f"{_signed(source['excess'], 1)} kt")
    return (channel_words(source["channel"]), SAYS[source["says"]], apart, excess_by)


def error_line(error: Any) -> tuple[str, str, str, str]:
    """Return an instrument error: channel, size, interval, and how it was found."""
    unit = "" if error.unit == "1" else f" {UNIT_WORDS.get(error.unit, error.unit)}"
    digits = {"kt": 1, "ft": 0, "1": 3}.get(error.unit, 1)
    if error.high - error.low < 2 * 10.0 ** -digits:
        digits += 1  # so that an interval has two ends
    second = f" ({channel(error.second)})" if error.second else ""
    return (channel_words(error.channel), f"{_signed(error.reads_high, digits)}{unit}",
            f"{_signed(error.low, digits)} to {_signed(error.high, digits)}{unit}",
            f"{WAYS.get(error.way, error.way)}{second}, {error.flights:,} flights"
            f"{'; worth a check' if error.finding else ''}")


def _signed(number: float, digits: int) -> str:
    shown = f"{number:+.{digits}f}"
    return shown.replace("-", MINUS) if float(shown) else f"{0:.{digits}f}"
