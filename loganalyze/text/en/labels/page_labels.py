"""The words of the page's own controls, charts and read-out."""

from __future__ import annotations

from loganalyze.text.en import value_words

LANGUAGE = "en-GB"
"""The tag of the language in pages and PDF (BCP 47)."""

CONTENTS = "Contents"
SKIP = "Skip to the report"
SHOW_IN_CHART = "Show in the chart"
ENLARGE, FIT = "Enlarge the picture", "Fit the picture to the screen"

CONTROLS: dict[str, str] = {
    "chart": "Charts over time",
    "zoom_in": "Zoom in", "zoom_out": "Zoom out", "earlier": "Earlier", "later": "Later",
    "whole": "Whole flight", "jump": "Go to", "jump_none": "an exceedance ...",
    "cursor": "Cursor (arrow keys: one sample)", "values": "Values at the cursor",
    "previous": "Previous sample", "next": "Next sample",
    "more": "More channels", "elapsed": "Time from the flight's first sample",
    "utc": "UTC", "state": "State", "governing_limit": "Governing limit", "phase": "Phase",
    "unknown": "unknown", "none": "none", "yes": "yes", "no": "no",
    "band": "95 % interval of the margin", "over": "over a limit", "hatched": "not judged",
    "hint": ("Drag across a chart to zoom, drag with Shift held to move, double-click for the "
             "whole flight; the wheel zooms with Ctrl held and moves with Shift. Moving the "
             "mouse reads all charts at one instant. N and P: next and previous exceedance."),
    "touch_hint": ("Slide a finger across a chart to read it, spread or pinch two to zoom, slide "
                   "two to move."),
    "previous_one": "Previous exceedance", "next_one": "Next exceedance",
    "link": "Link to this view", "phases": "Phases of flight",
    "shown": "Shown: {from} to {to}",
    "failed": "The charts can't be shown in this browser; the picture below stands for them.",
    "channel": "Channel", "value": "Value",
}

NAMED = 4
"""So many channels are named; more are counted."""


def thinned(channels: list[str], step_s: float, beside_s: float) -> str:
    """Say which channels are shown in steps, and where they aren't."""
    listed = (f"{len(channels)} of the other recorded channels" if len(channels) > NAMED
              else ", ".join(channels))
    where = (f", except within {value_words.length(beside_s)} of what was over a limit or near it"
             if beside_s else "")
    return (f"To keep this page small, it shows {listed} by the least and the greatest value in "
            f"each {value_words.length(step_s)}{where}. The verdict rests on every sample.")


STATES: dict[str, str] = {
    "under": "under", "over": "over", "unknown": "unknown", "not applicable": "not applicable",
}
"""The state of a sample, by its code."""

PANELS: dict[str, str] = {
    "margin": "Margin to the limit airspeed", "speed": "Airspeed and limit airspeed",
    "mach": "Mach number and its limit", "altitude": "Pressure altitude",
    "temperature": "Static air temperature",
}

TRACES: dict[str, str] = {
    "margin_kt": "margin", "margin_u_kt": "standard uncertainty of the margin",
    "calibrated_airspeed_kt": "calibrated airspeed", "limit_airspeed_kt": "limit airspeed",
    "indicated_airspeed_kt": "indicated airspeed", "limit_pointer_kt": "limit pointer",
    "equivalent_airspeed_kt": "equivalent airspeed", "true_airspeed_kt": "true airspeed",
    "mach": "Mach number", "limit_mach": "limit Mach number", "margin_mach": "margin in Mach",
    "pressure_altitude_ft": "pressure altitude", "density_altitude_ft": "density altitude",
    "static_air_temperature_degc": "static air temperature",
    "isa_deviation_degc": "deviation from the standard atmosphere",
}
