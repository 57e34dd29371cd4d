"""Titles, headings of tables, captions and fixed sentences of a report and its pictures."""

from __future__ import annotations

from loganalyze.text.presentation import Reader

TITLE: dict[Reader, str] = {
    "crew": "Flight debrief: airspeed and Mach limits",
    "training": "Training debrief: airspeed and Mach limits",
    "safety": "Flight report: airspeed and Mach limits",
    "maintenance": "Maintenance report: airspeed and Mach limits",
}

SECTIONS: dict[str, str] = {
    "verdict": "Verdict",
    "found": "Exceedances and near ones",
    "glance": "The flight at a glance",
    "margins": "Smallest margins",
    "envelope": "Limit airspeed and the flight's track",
    "warning": "Overspeed warning",
    "worst": "Worst excess",
    "quality": "What was recorded, and how good it was",
    "method": "Method, assumptions and settings",
    "cautions": "Cautions",
}

COLUMNS: dict[str, str] = {
    "number": "No.", "limit": "Limit", "when": "When", "worst": "Worst", "long": "Span",
    "sure": "How sure ({basis})", "phase": "Phase", "altitude": "Pressure altitude", "why": "Why",
    "severity": "Severity", "margin": "Smallest margin", "in_mach": "In Mach", "limit_speed":
    "Limit then", "within": "Time within", "judged": "Judged", "unknown": "Unknown",
    "over": "Time over", "step": "Beyond the limit by more than", "time": "Time",
    "basis": "Basis", "excess": "Estimate of the worst", "interval": "Interval",
    "odds": "Probability",
    "word": "Outcome",
    "bound": "At the widest that the rules allow",
    "from": "From", "to": "To", "length": "Length", "channel": "Channel",
    "column": "Column", "every": "Every", "resolution": "Resolution", "missing": "Missing",
    "known_by": "Known by", "quantity": "Published as", "maximum": "Maximum",
    "applies": "Applies when", "file": "File", "role": "What for", "bytes": "Bytes",
    "sha256": "SHA-256", "what": "What", "result": "Result", "values": "Values",
    "sensor": "Sensor", "source": "Source", "u": "Standard uncertainty", "setting": "Setting",
    "value": "Value", "doubt": "Doubt", "stretches": "Stretches", "screened_out": "Screened out",
    "part": "Part", "took": "Margin taken", "rule": "Rule",
}

INDEX_TITLE = "Flights: airspeed and Mach limits"
INDEX_SECTION = "Flights"
INDEX_CAPTION = "Each flight with its verdict; its number leads to its page"
INDEX_COLUMNS: dict[str, str] = {
    "log": "Log", "flight": "Flight", "date": "First sample (UTC)", "outcome": "Verdict",
    "worst": "Worst", "severity": "Severity",
}
INDEX_FLIGHT = "flight {number}"
INDEX_SKIPPED = "not judged again: results of an earlier run"
INDEX_FAILED = "could not be judged: {problem}"
TIMES_IN_UTC = "Times are UTC where the log has a date."

FOUND_CAPTION = "Each exceedance in order of time, then what came near"
PRIORS = "A probability is that the limit was truly exceeded; {priors}."
PANEL_CAPTION = ("Run-in, exceedance and what followed. Shaded: over the limit, more lightly: over "
                 "another; hatched: unknown; the band about the margin: its expanded uncertainty.")
OWN_PANEL_CAPTION = ("The exceedance and what was about it. Shaded: over the limit; hatched: "
                     "unknown.")
WHY_TITLE = "Why margin was lost"
CONTRIBUTIONS_CAPTION = ("To the limit: what took margin away (to the right) and what gave it "
                         "back (to the left) in the run-in.")
WORSENING_CAPTION = ("From the crossing to the worst: what made the excess grow (to the right) and "
                     "what held it back (to the left).")
ASSURANCE_CAPTION = ("How sure it is that {limit} was exceeded (intervals: {coverage}; "
                     "{prior})")
LADDER_CAPTION = "Time spent beyond each step over the limit"
TRACK = {"track": "track (calibrated airspeed)", "over": "over a limit", "limit":
         "limit airspeed", "recorded": "limit airspeed, as in flight"}
TOOK, GAVE, LOST = "took margin away", "gave margin back", "margin lost"
HISTOGRAM_TITLE = "Time at each margin to {limit}"
CELL_NOT_ASSESSED = "not assessed"
CELL_NEAR = "near"
CELL_NO_SEVERITY = "-"
SEVERITY_SHAPES = {"low": "\N{WHITE DIAMOND}",
                   "medium": "\N{WHITE DIAMOND CONTAINING BLACK SMALL DIAMOND}",
                   "high": "\N{BLACK DIAMOND}"}
"""By level: the fuller the diamond, the more severe."""
OVERVIEW_CAPTION = ("Margin over the whole flight; below zero is over a limit. Numbered as in the "
                    "table, at each worst instant.")

