"""The properties of a quantity that the evaluation of its limits needs.

A limit is a maximum of one quantity: an airspeed, a Mach number, a load factor. All that differs
between them stands in one class a quantity; a class that is registered
(`quantity_registry`) can be named in a limits sheet.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import ClassVar, Protocol

import numpy as np

from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.units import Unit


class AirDataAtRows(Protocol):
    """The air data of m rows of a log, float64[m] in SI; NaN where missing or screened out."""

    @property
    def rows(self) -> Rows:
        """The rows, intp[m]."""

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
        """Pressure altitude with the static source's error in it [m]."""

    @property
    def mach(self) -> Floats:
        """Mach number."""

    @property
    def temperature(self) -> Floats:
        """Static temperature [K]."""

    @property
    def others(self) -> Mapping[str, Floats]:
        """The further channels that the sheet's limits take, by name."""


class PositionCorrection(Protocol):
    """What turns an indicated airspeed into a calibrated one."""

    def calibrated_from_indicated(self, indicated: Floats, rows: Rows) -> Floats:
        """Return the calibrated airspeed [m/s] of an indicated one at the given rows."""


class Thresholds(Protocol):
    """The settings of the evaluation that go by a limit's unit."""

    @property
    def tolerance_kt(self) -> float:
        """A speed is over its limit by more than this [kt]."""

    @property
    def tolerance_mach(self) -> float:
        """The same for Mach limits."""

    @property
    def join_margin_kt(self) -> float:
        """Stretches are joined where the margin between them stays below this [kt]."""

    @property
    def join_margin_mach(self) -> float:
        """The same for Mach limits."""


class DisplaySteps(Protocol):
    """The steps in which the crew's instruments show a limited quantity."""

    @property
    def quantum_kt(self) -> float:
        """The displayed airspeed's step [kt]."""

    @property
    def quantum_mach(self) -> float:
        """The displayed Mach number's step."""


class LimitedQuantity(ABC):
    """One quantity that can be limited: where its value comes from and how it is stated.

    Values and maxima are in SI inside (a pure number for Mach and load factor), and in ``unit``
    at the edges: in limits sheets, results and reports.
    """

    name: ClassVar[str]
    """As a limits sheet names it."""
    noun: ClassVar[str]
    """In plain words, such as "load factor"."""
    unit: ClassVar[Unit]
    decimals: ClassVar[int]
    """Decimals with which a value or a difference is printed in ``unit``."""
    suffix: ClassVar[str]
    """What ends the names of numbers in this unit, such as "kt" in excess_kt."""
    channels: ClassVar[tuple[str, ...]] = ()
    """Recorded channels that it takes besides airspeed, altitude and temperature."""
    needs_altitude: ClassVar[bool] = False
    """Whether its value, or that of a limit as an airspeed, can't be known without altitude."""
    needs_temperature: ClassVar[bool] = False
    """Whether its value can't be known without the static temperature."""
    as_indicated: ClassVar[bool] = False
    """Whether it is read without position correction, and so free of its error."""
    is_speed: ClassVar[bool] = False
    """Whether a limit of it lies at a calibrated airspeed (`calibrated_equivalent`)."""

    typical_errors: ClassVar[Mapping[str, tuple[float, str]]] = {}
    """What is generally known of its own channels: the limits of the error [channel's unit] and
    where that is from, by channel. A limits sheet may state them; an error that neither states
    leaves the uncertainty unknown."""
    widest_errors: ClassVar[Mapping[str, tuple[float, str]]] = {}
    """The same at the widest that the rules allow."""
    display_step_code: ClassVar[str] = ""
    """The code of the display's step among the tolerances; empty: the crew has no display of it,
    and nothing is said of it as displayed."""
    bands: ClassVar[tuple[float, ...]] = (0.0,)
    """Time with less margin than each of these [unit] is measured, rising; 0 is over."""
    ladder: ClassVar[tuple[float, ...]] = (0.0,)
    """The excesses [unit] for each of which the time beyond it is reported, increasing."""

    maximum_key: ClassVar[str] = "maximum"
    """The key of a constant maximum in a limits sheet."""
    article_noun: ClassVar[str]
    """What a value of it is, with the article: "an airspeed", "a load factor"."""
    row_unit: ClassVar[str]
    """The unit of a table's row in words, such as "knots"."""
    example: ClassVar[float]
    """A maximum to show how one is written [unit]."""
    lowest: ClassVar[float]
    highest: ClassVar[float]
    """The maxima that a limits sheet may state [unit]."""
    usual: ClassVar[tuple[float, float]]
    """A maximum outside this [unit] is possible, and worth a second look."""

    @abstractmethod
    def value(self, at: AirDataAtRows) -> Floats:
        """Return the quantity itself, float64[m] in SI; NaN where an input is missing."""

    @abstractmethod
    def tolerance(self, settings: Thresholds) -> float:
        """Return by how much more than its limit is over [unit]: the noise of conversions."""

    @abstractmethod
    def join_margin(self, settings: Thresholds) -> float:
        """Return the margin [unit] below which two stretches over the limit may be one event."""

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
        """Return how the quantity changes with each of its own channels, in SI, float64[m].

        One that is its channel changes by as much as that.
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

        `per_kt` : how much the quantity changes with 1 kt of calibrated airspeed [unit].
        """
        return np.zeros(per_kt.shape)

    def display_step_cas(self, steps: DisplaySteps, mach_by_cas: Floats) -> Floats:
        """Return the same as calibrated airspeed [m/s].

        `mach_by_cas` : how Mach number changes with the airspeed there [per m/s].
        """
        return np.zeros(mach_by_cas.shape)

    def follows_from_altitude(self, *, position_varies: bool, corrected: bool) -> bool:
        """Tell whether its calibrated equivalent follows from the pressure altitude alone.

        `position_varies` : the position correction differs between rows; `corrected` : one was
        applied, to airspeed or altitude.
        """
        return False
