"""Rows without what tells whose they are, and the rows that tell it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from functools import partial
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from loganalyze.fleet.protection.secret_key import SecretKey
from loganalyze.show.tables.table_columns import Column, texts

IDENTITIES = "identities"
IDENTITY_COLUMNS = (
    Column("flight_key", "string", "", "the flight's key; blank for a log that couldn't be judged"),
    Column("pseudonym", "string", "", "what `source` of flights and problems says instead", True),
    Column("source", "string", "", "path or address of the log", True),
    Column("log", "string", "", "file name of the log"),
    Column("aircraft", "string", "", "aircraft, as fleet file or limits sheet name it"),
    Column("registration", "string", "", "registration, where the log or its path states one"),
    Column("limits_sheet", "string", "", "file name of the limits sheet"),
    Column("tags", "string", "", "all tags of the aircraft, a JSON object"),
    Column("start_utc", "datetime", "", "UTC of the flight's first sample; of a log that couldn't "
           "be judged the day on which that was first met"),
    Column("reason", "string", "", "why a log isn't in `flights`, as a sentence"),
    Column("own_sha256", "string", "", "SHA-256 of the log's bytes, of which `log_sha256` of "
           "flights is a keyed hash"),
)

PSEUDONYMS = {"source": "log", "aircraft": "aircraft", "registration": "aircraft",
              "limits_sheet": "sheet"}
"""Columns whose values become pseudonyms, and the word that these begin with. Aircraft and
registration share one: where they are the same, they stay the same."""
BLANKED = ("log", "set_by", "utc")
"""Columns that a protected store leaves blank."""
COARSE = "start_utc"
"""The column of instants that become the first of their month."""
PERSONS = frozenset((
    "captain", "commander", "copilot", "crew", "employee", "examiner", "fo", "first_officer",
    "instructor", "licence", "license", "officer", "pf", "pic", "pilot", "pm", "person", "sic",
    "staff", "student", "trainee"))
"""Names of tags that mean a person; no table is made by any of them."""
_HIDDEN = re.compile(r"(?:log|aircraft|sheet)-[0-9a-f]{24}", re.ASCII)


def pseudonym(key: SecretKey, word: str, name: str) -> str:
    """Return what stands for a name: `word` and 96 bits of its keyed hash; of one, itself."""
    if _HIDDEN.fullmatch(name):
        return name
    return f"{word}-{key.digest(word, name)[:24]}"


def is_pseudonym(name: str) -> bool:
    """Whether a name is one that `pseudonym` has made."""
    return bool(_HIDDEN.fullmatch(name))


def means_person(tag: str) -> bool:
    """Whether the name of a tag says that it is of a person."""
    words = re.split(r"[^a-z]+", tag.casefold())
    joined = "_".join(word for word in words if word)
    return joined in PERSONS or any(
        word in PERSONS or word.removesuffix("s") in PERSONS for word in words)


def without_persons(tags: str) -> str:
    """Return a JSON object of tags without those that mean a person."""
    return json.dumps({name: value for name, value in json.loads(tags).items()
                       if not means_person(name)})


def protected_table(key: SecretKey, table: pa.Table) -> pa.Table:
    """Return a table of the store with pseudonyms in place of names, and months of instants.

    Columns, their order and their types stay.
    """
    for place, name in enumerate(table.column_names):
        column = table.column(name)
        if name in PSEUDONYMS:
            made = _mapped(column, partial(pseudonym, key, PSEUDONYMS[name]))
        elif name in BLANKED:
            made = pa.nulls(table.num_rows, column.type)
        elif name == COARSE:
            made = pc.floor_temporal(column, unit="month")
        elif name == "tags":
            made = _mapped(column, without_persons)
        else:
            continue
        table = table.set_column(place, table.schema.field(name), made)
    return table


def identity_rows(key: SecretKey, flights: pa.Table, own_sha256: Mapping[str, str],
                  ) -> list[tuple[Any, ...]]:
    """Return the rows of `identities` for a table of `flights` that isn't protected yet.

    `own_sha256` gives the SHA-256 of a log's bytes by what the store knows them by.
    """
    columns = {name: flights.column(name).to_pylist() for name in (
        "flight_key", "source", "log", "aircraft", "registration", "limits_sheet", "tags",
        "start_utc", "log_sha256")}
    return [
        (flight_key, pseudonym(key, "log", source), source, log, aircraft, registration, sheet,
         tags, instant_text(start), None, own_sha256[digest])
        for flight_key, source, log, aircraft, registration, sheet, tags, start, digest in zip(
            *columns.values(), strict=True)]


def instant_text(instant: datetime | None) -> str | None:
    """Return an instant as the tables take it; None stays."""
    return None if instant is None else f"{instant.replace(tzinfo=None).isoformat()}Z"


def _mapped(column: Any, change: Callable[[str], str]) -> pa.Array:
    values: Sequence[str | None] = column.to_pylist()
    known = {value: change(value) for value in {*values} - {None} if value is not None}
    return texts([None if value is None else known[value] for value in values])
