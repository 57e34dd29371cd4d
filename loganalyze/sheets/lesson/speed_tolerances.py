"""How close to a briefed speed counts as flown: the school's tolerances, and generic ones.

A tolerance may be one-sided. Where none is stated or published, a segment is measured and not
held against any: no tolerance in Mach is known to be published, so there is no generic one.
"""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, Field, model_validator

from loganalyze.sheets.toml_models import Sheet, refuse, written

_MOST = {"kt": 50.0, "mach": 0.1, "ft": 1000.0}
_UNITS = {"kt": "[kt]", "mach": "[Mach]", "ft": "[ft]"}
_KEYS = ("within_kt", "faster_kt", "slower_kt", "within_mach", "faster_mach", "slower_mach",
         "within_ft")

GENERIC, PUBLISHED, OWN = "generic", "published", "own"
"""Where a tolerance comes from: common practice without a source, a published standard, or the
schedule file."""


def _schema(schema: dict[str, Any]) -> None:
    schema["anyOf"] = [{"required": [key]} for key in _KEYS]
    schema["allOf"] = [{"not": {"required": [f"within_{unit}", f"{side}_{unit}"]}}
                       for unit in ("kt", "mach") for side in ("faster", "slower")]


def _limit(unit: str) -> dict[str, Any]:
    return {"exclusiveMinimum": 0, "maximum": _MOST[unit]}


class Tolerance(Sheet):
    """How far from the briefed speed still counts as flown. Several keys may be given."""

    model_config = ConfigDict(json_schema_extra=_schema)

    within_kt: float | None = Field(
        None, description="Up to this much faster or slower, where an airspeed was briefed [kt].",
        examples=[10], json_schema_extra=_limit("kt"))
    faster_kt: float | None = Field(
        None, description="Up to this much faster; alone, slower is never outside [kt].",
        examples=[5], json_schema_extra=_limit("kt"))
    slower_kt: float | None = Field(
        None, description="Up to this much slower; alone, faster is never outside [kt].",
        examples=[10], json_schema_extra=_limit("kt"))
    within_mach: float | None = Field(
        None, description="Up to this much faster or slower, where a Mach number was briefed.",
        examples=[0.01], json_schema_extra=_limit("mach"))
    faster_mach: float | None = Field(
        None, description="Up to this much faster; alone, slower is never outside [Mach].",
        examples=[0.005], json_schema_extra=_limit("mach"))
    slower_mach: float | None = Field(
        None, description="Up to this much slower; alone, faster is never outside [Mach].",
        examples=[0.01], json_schema_extra=_limit("mach"))
    within_ft: float | None = Field(
        None, description="Up to this far from the altitude at its beginning; for steep turns "
        "[ft].", examples=[100], json_schema_extra=_limit("ft"))
    source: str = Field("the school", description="Whose tolerance it is; it is shown beside "
                        "each share of time.", examples=["the school's syllabus"], min_length=1,
                        max_length=200)

    @model_validator(mode="after")
    def _plausible(self) -> Tolerance:
        if all(getattr(self, key) is None for key in _KEYS):
            refuse("the tolerance states nothing", "write such as within_kt = 10")
        for key in _KEYS:
            value, unit = getattr(self, key), key.rpartition("_")[2]
            if value is not None and not 0 < value <= _MOST[unit]:
                refuse(f"{key} = {written(value)} is outside 0 to {_MOST[unit]:g}",
                       f"write it in {_UNITS[unit]}", key)
        for unit in ("kt", "mach"):
            for side in ("faster", "slower"):
                key = f"{side}_{unit}"
                if getattr(self, f"within_{unit}") is not None and getattr(self, key) is not None:
                    refuse(f"within_{unit} and {key} exclude each other",
                           f"keep within_{unit}, or write faster_{unit} and slower_{unit}", key)
        return self

    def band(self, unit: str) -> tuple[float | None, float | None]:
        """Return how much slower and how much faster still counts, in `unit` "kt" or "mach".

        None on a side where nothing is stated.
        """
        both = getattr(self, f"within_{unit}")
        if both is not None:
            return both, both
        return getattr(self, f"slower_{unit}"), getattr(self, f"faster_{unit}")


class Tolerances(Sheet):
    """Tolerances by segment; where left out, the generic ones of the program hold."""

    climb: Tolerance | None = Field(None, description="In a climb.", examples=[{"within_kt": 5}])
    cruise: Tolerance | None = Field(None, description="In cruise.", examples=[{"within_kt": 5}])
    descent: Tolerance | None = Field(
        None, description="In a descent.", examples=[{"faster_kt": 5, "slower_kt": 10}])
    configuration: Tolerance | None = Field(
        None, description="While a speed by configuration holds.",
        examples=[{"faster_kt": 10, "slower_kt": 5}])
    steep_turn: Tolerance | None = Field(
        None, description="In a steep turn, from the speed and altitude at its beginning.",
        examples=[{"within_kt": 10, "within_ft": 100}])


_TEN_KT = "generic: 10 kt, common practice in civil tests, no source"
TOLERANCES = {
    **{kind: Tolerance(within_kt=10.0, source=_TEN_KT)
       for kind in ("climb", "cruise", "descent", "configuration")},
    "steep_turn": Tolerance(within_kt=10.0, within_ft=100.0, source="generic: 10 kt and 100 ft, "
                            "as the published private pilot test standard has it"),
}
"""The generic tolerances, by segment. In Mach there is none."""
