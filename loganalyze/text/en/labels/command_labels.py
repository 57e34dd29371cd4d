"""What the commands print around their results, and what they ask.

The help of an option stands with the option: it has to stand alone there.
"""

from __future__ import annotations

RESULTS_IN = "Results in {folder}"
SKIPPED = "{log}: skipped, {folder} holds its results"
READING = "reading"
PROGRESS = "{rows:,} rows read, flights judged: {judged}"
PLOT_IN = "Plot in {plot}"

SHEET_WRITTEN = "{sheet} is written; check its numbers against the flight manual."
NEXT = "Next: loganalyze analyze LOG --limits {sheet}"
WITHOUT_CONDITIONS = "Without conditions"
REMARK = "Worth a look: {sentence}"

FIRST_SHEET = ("A first limits sheet. The numbers are those of the approved flight manual; leave "
               "empty what it doesn't limit.")
QUESTIONS: dict[str, str] = {
    "aircraft": "The aircraft",
    "vmo": "VMO [kt], or rows ft:kt,ft:kt",
    "mmo": "MMO [Mach]",
    "vfe": "VFE of each flap position, deg:kt,deg:kt",
    "vle": "VLE, landing gear down [kt]",
    "published": "These airspeeds are",
    "recorded": "The log's airspeed is",
    "outside_air": "The log's outside air temperature is (static, total, probe)",
    "recovery_factor": "The probe's recovery factor",
}
"""What is asked for a first limits sheet, by its key."""
