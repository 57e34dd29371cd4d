from __future__ import annotations

from collections.abc import Iterator

import pytest
from load_factor import register_load_factor

from loganalyze.quantities.quantity_registry import withdraw


@pytest.fixture(autouse=True)
def load_factor() -> Iterator[None]:
    register_load_factor()
    yield
    withdraw("load_factor")
