"""The properties of a quantity that the evaluation of its limits needs.

A limit is a maximum of one quantity: an airspeed, a Mach number, a load factor. One class
per quantity holds everything in which they differ; a registered class (`quantity_registry`) can be
named in a limits sheet.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import ClassVar, Protocol

import numpy as np

from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.units import Unit


class AirDataAtRows(Protocol):
    """The air data of m rows of a log, float64[m] in SI; NaN where missing or rejected."""

    @property
    def rows(self) -> Rows:
        """The rows of the log, intp[m]."""

    @property
    def calibrated_airspeed(self) -> Floats:
        """Calibrated airspeed [m/s]."""

    @property
    def indicated_airspeed(self) -> Floats:
        """Indicated airspeed, free of instrument error [m/s]."""

    @property
    def pressure_altitude(self) -> Floats:
        """Pressure altitude, free of the static source's error [m]."""

    @property
    def indicated_altitude(self) -> Floats:
        """Pressure altitude before the correction for static source error [m]."""

    @property
    def mach(self) -> Floats:
        """Mach number."""

    @property
    def temperature(self) -> Floats:
        """Static temperature [K]."""

    @property
    def others(self) -> Mapping[str, Floats]:
        """Other channels that the sheet's limits use, by name."""


class PositionCorrection(Protocol):
    """Conversion of indicated to calibrated airspeed."""

    def calibrated_from_indicated(self, indicated: Floats, rows: Rows) -> Floats:
        """Return the calibrated airspeed [m/s] of an indicated one at the given rows."""


class Thresholds(Protocol):
    """The settings of the evaluation that depend on a limit's unit."""

    @property
    def tolerance_kt(self) -> float:
        """Excess [kt] above which a speed counts as over its limit."""

    @property
    def tolerance_mach(self) -> float:
        """Excess above which a Mach number counts as over its limit."""

    @property
    def join_margin_kt(self) -> float:
        """Greatest margin [kt] between two stretches over a limit that are joined."""

    @property
    def join_margin_mach(self) -> float:
        """Greatest margin [Mach] between two stretches over a limit that are joined."""


class DisplaySteps(Protocol):
    """The steps in which the crew's instruments show a limited quantity."""

    @property
    def quantum_kt(self) -> float:
        """The displayed airspeed's step [kt]."""

    @property
    def quantum_mach(self) -> float:
        """The displayed Mach number's step."""


