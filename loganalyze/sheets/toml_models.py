"""Reader of all files written by users: from TOML to a validated model, or a Problem."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NoReturn, TypeVar, get_args, get_origin

from pydantic import (
    BaseModel,
    ConfigDict,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationError,
)
from pydantic_core import PydanticCustomError, core_schema

from loganalyze.problems import Problem

if TYPE_CHECKING:
    from pydantic.json_schema import JsonSchemaValue

LARGEST = 1_000_000
"""Greatest size [bytes]; a larger file, such as a recording given by mistake, is not read."""


class Sheet(BaseModel):
    """The strictness that every written file shares."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)


M = TypeVar("M", bound=Sheet)


@dataclass(frozen=True)
class OneOf:
    """Marks a text field whose allowed values are known only at run time."""

    names: Callable[[], tuple[str, ...]]

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Refuse any other text, as a Literal would."""
        def check(name: Any) -> Any:
            if name not in self.names():
                raise PydanticCustomError("literal_error", "not one of its values")
            return name

        return core_schema.no_info_before_validator_function(check, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Write the names into the schema."""
        return {**handler(schema), "enum": list(self.names())}


def refuse(what: str, hint: str, *key: str | int) -> NoReturn:
    """Refuse a value from inside a validator.

    Parameters
    ----------
    what, hint : str
        Clauses without a full stop, as in `Problem`.
    *key : str or int
        The rest of the key path, from the value under validation to the culprit.

    Raises
    ------
    PydanticCustomError
        Always; `read_toml` turns it into a Problem.
    """
    raise PydanticCustomError("refused", "{what}", {"what": what, "hint": hint, "key": key})


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
        the line or key, and the hint; with several mistakes the details list them all.
    """
    path = Path(path)
    return parse_toml(_content(path), model, path)


def parse_toml(content: bytes, model: type[M], path: Path) -> M:
    """Return the model that the content of a TOML file holds; as `read_toml`, which reads it."""
    data = _parsed(content, str(path))
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


def _content(path: Path) -> bytes:
    where = str(path)
    try:
        if path.is_dir():
            raise Problem("this is a folder, not a file", where, "name the TOML file in it")
        with path.open("rb") as stream:
            content = stream.read(LARGEST + 1)
    except FileNotFoundError:
        raise Problem("there is no such file", where, "check the path") from None
    except PermissionError:
        raise Problem("no permission to read the file", where,
                      "allow reading it, or give another file") from None
    except OSError as error:
        raise Problem(f"the file can't be read ({error.strerror})", where,
                      "check the path") from None
    if len(content) > LARGEST:
        raise Problem("over 1 MB, so not a file that someone wrote by hand", where,
                      "check that it isn't a recording given in the sheet's place")
    return content


def _parsed(content: bytes, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise Problem("the text isn't UTF-8", f"{where}, line {line}",
                      "save the file as UTF-8 text") from None
    except RecursionError:
        raise Problem("the lists in it are nested too deeply", where,
                      "write rows of two numbers") from None
    except ValueError as error:
        parts = re.fullmatch(r"(.*?) \(at (?:line (\d+), column (\d+)|end of document)\)",
                            str(error), re.DOTALL)
        if parts is None:
            raise Problem(f"not valid TOML ({error})", where, "correct the text there") from None
        at = f"line {parts[2]}, column {parts[3]}" if parts[2] else "at its end"
        what = parts[1][:1].lower() + parts[1][1:]
        hint = ("write each key and each [table] once" if "overwrite" in what or "twice" in what
                else 'write key = value, with text in "quotes" and a point in decimals')
        raise Problem(f"not valid TOML ({what})", f"{where}, {at}", hint) from None


def _problem(path: Path, model: type[Sheet], data: dict[str, Any],
             error: ValidationError) -> Problem:
    found: list[dict[str, Any]] = [{**detail, "loc": _key_path(data, detail["loc"])}
                                   for detail in error.errors(include_url=False)]
    missing = [detail["loc"] for detail in found if detail["type"] == "missing"]
    meant = set()
    problems = []
    for detail in found:
        if detail["type"] == "extra_forbidden":
            place, key = detail["loc"][:-1], detail["loc"][-1]
            keys = _keys(model, place)
            near = (nearest(key, [loc[-1] for loc in missing if loc[:-1] == place])
                    or nearest(key, keys))
            meant.add((*place, near))
            problems.append(Problem("unknown key", _where(path, data, detail["loc"]),
                                    f"write {near} if that is meant" if near else
                                    f"take it out, or write one of {', '.join(keys)}"))
    for detail in found:
        if detail["type"] != "extra_forbidden" and detail["loc"] not in meant:
            loc, what, hint = _described(model, detail)
            problems.append(Problem(what, _where(path, data, loc), hint))
    first = problems[0]
    if len(problems) > 1:
        first.details = "\n".join([f"{len(problems)} mistakes found:",
                                   *(f"  {problem.sentence}" for problem in problems)])
    return first


def _described(
    model: type[Sheet], error: dict[str, Any]
) -> tuple[tuple[str | int, ...], str, str]:
    """Return an error as its key path, what is wrong, and the hint."""
    loc, kind = error["loc"], error["type"]
    if kind == "refused":
        context = error["ctx"]
        return (*loc, *context["key"]), context["what"], context["hint"]
    hint = f"write {_example(model, loc)}"
    if kind == "missing":
        return loc[:-1], f'the key "{loc[-1]}" is missing', hint
    value = written(error["input"])
    value = value if len(value) < 50 else f"{value[:45]} ..."
    if kind == "string_too_short":
        return loc, "the text is empty", hint
    if kind == "string_too_long":
        return loc, f"the text is longer than {error['ctx']['max_length']} characters", hint
    if kind == "string_pattern_mismatch":
        return loc, f"{value} isn't one line without blanks at its ends", hint
    if kind == "literal_error":
        return loc, f"{value} isn't one of its values", hint
    wanted = next((words for start, words in _WANTED.items() if kind.startswith(start)), None)
    if wanted is None:
        return loc, error["msg"][:1].lower() + error["msg"][1:], hint
    isnt = " is text, not" if isinstance(error["input"], str) else " isn't"
    return loc, f"{value}{isnt} {wanted}", hint


_WANTED = {"float": "a number", "finite": "a finite number", "bool": "true or false",
           "string_type": "text", "tuple": "a list", "model": "a table of keys",
           "dict": "a table of keys"}
"""What a value should have been, by the start of pydantic's name of the error."""


