"""Every threshold of the judgement, in one place, with its default and the reason for it.

Where a reason names no source, the figure is engineering judgement: wide enough that no flight
of the kind this program is for is cut, tight enough to tell a fault of the recording from one.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

from loganalyze.record.channels import CHANNELS


@dataclass(frozen=True, slots=True)
class Settings:
    """Thresholds of the judgement. All are printed with the results."""

    tolerance_kt: float = 1e-5
    """A speed is over its limit by more than this [kt]: below it lies the noise of converting
    units, far below it any recorder's resolution."""
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
    can hide no exceedance included, counts as not judged: what is known of the lesser part says
    little of the whole."""

    at_rest_s: float = 300.0
    """A limit of flaps, slats or gear is asked about rather than judged where it was exceeded for
    so long [s] in total, at the reading that its channel has for most of the airborne time:
    extended for so long at such a speed they would have been noticed (common practice, no source),
    but a channel seldom reads exactly 0 at rest. It must have been exceeded by ..."""
    at_rest_pct: float = 10.0
    """... this share of the limit [%], or have been in force for nine tenths of the airborne
    time."""

    plausible_rate_kt_s: float = CHANNELS["calibrated_airspeed"].greatest_rate
    """The greatest plausible rate of the airspeed [kt/s], about 2 g along the path: a sample out
    and at once back by more is doubted, and a gap is bounded with it."""
    plausible_rate_ft_s: float = CHANNELS["pressure_altitude"].greatest_rate
    """The same for the pressure altitude [ft/s]: a vertical dive at the speed of sound is
    1,100 ft/s, the steepest emergency descent a fifth of this."""
    gust_load_g: float = 0.3
    """A doubted airspeed counts after all where the load factor left its neighbours' mean by more
    than this [g] within a second: a gust that moves the airspeed so shakes the aircraft."""
    gust_pitch_deg: float = 3.0
    """The same for the pitch attitude [deg]."""
    frozen_s: float = 20.0
    """A channel that doesn't move for this long [s] may be frozen, if others show that it must
    have moved: shorter, and little can have happened unseen."""
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
    climbs: where noise of a quantization step stops dead for so long, the airspeed was frozen.
    Coarser steps show nothing ..."""
    steadiest_ft: float = 2.0
    """... nor those of an altitude that are coarser than this [ft] while the airspeed changes."""
    frozen_chance: float = 1e-12
    """... where so long a standstill has less chance than this in the noise beside it."""
    spike_least_kt: float = 15.0
    """A sample out and at once back by less than this [kt] may be a sharp gust in noise, however
    short the time from sample to sample ..."""
    spike_least_ft: float = 250.0
    """... and by less than this [ft] two quantization steps of an altitude (100 ft in encoders:
    ICAO Annex 10, Volume IV, mode C) and noise. ..."""
    spike_noise: float = 8.0
    """... It must also depart from its neighbours by so many times the median departure of those
    about it: in noise of one standard deviation six and a half of them."""
    excursion_s: float = 5.0
    """Several samples that are out and back again within this [s] were no flight ..."""
    excursion_times: float = 3.0
    """... where both steps are this many times faster than plausible: no gust is. A single sample
    needs no more than the plausible rate, for it has no other to bear it out."""
    ground_roll_s: float = 45.0
    """No take-off or landing roll lasts longer than this [s] above ``ground_kt``: so long before
    and after a slow stretch the altitude may stand still though the airspeed moves."""
    stale_s: float = 5.0
    """A value held for this long [s], and then off at one step, was stale ..."""
    stale_kt: float = 4.0
    """... where the step is more than this [kt] ..."""
    stale_ft: float = 200.0
    """... or this [ft]: several steps of any recorder, and more than one sample's own change ..."""
    stale_least: float = 20.0
    """... and set aside where it happened at least so many times in a flight ..."""
    stale_least_pct: float = 5.0
    """... and in at least this share of it [%]: then holding is a habit of the recording (as of
    surveillance replies), not a step that was flown."""
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
    """An airspeed that rests at its lowest value below this [kt] is clamped: air data systems
    give nothing below some 20 to 50 kt (common practice, no source)."""
    floor_s: float = 10.0
    """... where it rests there for at least this long [s]."""
    ground_kt: float = 50.0
    """Slower than this [kt], and level, is on the ground, where weight on wheels isn't recorded:
    no aeroplane of the kind flies as slowly."""
    ground_fpm: float = 300.0
    """Level means slower than this [ft/min]."""

    def __post_init__(self) -> None:
        for field in fields(self):
            if not getattr(self, field.name) >= 0.0:
                raise ValueError(f"{field.name} must not be negative")
