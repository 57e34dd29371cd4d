"""A made-up language: every word and sentence of the English one between marks."""

import inspect
import re
from dataclasses import fields, is_dataclass, replace
from functools import wraps
from importlib import import_module
from types import SimpleNamespace

OPEN, SHUT = "⟦", "⟧"
_ENDS = re.compile(f"[{OPEN}{SHUT}]")


def marked(value):
    """Return a text between marks, or a value with every text in it so; keys are no texts."""
    if isinstance(value, str):
        return f"{OPEN}{value}{SHUT}" if re.search("[A-Za-z]", value) else value
    if isinstance(value, dict):
        return {key: marked(item) for key, item in value.items()}
    if type(value) in (tuple, list):
        return type(value)(marked(item) for item in value)
    if is_dataclass(value) and type(value).__module__.startswith("loganalyze.text."):
        return replace(value, **{one.name: marked(getattr(value, one.name))
                                 for one in fields(value)})
    if inspect.isgenerator(value):
        return (marked(item) for item in value)
    if inspect.isfunction(value):
        return wraps(value)(lambda *args, **named: marked(value(*args, **named)))
    return value


def module(place: str) -> SimpleNamespace:
    """Return a module of the English language with every text that it gives between marks."""
    english = import_module(f"loganalyze.text.en.{place}")
    return SimpleNamespace(**{
        name: value if name == "LANGUAGE" else marked(value)
        for name, value in vars(english).items()
        if not name.startswith("__") and not inspect.ismodule(value)})


def unmarked(text: str) -> str:
    """Return what of a text stands between no marks; a mark that lacks its other half raises."""
    left, depth, end = [], 0, 0
    for mark in _ENDS.finditer(text):
        if not depth:
            left.append(text[end:mark.start()])
        depth += 1 if mark.group() == OPEN else -1
        assert depth >= 0, text[:mark.end()][-300:]
        end = mark.end()
    assert not depth, text[-300:]
    return " ".join([*left, text[end:]])


def words(text: str) -> set[str]:
    """Return the words between no marks: runs of two letters at least."""
    return set(re.findall(r"[^\W\d_]{2,}", unmarked(text)))
