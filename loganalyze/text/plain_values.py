"""Plain values: what JSON holds, measured numbers to nine decimals, unknown ones as None."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from enum import Enum
from pathlib import PurePath
from typing import Any

import numpy as np


def plain(value: Any) -> Any:
    """Return a value as JSON can hold it.

    Parameters
    ----------
    value
        None, text, a number, an enumeration, an instant, an array, a path, a data class, a mapping
        or an iterable, nested at will.

    Returns
    -------
    None, str, bool, int, float, list or dict
        NaN, NaT and infinities are None, a path its last name, an instant as `utc_text` gives it;
        a data class is a dict of its fields, without those marked "left out" that are None or
        empty. Numbers aren't rounded.

    Raises
    ------
    TypeError
        For a value of another kind.
    """
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, np.datetime64):
        return utc_text(value)
    if isinstance(value, np.generic | np.ndarray):
        return plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, PurePath):
        return value.name
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if hasattr(value, "__dataclass_fields__"):
        return {name: item for name, item, needed in (
            (field.name, plain(getattr(value, field.name)), not field.metadata.get("left out"))
            for field in fields(value)) if needed or item not in (None, [])}
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    raise TypeError(f"no plain form for a {type(value).__name__}")


def rounded(value: float) -> float | None:
    """Return a measured value to nine decimals, or None for NaN and infinities.

    Parameters
    ----------
    value : float
        In any unit.

    Returns
    -------
    float or None

    Notes
    -----
    Nine decimals are finer than any recorder; the bits beyond differ between processors.
    """
    return round(float(value), 9) if math.isfinite(value) else None


def utc_text(instant: np.datetime64 | None) -> str | None:
    """Return an instant as ISO 8601 text, to the millisecond.

    Parameters
    ----------
    instant : datetime64 or None
        In UTC.

    Returns
    -------
    str or None
        Such as ``2026-03-01T10:15:00.250Z``; None for None and NaT.
    """
    if instant is None or np.isnat(instant):
        return None
    return f"{np.datetime_as_string(instant, unit='ms')}Z"


def settled(value: Any) -> Any:
    """Return a value with every float in it to nine decimals.

    Parameters
    ----------
    value
        A float, or data classes, mappings and tuples of them; a list stays as it is.

    Returns
    -------
    object
        Of the same kind and shape; NaN and infinities are NaN.
    """
    if isinstance(value, float | np.floating):
        return round(float(value), 9) if math.isfinite(value) else float("nan")
    if isinstance(value, tuple):
        return tuple(settled(item) for item in value)
    if isinstance(value, Mapping):
        return {name: settled(item) for name, item in value.items()}
    if hasattr(value, "__dataclass_fields__"):
        return replace(value, **{
            field.name: settled(getattr(value, field.name)) for field in fields(value)})
    return value
