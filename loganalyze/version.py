"""The version of this program, which every result states."""

from __future__ import annotations

__version__ = "0.1.0"
