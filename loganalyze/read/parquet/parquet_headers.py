"""The names and units of a Parquet file's columns, as its schema and metadata state them."""

from __future__ import annotations

import json
from functools import lru_cache

import pyarrow as pa

from loganalyze.read.columns.recognition import Header

_UNIT_KEYS = ("unit", "units", "uom", "unit of measure", "engineering units")


@lru_cache(maxsize=32)
def headers_of(schema: bytes) -> tuple[Header, ...]:
    """Return the headers of a schema's columns, kept for a fleet's files of the same schema.

    `schema` : as Arrow writes it, with all metadata.
    """
    columns = pa.ipc.read_schema(pa.py_buffer(schema))
    listed = listed_units(columns)
    return tuple(header_of(field, listed) for field in columns)


def header_of(field: pa.Field, listed: dict[str, str]) -> Header:
    """Return a column's name and the unit in its own metadata, or in the table's."""
    stated = {key.decode("utf-8", "replace").casefold().replace("_", " "):
              value.decode("utf-8", "replace") for key, value in (field.metadata or {}).items()}
    unit = next((stated[key] for key in _UNIT_KEYS if key in stated), "")
    unit, said_by = (unit, "the column's metadata") if unit else (
        listed.get(field.name, ""), "the table's metadata")
    return Header(field.name.strip(), unit, said_by if unit else "",
                  nested=str(field.type) if pa.types.is_nested(field.type) else "")


def listed_units(schema: pa.Schema) -> dict[str, str]:
    """Return the units that the table's metadata list: one key a column, or a table in JSON."""
    listed: dict[str, str] = {}
    for raw, text in (schema.metadata or {}).items():
        key, value = raw.decode("utf-8", "replace"), text.decode("utf-8", "replace")
        if key.casefold().replace("_", " ") in _UNIT_KEYS:
            try:
                table = json.loads(value)
            except ValueError:
                continue
            if isinstance(table, dict):
                listed |= {name: unit for name, unit in table.items() if isinstance(unit, str)}
        for mark in (".", ":", "/"):
            first, _, last = key.rpartition(mark)
            if last.casefold() in _UNIT_KEYS[:2]:
                listed[first] = value
            first, _, last = key.partition(mark)
            if first.casefold() in _UNIT_KEYS[:2]:
                listed[last] = value
    return listed
