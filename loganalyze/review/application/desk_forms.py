"""What comes in: the fields of every change, checked alike for pages and programs."""

from __future__ import annotations

import unicodedata
from datetime import date
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)
from pydantic_core import PydanticCustomError

from loganalyze.review.cases.case_filter import MONTH, Decision
from loganalyze.review.outputs.case_report import PackFormat, PackReader
from loganalyze.review.outputs.period_report import PeriodReader

FollowUpKind = Literal["inspection requested", "crew contact", "sheet fault"]
Role = Literal["reviewer", "gatekeeper", "administrator"]
PERSON = r"^[A-Za-z0-9][A-Za-z0-9._@-]{0,99}$"
LARGEST_SHEET = 300_000


def _plain(text: str) -> str:
    """Return a text; refuse control characters, which no person types and databases differ on."""
    for character in text:
        if unicodedata.category(character) in ("Cc", "Cs") and character not in "\n\r\t":
            raise ValueError("has characters that can't be shown")
    return text


def _printable(text: str) -> str:
    """Return a text; refuse one that can't be shown in a line."""
    if not text.isprintable():
        raise ValueError("has characters that can't be shown")
    return text


Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=100),
                 AfterValidator(_plain)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=4000),
                 AfterValidator(_plain)]
MaybeText = Annotated[str, StringConstraints(strip_whitespace=True, max_length=4000),
                      AfterValidator(_plain)]
Password = Annotated[str, Field(max_length=1000)]
ByProvider = Annotated[str, StringConstraints(min_length=1, max_length=1000),
                       AfterValidator(_printable)]
"""An issuer or a subject, as a provider writes them: to the letter."""
Version = Annotated[int, Field(ge=0, le=2**31 - 1)]
Due = Annotated[date, Field(ge=date(2000, 1, 1), le=date(2999, 12, 31))]


class Form(BaseModel):
    """The fields of a change; no others are taken."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class DecisionForm(Form):
    """What an exceedance is found to be, None to withdraw; `seen_version` : of the case."""

    decision: Decision | None
    reason: Text
    seen_version: Version


class NoteForm(Form):
    """A note on a case."""

    note: Text


class FollowUpForm(Form):
    """A new follow-up: what is to be done, by whom and until when."""

    kind: FollowUpKind
    owner: Line
    due: Due
    task: Text


class FollowUpChange(Form):
    """A follow-up with another owner or due date, or done; `seen_version` : of the follow-up."""

    owner: Line
    due: Due
    done: bool = False
    outcome: MaybeText = ""
    seen_version: Version


class RevealForm(Form):
    """Why an identity is to be seen."""

    reason: Annotated[Text, Field(min_length=10)]


class KeptFilterForm(Form):
    """A filter to keep, as the query of its address."""

    name: Line
    query: MaybeText = ""


class PersonForm(Form):
    """Somebody who is to sign in, by a password or as an OpenID provider knows them."""

    person: Annotated[str, Field(pattern=PERSON)]
    role: Role
    password: Password | None = None
    issuer: ByProvider | None = None
    subject: ByProvider | None = None

    @model_validator(mode="after")
    def _has_way_in(self) -> Self:
        """Refuse somebody who could sign in by nothing, or half of a provider's names."""
        if (self.issuer is None) != (self.subject is None) or (
                self.password is None and self.subject is None):
            raise PydanticCustomError("no_way_in", "no password and no provider's subject")
        return self


class PersonChange(Form):
    """Another role, activity or way to sign in of somebody; what isn't given stays."""

    role: Role | None = None
    active: bool | None = None
    password: Password | None = None
    issuer: ByProvider | None = None
    subject: ByProvider | None = None

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        """Refuse half of a provider's names."""
        if (self.issuer is None) != (self.subject is None):
            raise PydanticCustomError("no_way_in", "issuer and subject go together")
        return self


def _lines(text: str) -> str:
    """Return a text with lines that end as in a file, however a page sent it."""
    return text.replace("\r\n", "\n")


class SheetForm(Form):
    """A corrected limits sheet, and with it a columns file, as TOML texts."""

    sheet: Annotated[str, Field(min_length=1, max_length=LARGEST_SHEET), AfterValidator(_lines)]
    columns: Annotated[str, Field(max_length=LARGEST_SHEET), AfterValidator(_lines)] = ""


class AdoptionForm(SheetForm):
    """A corrected sheet that was tried, to be adopted or dropped, and why.

    `seen` : that of the trial; where given, another verdict may not count in the meantime.
    """

    reason: Text
    seen: Annotated[str, Field(max_length=64)] = ""


class PackForm(Form):
    """A follow-up pack: for whom, in which format; `identity_reason` : why it is to name them."""

    reader: PackReader
    format: PackFormat = "pdf"
    identity_reason: MaybeText = ""


class PeriodQuery(Form):
    """The months of a periodic report, and the day of an action whose effect it is to measure.

    `reader` : for everybody it has no single cases, tasks and owners.
    """

    since: Annotated[str, Field(pattern=rf"^$|{MONTH}")] = ""
    until: Annotated[str, Field(pattern=rf"^$|{MONTH}")] = ""
    action: Due | None = None
    reader: PeriodReader = "safety"
    format: PackFormat = "pdf"


class FollowUpQuery(Form):
    """Which follow-ups are asked for; `overdue` : those alone that are open after their day."""

    owner: Annotated[str, Field(max_length=100), AfterValidator(_plain)] = ""
    only_open: bool = True
    overdue: bool = False


class TrailQuery(Form):
    """Which entries are asked for: those with a lower number than `before`.

    `actor` : of whom; `action` : of which kind; `case` : with how its key begins; `since`,
    `until` : days [UTC].
    """

    actor: Annotated[str, Field(max_length=100), AfterValidator(_plain)] = ""
    action: Annotated[str, Field(max_length=40), AfterValidator(_plain)] = ""
    case: Annotated[str, Field(pattern="^[0-9a-f]{0,20}$")] = ""
    since: Due | None = None
    until: Due | None = None
    before: Annotated[int, Field(ge=1, le=2**31 - 1)] | None = None
    most: Annotated[int, Field(ge=1, le=1000)] = 100


class WitnessQuery(Form):
    """A head of the trail that was written down before, as "12-hash"; blank for none."""

    witness: Annotated[str, Field(pattern=r"^$|^[0-9]{1,9}-[0-9a-f]{64}$")] = ""
