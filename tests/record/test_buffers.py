"""Memory for columns: as large as asked for, writable, shared with nothing."""

from __future__ import annotations

import numpy as np
import pytest

from loganalyze.record.buffers import pooled


@pytest.mark.parametrize("count", [0, 1, 12, 100_000])
def test_a_buffer_is_as_large_as_asked_for_and_writable(count):
    buffer = pooled(count)
    assert buffer.shape == (count,)
    assert buffer.dtype == np.float64
    buffer[:] = 7.0
    assert (buffer == 7.0).all()


def test_two_buffers_that_are_held_share_no_memory():
    first, second = pooled(1000), pooled(1000)
    first[:], second[:] = 1.0, 2.0
    assert (first == 1.0).all()
    assert not np.shares_memory(first, second)
