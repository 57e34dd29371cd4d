"""Findings as codes and values; sentences are made of them elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Finding:
    """Something that the reader of the result must know: a code and its values."""

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)
