"""The words in pictures: what their axes carry, and what is written into them."""

from __future__ import annotations

AXES: dict[str, str] = {
    "margin": "margin [{unit} CAS]",
    "own_margin": "margin [{unit}]",
    "own": "{quantity} [{unit}]",
    "airspeed": "airspeed [{unit}]",
    "calibrated": "airspeed [{unit} CAS]",
    "altitude": "altitude [{unit}]",
    "pressure_altitude": "pressure altitude [{unit}]",
    "power": "power [{unit}]",
    "minutes": "time [min]",
    "elapsed": "time from the flight's first sample [{unit}]",
    "utc": "UTC [{unit}]",
}
"""By quantity: its name, with its unit."""

NO_NAME = "Margin, airspeed and altitude"
WORST = "worst"
UNKNOWN = "unknown"
FLIGHT = ", flight {number}"
AND_BAND = "and 95 % interval"
OVER_LIMIT = "over the limit"
NO_ALTITUDE = "pressure altitude not known"
NOTHING_JUDGED = "nothing was judged"
NO_AIRSPEED_LIMIT = "no limit in airspeed or Mach"
OWN_LIMIT = "limit"
SHOWN_UP_TO = ",\nshown up to {most}"
WORST_NUMBERED = " The {count} worst carry their numbers."
EXCEEDED = ("{number}  {limit} exceeded by {excess}, {start} to {end}: span {span}, time over "
            "{over}")
NOT_PROVEN = ("{number}  {limit}, {outcome}: {excess} over, {start} to {end}: span {span}, time "
              "over {over}")
SEVERITY = ", severity {level}"
CROSSOVER = "crossover {below}/{above}, {altitude}"
ABOVE_THE_FLIGHT = "above this flight: {crossovers}"
FIRST_SAMPLE = " (this flight's first is at {instant} UTC)"

ENVELOPE: dict[str, str] = {
    "title": "{aircraft}: limit airspeed",
    "each": "each limit by itself",
    "limit": "limit airspeed (CAS)",
    "true": "the same as true airspeed",
    "isa": "true airspeed at ISA {degc:+.0f} degC",
    "temperature": "true airspeed at {degc:.0f} degC",
}
"""What the picture of an envelope says."""
