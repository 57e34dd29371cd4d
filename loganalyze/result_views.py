"""What a result shows of itself in a notebook: its picture, and its tables as data frames.

Pictures and tables are made far above the results, which may not know of them. The package connects
the two when it is imported: the makers are set here, and the results ask for them by name.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

_MAKERS: dict[str, Callable[..., Any]] = {}


def connect(name: str, maker: Callable[..., Any]) -> None:
    """Have `view` make what is called `name` by `maker`."""
    _MAKERS[name] = maker


def view(name: str, result: object, *more: object) -> Any:
    """Return what is called `name` of a result; raises KeyError where nothing makes it."""
    return _MAKERS[name](result, *more)
