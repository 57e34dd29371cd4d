"""The description of the HTTP interface, OpenAPI 3.1, made from the table of its operations."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, TypeAdapter

from loganalyze.review.application.interface_operations import OPERATIONS, PLACES, Operation
from loganalyze.review.decisions.case_decisions import CaseRecord
from loganalyze.text.language import interface_words
from loganalyze.version import __version__


@dataclass(frozen=True)
class WrongField:
    """A field that can't be as it is; ``code`` : why, as pydantic names it."""

    field: str
    code: str
    message: str


@dataclass(frozen=True)
class Refusal:
    """Why something wasn't done.

    ``code`` : a word for programs; ``message`` : a sentence for people; ``current`` : where
    somebody else was faster, how things stand now.
    """

    code: str
    message: str
    fields: tuple[WrongField, ...] = ()
    current: CaseRecord | None = None


REFUSAL = TypeAdapter(Refusal)
_REFUSED = {"401": "not signed in", "403": "forbidden", "404": "not there", "413": "too long",
            "422": "wrong input"}
"""Statuses of every operation."""


def interface_description() -> dict[str, Any]:
    """Return the description of the whole interface."""
    adapters: dict[tuple[str, str], Any] = {("refusal", ""): REFUSAL}
    for operation in OPERATIONS:
        if operation.result not in (None, bytes):
            adapters[operation.name, "result"] = TypeAdapter(operation.result)
        if operation.body is not None:
            adapters[operation.name, "body"] = TypeAdapter(operation.body)
        if operation.query is not None:
            adapters[operation.name, "query"] = TypeAdapter(operation.query)
    schemas, shared = TypeAdapter.json_schemas(
        [(key, "serialization" if key[1] in ("result", "") else "validation", adapter)
         for key, adapter in adapters.items()], ref_template="#/components/schemas/{model}")
    found = {(name, part): schema for ((name, part), _), schema in schemas.items()}
    paths: dict[str, dict[str, Any]] = {}
    for operation in OPERATIONS:
        paths.setdefault(operation.path, {})[operation.method.lower()] = _described(
            operation, found
        )
    return {
        "openapi": "3.1.0",
        "info": {"title": interface_words.TITLE, "version": __version__,
                 "description": interface_words.DESCRIPTION},
        "paths": paths,
        "components": {
            "schemas": shared.get("$defs", {}),
            "securitySchemes": {"bearer": {"type": "http", "scheme": "bearer"}},
        },
        "security": [{"bearer": []}],
    }


def _described(operation: Operation, schemas: dict[tuple[str, str], Any]) -> dict[str, Any]:
    parameters = [{"name": name, "in": "path", "required": True,
                   "schema": {"type": "string", "pattern": PLACES[name]}}
                  for name in re.findall(r"{(\w+)}", operation.path)]
    if operation.query is not None:
        parameters += _query(operation.query)
    described: dict[str, Any] = {
        "operationId": operation.name, "summary": interface_words.SUMMARIES[operation.name],
        "parameters": parameters, "responses": _responses(operation, schemas)}
    if operation.permission is not None:
        described["description"] = interface_words.needs(operation.permission.value)
    if operation.body is not None:
        described["requestBody"] = {"required": True, "content": {
            "application/json": {"schema": schemas[operation.name, "body"]}}}
    return described


def _query(model: type[BaseModel]) -> list[dict[str, Any]]:
    schema = TypeAdapter(model).json_schema()
    shared = schema.get("$defs", {})
    return [
        {
            "name": name,
            "in": "query",
            "required": False,
            "explode": True,
            "schema": _flat(property_, shared),
        }
        for name, property_ in schema["properties"].items()
    ]


def _flat(schema: Any, shared: dict[str, Any]) -> Any:
    """Return a schema without references."""
    if isinstance(schema, dict):
        if "$ref" in schema:
            return _flat(shared[schema["$ref"].rpartition("/")[2]], shared)
        return {name: _flat(value, shared) for name, value in schema.items()}
    return [_flat(value, shared) for value in schema] if isinstance(schema, list) else schema


def _responses(operation: Operation, schemas: dict[tuple[str, str], Any]) -> dict[str, Any]:
    refusal = {"application/json": {"schema": schemas["refusal", ""]}}
    found: dict[str, Any] = {
        status: {"description": code, "content": refusal} for status, code in _REFUSED.items()}
    if operation.method != "GET":
        found["409"] = {"description": "outdated", "content": refusal}
    if operation.result is None:
        found["204"] = {"description": interface_words.DONE}
    elif operation.result is bytes:
        found["200"] = {"description": interface_words.FILE, "content": {
            operation.media: {"schema": {"type": "string"}}}}
    else:
        found["200"] = {"description": interface_words.RESULT, "content": {
            "application/json": {"schema": schemas[operation.name, "result"]}}}
    return found


