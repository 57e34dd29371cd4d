"""The schedule file: what was briefed for a lesson, how close to it counts, and the school's rules.

Airspeeds in it are calibrated (CAS) unless it says that they are indicated (IAS), altitudes
pressure altitudes.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    field_validator,
    model_validator,
)

from loganalyze.air.airspeed import crossover_pressure_altitude
from loganalyze.quantities.quantity_registry import quantity_of
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.lesson.speed_tolerances import TOLERANCES, Tolerance, Tolerances
from loganalyze.sheets.limit_conditions import NAME, Condition, Range, condition_of
from loganalyze.sheets.limits_sheet import ONE_LINE, Ceiling
from loganalyze.sheets.sheet_tables import ALTITUDES_FT
from loganalyze.sheets.toml_models import Sheet, read_toml, refuse, written

FlightPhase = Literal["initial climb", "climb", "cruise", "change of cruise level", "descent",
                      "holding", "manoeuvring", "approach"]
SegmentKind = Literal["climb", "cruise", "descent", "configuration", "steep_turn"]


def _check_speed(name: str, value: float | None, key: str) -> None:
    """Refuse a briefed speed that no aircraft flies."""
    kind = quantity_of(name)
    if value is not None and not kind.lowest <= value <= kind.highest:
        refuse(f"{key} = {written(value)} is outside {kind.lowest:g} to {kind.highest:g}",
               f"write such as {key} = {kind.example:g}", key)


def _check_altitude(value: float | None, key: str) -> None:
    low, high = ALTITUDES_FT
    if value is not None and not low <= value <= high:
        refuse(f"{key} = {written(value)} is outside {low:.0f} to {high:.0f} ft",
               "write a pressure altitude in ft", key)


class Profile(Sheet):
    """A climb or a descent: at an airspeed below the crossover, and at a Mach number above it."""

    model_config = ConfigDict(json_schema_extra={
        "anyOf": [{"required": ["airspeed_kt"]}, {"required": ["mach"]}],
        "dependentRequired": {"lower_airspeed_kt": ["lower_below_ft", "airspeed_kt"],
                              "lower_below_ft": ["lower_airspeed_kt"]}})

    airspeed_kt: float | None = Field(
        None, description="The briefed calibrated airspeed [kt]; with mach too, it holds below the "
        "altitude at which both are the same speed.", examples=[190])
    mach: float | None = Field(
        None, description="The briefed Mach number; with airspeed_kt too, it holds above the "
        "altitude at which both are the same speed.", examples=[0.42])
    lower_airspeed_kt: float | None = Field(
        None, description="Another calibrated airspeed [kt] that holds below lower_below_ft.",
        examples=[170])
    lower_below_ft: float | None = Field(
        None, description="Pressure altitude [ft] below which lower_airspeed_kt holds.",
        examples=[10000])
    above_ft: float | None = Field(
        None, description="Nothing is measured below this pressure altitude [ft].",
        examples=[3000])

    @model_validator(mode="after")
    def _plausible(self) -> Profile:
        if self.airspeed_kt is None and self.mach is None:
            refuse("no speed was briefed", "write airspeed_kt, mach or both")
        for key in ("airspeed_kt", "lower_airspeed_kt"):
            _check_speed("calibrated_airspeed", getattr(self, key), key)
        _check_speed("mach", self.mach, "mach")
        for key in ("lower_below_ft", "above_ft"):
            _check_altitude(getattr(self, key), key)
        if (self.lower_airspeed_kt is None) != (self.lower_below_ft is None):
            refuse("lower_airspeed_kt and lower_below_ft go together", "write both, or neither")
        if self.lower_airspeed_kt is not None and self.airspeed_kt is None:
            refuse("above lower_below_ft no airspeed was briefed", "write airspeed_kt too",
                   "lower_airspeed_kt")
        crossover = self.crossover_ft
        if crossover is not None and crossover <= (self.lower_below_ft or 0.0):
            floor = (f"not above lower_below_ft, {self.lower_below_ft:,.0f} ft"
                     if self.lower_below_ft else "not above sea level")
            refuse(f"{self._both} are the same "
                   f"speed at {crossover:,.0f} ft, {floor}", "check both", "mach")
        return self

    @property
    def crossover_ft(self) -> float | None:
        """Pressure altitude [ft] at which both are one speed; None where one was briefed."""
        if self.airspeed_kt is None or self.mach is None:
            return None
        try:
            return float(crossover_pressure_altitude(self.airspeed_kt * KNOT, self.mach)) / FOOT
        except ValueError:
            refuse(f"{self._both} are the same speed at no altitude that is flown", "check both",
                   "mach")

    @property
    def _both(self) -> str:
        return f"{written(self.airspeed_kt)} kt and Mach {written(self.mach)}"


class Cruise(Sheet):
    """A level part at one airspeed or Mach number."""

    model_config = ConfigDict(json_schema_extra={
        "oneOf": [{"required": ["airspeed_kt"]}, {"required": ["mach"]}]})

    airspeed_kt: float | None = Field(
        None, description="The briefed calibrated airspeed [kt].", examples=[210])
    mach: float | None = Field(None, description="The briefed Mach number.", examples=[0.45])
    above_ft: float | None = Field(
        None, description="Level parts below this pressure altitude [ft] aren't measured.",
        examples=[10000])

    @model_validator(mode="after")
    def _one_speed(self) -> Cruise:
        if (self.airspeed_kt is None) == (self.mach is None):
            refuse("a level part is flown at one speed", "write airspeed_kt or mach")
        _check_speed("calibrated_airspeed", self.airspeed_kt, "airspeed_kt")
        _check_speed("mach", self.mach, "mach")
        _check_altitude(self.above_ft, "above_ft")
        return self


class ConfigurationSpeed(Sheet):
    """A speed that holds while flaps or landing gear are in a position, in whichever phase."""

    name: str = Field(description="What to call it.", examples=["flaps 10"], min_length=1,
                      max_length=60, pattern=ONE_LINE)
    airspeed_kt: float = Field(description="The briefed calibrated airspeed [kt].",
                               examples=[150])
    when: dict[str, Range] = Field(
        description="Conditions that must all hold for it, as in a limits sheet.",
        examples=[{"flap_deg": {"above": 2, "up_to": 13}}],
        json_schema_extra={"minProperties": 1, "propertyNames": {"pattern": f"^{NAME}$"}})
    phases: Annotated[tuple[FlightPhase, ...], Strict(False)] = Field(
        (), description="In which phases of flight it holds; left out: in all but on the ground.",
        examples=[["approach"]])
    tolerance: Tolerance | None = Field(
        None, description="Its own tolerance; otherwise that of [tolerance.configuration].",
        examples=[{"faster_kt": 5, "slower_kt": 5}])

    @field_validator("when")
    @classmethod
    def _understood(cls, when: dict[str, Range]) -> dict[str, Range]:
        if not when:
            refuse("the table names no condition", "write such as when = { flap_deg = "
                   "{ above = 2 } }")
        for key, stated in when.items():
            condition_of(key, stated)
        return when

    @model_validator(mode="after")
    def _plausible(self) -> ConfigurationSpeed:
        _check_speed("calibrated_airspeed", self.airspeed_kt, "airspeed_kt")
        return self

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """The conditions in SI; it holds where all of them do."""
        return tuple(condition_of(key, stated) for key, stated in self.when.items())


class Settling(Sheet):
    """When a speed counts as settled after a change; the defaults are this program's own choice."""

    within_kt: float = Field(
        5.0, description="Settled is within this of the briefed airspeed [kt] ...", examples=[5],
        json_schema_extra={"exclusiveMinimum": 0, "maximum": 50})
    within_mach: float = Field(
        0.01, description="... or within this of the briefed Mach number ...", examples=[0.01],
        json_schema_extra={"exclusiveMinimum": 0, "maximum": 0.1})
    for_s: float = Field(
        10.0, description="... and still so for this long [s].", examples=[10],
        json_schema_extra={"exclusiveMinimum": 0, "maximum": 120})

    @model_validator(mode="after")
    def _plausible(self) -> Settling:
        for key, most in (("within_kt", 50.0), ("within_mach", 0.1), ("for_s", 120.0)):
            value = getattr(self, key)
            if not 0 < value <= most:
                refuse(f"{key} = {written(value)} is outside 0 to {most:g}",
                       "write a small number above 0", key)
        return self



