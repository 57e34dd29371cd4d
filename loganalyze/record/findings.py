"""Findings as codes and values; `text` turns them into sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Finding:
    """A finding to report with the result: a code, and the values that its sentence needs."""

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)
