"""Interpret and correct the recorded air data as the limits sheet states.

The order is: instrument correction, position correction, then the effect of the same
static-source error on the altitude. A correction that the sheet doesn't state is not applied; how
the channels were interpreted is kept as findings. `channel_choice` has the order of channels.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import assert_never

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere, probes
from loganalyze.airdata import channel_choice, condition_states
from loganalyze.quantities.limited_quantity import LimitedQuantity
from loganalyze.record import sample_reasons
from loganalyze.record.arrays import Bits, Floats
from loganalyze.record.channels import kind
from loganalyze.record.findings import Finding
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.units import KNOT
from loganalyze.sheets.limits_sheet import LimitsSheet

_LOOK = 65_536
"""Rows that are looked at together: the first of them mostly settle it."""


@dataclass(frozen=True, eq=False)
class AirData:
    """Recorded air data at every row of a log, float64[n] in SI; NaN where missing.

    ``indicated_airspeed`` is free of instrument error (None where the recorder kept calibrated
    airspeed); ``indicated_pressure_altitude`` and ``pressure_altitude`` differ by the
    static-source error. ``temperature`` is the probe's reading: static temperature where
    ``recovery_factor`` is 0. ``speed_rounding`` is the greatest relative error of the
    file's number format.
    """

    indicated_airspeed: Floats | None
    calibrated_airspeed: Floats
    indicated_pressure_altitude: Floats
    pressure_altitude: Floats
    temperature: Floats | None
    recovery_factor: float
    position: NDArray[np.intp] | None
    """Which of the sheet's position tables applies at each row; -1 where that is unknown."""
    position_tables: tuple[probes.CorrectionTable, ...]
    findings: tuple[Finding, ...]
    speed_rounding: float = 0.0
    recorded_airspeed: Floats | None = None
    """The airspeed as recorded, where that isn't the calibrated airspeed."""
    rejected: tuple[NDArray[np.intp], Bits] | None = None
    """Rows with reasons to exclude a sample, increasing, and those reasons."""
    airspeed_sources: tuple[str, ...] = ()
    altitude_sources: tuple[str, ...] = ()
    """The recorded channels that airspeed and pressure altitude are derived from."""
    others: Mapping[str, Floats] = field(default_factory=dict)
    """Further channels that the sheet's limits need, by name; NaN where implausible."""
    other_roundings: Mapping[str, float] = field(default_factory=dict)
    """The greatest relative error of the number format of each channel in ``others``."""

    @cached_property
    def has_altitude(self) -> bool:
        """Whether the pressure altitude is recorded at any row."""
        altitude = self.pressure_altitude
        return any(not np.isnan(altitude[first : first + _LOOK]).all()
                   for first in range(0, len(altitude), _LOOK))

    @property
    def screened_airspeed(self) -> Floats:
        """The airspeed that the plausibility checks use: the recorded one."""
        return (
            self.calibrated_airspeed if self.recorded_airspeed is None else self.recorded_airspeed
        )

    @property
    def screened_altitude(self) -> Floats:
        """The altitude that the plausibility checks use: the recorded one."""
        return (
            self.pressure_altitude if self.recorded_airspeed is None
            else self.indicated_pressure_altitude
        )

    @property
    def altitude_mask(self) -> np.uint16:
        """Reasons that exclude the pressure altitude.

        Where a correction made it depend on the airspeed, the reasons against that count too.
        """
        moved = self.screened_altitude is not self.pressure_altitude
        return (
            sample_reasons.ALTITUDE | sample_reasons.AIRSPEED if moved else sample_reasons.ALTITUDE
        )

    @property
    def indicated_altitude_mask(self) -> np.uint16:
        """Reasons that exclude the indicated pressure altitude; as for `altitude_mask`."""
        moved = self.screened_altitude is not self.indicated_pressure_altitude
        return (
            sample_reasons.ALTITUDE | sample_reasons.AIRSPEED if moved else sample_reasons.ALTITUDE
        )

    def reasons_at(self, rows: NDArray[np.intp]) -> Bits:
        """Return the reasons to exclude the samples of the given rows; 0 where there are none."""
        if self.rejected is None or not len(self.rejected[0]):
            return np.zeros(rows.shape, dtype=np.uint16)
        where, reasons = self.rejected
        found = np.searchsorted(where, rows).clip(max=len(where) - 1)
        return np.where(where[found] == rows, reasons[found], np.uint16(0))

    @property
    def corrected(self) -> bool:
        """Whether any correction changed the recorded airspeed or altitude."""
        return (
            bool(self.position_tables)
            or self.indicated_pressure_altitude is not self.pressure_altitude
        )

    def rounding_of(self, quantity: LimitedQuantity) -> float:
        """Return the greatest relative error of the number format of a quantity's channels."""
        return max((self.other_roundings.get(name, 0.0) for name in quantity.channels),
                   default=self.speed_rounding)

    def lacks(self, quantity: LimitedQuantity) -> tuple[str, ...]:
        """Return the channels that a quantity needs and the log doesn't hold."""
        return tuple(name for name in quantity.channels if name not in self.others)

    def calibrated_from_indicated(self, indicated: Floats, rows: NDArray[np.intp]) -> Floats:
        """Calibrated airspeed [m/s] of an indicated one at the given rows."""
        if not self.position_tables:
            return indicated
        return _by_table(self, "corrected", indicated, rows)

    def indicated_from_calibrated(self, calibrated: Floats, rows: NDArray[np.intp]) -> Floats:
        """Indicated airspeed [m/s] of a calibrated one at the given rows."""
        if not self.position_tables:
            return calibrated
        return _by_table(self, "uncorrected", calibrated, rows)


