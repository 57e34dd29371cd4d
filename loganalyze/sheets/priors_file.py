"""The priors file: how often margins occur in a fleet, limit by limit, as its own flights showed.

Margins are positive under the limit, in the unit in which the limit is published (kt or Mach).
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import ConfigDict, Field, Strict, model_validator

from loganalyze.sheets.toml_models import Sheet, read_toml, refuse, written

Triple = Annotated[tuple[float, float, float], Strict(False)]


class PriorRow(Sheet):
    """The smallest margins that a fleet's flights had to one limit."""

    model_config = ConfigDict(json_schema_extra={
        "oneOf": [{"required": ["edges", "counts"]}, {"required": ["normals"]}]})

    limit: str = Field(description="The limit's name in the limits sheet.", examples=["VMO"],
                       min_length=1, max_length=60)
    source: str = Field(description="Where the margins come from; stands beside each probability.",
                        examples=["margins of 2,140 flights"], min_length=1, max_length=200)
    displayed: bool = Field(
        False, description="Whether the margins are those that the crews were shown, rather than "
        "those flown: the instrument's own error is then added to them, and the fleet's habits "
        "don't lessen it.", examples=[True])
    edges: Annotated[tuple[float, ...], Strict(False)] | None = Field(
        None, description="Edges of a histogram of margins, rising; positive is under.",
        examples=[[-10, 0, 10, 40]])
    counts: Annotated[tuple[float, ...], Strict(False)] | None = Field(
        None, description="Flights between each two edges.", examples=[[2, 85, 910]])
    normals: Annotated[tuple[Triple, ...], Strict(False)] | None = Field(
        None, description="Rows of weight, mean margin and standard deviation: a mixture of "
        "normal distributions.", examples=[[[0.9, 24, 8], [0.1, 5, 4]]])

    @model_validator(mode="after")
    def _one_form(self) -> PriorRow:
        if self.normals is not None:
            if self.edges is not None or self.counts is not None:
                refuse("a histogram and normals exclude each other", "keep one of them", "normals")
            if not self.normals:
                refuse("the mixture is empty", "write rows of weight, mean and deviation",
                       "normals")
            for row, (weight, _, deviation) in enumerate(self.normals):
                if not (weight > 0 and deviation > 0):
                    refuse("a weight or a standard deviation isn't above 0",
                           "write each row as [weight, mean, deviation]", "normals", row)
            return self
        if self.edges is None or self.counts is None:
            refuse("the prior has neither a histogram nor normals",
                   "write edges and counts, or normals")
        if len(self.edges) != len(self.counts) + 1:
            refuse(f"{len(self.edges)} edges and {len(self.counts)} counts don't fit",
                   "write one edge more than counts", "counts")
        for row in range(1, len(self.edges)):
            if not self.edges[row] > self.edges[row - 1]:
                refuse(f"the edge {written(self.edges[row])} doesn't rise above the one before it",
                       "write the edges in rising order", "edges", row)
        if min(self.counts) < 0 or not sum(self.counts) > 0:
            refuse("the counts are negative, or all 0", "write how many flights lie between each "
                   "two edges", "counts")
        return self


class PriorsFile(Sheet):
    """A fleet's margins, limit by limit."""

    prior: Annotated[tuple[PriorRow, ...], Strict(False)] = Field(
        description="One for each limit.", json_schema_extra={"minItems": 1},
        examples=[[{"limit": "VMO", "source": "margins of 2,140 flights",
                    "edges": [-10, 0, 10, 40], "counts": [2, 85, 910]}]])

    @model_validator(mode="after")
    def _named_once(self) -> PriorsFile:
        if not self.prior:
            refuse("the file holds no prior", "write at least one [[prior]]", "prior")
        seen: set[str] = set()
        for row, prior in enumerate(self.prior):
            if prior.limit in seen:
                refuse(f'two priors are given for the limit "{prior.limit}"', "keep one of them",
                       "prior", row, "limit")
            seen.add(prior.limit)
        return self


def read_priors(path: str | Path) -> PriorsFile:
    """Read a priors file.

    Raises
    ------
    Problem
        For a file that can't be read or doesn't hold priors; it names the key and the hint.

    Examples
    --------
    >>> from pathlib import Path
    >>> import loganalyze as la
    >>> text = ('prior = [{ limit = "VMO", source = "a fleet", '
    ...         "edges = [-10, 0, 10], counts = [1, 9] }]")
    >>> _ = Path("priors.toml").write_text(text, encoding="utf-8")
    >>> [prior.limit for prior in la.read_priors("priors.toml").prior]
    ['VMO']
    """
    return read_toml(path, PriorsFile)


def priors_toml(file: PriorsFile) -> str:
    """Return a priors file as it is written; `read_priors` reads the same from it."""
    rows = (row.model_dump(exclude_none=True, exclude_defaults=True) for row in file.prior)
    return "\n".join("[[prior]]\n" + "".join(
        f"{key} = {written(value)}\n" for key, value in row.items()) for row in rows)
