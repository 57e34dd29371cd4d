"""Families of known flights, by name: each differs from its fellows in one thing."""

from __future__ import annotations

from collections.abc import Callable

from tests.regression import (
    crosscheck_flights,
    event_flights,
    exact_flights,
    exact_profiles,
    explained_flights,
    limit_flights,
    long_flights,
    phase_flights,
    random_event_flights,
    random_flights,
    screening_flights,
    uncertainty_flights,
)
from tests.regression.kept_results import Flight

FAMILIES: dict[str, Callable[[], dict[str, Flight]]] = {
    name: make
    for module in (limit_flights, event_flights, screening_flights, uncertainty_flights,
                   phase_flights, long_flights, explained_flights, crosscheck_flights,
                   exact_flights, exact_profiles, random_flights, random_event_flights)
    for name, make in module.FAMILIES.items()
}