class LimitedQuantity(ABC):
    """A quantity that can be limited: its value, its conversion to CAS, its unit and its names.

    Methods take and return SI (a pure number for Mach and load factor); limits sheets, results and
    reports are in ``unit``.
    """

    name: ClassVar[str]
    """Its name in a limits sheet."""
    noun: ClassVar[str]
    """In plain words, such as "load factor"."""
    unit: ClassVar[Unit]
    decimals: ClassVar[int]
    """Decimals with which a value or a difference is printed in ``unit``."""
    suffix: ClassVar[str]
    """Suffix of names of numbers in this unit, such as "kt" in excess_kt."""
    channels: ClassVar[tuple[str, ...]] = ()
    """Recorded channels that it needs besides airspeed, altitude and temperature."""
    needs_altitude: ClassVar[bool] = False
    """Whether its value, or the equivalent CAS of a limit, depends on altitude."""
    needs_temperature: ClassVar[bool] = False
    """Whether its value depends on the static temperature."""
    as_indicated: ClassVar[bool] = False
    """Whether it is indicated, without position correction, and so unaffected by its error."""
    is_speed: ClassVar[bool] = False
    """Whether its limits have an equivalent CAS (`calibrated_equivalent`)."""

    typical_errors: ClassVar[Mapping[str, tuple[float, str]]] = {}
    """Error bounds of its own channels [channel's unit] and their source, by channel, for limits
    sheets that state none. Without either, the uncertainty is unknown."""
    widest_errors: ClassVar[Mapping[str, tuple[float, str]]] = {}
    """The widest error bounds that the rules allow, in the same form."""
    display_step_code: ClassVar[str] = ""
    """Code of the display's step among the tolerances; empty if the crew has no display of it, so
    that there are no results as displayed."""
    bands: ClassVar[tuple[float, ...]] = (0.0,)
    """Margins [unit], ascending, below each of which the time is measured; 0 is over the limit."""
    ladder: ClassVar[tuple[float, ...]] = (0.0,)
    """Excesses [unit], ascending, above each of which the time is reported."""

    maximum_key: ClassVar[str] = "maximum"
    """The key of a constant maximum in a limits sheet."""
    article_noun: ClassVar[str]
    """Noun for a value with its article: "an airspeed", "a load factor"."""
    row_unit: ClassVar[str]
    """The unit of a table's row in words, such as "knots"."""
    example: ClassVar[float]
    """Example of a maximum [unit]."""
    lowest: ClassVar[float]
    highest: ClassVar[float]
    """Greatest maximum that a limits sheet may state [unit]; ``lowest`` is the least."""
    usual: ClassVar[tuple[float, float]]
    """Range of usual maxima [unit]; one outside it is possible but unusual."""

    @abstractmethod
    def value(self, at: AirDataAtRows) -> Floats:
        """Return the quantity itself, float64[m] in SI; NaN where an input is missing."""

    @abstractmethod
    def tolerance(self, settings: Thresholds) -> float:
        """Return the excess [unit] up to which a value isn't over: the rounding of conversions."""

    @abstractmethod
    def join_margin(self, settings: Thresholds) -> float:
        """Return the margin [unit] up to which two stretches over the limit may be joined."""

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats | None:
        """Return the calibrated airspeed at which a maximum lies.

        Parameters
        ----------
        maximum : ndarray of float64, shape (m,)
            In SI.
        at : AirDataAtRows
            Altitude and temperature of the m rows.
        correction : PositionCorrection
            Taken at the limit speed.

        Returns
        -------
        ndarray of float64, shape (m,), or None  [m/s]
            NaN where an input is missing; None for a quantity that has no such speed. The map
            rises with the speed, so that the margin has the same sign in both.
        """
        return None

    def value_slopes(
        self, at: AirDataAtRows, recovery_factor: float
    ) -> tuple[Floats, Floats, Floats]:
        """Return how the quantity changes with the air data.

        Parameters
        ----------
        at : AirDataAtRows
            Air data of m rows.
        recovery_factor : float
            That of the temperature that is read; 0 for static temperature.

        Returns
        -------
        tuple of float64[m]
            By calibrated airspeed [SI per m/s], by pressure altitude [per m] and by the
            temperature read [per K]; NaN where an input that matters is missing. Zeros for a
            quantity that is a channel of its own.
        """
        nothing = np.zeros(at.rows.shape)
        return nothing, nothing, nothing

    def channel_slopes(self, at: AirDataAtRows) -> Mapping[str, Floats]:
        """Return the derivatives by each of its own channels, float64[m] in SI, by channel.

        1 for a quantity that is recorded as a channel.
        """
        return {name: np.ones(at.rows.shape) for name in self.channels}

    def limit_slopes(
        self, own: Floats, cas: Floats, altitude: Floats
    ) -> tuple[Floats, Floats]:
        """Return how a limit, as an airspeed, changes with pressure altitude.

        Parameters
        ----------
        own : ndarray of float64, shape (m,)
            How its maximum does, as a table states it [SI per m].
        cas, altitude : ndarray of float64, shape (m,)
            Its calibrated equivalent [m/s] at the altitudes [m].

        Returns
        -------
        tuple of float64[m]
            As calibrated airspeed [m/s per m] and as Mach [1/m]; NaN where it has none.
        """
        nothing = np.full(len(cas), np.nan)
        return nothing, nothing

    def display_step(self, steps: DisplaySteps, per_kt: Floats) -> Floats:
        """Return the display's step in the quantity's unit, float64[m]; 0 without a display.

        `per_kt` : derivative of the quantity by calibrated airspeed [unit/kt].
        """
        return np.zeros(per_kt.shape)

    def display_step_cas(self, steps: DisplaySteps, mach_by_cas: Floats) -> Floats:
        """Return the display's step as calibrated airspeed [m/s], float64[m].

        `mach_by_cas` : derivative of Mach number by calibrated airspeed [1/(m/s)].
        """
        return np.zeros(mach_by_cas.shape)

    def follows_from_altitude(self, *, position_varies: bool, corrected: bool) -> bool:
        """Return whether its equivalent CAS depends on the pressure altitude alone.

        `position_varies` : the position correction differs between rows; `corrected` : a
        correction was applied to airspeed or altitude.
        """
        return False