def _key_path(data: Any, loc: Sequence[str | int]) -> tuple[str | int, ...]:
    """Return a key path without pydantic's own marks (which branch of a union was tried)."""
    parts: list[str | int] = []
    value = data
    for part in loc:
        if isinstance(part, str) == isinstance(value, dict):
            parts.append(part)
            value = _inner(value, part)
    return tuple(parts)


def _inner(value: Any, part: str | int) -> Any:
    """Return what lies at a key or a row, or None where nothing does."""
    if isinstance(part, str):
        return value.get(part) if isinstance(value, dict) else None
    return value[part] if isinstance(value, list) and part < len(value) else None


def _where(path: Path, data: Any, loc: Sequence[str | int]) -> str:
    """Return the file and key path, counted from 1: `f.toml, limit[2] "MMO", key maximum`."""
    where, keys, cells = str(path), "", ["row", "value"]
    value: Any = data
    for depth, part in enumerate(loc):
        inner = _inner(value, part)
        if isinstance(part, str):
            if depth == 0 and isinstance(inner, dict):
                where += f", [{part}]"
            else:
                keys += f".{part}" if keys else part
        elif isinstance(inner, dict):
            name = inner.get("name")
            where += f", {keys}[{part + 1}]" + (f' "{name}"' if isinstance(name, str) else "")
            keys = ""
        else:
            keys += f", {cells.pop(0)} {part + 1}"
        value = inner
    return f"{where}, key {keys}" if keys else where


def _models(annotation: Any) -> set[type[BaseModel]]:
    if isinstance(annotation, type) and get_origin(annotation) is None:
        return {annotation} if issubclass(annotation, BaseModel) else set()
    return set().union(*(_models(part) for part in get_args(annotation)))


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _at(model: type[BaseModel], loc: Sequence[str | int]) -> tuple[set[type[BaseModel]], Any, bool]:
    """Follow a key path (its rows lead nowhere) through the models.

    Returns the models that could stand at its end, the last field on the way, and whether the
    path ends with a key of the user's own inside that field.
    """
    models: set[type[BaseModel]] = {model}
    field: Any = None
    own = False
    for part in (part for part in loc if isinstance(part, str)):
        if field is not None and get_origin(field.annotation) is dict and not own:
            own = True
            continue
        fields = [_fields(option)[part] for option in models if part in _fields(option)]
        if fields:
            field, own = fields[0], False
            models = _models(field.annotation)
    return models, field, own


def _keys(model: type[BaseModel], loc: Sequence[str | int]) -> list[str]:
    return [key for option in _at(model, loc)[0] for key in _fields(option)]


def _example(model: type[BaseModel], loc: Sequence[str | int]) -> str:
    """Return how the key at the end of a path is written, from its type and its example."""
    key = next(part for part in reversed(loc) if isinstance(part, str))
    _, field, own = _at(model, loc)
    marked = [mark.names() for mark in field.metadata if isinstance(mark, OneOf)]
    options, example = marked[0] if marked else _options(field.annotation), field.examples[0]
    if options:
        return f"{key} = {choice(options)}"
    if own:
        return f"it such as {key} = {written(next(iter(example.values())))}"
    if _fields(model).get(key) is field and isinstance(example, dict | list):
        rows = example if isinstance(example, dict) else example[0]
        header = f"[{key}]" if isinstance(example, dict) else f"[[{key}]]"
        return f"{header} and below it {', '.join(f'{k} = {written(v)}' for k, v in rows.items())}"
    return f"it such as {key} = {written(example)}"


def _options(annotation: Any) -> tuple[Any, ...]:
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    return next((found for part in get_args(annotation) if (found := _options(part))), ())
