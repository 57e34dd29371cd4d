"""Small logs and sheets, written in the trade's units; the tests here share their flights."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import settings

from loganalyze.record.channels import kind
from loganalyze.record.flight_log import Channel, FlightLog, Source
from loganalyze.sheets.limits_sheet import LimitsSheet

for folder in ("crosscheck", "events", "phases", "quantities", "uncertainty"):
    sys.path.insert(0, str(Path(__file__).parent / folder))

settings.register_profile("judge", deadline=None, derandomize=True)
settings.load_profile("judge")


def make_log(time: Any, interval_s: float | None = None, **channels: Any) -> FlightLog:
    """Return a log; each channel in its edge unit at every row, or a Channel as it is."""
    stamps = np.asarray(time, dtype=np.float64)
    kept = {}
    for name, values in channels.items():
        if not isinstance(values, Channel):
            known = kind(name)
            unit = known.unit if known else None
            numbers = np.broadcast_to(np.asarray(values, dtype=np.float64), stamps.shape)
            if unit:
                numbers = numbers * unit.factor + unit.offset
            values = Channel(np.array(numbers), column=name.upper())
        kept[name] = values
    if interval_s is None:
        interval_s = float(np.median(np.diff(stamps))) if len(stamps) > 1 else float("nan")
    return FlightLog(stamps, kept, Source(Path("made.csv")), interval_s=interval_s)


def make_sheet(*limits: dict[str, Any], recorded: str = "calibrated",
               temperature: dict[str, Any] | None = None, **airspeed: Any) -> LimitsSheet:
    """Return a sheet of limits given as their tables."""
    stated: dict[str, Any] = {
        "aircraft": "an invented twin",
        "airspeed": {"recorded": recorded, **airspeed},
        "limit": list(limits),
    }
    if temperature is not None:
        stated["temperature"] = temperature
    return LimitsSheet.model_validate(stated)


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
