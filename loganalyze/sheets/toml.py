"""One door for every file that people write: TOML in, a validated model or a Problem out."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Literal, NoReturn, TypeVar, get_args, get_origin

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from loganalyze.problems import Problem

LARGEST = 1_000_000
"""More bytes than anyone writes by hand: a recording given by mistake is refused unread."""


class Sheet(BaseModel):
    """The strictness that every written file shares."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)


M = TypeVar("M", bound=Sheet)


def refuse(what: str, mend: str, *key: str | int) -> NoReturn:
    """Refuse a value from inside a validator.

    Parameters
    ----------
    what, mend : str
        Clauses without a full stop, as in `Problem`.
    *key : str or int
        The rest of the key path, from the value under validation to the culprit.

    Raises
    ------
    PydanticCustomError
        Always; `read_toml` turns it into a Problem.
    """
    raise PydanticCustomError("refused", "{what}", {"what": what, "mend": mend, "key": key})


def read_toml(path: str | Path, model: type[M]) -> M:
    """Read a TOML file into a model.

    Parameters
    ----------
    path : path-like
        The file, UTF-8.
    model : type of Sheet
        What it should hold.

    Returns
    -------
    Sheet
        The validated, frozen model.

    Raises
    ------
    Problem
        For a file that can't be read, isn't TOML or doesn't fit the model: it names the file,
        the line or key, and the mend; with several mistakes the details list them all.
    """
    path = Path(path)
    data = _parsed(path)
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise _problem(path, model, data, error) from None


