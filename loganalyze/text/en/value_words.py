"""Values known by a code or by a name with a unit, in the cells of a report."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from loganalyze.record.channels import CHANNELS, kind
from loganalyze.results.assessment_results import Severity
from loganalyze.text.en import quantity_words
from loganalyze.text.en.labels import phase_labels
from loganalyze.text.en.labels import report_labels as label
from loganalyze.text.en.number_format import count, duration, sentence_case
from loganalyze.text.en.quantity_words import UNKNOWN
from loganalyze.text.en.sentences import severity_text
from loganalyze.text.en.sentences.decision_text import tolerance_words
from loganalyze.text.presentation import Presentation


def severity(rated: Severity | None) -> str:
    """Return a severity in a cell of a table."""
    if rated is None:
        return "not rated"
    return severity_text.level(rated)


def phase(code: str) -> str:
    """Return a phase of flight in words."""
    return phase_labels.PHASES[code] if code else UNKNOWN


EDGES: dict[str, str] = {"above": "above", "from": "from", "up_to": "up to", "below": "below"}
"""The edges of a condition's range."""
UNITS_BY_SUFFIX: dict[str, str] = {
    "_kt_s": "kt/s", "_ft_s": "ft/s", "_fpm": "ft/min", "_kt": "kt", "_ft": "ft", "_s": "s",
    "_g": "g", "_deg": "deg", "_degc": "degC", "_pct": "%", "_percent": "%", "_kg": "kg",
    "_hpa": "hPa",
}
"""The unit that the end of a name states; an end that holds another stands before it."""


def _in(suffix: str, form: str) -> tuple[str, Callable[[float, Presentation], str]]:
    """How a value is put in the unit of a suffix, whatever the units of the report are."""
    return "", lambda value, _: f"{value:{form}} {UNITS_BY_SUFFIX[suffix]}"


_SUFFIXES: dict[str, tuple[str, Callable[[float, Presentation], str]]] = {
    "_kt": ("", lambda value, how: how.speed(value)),
    "_kt_s": ("", lambda value, how: f"{how.speed(value)}/s"),
    "_ft_s": ("", lambda value, how: f"{how.altitude(value)}/s"),
    "_ft": ("", lambda value, how: how.altitude(value)),
    "_fpm": ("", lambda value, how: f"{value:,.0f} ft/min" if how.units.name == "kt-ft"
             else f"{value * 0.3048 / 60:.1f} m/s"),
    "_mach": (" Mach", lambda value, how: how.published(value, "mach")),
    "_s": ("", lambda value, _: length(value) if value >= 0 else f"-{length(-value)}"),
    "_degc": _in("_degc", ".1f"),
    "_deg": _in("_deg", ".1f"),
    "_g": _in("_g", ".2f"),
    "_kg": _in("_kg", ",.0f"),
    "_hpa": _in("_hpa", ".1f"),
    "_percent": _in("_percent", ".1f"),
    "_pct": _in("_pct", ".1f"),
}


def named_value(name: str, value: Any, how: Presentation) -> tuple[str, str]:
    """Return a value known by a name with a unit suffix, as its words and its text."""
    for suffix in sorted(_SUFFIXES, key=len, reverse=True):
        if name.endswith(suffix) and isinstance(value, int | float):
            words, put = _SUFFIXES[suffix]
            known = put(float(value), how) if math.isfinite(value) else UNKNOWN
            return channel_words(name.removesuffix(suffix)) + words, known
    channel = kind(name)
    if name == "mach" and isinstance(value, int | float):
        return sentence_case(CHANNELS["mach"].words), how.published(value, "mach")
    if channel is not None and channel.discrete and isinstance(value, int | float):
        known = ("yes" if value else "no") if math.isfinite(value) else UNKNOWN
        return channel_words(name), known
    if isinstance(value, float):
        return channel_words(name), f"{value:.4g}" if math.isfinite(value) else UNKNOWN
    return channel_words(name), str(value)


def channel_words(name: str) -> str:
    """Return a channel's name in words; that of a second source says so."""
    stem, _, number = name.rpartition("_")
    if number.isdigit() and stem in CHANNELS:
        return f"{sentence_case(CHANNELS[stem].words)}, source {number}"
    known = CHANNELS.get(name)
    return sentence_case(known.words if known else quantity_words.setting(name))


def condition(name: str, said: Mapping[str, Any]) -> str:
    """Return a limit's condition in words: "flap angle above 2, up to 20 deg"."""
    stem, _, unit = name.rpartition("_")
    if "is" in said:
        state = {1.0: "yes", 0.0: "no"}.get(said["is"], said["is"])
        return f"{quantity_words.channel(name)}: {state}"
    edges = ", ".join(f"{words} {said[key]:g}" for key, words in EDGES.items() if key in said)
    words = quantity_words.channel(stem)
    extra = [f"deadband {said['deadband']:g}"] if said.get("deadband") else []
    extra += [f"for {said['dwell_s']:g} s"] if said.get("dwell_s") else []
    return f"{words} {edges} {unit}" + (f" ({', '.join(extra)})" if extra else "")


def tolerance(code: str, u: float, how: Presentation) -> tuple[str, str]:
    """Return what an uncertainty is of, and its size in its unit."""
    if code not in label.TOLERANCES:
        channel = CHANNELS[code.removesuffix("_resolution")]
        return tolerance_words(code), (
            f"{u:.2g} {channel.unit.name}" if math.isfinite(u) else UNKNOWN)
    words, suffix = label.TOLERANCES[code]
    if suffix in ("_s", "_mach", "_degc"):
        unit = {"_s": " s", "_mach": " Mach", "_degc": " degC"}[suffix]
        return words, f"{u:.2g}{unit}" if math.isfinite(u) else UNKNOWN
    return words, _SUFFIXES[suffix][1](u, how)


def within(seconds: float, band: float, quantity: str, how: Presentation) -> str:
    """Return the time spent within a band of margin: "2 min 58 s over it"."""
    where = "over it" if band == 0 else f"within {how.published_band(band, quantity)}"
    return f"{where}: {length(seconds)}"


def length(seconds: float) -> str:
    """Return a length of time, which may be none at all, or not known."""
    if not math.isfinite(seconds):
        return UNKNOWN
    return "none" if seconds == 0 else duration(seconds)


def over_by(excess: str) -> str:
    """Return an excess in a cell of a table."""
    return f"{excess} over"


def under_by(margin: str) -> str:
    """Return a margin in a cell of a table."""
    return f"{margin} under"


def sampling(samples: int, interval_s: float | None) -> str:
    """Return how many samples there are, and how often."""
    every = f", one every {interval_s:g} s" if interval_s else ""
    return f"{samples:,}{every}"


def yes_no(value: bool) -> str:
    """Return yes or no."""
    return "yes" if value else "no"


def declared(name: str) -> str:
    """Return the name of a declared state."""
    return f"{channel_words(name)} (declared)"


def by_altitude(rows: int) -> str:
    """Return how a limit that varies with altitude is given."""
    return f"by pressure altitude, {count(rows, 'row')}"


def quantity(name: str) -> str:
    """Return the quantity in which a limit is published, in words."""
    return quantity_words.quantity(name)
