"""All thresholds of the evaluation, each with its default and the reason for it.

Where a reason names no source, the figure is engineering judgement: wide enough not to reject
real flight of the aircraft in scope, tight enough to detect faults of the recording.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields

from loganalyze.record.channels import CHANNELS


@dataclass(frozen=True, slots=True)
class Settings:
    """Thresholds of the evaluation. All are in ``summary.json``.

    Those in `OPTIONS` are options of the command line; the others can be set in a table
    ``[screening]`` of the limits sheet.
    """

    tolerance_kt: float = 1e-5
    """A speed is over its limit when above it by more than this [kt]: more than the rounding error
    of unit conversions, and far less than any recorder's resolution."""
    tolerance_mach: float = 1e-9
    """The same for Mach limits."""
    join_gap_s: float = 5.0
    """Stretches over one limit are one exceedance when less than this apart [s] ..."""
    join_margin_kt: float = 2.0
    """... and the margin between them stayed below this [kt], for airspeed limits, or ..."""
    join_margin_mach: float = 0.004
    """... below this, for Mach limits: a limit ridden in gusts is one event, not twenty."""
    ride_gap_s: float = 120.0
    """Stretches over one limit are one exceedance, too, when less than this apart [s] ..."""
    ride_noise: float = 7.0
    """... and the margin between them stayed below this many standard deviations of its own
    noise: a speed held two of them below the limit strays this far once in a million samples."""
    hole_longest_s: float = 10.0
    """A hole in an exceedance no longer than this [s] counts as over where ..."""
    hole_least_rate_kt_s: float = 2.0
    """... the limit can't have been regained in it at three times the rate seen about it, which
    is taken as this [kt/s] at least ..."""
    hole_greatest_rate_kt_s: float = 12.0
    """... and this [kt/s] at most: 0.6 g along the path, idle, braked and pulling up."""
    minimum_duration_s: float = 0.0
    """Exceedances with less time over the limit than this [s] are marked brief, not dropped."""

    judged_least_pct: float = 50.0
    """A limit that could be judged for less than this share of the airborne time [%], gaps that
    can hide no exceedance included, counts as not judged: the smaller part is not representative of
    the flight."""

    at_rest_s: float = 300.0
    """A limit of flaps, slats or gear is asked about rather than judged where it was exceeded for
    so long [s] in total, at the reading that its channel has for most of the airborne time:
    extended for so long at such a speed they would have been noticed (common practice, no source),
    but a channel rarely reads exactly 0 at rest. It must have been exceeded by ..."""
    at_rest_pct: float = 10.0
    """... this share of the limit [%], or have been in force for nine tenths of the airborne
    time."""

    plausible_rate_kt_s: float = CHANNELS["calibrated_airspeed"].greatest_rate
    """The greatest plausible rate of the airspeed [kt/s], about 2 g along the path: an isolated
    sample that departs by more is screened out, and the speed inside a gap is bounded with it."""
    plausible_rate_ft_s: float = CHANNELS["pressure_altitude"].greatest_rate
    """The same for the pressure altitude [ft/s]: a vertical dive at the speed of sound is
    1,100 ft/s, the steepest emergency descent a fifth of this."""
    gust_load_g: float = 0.3
    """A screened airspeed sample is restored where the load factor departs from its neighbours'
    mean by more than this [g] within a second, as it does in a gust that changes the airspeed."""
    gust_pitch_deg: float = 3.0
    """The same for the pitch attitude [deg]."""
    frozen_s: float = 20.0
    """A channel that doesn't move for this long [s] may be frozen, if others show that it must
    have moved: over a shorter time little can have happened unnoticed."""
    frozen_moved_kt: float = 8.0
    """An airspeed must have moved where a reference channel did by more than this [kt], and ..."""
    frozen_drift_kt: float = 5.0
    """... by more than this [kt], what two sources drift apart by (14 CFR 25.1323(c) allows one
    3 % or 5 kt), together with the quantization steps of both."""
    frozen_moved_ft: float = 300.0
    """The same for the pressure altitude [ft]: beyond what a source's error moves it by, and ..."""
    frozen_drift_ft: float = 200.0
    """... beyond this [ft], which RVSM altimetry allows a source (mean and three standard
    deviations), together with the quantization steps of both."""
    steadiest_kt: float = 0.125
    """No aircraft holds its airspeed within half of this [kt] for as long as ``frozen_s`` while it
    climbs: where noise of a quantization step ceases for so long, the airspeed was frozen.
    Coarser steps are not evidence ..."""
    steadiest_ft: float = 2.0
    """... nor those of an altitude that are coarser than this [ft] while the airspeed changes."""
    frozen_p_value: float = 1e-12
    """... where so long a standstill is less probable than this in the noise around it."""
    spike_least_kt: float = 15.0
    """An isolated sample that departs by less than this [kt] may be a sharp gust in noise, however
    short the sampling interval ..."""
    spike_least_ft: float = 250.0
    """... and by less than this [ft] two quantization steps of an altitude (100 ft in encoders:
    ICAO Annex 10, Volume IV, mode C) and noise. ..."""
    spike_noise: float = 8.0
    """... It must also depart from its neighbours by so many times the median departure of those
    about it: in noise of one standard deviation six and a half of them."""
    excursion_s: float = 5.0
    """An excursion of several samples that ends within this [s] is not flight ..."""
    excursion_rate_factor: float = 3.0
    """... where both steps are this many times faster than plausible: no gust is. For a single
    sample the plausible rate itself is the threshold, because no other sample confirms it."""
    ground_roll_s: float = 45.0
    """No take-off or landing roll lasts longer than this [s] above ``ground_kt``: so long before
    and after a slow stretch the altitude may be constant while the airspeed changes."""
    stale_s: float = 5.0
    """A value held for this long [s] and then changing in a single step was stale ..."""
    stale_kt: float = 4.0
    """... where the step is more than this [kt] ..."""
    stale_ft: float = 200.0
    """... or this [ft]: several steps of any recorder, and more than one sample's own change ..."""
    stale_min_count: float = 20.0
    """... and is screened out where this happened at least so many times in a flight ..."""
    stale_least_pct: float = 5.0
    """... and in at least this share of it [%]: then holding is a property of the recording (such
    as surveillance replies), not a step that was flown."""
    sources_apart_kt: float = 10.0
    """Two airspeed sources disagree by more than this [kt]: twice the 5 kt that each may be
    off (14 CFR 25.1323(c)), ..."""
    sources_apart_pct: float = 6.0
    """... or this share of the airspeed [%], if that is more: twice 3 %."""
    sources_apart_ft: float = 400.0
    """Two altitude sources disagree by more than this [ft]: twice the 200 ft (mean and three
    standard deviations) that RVSM altimetry allows one."""
    sources_apart_degc: float = 6.0
    """Two temperature sources disagree by more than this [degC]: three times the 2 degC of
    14 CFR 135 App. F, for probes differ in recovery."""
    sources_apart_s: float = 5.0
    """Shorter disagreements [s] are the skew between two sources in a manoeuvre."""
    lost_frame_s: float = 4.0
    """A recorder's frame [s]: four subframes of one second (common practice, no source). Two
    corrupt instants within one put all samples of that frame in doubt."""
    lost_channels: float = 2.0
    """An instant is corrupt where at least so many channels are impossible at once."""
    floor_kt: float = 60.0
    """An airspeed that stays at its lowest value below this [kt] is clamped: air data systems
    output no lower value than some 20 to 50 kt (common practice, no source)."""
    floor_s: float = 10.0
    """... where it stays there for at least this long [s]."""
    ground_kt: float = 50.0
    """Slower than this [kt], and level, is on the ground, where weight on wheels isn't recorded:
    no aeroplane in scope flies as slowly."""
    ground_fpm: float = 300.0
    """Level means slower than this [ft/min]."""

    def __post_init__(self) -> None:
        for field in fields(self):
            if not getattr(self, field.name) >= 0.0:
                raise ValueError(f"{field.name} must not be negative")


