"""How long flaps and landing gear take to move: `[configuration]` of the limits sheet."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from loganalyze.sheets.toml_models import Sheet, refuse, written

LONGEST_S = 120.0


class ConfigurationSheet(Sheet):
    """What a recorder leaves out about flaps and gear in transit."""

    flap_transit_s: float = Field(
        10.0, description="Where only the flap lever is recorded: how long after a retraction "
        "the flaps may still be out, so that the former limit holds [s]. The default is common "
        "practice, no source.", examples=[12],
        json_schema_extra={"minimum": 0, "maximum": LONGEST_S})
    gear_transit_s: float = Field(
        15.0, description="How long the landing gear takes to extend or retract [s]. The default "
        "is common practice, no source.", examples=[12],
        json_schema_extra={"minimum": 0, "maximum": LONGEST_S})
    gear_down: Literal["lever", "locked"] = Field(
        "lever", description="What the recorded gear_down tells: the lever, so that the gear "
        "moves after it changes; or the gear locked down, so that it extends before.",
        examples=["lever"])

    @model_validator(mode="after")
    def _plausible(self) -> ConfigurationSheet:
        for name in ("flap_transit_s", "gear_transit_s"):
            value = getattr(self, name)
            if not 0 <= value <= LONGEST_S:
                refuse(f"{name} = {written(value)} is outside 0 to {LONGEST_S:g}",
                       "write it in seconds", name)
        return self
