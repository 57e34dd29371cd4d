"""What is wrong with a recording: what decides the verdict, found at once; the rest when asked."""

from __future__ import annotations

from loganalyze.judge.airdata import AirData
from loganalyze.judge.screening import Screen
from loganalyze.judge.settings import Settings
from loganalyze.record.log import FlightLog


def screen_of(
    log: FlightLog, air: AirData, settings: Settings, with_temperature: bool
) -> Screen:
    """Gather what the screening of the blocks looks at, and what was set aside beforehand."""
    temperature = air.temperature if with_temperature else None
    return Screen(log.time, air.screened_airspeed, air.screened_altitude, temperature, settings,
                  log.interval_s)
