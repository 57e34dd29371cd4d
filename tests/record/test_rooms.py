"""Room that is used again once nobody holds it, and only then."""

from __future__ import annotations

import gc
import weakref
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from loganalyze.record.rooms import Reused, pooled


def place(array: np.ndarray) -> int:
    return array.ctypes.data


def root(array: np.ndarray) -> np.ndarray:
    """The array that an array is a part of, whose memory it keeps."""
    while isinstance(array.base, np.ndarray):
        array = array.base
    return array


def test_room_comes_again_once_it_was_let_go_of():
    room = Reused(1 << 20)
    array = room(1000)
    where = place(array)
    array[:] = 7
    del array
    again = room(1000)
    assert place(again) == where
    assert (again == 7).all()


def test_room_of_a_like_size_comes_again():
    room = Reused(1 << 20)
    where = place(room(1000))
    for count in (1024, 700, 513, 1000):
        array = room(count)
        assert (len(array), place(array)) == (count, where)
        del array


def test_room_of_another_size_is_let_go_of():
    room = Reused(1 << 20)
    held = [room(1000) for _ in range(3)]
    del held
    assert len(room._free) == 3
    small = room(300)  # Nobody who keeps this is to keep room for a thousand.
    assert root(small).nbytes == 8 * 512
    assert room._free == []
    large = room(5000)
    del small
    assert room._free == []
    del large
    assert [len(memory) for memory in room._free] == [8192]


def test_nothing_is_kept_once_the_giver_is_gone():
    room = Reused(1 << 20)
    kept, other = room(1000), room(1000)
    giver = weakref.ref(room)
    del room
    assert giver() is None
    kept[:] = 7
    del other
    gc.collect()
    assert (kept == 7).all()


@pytest.mark.parametrize("part", [
    lambda array: array[990:], lambda array: array[::-3].reshape(2, -1),
    lambda array: array.view(np.uint8)[17:], lambda array: memoryview(array),
])
def test_room_of_which_a_part_is_held_does_not_come_again(part):
    room = Reused(1 << 20)
    array = room(1000 - 1000 % 6)
    array[:] = 3
    held = part(array)
    there, where = bytes(held), place(array)
    del array
    gc.collect()
    others = [room(1000 - 1000 % 6) for _ in range(3)]
    for other in others:
        other[:] = 5
    assert where not in map(place, others)
    assert len({place(other) for other in others}) == 3
    assert bytes(held) == there
    del held
    assert place(room(1000)) == where


def test_no_more_than_asked_for_is_kept():
    room = Reused(most=2048)
    held = [room(1000) for _ in range(3)]
    del held
    assert [len(memory) for memory in room._free] == [1024, 1024]
    large = room(5000)
    del large
    assert room._free == []


def test_nothing_is_asked_for():
    assert len(Reused(1 << 20)(0)) == 0


def test_threads_never_get_the_same_room():
    room = Reused(1 << 20)

    def work(number: int) -> bool:
        good = True
        for turn in range(300):
            array = room(64)
            array[:] = number + turn
            part = array[10:]
            del array
            good &= bool((part == number + turn).all())
        return good

    with ThreadPoolExecutor(4) as pool:
        assert all(pool.map(work, range(0, 4000, 1000)))


def test_room_from_the_pool_is_as_large_as_asked_for():
    assert pooled(12).shape == (12,)
    assert pooled(12).dtype == np.float64
