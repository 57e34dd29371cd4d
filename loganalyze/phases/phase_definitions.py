"""Phases of flight by name, and every threshold of their definitions with the reason for it.

The phases are those of the CICTT common taxonomy (Commercial Aviation Safety Team and ICAO
Common Taxonomy Team, Phase of Flight definitions, version 1.3). The taxonomy defines them by
what the crew does; a recorder of altitude and airspeed needs numbers. These are ours. Where no
source is named they are engineering judgement.
"""

from __future__ import annotations

from dataclasses import dataclass

PHASES: tuple[str, ...] = (
    "unknown",
    "standing",
    "taxi",
    "standing or taxi",
    "take-off",
    "initial climb",
    "climb",
    "cruise",
    "change of cruise level",
    "descent",
    "holding",
    "manoeuvring",
    "emergency descent",
    "approach",
    "landing",
)
"""Phases of flight; a phase code is an index into them."""

(UNKNOWN, STANDING, TAXI, ON_GROUND, TAKE_OFF, INITIAL_CLIMB, CLIMB, CRUISE, LEVEL_CHANGE, DESCENT,
 HOLDING, MANOEUVRING, EMERGENCY_DESCENT, APPROACH, LANDING) = range(len(PHASES))


@dataclass(frozen=True, slots=True)
class PhaseSettings:
    """Thresholds of the phases' definitions."""

    step_s: float = 1.0
    """[s] Phases are decided on a grid of this step, or of the log's interval where that is
    longer: no phase needs a higher rate, and 16 Hz cost no more than 1."""
    bridge_s: float = 120.0
    """[s] A gap up to this long is bridged by straight lines for the decision (its own samples
    stay unknown); beyond it each side is decided by itself."""
    told_gap_s: float = 10.0
    """[s] A gap longer than this is a stretch of unknown phase."""

    slow_kt: float = 40.0
    """[kt] Slower is on the ground: no aeroplane with an airspeed limit worth judging flies so
    slowly, and most airspeed indicators come alive here."""
    floor_kt: float = 60.0
    """[kt] Many air data computers show no less than some 30 to 60 kt: a lowest airspeed below
    this that repeats for `floor_s` is such a floor, and counts as slow."""
    floor_s: float = 20.0
    """[s] How long it must repeat exactly."""
    ground_s: float = 8.0
    """[s] Shorter slow stretches are gusts or dropouts."""
    ground_range_ft: float = 100.0
    """[ft] The ground is as level as this within a minute, slopes and noise included."""
    standing_kt: float = 2.0
    """[kt] Ground speed below which the aircraft stands, if for `ground_s`."""
    airborne_ft: float = 100.0
    """[ft] A run above `slow_kt` that gets no higher than this above the ground wasn't a flight."""
    rejected_kt: float = 60.0
    """[kt] Such a run that got this fast was a rejected take-off, else fast taxiing or wind."""

    smooth_s: float = 5.0
    """[s] Running mean for heights: a 20-ft noise becomes 9 ft, a flare isn't blurred."""
    slope_s: float = 15.0
    """[s] Window of the straight line whose slope is the vertical speed: a 20-ft noise becomes
    70 ft/min."""
    agree_fpm: float = 300.0
    """[ft/min] A recorded vertical speed is used where in climbs and descents faster than this
    it differs from the altitude's slope by less, on median: else its sign or unit is doubtful."""

    screen_ft: float = 35.0
    """[ft] Take-off ends this high above the ground (CICTT)."""
    initial_climb_ft: float = 1000.0
    """[ft] Initial climb ends this high above the ground at the latest (CICTT; the first
    reduction of power isn't known)."""
    approach_ft: float = 3000.0
    """[ft] Approach begins below this height above the ground of the landing: CICTT has it
    begin at the initial approach fix, which no such recorder knows."""
    approach_s: float = 1500.0
    """[s] ... but no earlier than this before the landing: longer at low level is a low flight."""
    go_around_ft: float = 6000.0
    """[ft] Between two approaches below this height it is still approach (CICTT: a missed
    approach lasts until the next initial approach fix)."""
    flare_ft: float = 50.0
    """[ft] Landing begins this high above the ground (common practice, no source)."""
    vacated_kt: float = 20.0
    """[kt] Landing ends when the roll has slowed to this: a usual speed for leaving a runway."""

    level_fpm: float = 200.0
    """[ft/min] Less is level: a slow climb near the ceiling is more, a mountain wave less."""
    flicker_ft: float = 50.0
    """[ft] Climbs and descents smaller than this are noise ..."""
    flicker_s: float = 30.0
    """[s] ... and a pause shorter than this between two climbs, or two descents, is none."""
    change_ft: float = 400.0
    """[ft] Smaller changes of height are wandering about a level: neighbouring levels are at
    least 500 ft apart."""
    top_ft: float = 300.0
    """[ft] A level this near the flight's highest is its top ..."""
    top_s: float = 60.0
    """[s] ... and cruise when it lasts this long."""
    cruise_share: float = 2 / 3
    """A level in the upper third of the flight's height range is cruise ..."""
    cruise_s: float = 300.0
    """[s] ... when it lasts this long; shorter is a level-off."""
    low_cruise_s: float = 600.0
    """[s] A level anywhere is cruise when it lasts this long: 10 min are 30 to 80 NM."""

    holding_s: float = 230.0
    """[s] One whole holding pattern lasts 4 min (1-min legs, standard-rate turns; ICAO Doc
    8168), less the entry into the level."""
    holding_slower: float = 0.88
    """Without roll or heading a level is holding only where the aircraft has slowed to less than
    this share of the airspeed of the 5 min before ..."""
    holding_before_s: float = 300.0
    """[s] ... that is, these 5 min."""
    holding_steady_kt: float = 8.0
    """[kt] Standard deviation of the airspeed in a holding pattern, at most."""
    holding_kt: tuple[tuple[float, float], ...] = (
        (14000.0, 230.0), (20000.0, 240.0), (34000.0, 265.0), (float("inf"), 280.0))
    """[ft], [kt] Greatest holding speeds up to each altitude (ICAO Doc 8168, normal conditions,
    from memory; above 34,000 ft it is Mach .83, taken as 280 kt)."""
    holding_turn: float = 0.6
    """With heading recorded: at least this share of a full turn in each 4 min."""
    holding_bank_deg: float = 10.0
    """[deg] With roll recorded: banked by more than this ..."""
    holding_banked: float = 0.25
    """... for at least this share of the time (two of four minutes are turns)."""
    holding_most_bank_deg: float = 35.0
    """[deg] Turns banked by more than this are no holding's: those are flown at 25 deg or 3
    deg/s, whichever needs the lesser bank (ICAO Doc 8168, from memory)."""
    holding_step_ft: float = 2200.0
    """[ft] A descent of at most this between two holds belongs to them: a stack is left level
    by level."""
    holding_step_s: float = 240.0
    """[s] ... when it takes no longer than this."""

    swing_s: float = 90.0
    """[s] Manoeuvring: a climb and a descent (of `change_ft` or more), neither longer than
    this, ..."""
    swing_pause_s: float = 30.0
    """[s] ... turn about with no longer pause between them than this ..."""
    swing_rest_s: float = 240.0
    """[s] ... again and again, with no longer rest than this: parabolas are flown so ..."""
    reversals: int = 3
    """... at least this many times."""
    steep_deg: float = 50.0
    """[deg] With roll recorded: banked by more than this, at least twice within `steep_s`."""
    steep_s: float = 120.0
    steep_turn_deg: float = 36.0
    """[deg] A steep turn: banked by more than this (exercises are flown at 45 or 60; bank from
    the heading and calibrated airspeed reads some degrees low) ..."""
    steep_turn_through_deg: float = 150.0
    """[deg] ... while the heading changes by this much or more ..."""
    steep_turn_s: float = 8.0
    """[s] ... and for at least this long."""

    stall_entry_s: float = 180.0
    """[s] A stall: within this the airspeed falls ..."""
    stall_share: float = 0.72
    """... to less than this share of what it was, which no level-off or approach does, ..."""
    stall_wander_ft: float = 400.0
    """[ft] ... with the altitude kept to within this, ..."""
    stall_recovery_s: float = 50.0
    """[s] ... and then, within this, ..."""
    stall_lost_ft: float = 120.0
    """[ft] ... height is lost, at least this much (more than noise and gusts) ..."""
    stall_most_ft: float = 1500.0
    """[ft] ... and at most this (more is a descent), ..."""
    stall_regained: float = 0.35
    """... while this share of the lost airspeed comes back: the aircraft flies again."""
    stall_climb_s: float = 120.0
    """[s] The climb back belongs to it, for at most this long."""
    stall_least_ft: float = 1000.0
    """[ft] All this at no less than this height above the ground: exercises are flown higher,
    and a flare or a go-around looks alike."""

    circuit_ft: float = 2000.0
    """[ft] A traffic circuit leaves the ground and comes back to it without rising higher above
    it than this (patterns are flown at 800 to 1,500 ft; common practice, no source) ..."""
    circuit_s: float = 900.0
    """[s] ... or taking longer than this; longer is a low flight."""
    circuit_low_ft: float = 500.0
    """[ft] Go-arounds below this separate one circuit from the next."""
    circuit_entry_ft: float = 75.0
    """[ft] The climb-out ends this far below the height of the pattern."""

    emergency_fpm: float = 4000.0
    """[ft/min] An emergency descent comes down at this rate or more over `emergency_s`: ordinary
    descents seldom reach 3,500."""
    emergency_s: float = 60.0
    emergency_edge_fpm: float = 1500.0
    """[ft/min] It begins and ends where the rate passes this."""

    def __post_init__(self) -> None:
        if not (self.step_s > 0 and 0 < self.cruise_share < 1):
            raise ValueError("the step must be positive, and the share between 0 and 1")
