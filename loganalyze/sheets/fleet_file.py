"""The fleet file: which aircraft there are, and which limits sheet each of them had from when on.

Paths in it count from the folder that the file is in.
"""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Annotated

from pydantic import Field, Strict, model_validator

from loganalyze.sheets.toml_models import Sheet, read_toml, refuse

Texts = Annotated[tuple[str, ...], Strict(False)]


class SheetRevision(Sheet):
    """A limits sheet, and the day from which it holds."""

    limits: str = Field(description="The limits sheet's file.", examples=["twin.toml"],
                        min_length=1)
    effective: date | None = Field(
        None, description="The first day [UTC] on which it holds; without it, always before the "
        "next one.", examples=["2026-03-01"])


class AircraftRule(Sheet):
    """What holds for the logs of one aircraft, or of several alike."""

    registration: Texts = Field(
        (), description="Registrations, with * for any letters: of the log's own registration, or "
        "of the group `registration` of identity.path.", examples=[["DEMO-1", "DEMO-2*"]])
    path: Texts = Field(
        (), description="Patterns of the log's path, with * for any letters, / included.",
        examples=[["*/west/*"]])
    name: str = Field(
        "", description="What the store calls the aircraft; otherwise its registration, or else "
        "the aircraft of the limits sheet.", examples=["twin 4"])
    sheet: Annotated[tuple[SheetRevision, ...], Strict(False)] = Field(
        description="Its limits sheets, by the day from which each holds.",
        json_schema_extra={"minItems": 1}, examples=[[{"limits": "twin.toml"}]])
    columns: str = Field("", description="Its columns file, or a folder of them.",
                         examples=["recorder.toml"])
    schedule: str = Field(
        "", description="A schedule of training flights: how each flight was flown against it is "
        "measured, and kept in the dataset training.", examples=["lesson.toml"])
    corrections: str = Field(
        "", description="The folder of the instructors' corrections of its training flights' "
        "exercises, by the logs' names; otherwise they are looked for beside each log.",
        examples=["corrections"])
    flights_per_month: float | None = Field(
        None, description="How many flights each such aircraft is expected to fly in a month, "
        "for the share that was captured.", examples=[40], gt=0)
    tags: dict[str, str] = Field(
        default_factory=dict, description="Words of your own, by which trends can be grouped.",
        examples=[{"base": "north"}])

    @model_validator(mode="after")
    def _can_fit(self) -> AircraftRule:
        if not self.registration and not self.path:
            refuse("nothing says which logs are meant", "write registration or path",
                   "registration")
        if self.corrections and not self.schedule:
            refuse("corrections are of training flights, and no schedule is named",
                   "write schedule too", "corrections")
        if not self.sheet:
            refuse("it has no limits sheet", "write at least one [[aircraft.sheet]]", "sheet")
        days = [sheet.effective for sheet in self.sheet]
        if days.count(None) > 1:
            refuse("two sheets hold from the beginning", "write effective for all but one",
                   "sheet")
        dated = [day for day in days if day is not None]
        if len({*dated}) < len(dated):
            refuse("two sheets hold from the same day", "keep one of them", "sheet")
        return self

    @property
    def revisions(self) -> tuple[SheetRevision, ...]:
        """Its sheets in the order of time."""
        return tuple(sorted(self.sheet, key=lambda sheet: sheet.effective or date.min))


class Identity(Sheet):
    """How the path of a log says whose it is."""

    path: str = Field(
        "", description="A regular expression that is searched for in the log's path; its group "
        "`registration` is the registration.", examples=["/(?P<registration>DEMO-[0-9]+)/"])

    @model_validator(mode="after")
    def _compiles(self) -> Identity:
        try:
            groups = re.compile(self.path).groupindex
        except re.error as error:
            refuse(f"it is no regular expression ({error})", "correct it", "path")
        if self.path and "registration" not in groups:
            refuse("it has no group of the name registration",
                   "write the part that is one as (?P<registration>...)", "path")
        return self


class FleetFile(Sheet):
    """A fleet: which limits sheet each log is judged by. The first aircraft that fits counts."""

    identity: Identity = Field(default_factory=Identity,
                               description="How the path of a log says whose it is.",
                               examples=[{"path": "/(?P<registration>DEMO-[0-9]+)/"}])
    aircraft: Annotated[tuple[AircraftRule, ...], Strict(False)] = Field(
        description="The aircraft.", json_schema_extra={"minItems": 1},
        examples=[[{"registration": ["DEMO-1"], "sheet": [{"limits": "twin.toml"}]}]])

    @model_validator(mode="after")
    def _holds_one(self) -> FleetFile:
        if not self.aircraft:
            refuse("the file names no aircraft", "write at least one [[aircraft]]", "aircraft")
        return self


def read_fleet(path: str | Path) -> FleetFile:
    """Read a fleet file.

    Raises
    ------
    Problem
        For a file that can't be read or doesn't describe a fleet; it names the key and the hint.

    Examples
    --------
    >>> from pathlib import Path
    >>> import loganalyze as la
    >>> text = ('aircraft = [{ registration = ["DEMO-1"], '
    ...         'sheet = [{ limits = "twin.toml" }] }]')
    >>> _ = Path("fleet.toml").write_text(text, encoding="utf-8")
    >>> [rule.registration for rule in la.read_fleet("fleet.toml").aircraft]
    [('DEMO-1',)]
    """
    return read_toml(path, FleetFile)