def _by_table(air: AirData, method: str, speed: Floats, rows: NDArray[np.intp]) -> Floats:
    given = np.broadcast_to(speed, rows.shape)
    if air.position is None:
        return np.asarray(getattr(air.position_tables[0], method)(given))
    chosen = air.position[rows]
    result = np.full(rows.shape, np.nan)
    for i, table in enumerate(air.position_tables):
        here = chosen == i
        result[here] = getattr(table, method)(given[here])
    return result


def recover(log: FlightLog, sheet: LimitsSheet, declared: Mapping[str, float]) -> AirData:
    """Interpret the recorded air data as the limits sheet states, and correct them.

    `declared` holds states [SI] of channels that aren't recorded, by channel. Raises Problem
    when the log holds no channel from which the airspeed can be derived.
    """
    findings: list[Finding] = []
    height = channel_choice.altitude_of(log)
    speed = channel_choice.airspeed_of(log, sheet, height)
    recorded, altitude = speed.values, height.values
    findings += [chosen.finding for chosen in (height, speed) if chosen.finding is not None]
    temperature, recovery = _temperature(log, sheet, findings)

    tables = tuple(row.correction for row in sheet.airspeed.position_tables)
    position = _position(log, sheet, declared)
    rows = np.arange(len(log)) if tables else np.empty(0, dtype=np.intp)
    others = _others(log, sheet)
    bare = AirData(None, recorded, altitude, altitude, temperature, recovery, position, tables,
                   (), speed.rounding, airspeed_sources=speed.sources,
                   altitude_sources=height.sources, others=others,
                   other_roundings={name: log.channels[name].rounding for name in others})
    if sheet.airspeed.recorded == "calibrated" or speed.kind in ("calibrated", "mach"):
        column = {"column": log.channels[speed.sources[0]].column}
        if speed.kind == "indicated":
            findings.append(Finding("sheet_says_calibrated", column))
        elif speed.kind == "calibrated" and sheet.airspeed.recorded == "indicated":
            findings.append(Finding("column_says_calibrated", column))
        if sheet.airspeed.instrument_table is not None:
            findings.append(Finding("instrument_correction_not_for_calibrated"))
        if sheet.airspeed.altimeter_table is not None and height.sources:
            findings.append(Finding("altimeter_correction_not_for_calibrated"))
        if any(limit.kind.as_indicated for limit in sheet.limit):
            findings.append(
                Finding("indicated_from_tables" if tables else "calibrated_taken_as_indicated")
            )
        if not tables:
            return replace(bare, findings=tuple(findings))
        indicated = bare.indicated_from_calibrated(recorded, rows)
        indicated_altitude = altitude
        if sheet.airspeed.static_source_corrected is False:
            if height.sources:
                findings.append(Finding("static_source_coupling_applied"))
            true_altitude = sample_reasons.HEIGHT.plausible(
                _static_source(indicated, recorded, altitude)
            )
            return replace(bare, indicated_airspeed=indicated, pressure_altitude=true_altitude,
                           findings=tuple(findings), recorded_airspeed=recorded)
        if sheet.airspeed.static_source_corrected is None:
            # Where the airspeed is calibrated, so is the altitude, unless the sheet denies it.
            indicated_altitude = _static_source(recorded, indicated, altitude)
        return replace(bare, indicated_airspeed=indicated,
                       indicated_pressure_altitude=indicated_altitude,
                       findings=tuple(findings))

    indicated = recorded
    instrument = sheet.airspeed.instrument_table
    if instrument is not None and speed.kind == "pressures":
        findings.append(Finding("instrument_correction_not_for_pressures"))
    elif instrument is not None:
        indicated = np.asarray(instrument.corrected(recorded))
        findings.append(Finding("instrument_correction_applied"))
    calibrated = bare.calibrated_from_indicated(indicated, rows)
    if tables:
        outside = int((np.isnan(calibrated) & ~np.isnan(indicated)).sum())
        findings.append(Finding("position_correction_applied", {"outside_samples": outside}))
    elif speed.kind == "pressures":
        findings.append(Finding("pressures_taken_as_corrected"))
    else:
        findings.append(Finding("indicated_taken_as_calibrated"))
    true_altitude = altitude
    if sheet.airspeed.altimeter_table is not None:
        at, add = sheet.airspeed.altimeter_table
        true_altitude = altitude + np.interp(indicated, at, add, left=np.nan, right=np.nan)
        if height.sources:
            findings.append(Finding("altimeter_correction_applied"))
    elif tables and not sheet.airspeed.static_source_corrected:
        true_altitude = _static_source(indicated, calibrated, altitude)
        if height.sources:
            findings.append(Finding("static_source_coupling_applied"))
    if true_altitude is not altitude:
        true_altitude = sample_reasons.HEIGHT.plausible(true_altitude)
    return replace(bare, indicated_airspeed=indicated, calibrated_airspeed=calibrated,
                   pressure_altitude=true_altitude, findings=tuple(findings),
                   recorded_airspeed=recorded)