CRITERIA: dict[str, float] = {
    "least_within_pct": 100.0, "longest_outside_s": 3600.0, "furthest_outside_kt": 100.0,
    "furthest_outside_mach": 0.2, "settled_after_s": 3600.0, "overshoot_kt": 100.0,
    "overshoot_mach": 0.2,
}
"""What a rule may ask for, and its greatest value."""


class GradeRule(Sheet):
    """A word of the school for a segment, and all that it asks for."""

    model_config = ConfigDict(json_schema_extra={
        "anyOf": [{"required": [key]} for key in CRITERIA]})

    name: str = Field(description="The school's word.", examples=["as briefed"], min_length=1,
                      max_length=60, pattern=ONE_LINE)
    segments: Annotated[tuple[SegmentKind, ...], Strict(False)] = Field(
        (), description="For which segments; left out: for all.", examples=[["climb", "descent"]])
    least_within_pct: float | None = Field(
        None, description="At least this share of the settled time [%] within the tolerance.",
        examples=[80], json_schema_extra={"minimum": 0, "maximum": CRITERIA["least_within_pct"]})
    longest_outside_s: float | None = Field(
        None, description="Never outside the tolerance for longer than this [s].", examples=[30],
        json_schema_extra={"minimum": 0, "maximum": CRITERIA["longest_outside_s"]})
    furthest_outside_kt: float | None = Field(
        None, description="Never farther outside the tolerance than this [kt].", examples=[5],
        json_schema_extra={"minimum": 0, "maximum": CRITERIA["furthest_outside_kt"]})
    furthest_outside_mach: float | None = Field(
        None, description="Never farther outside the tolerance than this [Mach].",
        examples=[0.01],
        json_schema_extra={"minimum": 0, "maximum": CRITERIA["furthest_outside_mach"]})
    settled_after_s: float | None = Field(
        None, description="Settled at most this long after a change [s].", examples=[60],
        json_schema_extra={"minimum": 0, "maximum": CRITERIA["settled_after_s"]})
    overshoot_kt: float | None = Field(
        None, description="At most this much past the new airspeed after a change [kt].",
        examples=[5], json_schema_extra={"minimum": 0, "maximum": CRITERIA["overshoot_kt"]})
    overshoot_mach: float | None = Field(
        None, description="At most this much past the new Mach number after a change.",
        examples=[0.01], json_schema_extra={"minimum": 0, "maximum": CRITERIA["overshoot_mach"]})

    @model_validator(mode="after")
    def _asks_for_something(self) -> GradeRule:
        if not self.criteria:
            refuse("the rule asks for nothing", "write such as least_within_pct = 80")
        for key, value in self.criteria.items():
            if not 0 <= value <= CRITERIA[key]:
                refuse(f"{key} = {written(value)} is outside 0 to {CRITERIA[key]:g}",
                       "write what the school asks for", key)
        return self

    @property
    def criteria(self) -> dict[str, float]:
        """What it asks for, by key."""
        return {key: value for key in CRITERIA if (value := getattr(self, key)) is not None}