def written(value: Any) -> str:
    """Return a value as one would write it in a TOML file."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {written(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(written(item) for item in value) + "]"
    if isinstance(value, str | bool):
        return json.dumps(value, ensure_ascii=False)
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def nearest(name: str, names: Iterable[str], cutoff: float = 0.6) -> str | None:
    """Return the one of `names` that `name` was most likely meant to be, or None."""
    found = difflib.get_close_matches(name.casefold(), sorted(names), 1, cutoff)
    return found[0] if found else None


def choice(options: Iterable[Any]) -> str:
    """Return options as words: "a", "b" or "c"."""
    *others, last = [written(option) for option in options]
    return f"{', '.join(others)} or {last}" if others else last


def _parsed(path: Path) -> dict[str, Any]:
    where = str(path)
    try:
        if path.is_dir():
            raise Problem("this is a folder, not a file", where, "name the TOML file in it")
        with path.open("rb") as stream:
            content = stream.read(LARGEST + 1)
        if len(content) > LARGEST:
            raise Problem("over 1 MB, so not a file that someone wrote by hand", where,
                          "check that it isn't a recording given in the sheet's place")
        return tomllib.loads(content.decode("utf-8-sig"))
    except FileNotFoundError:
        raise Problem("there is no such file", where, "check the path") from None
    except PermissionError:
        raise Problem("no permission to read the file", where,
                      "allow reading it, or give another file") from None
    except OSError as error:
        raise Problem(f"the file can't be read ({error.strerror})", where,
                      "check the path") from None
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise Problem("the text isn't UTF-8", f"{where}, line {line}",
                      "save the file as UTF-8 text") from None
    except tomllib.TOMLDecodeError as error:
        said = re.fullmatch(r"(.*?) \(at (?:line (\d+), column (\d+)|end of document)\)",
                            str(error), re.DOTALL)
        if said is None:
            raise Problem(f"not valid TOML ({error})", where, "mend the text there") from None
        at = f"line {said[2]}, column {said[3]}" if said[2] else "at its end"
        what = said[1][:1].lower() + said[1][1:]
        raise Problem(f"not valid TOML ({what})", f"{where}, {at}",
                      'write key = value, with text in "quotes"') from None


def _problem(path: Path, model: type[Sheet], data: dict[str, Any],
             error: ValidationError) -> Problem:
    found = error.errors(include_url=False)
    strange = [one for one in found if one["type"] == "extra_forbidden"]
    problems = []
    meant = set()
    for one in strange:
        near = nearest(str(one["loc"][-1]), _missing(found, one["loc"][:-1]))
        near = near or nearest(str(one["loc"][-1]), _keys(model, one["loc"][:-1]))
        meant.add((*one["loc"][:-1], near))
        mend = (f'write {near} if that is meant' if near
                else f"take it out, or write one of {', '.join(_keys(model, one['loc'][:-1]))}")
        problems.append((one["loc"], f'unknown key "{one["loc"][-1]}"', mend))
    for one in found:
        if one["type"] != "extra_forbidden" and one["loc"] not in meant:
            problems.append(_said(model, one))
    sentences = [Problem(what, _where(path, data, loc), mend) for loc, what, mend in problems]
    first = sentences[0]
    if len(sentences) > 1:
        first.details = "\n".join([f"{len(sentences)} mistakes in this file:",
                                   *(f"  {one.sentence}" for one in sentences)])
    return first


def _said(model: type[Sheet], one: ErrorDetails) -> tuple[tuple[str | int, ...], str, str]:
    """Return an error as its key path, what is wrong, and the mend."""
    loc, kind, context = one["loc"], one["type"], one.get("ctx", {})
    if kind == "refused":
        return (*loc, *context["key"]), context["what"], context["mend"]
    key = next((str(part) for part in reversed(loc) if isinstance(part, str)), "")
    value = "" if isinstance(one["input"], dict | list) else f" = {written(one['input'])}"
    example = _example(model, loc)
    if kind == "missing":
        return loc, f'the key "{key}" is missing', f"write {example or key + ' = ...'}"
    mend = f"write {example}" if example else f"write another value for {key}"
    if kind == "literal_error":
        return loc, f"{key}{value} isn't one of the values it can have", mend
    wanted = next((words for start, words in _WANTED.items() if kind.startswith(start)), None)
    if wanted:
        return loc, f"{key}{value} is {_kind(one['input'])}, not {wanted}", mend
    return loc, one["msg"][:1].lower() + one["msg"][1:], mend


_WANTED = {"float": "a number", "int": "a whole number", "finite": "a number", "bool": "true or "
           "false", "string_type": "text", "tuple": "a list", "list": "a list",
           "model": "a table of keys", "dict": "a table of keys", "union": "a list"}


def _kind(value: Any) -> str:
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, str):
        return "text"
    if isinstance(value, int | float):
        return "a number" if abs(value) < float("inf") else "not finite"
    if isinstance(value, dict):
        return "a table of keys"
    return "a list" if isinstance(value, list | tuple) else "a date or time"


def _where(path: Path, data: Any, loc: Sequence[str | int]) -> str:
    """Return the file and key path, counted from 1: `f.toml, limit[2] "MMO", key maximum`."""
    parts: list[str] = [str(path)]
    keys: list[str] = []
    value = data
    rows = ""
    for depth, part in enumerate(loc):
        if isinstance(part, int):
            value = value[part] if isinstance(value, list) and part < len(value) else None
            if isinstance(value, dict) and len(keys) <= depth:
                name = value.get("name")
                parts.append(f"{'.'.join(keys)}[{part + 1}]"
                             + (f' "{name}"' if isinstance(name, str) else ""))
                keys = []
            else:
                rows += f", value {part + 1}" if rows else f", row {part + 1}"
        elif not isinstance(value, list):
            inner = value.get(part) if isinstance(value, dict) else None
            if depth == 0 and isinstance(inner, dict) and len(loc) > 1:
                parts.append(f"[{part}]")
            else:
                keys.append(str(part))
            value = inner
    if keys:
        parts.append(f"key {'.'.join(keys)}")
    return ", ".join(parts) + rows


def _models(annotation: Any) -> set[type[BaseModel]]:
    if isinstance(annotation, type) and get_origin(annotation) is None:
        return {annotation} if issubclass(annotation, BaseModel) else set()
    return set().union(*(_models(part) for part in get_args(annotation)))


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _models_at(model: type[BaseModel], loc: Sequence[str | int]) -> set[type[BaseModel]]:
    """Return the models that could stand at a key path (rows and union tags lead nowhere)."""
    models: set[type[BaseModel]] = {model}
    for part in loc:
        fields = [_fields(one)[part] for one in models if part in _fields(one)]
        if fields:
            models = set().union(*(_models(field.annotation) for field in fields))
    return models


def _keys(model: type[BaseModel], loc: Sequence[str | int]) -> list[str]:
    return [key for one in _models_at(model, loc) for key in _fields(one)]


def _missing(found: Sequence[ErrorDetails], loc: Sequence[str | int]) -> list[str]:
    return [str(one["loc"][-1]) for one in found
            if one["type"] == "missing" and one["loc"][:-1] == loc]


def _example(model: type[BaseModel], loc: Sequence[str | int]) -> str:
    """Return how the key at the end of a path is written, from its type or its example."""
    names = [part for part in loc if isinstance(part, str)]
    for end in range(len(loc), 0, -1):
        if not isinstance(loc[end - 1], str):
            continue
        for one in _models_at(model, loc[: end - 1]):
            field = _fields(one).get(str(loc[end - 1]))
            if field is None:
                continue
            options = _options(field.annotation)
            if options:
                return f"{names[-1]} = {choice(options)}"
            if field.examples:
                return str(field.examples[0]) if not isinstance(field.examples[0], str) else ""
    return ""


def _options(annotation: Any) -> tuple[Any, ...]:
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    return next((found for part in get_args(annotation) if (found := _options(part))), ())
