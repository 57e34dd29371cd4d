from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from load_factor import register_load_factor

from loganalyze.quantities.quantity_registry import withdraw


@pytest.fixture(autouse=True, scope="module")
def load_factor() -> Iterator[None]:
    register_load_factor()
    yield
    withdraw("load_factor")


G = [1.0, 2.4, 2.6, 2.8, 2.2, 1.0, float("nan"), 1.0]


@pytest.fixture
def pull_up(log):
    """A pull-up to 2.8 g at an airspeed that comes near VMO, at a sample a second."""
    return log(range(8), calibrated_airspeed=[240, 244, 249, 251, 248, 240, 240, 240],
               pressure_altitude=5000, load_factor=G, flap=[0, 0, 0, 0, 0, 10, 10, 10])


@pytest.fixture
def long_pull_up(log):
    """Two minutes with a smooth pull-up to 2.9 g at 60 s, speeds far below VMO, 4 samples a s."""
    time = np.arange(0, 120, 0.25)
    return log(time, calibrated_airspeed=200 + 10 * np.sin(time / 20),
               pressure_altitude=5000 + 10 * time,
               load_factor=1.0 + 1.9 * np.exp(-((time - 60) / 6) ** 2),
               static_air_temperature=5.0)