def _tables(what: str) -> BeforeValidator:
    def check(value: Any) -> Any:
        if isinstance(value, dict):
            refuse(f"one [{what}] isn't a list", f"write [[{what}]] with double brackets")
        return value

    return BeforeValidator(check)


class Schedule(Sheet):
    """What was briefed for a lesson."""

    lesson: str = Field(description="What the lesson is called, as it stands at the head of its "
                        "page; no name of a person.", examples=["Descent at Mach, then airspeed"],
                        min_length=1, max_length=120, pattern=ONE_LINE)
    set_by: str = Field("the school", description="Whose schedule it is, as it stands in a "
                        "sentence.", examples=["the school"], min_length=1, max_length=60,
                        pattern=ONE_LINE)
    airspeeds: Literal["calibrated", "indicated"] = Field(
        "calibrated", description="What the briefed airspeeds are. Indicated ones are made "
        "calibrated by the limits sheet's corrections of instrument and position; where it states "
        "none they are taken as calibrated, and that is said.", examples=["indicated"])
    climb: Profile | None = Field(
        None, description="The climb.", examples=[{"airspeed_kt": 190, "mach": 0.42}])
    cruise: Cruise | None = Field(None, description="The cruise.", examples=[{"mach": 0.45}])
    descent: Profile | None = Field(
        None, description="The descent.", examples=[{"mach": 0.46, "airspeed_kt": 230}])
    speed: Annotated[tuple[ConfigurationSpeed, ...], Strict(False), _tables("speed")] = Field(
        (), description="Speeds by configuration; the first that fits counts, before those of the "
        "phase.", max_length=20, examples=[[
            {"name": "flaps 10", "airspeed_kt": 150, "when": {"flap_deg": {"above": 2}}}]])
    tolerance: Tolerances = Field(
        default_factory=Tolerances, description="How close to what was briefed counts as flown, "
        "by segment; where left out, generic ones.", examples=[{"climb": {"within_kt": 5}}])
    settling: Settling = Field(
        default_factory=Settling, description="When a speed counts as settled after a change.",
        examples=[{"within_kt": 5}])
    near_kt: float = Field(
        10.0, description="Time with less margin than this to VMO and MMO is counted [kt].",
        examples=[10], json_schema_extra={"exclusiveMinimum": 0, "maximum": 100})
    ceiling: Annotated[tuple[Ceiling, ...], Strict(False), _tables("ceiling")] = Field(
        (), description="Ceilings that the school sets, as in a limits sheet.", max_length=20,
        examples=[[{"name": "descent speed", "set_by": "the school",
                    "quantity": "calibrated_airspeed", "maximum_kt": 240}]])
    grade: Annotated[tuple[GradeRule, ...], Strict(False), _tables("grade")] = Field(
        (), description="The school's words for a segment; the first counts of which all is met. "
        "Without any nothing is graded.", max_length=20,
        examples=[[{"name": "as briefed", "least_within_pct": 80}]])

    @model_validator(mode="after")
    def _something(self) -> Schedule:
        if not (self.climb or self.cruise or self.descent or self.speed):
            refuse("nothing was briefed", "write at least one of [climb], [cruise], [descent] "
                   "and [[speed]]")
        if not 0 < self.near_kt <= 100:
            refuse(f"near_kt = {written(self.near_kt)} is outside 0 to 100", "write it in kt",
                   "near_kt")
        named = {"speed": [stated.name for stated in self.speed],
                 "ceiling": [stated.name for stated in self.ceiling]}
        for key, names in named.items():
            for row, name in enumerate(names):
                if name.casefold() in {earlier.casefold() for earlier in names[:row]}:
                    refuse(f'the name "{name}" is given twice', "give each its own name", key,
                           row, "name")
        return self

    def tolerance_of(self, kind: SegmentKind) -> Tolerance:
        """Return the tolerance of a segment: the school's, or else the generic one."""
        own: Tolerance | None = getattr(self.tolerance, kind)
        return own if own is not None else TOLERANCES[kind]


def read_schedule(path: str | Path) -> Schedule:
    """Read a schedule file.

    Parameters
    ----------
    path : path-like
        The TOML file.

    Returns
    -------
    Schedule
        The validated schedule.

    Raises
    ------
    Problem
        For a file that can't be read or isn't a schedule; it names the key and the remedy.

    Examples
    --------
    >>> from pathlib import Path
    >>> from loganalyze.training import read_schedule
    >>> text = 'lesson = "first climb"\\nclimb = { airspeed_kt = 190, mach = 0.42 }'
    >>> _ = Path("lesson.toml").write_text(text, encoding="utf-8")
    >>> round(read_schedule("lesson.toml").climb.crossover_ft)
    20136
    """
    return read_toml(path, Schedule)