OPTIONS = ("tolerance_kt", "tolerance_mach", "join_gap_s", "join_margin_kt", "join_margin_mach",
           "minimum_duration_s", "judged_least_pct")
"""The thresholds that a user has a reason to change from flight to flight."""

DESCRIPTIONS: dict[str, str] = {
    "tolerance_kt": "Excess [kt] up to which a speed doesn't count as over an airspeed limit.",
    "tolerance_mach": "Excess up to which a Mach number doesn't count as over a Mach limit.",
    "join_gap_s": "Longest time [s] between two stretches over one limit that are joined into one "
                  "exceedance.",
    "join_margin_kt": "Largest margin [kt] to an airspeed limit between two stretches that are "
                      "joined.",
    "join_margin_mach": "Largest margin to a Mach limit between two stretches that are joined.",
    "ride_gap_s": "Longest time [s] between two stretches that are joined because the margin "
                  "stayed within its own noise.",
    "ride_noise": "Largest margin between such stretches, in standard deviations of its noise.",
    "hole_longest_s": "Longest hole in the samples [s] that counts as over where the limit can't "
                      "have been regained in it.",
    "hole_least_rate_kt_s": "Least rate [kt/s] at which a limit is assumed to be regained in a "
                            "hole.",
    "hole_greatest_rate_kt_s": "Greatest rate [kt/s] at which a limit is assumed to be regained "
                               "in a hole.",
    "minimum_duration_s": "Time over a limit [s] below which an exceedance is marked brief.",
    "judged_least_pct": "Share of the airborne time [%] below which a limit counts as not judged.",
    "at_rest_s": "Time over a limit of flaps or gear [s], at the value at which its channel rests, "
                 "from which the limit is asked about and not judged.",
    "at_rest_pct": "Share of such a limit [%] by which it must have been exceeded then.",
    "plausible_rate_kt_s": "Greatest plausible rate of the airspeed [kt/s].",
    "plausible_rate_ft_s": "Greatest plausible rate of the pressure altitude [ft/s].",
    "gust_load_g": "Change of load factor [g] that confirms a faster change of airspeed.",
    "gust_pitch_deg": "Change of pitch attitude [deg] that confirms a faster change of airspeed.",
    "frozen_s": "Shortest standstill [s] after which a channel may be frozen.",
    "frozen_moved_kt": "Movement of a reference channel [kt] from which an airspeed that stands "
                       "still is frozen.",
    "frozen_drift_kt": "Drift between two airspeeds [kt] that shows no frozen one.",
    "frozen_moved_ft": "Movement of a reference channel [ft] from which an altitude that stands "
                       "still is frozen.",
    "frozen_drift_ft": "Drift between two altitudes [ft] that shows no frozen one.",
    "steadiest_kt": "Coarsest quantization step of an airspeed [kt] in which noise that stops "
                    "shows a frozen channel.",
    "steadiest_ft": "Coarsest quantization step of an altitude [ft] in which noise that stops "
                    "shows a frozen channel.",
    "frozen_p_value": "Probability in the noise beside it below which a standstill is frozen.",
    "spike_least_kt": "Least size [kt] of a spike of the airspeed.",
    "spike_least_ft": "Least size [ft] of a spike of the pressure altitude.",
    "spike_noise": "Least size of a spike in median departures of the samples about it.",
    "excursion_s": "Longest excursion of several samples [s] that is no flight.",
    "excursion_rate_factor": "How many times the plausible rate the steps of an excursion exceed.",
    "ground_roll_s": "Time [s] beside a stretch on the ground in which the altitude may stand "
                     "still.",
    "stale_s": "Shortest time [s] that a stale value was held.",
    "stale_kt": "Least step [kt] with which a stale airspeed ends.",
    "stale_ft": "Least step [ft] with which a stale altitude ends.",
    "stale_min_count": "Least number of such steps in a flight that show stale values.",
    "stale_least_pct": "Least share of the flight [%] that such values take.",
    "sources_apart_kt": "Difference of two airspeed sources [kt] from which they disagree.",
    "sources_apart_pct": "The same as a share of the airspeed [%], if that is more.",
    "sources_apart_ft": "Difference of two altitude sources [ft] from which they disagree.",
    "sources_apart_degc": "Difference of two temperature sources [degC] from which they disagree.",
    "sources_apart_s": "Time [s] for which sources must differ to disagree.",
    "lost_frame_s": "Length of a recorder's frame [s], screened out where synchronisation was "
                    "lost.",
    "lost_channels": "Number of channels impossible at one instant that show a corrupt frame.",
    "floor_kt": "Airspeed [kt] below which a steady lowest value is a clamped one.",
    "floor_s": "Time [s] for which a clamped airspeed must stand.",
    "ground_kt": "Airspeed [kt] below which the aircraft is on the ground, without weight on "
                 "wheels.",
    "ground_fpm": "Vertical speed [ft/min] below which it is, too.",
}
"""What each threshold means, in a sentence."""

DEFAULTS: Mapping[str, float] = {
    field.name: field.default for field in fields(Settings) if field.default is not MISSING}