def _others(log: FlightLog, sheet: LimitsSheet) -> dict[str, Floats]:
    """The further recorded channels that the sheet's limits need, NaN where implausible."""
    found = {}
    for name in dict.fromkeys(name for limit in sheet.limit for name in limit.kind.channels):
        if name in log:
            values, known = log.aligned(name), kind(name)
            low, high = (-np.inf, np.inf) if known is None else known.bounds
            found[name] = np.where((values >= low) & (values <= high), values, np.nan)
    return found


def _position(
    log: FlightLog, sheet: LimitsSheet, declared: Mapping[str, float]
) -> NDArray[np.intp] | None:
    rows = sheet.airspeed.position_tables
    if not any(row.conditions for row in rows):
        return None
    chosen = np.full(len(log), -1, dtype=np.intp)
    for i, row in enumerate(rows):
        chosen[condition_states.applies(row.conditions, log, declared) == condition_states.YES] = i
    return chosen


def _static_source(indicated: Floats, calibrated: Floats, altitude: Floats) -> Floats:
    # p - [q_c(to) - q_c(from)]: exchanging the two speeds gives the inverse correction.
    # Recorder fill values lie outside the range of the formulas; they are screened later.
    usable = (
        (indicated >= 0) & (indicated < 1000 * KNOT)
        & (calibrated >= 0) & (calibrated < 1000 * KNOT)
        & (altitude > -1000) & (altitude < 20000)
    )
    # A correction that leads outside the standard atmosphere's layers is not a real one.
    ratio = atmosphere.pressure_ratio(altitude[usable]) - (
        airspeed.impact_ratio_from_cas(calibrated[usable])
        - airspeed.impact_ratio_from_cas(indicated[usable])
    )
    usable[usable] = (ratio > channel_choice.THINNEST) & (ratio < channel_choice.DENSEST)
    moved = np.full(altitude.shape, np.nan)
    moved[usable] = probes.static_source_pressure_altitude(
        indicated[usable], calibrated[usable], altitude[usable]
    )
    return moved


def _temperature(
    log: FlightLog, sheet: LimitsSheet, findings: list[Finding]
) -> tuple[Floats | None, float]:
    stated = sheet.temperature
    if "static_air_temperature" in log:
        return log.aligned("static_air_temperature"), 0.0
    if "total_air_temperature" in log:
        factor = stated.recovery_factor if stated and stated.recovery_factor else 1.0
        findings.append(Finding("total_temperature_reduced", {"recovery_factor": factor}))
        return log.aligned("total_air_temperature"), factor
    if "outside_air_temperature" not in log:
        findings.append(Finding("no_temperature"))
        return None, 0.0
    if stated is None:
        findings.append(Finding("temperature_kind_unknown"))
        return None, 0.0
    match stated.outside_air:
        case "static":
            return log.aligned("outside_air_temperature"), 0.0
        case "total" | "probe":
            factor = stated.recovery_factor if stated.recovery_factor is not None else 1.0
            findings.append(Finding(f"{stated.outside_air}_temperature_reduced",
                                    {"recovery_factor": factor}))
            return log.aligned("outside_air_temperature"), factor
        case _:
            assert_never(stated.outside_air)