INSTANT = {
    "displayed": "Speed as displayed, at the worst", "pointer": "Limit pointer",
    "flown": "Speed as flown", "limit": "Limit airspeed", "mach": "Mach number",
    "own_limit": "Its limit",
    "over": "Time over the limit", "missed": "A peak between samples may have added",
    "power": "Engine power", "sources": "Sources of airspeed", "worst": "Worst excess",
    "interval": "Its interval",
    "sat": "Outside air temperature (SAT)",
    "over_all": "Time over any limit",
}

OUTSIDE_AIR: dict[str, str] = {
    "probe": "Temperature probe, raw reading", "total": "Total air temperature (TAT)",
    "": "Recorded temperature, kind not known",
}
"""What a recorded outside air temperature is that isn't the static one, by the sheet's word."""

CAUSES: dict[str, tuple[str, str]] = {
    "limit_moved_kt": ("limit moved with altitude", "the limit came down"),
    "configuration_kt": ("configuration", "configuration lowered the limit"),
    "height_trade_kt": ("height traded for speed", "height turned into speed"),
    "energy_kt": ("energy gained", "energy gained"),
    "air_temperature_kt": ("air temperature", "air temperature changed"),
    "speed_change_kt": ("speed gained", "speed gained"),
    "remainder_kt": ("remainder", "cause not separated"),
}
"""By field of the contributions: the bar's label, and the cell's few words."""

CAUTION_TITLE = "Read before use"

ROLES = {"log": "flight log", "limits": "limits sheet", "columns": "columns file"}

BASES = {"displayed": "as displayed", "flown": "as flown"}

NO_BOUND = "the same"
NOT_ASSESSED = "Not assessed: this log was judged without an assessment of uncertainty and cause."
NO_FINDING = "No exceedance was found, and nothing came near enough to be listed."
ONLY_IN_DOUBT = ("Only samples in doubt were over a limit; they are listed with the verdict, not "
                 "here.")
NO_UNKNOWN = "No stretch of the recording had to be left unjudged."
NO_FLAG = "No doubt about the recording was found."
NO_PANEL = ("A panel is drawn for the {shown} worst exceedances, proven ones first; the table "
            "lists all {all}.")
NO_WARNING = "No overspeed warning was recorded."
WARNING_SOUND = "The recorded overspeed warning gave no cause for remark."
NO_LADDER = "The time beyond each step was not computed."
NO_HISTOGRAM = "No distribution of the margin: it was not computed."
NO_DATE = "The log has no date: times count from the flight's first sample."
EXAMPLE_SEVERITY = ("The severity levels come from the example rules, which no authority and no "
                    "operator has approved.")
TIMES_ELAPSED = "Times are h:mm:ss.s from the flight's first sample."
TIMES_UTC = "Times are UTC; the flight's first sample is at {start}."
DEIDENTIFIED = ("De-identified: no crew, flight number, registration, date or file name; columns "
                "of the log are not named.")
ONE_SOURCE = "One source of airspeed was recorded; there is no second one to compare it with."
HIDDEN_FILE = "not named"
HIDDEN_COLUMN = "(not named)"
HIDDEN_RULE = "rule {number}"
HIDDEN_PRIOR = "prior {number}"
HIDDEN_CEILING = "ceiling {number}"
HIDDEN_OPERATOR = "the operator"
HIDDEN_SOURCE = "stated in the limits sheet"
AIRCRAFT_HIDDEN = "the aircraft"
FLIGHT_OF_LOG = "flight {number} of the log"
NOT_RECORDED = "not recorded"

GLANCE_CAPTION = ("Margin, speed against the limit airspeed, and pressure altitude over the whole "
                  "flight. Shaded: over a limit; hatched: not judged.")
MARGINS_CAPTION = "The smallest margin to each limit, as calibrated airspeed"
OWN_MARGINS_CAPTION = ("The smallest margin to each limit, as calibrated airspeed, or in its own "
                       "unit where that is neither an airspeed nor Mach")
SPEED_PHASES_CAPTION = ("The smallest margin to whichever limit in airspeed or Mach applied, in "
                        "each phase of flight")
PHASES_CAPTION = "The smallest margin to whichever limit applied, in each phase of flight"
HISTOGRAM_CAPTION = "Time spent at each margin to the limit airspeed."
TRACK_CAPTION = ("The lowest limit at each pressure altitude with no conditional limit applying, "
                 "and the flight's track through it; conditional limits are drawn where they "
                 "governed.")
NO_TRACK = ("The pressure altitude is not known at any time: there is no track to draw, and only "
            "limits that need no altitude were judged.")
TRACK_WORDS = ("Calibrated airspeed against pressure altitude through the flight, with the limit "
               "airspeed at each altitude and the crossover.")
