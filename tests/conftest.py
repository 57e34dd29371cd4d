"""Small logs and sheets, written in the trade's units; the tests here share their flights."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from loganalyze import FlightLog, LimitsSheet
from loganalyze.testing import engine, make_log, make_sheet

for folder in ("crosscheck", "events", "phases", "quantities", "uncertainty"):
    sys.path.insert(0, str(Path(__file__).parent / folder))

settings.register_profile("judge", deadline=None, derandomize=True)
settings.load_profile("judge")


VMO = {"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250.0}
MMO = {"name": "MMO", "quantity": "mach", "maximum": 0.5}


@pytest.fixture
def log() -> Callable[..., FlightLog]:
    return make_log


@pytest.fixture
def sheet() -> Callable[..., LimitsSheet]:
    return make_sheet


@pytest.fixture
def vmo() -> dict[str, Any]:
    return dict(VMO)


@pytest.fixture
def mmo() -> dict[str, Any]:
    return dict(MMO)


@pytest.fixture
def choose_engine() -> Iterator[Callable[..., None]]:
    """Choose the engine, and its blocks, for the rest of the test."""
    with ExitStack() as stack:
        yield lambda *which, **block: stack.enter_context(engine(*which, **block))
