"""What goes out: what a page or a program is shown; nothing here tells whose flight it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from loganalyze.review.cases.case_evidence import CaseEvidence
from loganalyze.review.cases.case_rows import CaseMaterial, ListedCase
from loganalyze.review.cases.index_building import HIDDEN
from loganalyze.review.decisions.case_decisions import CaseRecord
from loganalyze.review.decisions.trail_entries import TrailEntry

BOOKKEEPING = ("version", "case_key", "note_id", "follow_up_id", "author", "written_at",
               "decided_by", "decided_at", "opened_by", "opened_at", "closed_by", "closed_at")
"""Fields of an entry of the trail that its own columns say already."""


@dataclass(frozen=True)
class TrailChange:
    """A field that an entry changed."""

    name: str
    before: Any
    after: Any


@dataclass(frozen=True)
class TrailLine:
    """An entry of the trail as it is shown: what it changed, without what tells whose it is."""

    seq: int
    at: str
    actor: str
    role: str
    action: str
    case_key: str | None
    changes: tuple[TrailChange, ...]

    @property
    def only_counted(self) -> bool:
        """Whether it says no more than that a case has another version."""
        return self.action == "case touched"

    @property
    def shown(self) -> tuple[TrailChange, ...]:
        """What it changed that its own columns don't say already."""
        return tuple(change for change in self.changes if change.name not in BOOKKEEPING)


@dataclass(frozen=True)
class CaseView:
    """One case: what was judged, what people said, and what helps to judge it.

    ``evidence`` : quality flags, other sources, instrument errors; ``same_aircraft``, ``similar`` :
    other cases; ``trail`` : its entries, the latest first.
    """

    material: CaseMaterial
    record: CaseRecord
    evidence: CaseEvidence
    same_aircraft: tuple[ListedCase, ...]
    similar: tuple[ListedCase, ...]
    trail: tuple[TrailLine, ...]


@dataclass(frozen=True)
class Choices:
    """What can be filtered by, with the number of cases of each word."""

    of: Mapping[str, tuple[tuple[str, int], ...]]


@dataclass(frozen=True)
class PersonView:
    """Somebody who may sign in."""

    person: str
    role: str
    active: bool
    by_password: bool
    issuer: str | None


@dataclass(frozen=True)
class Me:
    """Who asks, and what they may do."""

    person: str
    role: str
    permissions: tuple[str, ...]


@dataclass(frozen=True)
class TrailState:
    """Whether the trail is as it was written; ``head`` : to be written down elsewhere."""

    intact: bool
    head: str
    faults: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class TrialVerdict:
    """An exceedance of a trial beside what counts now; None where one of them has none.

    ``now``, ``trial`` : columns of the exceedance, those of `VERDICT_COLUMNS` that aren't hidden.
    """

    limit: str
    now: Mapping[str, Any] | None
    trial: Mapping[str, Any] | None


@dataclass(frozen=True)
class SheetTrial:
    """The flights of a case's log judged by a corrected sheet, side by side with what counts.

    ``outcome_now``, ``outcome_trial`` : of the case's flight; ``of_case`` : which of the verdicts
    is the case's own, None where none is; ``digest`` : of sheet and columns file, to be seen again
    in the trail if they are adopted or dropped; ``seen`` : of the verdict that counts, to be sent
    with an adoption.
    """

    outcome_now: str
    outcome_trial: str
    verdicts: tuple[TrialVerdict, ...]
    of_case: int | None
    digest: str
    seen: str = ""


_NOT_SHOWN = frozenset({*HIDDEN, "verdict", "password_hash"})


def trail_line(entry: TrailEntry) -> TrailLine:
    """Return an entry as it is shown."""
    before, after = entry.before or {}, entry.after or {}
    names = [name for name in {**before, **after} if name not in _NOT_SHOWN
             and before.get(name) != after.get(name)]
    return TrailLine(
        entry.seq, entry.at, entry.actor, entry.role, entry.action, entry.case_key,
        tuple(TrailChange(name, before.get(name), after.get(name)) for name in names))


def missed(view: CaseView, seen: int) -> tuple[TrailLine, ...]:
    """Return what was said of a case since one of its versions, the latest first."""
    found: list[TrailLine] = []
    for line in view.trail:
        if any(change.name == "version" and change.after == seen for change in line.changes):
            break
        if not line.only_counted and line.action != "identity seen":
            found.append(line)
    return tuple(found)
