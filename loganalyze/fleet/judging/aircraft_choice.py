"""Which aircraft a log is of, and which limits sheet and columns file it is judged by."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from fnmatch import fnmatchcase
from pathlib import Path

from loganalyze.problems import Problem
from loganalyze.sheets.fleet_file import FleetFile, read_fleet
from loganalyze.sheets.lesson.schedule_file import Schedule, read_schedule
from loganalyze.sheets.limits_sheet import LimitsSheet, read_limits


@dataclass(frozen=True)
class Basis:
    """What a log is judged by.

    ``digest`` : SHA-256 over the bytes of limits sheet, columns file and schedule; ``schedule`` :
    of training flights, None where none is named; ``corrections`` : the folder of an instructor's
    corrections of their exercises, None where they lie beside the logs.
    """

    limits: Path
    sheet: LimitsSheet
    digest: str
    columns: Path | None = None
    aircraft: str = ""
    tags: Mapping[str, str] = field(default_factory=dict)
    schedule: Schedule | None = None
    corrections: Path | None = None


@dataclass(frozen=True)
class _Rule:
    """Which logs are meant, by patterns, and their limits sheets by the day each holds from."""

    registration: tuple[str, ...]
    path: tuple[str, ...]
    revisions: tuple[tuple[date | None, Basis], ...]


@dataclass(frozen=True)
class AircraftChoice:
    """The rules by which a log is given its limits sheet.

    ``digest`` : SHA-256 over all files that the rules are made of.
    """

    file: Path
    rules: tuple[_Rule, ...]
    identity: str
    digest: str

    @classmethod
    def of_sheet(cls, limits: Path, columns: Path | None = None) -> AircraftChoice:
        """Return the rule that all logs are judged by one limits sheet."""
        basis = _basis(limits, columns, "", {})
        rule = _Rule((), ("*",), ((None, basis),))
        return cls(limits, (rule,), "", basis.digest)

    @classmethod
    def of_fleet(cls, path: Path) -> AircraftChoice:
        """Return the rules of a fleet file; raises Problem for it, or a file that it names."""
        fleet: FleetFile = read_fleet(path)
        rules = tuple(
            _Rule(
                aircraft_rule.registration,
                aircraft_rule.path,
                tuple(
                    (
                        revision.effective,
                        _basis(
                            path.parent / revision.limits,
                            _named(path, aircraft_rule.columns),
                            aircraft_rule.name,
                            aircraft_rule.tags,
                            _named(path, aircraft_rule.schedule),
                            _named(path, aircraft_rule.corrections),
                        ),
                    )
                    for revision in aircraft_rule.revisions
                ),
            )
            for aircraft_rule in fleet.aircraft
        )
        digest = combined_digest([fleet.model_dump_json(), *(
            basis.digest for rule in rules for _, basis in rule.revisions)])
        return cls(path, rules, fleet.identity.path, digest)

    def correction_folders(self) -> set[Path | None]:
        """Return where corrections of any aircraft's training flights may lie: folders, and None
        for beside the log."""
        return {basis.corrections for rule in self.rules for _, basis in rule.revisions
                if basis.schedule is not None}

    def registration_in(self, path: str) -> str:
        """Return the registration that the path of a log states, or nothing."""
        found = re.search(self.identity, path) if self.identity else None
        return (found["registration"] or "") if found else ""

    def needs_registration(self, path: str) -> bool:
        """Whether the path alone doesn't say which rule holds: the log is to be looked into."""
        if self.registration_in(path):
            return False
        for rule in self.rules:
            if _fits(path, rule.path):
                return False
            if rule.registration:
                return True
        return False

    def basis(self, path: str, registration: str, day: date | None) -> Basis:
        """Return what a log is judged by.

        Parameters
        ----------
        path, registration : str
            Its path, and the registration that path or log states, or nothing.
        day : date or None
            The day [UTC] of its first sample, None where it has no date.

        Raises
        ------
        Problem
            Where no aircraft of the file fits, or which of its sheets held is not known.
        """
        for rule in self.rules:
            if _fits(path, rule.path) or _fits(registration, rule.registration):
                return self._revision(rule, path, day)
        of = f" (registration {registration})" if registration else ""
        raise Problem(f"no aircraft of {self.file.name} fits this log{of}", path,
                      "write an [[aircraft]] for it")

    def first_basis(self, path: str, registration: str) -> Basis:
        """Return a basis of the log's aircraft, whose columns file all of its sheets share."""
        for rule in self.rules:
            if _fits(path, rule.path) or _fits(registration, rule.registration):
                return rule.revisions[0][1]
        return self.basis(path, registration, None)

    def _revision(self, rule: _Rule, path: str, day: date | None) -> Basis:
        if len(rule.revisions) == 1 and rule.revisions[0][0] is None:
            return rule.revisions[0][1]
        if day is None:
            raise Problem("the log has no date, and its aircraft has sheets that hold from a day "
                          "on", path, "give it a date, or an aircraft of its own with one sheet")
        held = [basis for start, basis in rule.revisions if start is None or start <= day]
        if not held:
            raise Problem(f"no limits sheet of its aircraft held on {day}", path,
                          "add the one that did, or leave out effective of the first")
        return held[-1]


def combined_digest(parts: Iterable[str]) -> str:
    """Return the SHA-256 of texts, each of which counts as a whole."""
    return hashlib.sha256(json.dumps([*parts]).encode()).hexdigest()


def _basis(limits: Path, columns: Path | None, name: str, tags: Mapping[str, str],
           schedule: Path | None = None, corrections: Path | None = None) -> Basis:
    sheet = read_limits(limits)
    briefed = None if schedule is None else read_schedule(schedule)
    digest = combined_digest([_digest(limits), "" if columns is None else _digest(columns),
                              *([] if schedule is None else [_digest(schedule)])])
    return Basis(limits, sheet, digest, columns, name, dict(tags), briefed,
                 corrections)


def _named(file: Path, other: str) -> Path | None:
    return file.parent / other if other else None


def _digest(path: Path) -> str:
    """Return the SHA-256 of a file's bytes; of a folder's TOML files together."""
    if path.is_dir():
        inside = sorted(path.glob("*.toml"))
        return combined_digest(
            [part for part_path in inside for part in (part_path.name, _digest(part_path))]
        )
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise Problem(f"it can't be read ({error.strerror})", str(path), "check the path") from None


def _fits(text: str, patterns: Iterable[str]) -> bool:
    return bool(text) and any(fnmatchcase(text, pattern) for pattern in patterns)
