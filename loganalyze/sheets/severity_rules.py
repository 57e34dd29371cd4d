"""Severity rules of an operator, the ladder of excesses, and the thresholds of the warning.

No published table of severities is known to the authors: the rules that come with a sample
sheet are examples, marked as such, and each operator sets its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, Strict, model_validator

from loganalyze.quantities.limited_quantity import LimitedQuantity
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.sheets.toml_models import Sheet, choice, nearest, refuse, written

LEVELS: tuple[str, ...] = ("low", "medium", "high")
"""Severities, in increasing order."""

GREATEST_KT, GREATEST_MACH, LONGEST_S = 300.0, 1.0, 86400.0


def _names(value: Any) -> Any:
    if isinstance(value, str):
        refuse(f"{written(value)} isn't a list", f"write [{written(value)}]")
    if value == []:
        refuse("the list names no limit", "name one, or take the key out")
    return value


Names = Annotated[tuple[str, ...], Strict(False), BeforeValidator(_names),
                  Field(json_schema_extra={"minItems": 1})]


def _between(value: float | None, key: str, greatest: float) -> None:
    if value is not None and not 0 <= value <= greatest:
        refuse(f"{key} = {written(value)} is outside 0 to {greatest:g}",
               "write how far or how long beyond the limit", key)


class SeverityRule(Sheet):
    """One rule: an exceedance has this severity when all that the rule states is met."""

    name: str = Field(description="The rule's name, printed with the severity; each name once.",
                      examples=["over by 10 kt"], min_length=1, max_length=60,
                      pattern=r"^\S(.*\S)?$")
    level: Literal["low", "medium", "high"] = Field(
        description="The severity. The highest rule that is met counts.", examples=["medium"])
    limits: Names | None = Field(
        None, description="The limits it is for, by name; absent: all.", examples=[["VMO", "MMO"]])
    excess_kt: float | None = Field(
        None, description="At least this far over [kt]: CAS for a Mach limit, otherwise the "
        "limit's own airspeed. For a Mach limit excess_mach goes before it.", examples=[10],
        json_schema_extra={"minimum": 0, "maximum": GREATEST_KT})
    excess_mach: float | None = Field(
        None, description="At least this far over, for Mach limits. A rule with excess_mach but "
        "no excess_kt is for Mach limits only.", examples=[0.02],
        json_schema_extra={"minimum": 0, "maximum": GREATEST_MACH})
    excess: float | None = Field(
        None, description="At least this far over, in the unit of the limits that the rule is for, "
        "which must be one; it stands in the place of excess_kt and excess_mach.", examples=[0.2],
        json_schema_extra={"minimum": 0, "maximum": GREATEST_KT})
    time_s: float | None = Field(
        None, description="At least this long [s] beyond the excess of the rule, or beyond the "
        "limit where the rule states no excess.", examples=[5],
        json_schema_extra={"minimum": 0, "maximum": LONGEST_S})
    time_counts: Literal["at a stretch", "in all"] = Field(
        "at a stretch", description="Whether time_s must be reached in one stretch beyond the "
        "excess, or by all of them together. At a stretch is what a manual's time means unless it "
        "states otherwise: separate touches of a second each don't add up.", examples=["in all"])
    integral_kt_s: float | None = Field(
        None, description="Excess times time, summed over the exceedance, at least this [kt s].",
        examples=[60], json_schema_extra={"minimum": 0, "maximum": GREATEST_KT * LONGEST_S})
    example: bool = Field(
        False, description="Whether the rule is only an example, and no operator's own.",
        examples=[True])

    @model_validator(mode="after")
    def _plausible(self) -> SeverityRule:
        _between(self.excess_kt, "excess_kt", GREATEST_KT)
        _between(self.excess_mach, "excess_mach", GREATEST_MACH)
        _between(self.excess, "excess", GREATEST_KT)
        for key in ("excess_kt", "excess_mach"):
            if self.excess is not None and getattr(self, key) is not None:
                refuse(f"excess and {key} exclude each other", "keep one of them", key)
        _between(self.time_s, "time_s", LONGEST_S)
        _between(self.integral_kt_s, "integral_kt_s", GREATEST_KT * LONGEST_S)
        return self


def _rising(steps: tuple[float, ...], key: str, greatest: float) -> None:
    for row, step in enumerate(steps):
        if not 0 <= step <= greatest:
            refuse(f"a step of {written(step)} is outside 0 to {greatest:g}",
                   "write how far beyond the limit", key, row)
        if row and not step > steps[row - 1]:
            refuse(f"{written(step)} doesn't rise above the step before it",
                   "write the steps in order, each once", key, row)


class LadderSheet(Sheet):
    """Excesses for each of which the time beyond it is reported, as maintenance manuals ask."""

    kt: Annotated[tuple[float, ...], Strict(False)] = Field(
        (0.0, 5.0, 10.0, 15.0, 20.0), description="Steps beyond the limit [kt], rising.",
        examples=[[0, 5, 10, 15, 20]])
    mach: Annotated[tuple[float, ...], Strict(False)] = Field(
        (0.01, 0.02, 0.03), description="Steps beyond a Mach limit, rising.",
        examples=[[0.01, 0.02, 0.03]])

    @model_validator(mode="after")
    def _plausible(self) -> LadderSheet:
        _rising(self.kt, "kt", GREATEST_KT)
        _rising(self.mach, "mach", GREATEST_MACH)
        return self


class WarningSheet(Sheet):
    """When the overspeed warning must sound.

    The thresholds are those of 14 CFR 25.1303(c)(1): a warning whenever the speed exceeds
    VMO + 6 kt or MMO + 0.01, the latest it may sound. The tolerances are engineering judgement:
    2 kt of the air data (AS8002A, 100 to 200 kt, as quoted in an equipment manual) and a
    recorder's step of 1 kt; for Mach the same 3 kt at 250 kt and FL250, where a knot is .0023.
    """

    limits: Names | None = Field(
        None, description="The limits that the warning watches, by name; absent: those that the "
        "airspeed indicator's limit pointer shows.", examples=[["VMO", "MMO"]])
    threshold_kt: float = Field(
        6.0, description="The latest it may sound, this far beyond an airspeed limit [kt].",
        examples=[6], json_schema_extra={"minimum": 0, "maximum": GREATEST_KT})
    threshold_mach: float = Field(
        0.01, description="The latest it may sound, this far beyond a Mach limit.",
        examples=[0.01], json_schema_extra={"minimum": 0, "maximum": GREATEST_MACH})
    tolerance_kt: float = Field(
        3.0, description="How far the recorded speed may be off, for airspeed limits [kt].",
        examples=[3], json_schema_extra={"minimum": 0, "maximum": GREATEST_KT})
    tolerance_mach: float = Field(
        0.007, description="How far the recorded speed may be off, for Mach limits.",
        examples=[0.007], json_schema_extra={"minimum": 0, "maximum": GREATEST_MACH})

    @model_validator(mode="after")
    def _plausible(self) -> WarningSheet:
        for key, greatest in (("threshold_kt", GREATEST_KT), ("threshold_mach", GREATEST_MACH),
                              ("tolerance_kt", GREATEST_KT), ("tolerance_mach", GREATEST_MACH)):
            _between(getattr(self, key), key, greatest)
        return self


def rules(value: Any) -> Any:
    """Refuse a single [severity] table where a list of them is meant."""
    if isinstance(value, dict):
        refuse("one [severity] isn't a list of rules", "write [[severity]] with double brackets")
    return value


Rules = Annotated[tuple[SeverityRule, ...], Strict(False), BeforeValidator(rules)]


def check_names(severity: Iterable[SeverityRule], warning: WarningSheet,
                limits: Mapping[str, LimitedQuantity]) -> None:
    """Refuse rules that name a limit the sheet doesn't hold, or that no limit could ever meet.

    `limits` : the quantity of each limit, by the limit's name.
    """
    seen: set[str] = set()
    for row, rule in enumerate(severity):
        if rule.name.casefold() in seen:
            refuse(f'the name "{rule.name}" is given to two rules', "give each rule its own name",
                   "severity", row, "name")
        seen.add(rule.name.casefold())
        _known(rule.limits, limits, "severity", row, "limits")
        if rule.excess_mach is not None and rule.excess_kt is None and not any(
                limits[name].suffix == LimitedMach.suffix for name in rule.limits or limits):
            refuse("the rule states an excess in Mach, and none of its limits is a Mach number",
                   "write excess_kt, or name a Mach limit", "severity", row, "excess_mach")
        units = sorted({limits[name].unit.name for name in rule.limits or limits})
        if rule.excess is not None and len(units) > 1:
            refuse(f"the limits that the rule is for are in {' and '.join(units)}",
                   "name limits of one unit, or write excess_kt and excess_mach", "severity", row,
                   "excess")
    _known(warning.limits, limits, "warning", "limits")
    for row, name in enumerate(warning.limits or ()):
        if not limits[name].is_speed:
            refuse(f"the overspeed warning doesn't watch {limits[name].article_noun}",
                   "take it out", "warning", "limits", row)


def _known(names: tuple[str, ...] | None, limits: Iterable[str], *key: str | int) -> None:
    folded = {name.casefold(): name for name in limits}
    for row, name in enumerate(names or ()):
        if name not in limits:
            near = nearest(name, folded)
            refuse(f'the sheet holds no limit "{name}"',
                   f"write {written(folded[near]) if near else choice(limits)}", *key, row)