QUALITY_CAPTION = "Doubts about the recording"
CHANNELS_CAPTION = "Channels that were recorded"
EVIDENCE_TITLE = "What other recorded channels say of it"
CHECKS_TITLE = "Two ways to the same quantity, compared"
FILES_CAPTION = "Files that went in"
LIMITS_CAPTION = "Limits of the limits sheet"
TOLERANCES_CAPTION = "What the uncertainty rests on"
WIDEST_CAPTION = "What differs from it at the widest tolerances that the rules allow"
DOUBTS_TITLE = "Doubts"
UNJUDGED_TITLE = "What could not be judged"
TAKEN_TITLE = "How the recording was read"
SETTINGS_TITLE = "Settings"
ALL_LIMITS = "any limit"
ALL_SPEED_LIMITS = "any limit in airspeed or Mach"
NOT_MET = "Never applied, or could not be judged: {limits}."
NO_PHASES = "The phases of flight were not identified."
WHOLE_RECORDING = "the recording as a whole"
AND_MORE = "; and more"
ALWAYS = "always"
KEY = {
    "aircraft": "Aircraft", "start": "First sample", "recorded": "Recorded", "judged": "Judged",
    "unknown": "Not judged", "sampling": "Samples", "highest_cas": "Highest calibrated airspeed",
    "highest_mach": "Highest Mach number", "time_to_limit": "Shortest time to a limit",
}

ASSUMPTIONS: tuple[str, ...] = (
    "Mach number follows from calibrated airspeed and pressure altitude alone (ISO 2533 "
    "atmosphere, isentropic flow); a missing temperature takes away true airspeed, not the "
    "verdict on airspeed and Mach limits.",
    "Each limit is judged in the quantity in which it is published; limit airspeed and margin "
    "are its equivalents as calibrated airspeed.",
    "A sample is an instant: crossings are interpolated between samples, and a peak between two "
    "samples can be missed. A gap is unknown, and unknown is not under.",
)

LEGEND_WORDS = {
    "run_in": "run-in", "over": "over {limit}", "unknown": "unknown",
    "limit_airspeed": "limit airspeed", "calibrated": "calibrated airspeed",
    "indicated": "indicated airspeed", "pointer": "limit pointer", "band": "95 % interval",
}

AFTER = {
    "recovered": "back under {limit}", "limit lifted": "after it", "end of log": "after it",
    "gap": "gap in the recording", "channel lost": "not judged",
}
"""What follows an exceedance in its picture, by how it ended: no gap is a recovery."""

BEGAN = {"limit applied": "It began when the limit came into force.",
         "gap": "The recording has a gap before it: it may have begun earlier.",
         "start of log": "The recording starts here, already over.",
         "crossed": "It began when the limit was passed."}
ENDED = {"limit lifted": "It ended when the limit ceased to apply.",
         "gap": "The recording has a gap here: it may have lasted longer.",
         "channel lost": "A channel that the limit needs is lost here: it may have lasted longer.",
         "end of log": "The recording stops here, still over.",
         "recovered": "It ended when the speed came back under the limit."}
"""How an exceedance began and ended, as sentences."""

REASONS = {
    "not displayed": "the crew has no display of it",
    "no uncertainty": "nothing is known of the uncertainty",
    "peak at gap": "the worst instant lies beside a gap or at an end of the recording",
    "outside prior": "it lies outside what the prior covers",
    "contradicted by other channels": "other recorded channels contradict it",
    "edge that no aircraft flies": "it was entered or left by a step that no aircraft flies",
    "no entry recorded": "it is short, and its start or its end wasn't recorded",
    "other channels show less": "other recorded channels show less of it",
}
"""Why an assurance isn't determinable, or only from below, by code."""

TOLERANCES: dict[str, tuple[str, str]] = {
    "airspeed_resolution": ("Steps of the recorded airspeed", "_kt"),
    "altitude_resolution": ("Steps of the recorded altitude", "_ft"),
    "airspeed_noise": ("Noise of the recorded airspeed", "_kt"),
    "displayed_airspeed": ("Airspeed indicator against recorder", "_kt"),
    "displayed_altitude": ("Altimeter against recorder", "_ft"),
    "airspeed": ("Recorded airspeed", "_kt"),
    "pressure_altitude": ("Recorded pressure altitude", "_ft"),
    "static_source": ("Static source of this aircraft", "_kt"),
    "position_correction": ("Position error or its correction", "_kt"),
    "instrument_correction": ("Instrument correction", "_kt"),
    "altimeter_correction": ("Altimeter correction", "_ft"),
    "temperature_resolution": ("Steps of the recorded temperature", "_degc"),
    "temperature": ("Recorded temperature", "_degc"),
    "mach": ("Recorded Mach number", "_mach"),
    "scatter": ("Scatter of the samples about the worst", "_kt"),
    "skew": ("Time between channels", "_s"),
    "display_lag": ("Lag of the display", "_s"),
    "display_quantum": ("Steps of the display", "_kt"),
    "display_quantum_mach": ("Steps of the display, Mach", "_mach"),
}
"""What the uncertainty rests on, by code: words, and the suffix of its unit."""
