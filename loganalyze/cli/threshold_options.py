"""The judgement's thresholds as options of a command."""

from __future__ import annotations

from dataclasses import fields

import click

from loganalyze.cli.shared_options import Command, Number
from loganalyze.screening.evaluation_settings import Settings

THRESHOLDS: dict[str, str] = {
    "tolerance_kt": "Over an airspeed limit means by more than this [kt].",
    "tolerance_mach": "Over a Mach limit means by more than this.",
    "join_gap_s": "Stretches over one limit are one exceedance when less than this apart [s], if",
    "join_margin_kt": "the margin between them stayed below this [kt] (airspeed limits), or",
    "join_margin_mach": "below this (Mach limits).",
    "ride_gap_s": "Stretches over one limit are one exceedance, too, when less than this apart "
                  "[s], if",
    "ride_noise": "the margin stayed below so many standard deviations of its own noise.",
    "hole_longest_s": "A hole in the samples no longer than this [s] counts as over, if the "
                      "limit can't have been regained in it",
    "hole_least_rate_kt_s": "at three times the rate seen about it, at least this [kt/s], and",
    "hole_greatest_rate_kt_s": "at most this [kt/s].",
    "minimum_duration_s": "Mark exceedances with less time over than this [s] as brief.",
    "judged_least_pct": "A limit counts as not judged where less than this share [%] of the "
                        "airborne time could be.",
    "at_rest_s": "A limit of flaps or gear is asked about, not judged, where it was exceeded for "
                 "this long [s] at the value at which its channel rests, by",
    "at_rest_pct": "this share of the limit [%], or throughout the flight.",
    "plausible_rate_kt_s": "Greatest plausible rate of the airspeed [kt/s].",
    "plausible_rate_ft_s": "Greatest plausible rate of the pressure altitude [ft/s].",
    "gust_load_g": "A change of load factor that bears out a faster airspeed [g], or",
    "gust_pitch_deg": "of pitch attitude [deg].",
    "frozen_s": "Standstill of a channel that may be frozen [s], where others say it moved by",
    "frozen_moved_kt": "more than this [kt] (airspeed), and by more than",
    "frozen_drift_kt": "this [kt] and the quantization steps of both; or",
    "frozen_moved_ft": "more than this [ft] (altitude), and by more than",
    "frozen_drift_ft": "this [ft] and the quantization steps of both; or where noise stops in",
    "steadiest_kt": "quantization steps of at most this [kt] (airspeed), or",
    "steadiest_ft": "this [ft] (altitude), while others move, with a chance below",
    "frozen_chance": "this.",
    "spike_least_kt": "A sample out and at once back is a spike beyond this [kt] (airspeed), or",
    "spike_least_ft": "this [ft] (altitude), and",
    "spike_noise": "this many times what the samples about it depart from their neighbours.",
    "excursion_s": "Several samples out and back within this [s] are no flight, with steps",
    "excursion_times": "so many times faster than plausible.",
    "ground_roll_s": "So long [s] about a stretch on the ground an altitude may stand still.",
    "stale_s": "A value held for this long [s] was stale if it then steps by more than",
    "stale_kt": "this [kt] (airspeed), or",
    "stale_ft": "this [ft] (altitude); set aside where that happens",
    "stale_least": "this often in a flight, and in",
    "stale_least_pct": "this share of it [%].",
    "sources_apart_kt": "Two sources disagree by more than this [kt] (airspeed), or",
    "sources_apart_pct": "this share of the airspeed [%] if that is more,",
    "sources_apart_ft": "this [ft] (altitude),",
    "sources_apart_degc": "this [degC] (temperature), for longer than",
    "sources_apart_s": "this [s].",
    "lost_frame_s": "Length of a frame [s], set aside where the synchronisation was lost:",
    "lost_channels": "this many channels impossible at once, twice in a frame.",
    "floor_kt": "An airspeed that rests at its lowest value below this [kt] for",
    "floor_s": "this long [s] is clamped: at most that.",
    "ground_kt": "On the ground is slower than this [kt], and",
    "ground_fpm": "climbing or sinking less than this [ft/min]; weight on wheels wins.",
}
"""The words for each field of Settings; every field is an option."""


def threshold_options(command: Command) -> Command:
    """Add an option for every threshold."""
    for field in reversed(fields(Settings)):
        command = click.option(
            f"--{field.name.replace('_', '-')}", field.name, type=Number(min=0),
            default=field.default, show_default=True, metavar="NUMBER",
            help=THRESHOLDS[field.name],
        )(command)
    return command
