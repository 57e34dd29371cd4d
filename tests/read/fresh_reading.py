"""Logs read each by a process that has read nothing before; prints what each gives, as JSON.

    python -m tests.read.fresh_reading LOG...
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import sys

from loganalyze import read_log  # Loaded once, here: the children only read.
from loganalyze.problems import Problem


def given(path: str) -> str:
    """Return all that reading a log gives, or the sentence that refuses it."""
    try:
        log = read_log(path)
    except Problem as problem:
        return f"{problem.sentence} {problem.details}"
    values = hashlib.sha256(log.time.tobytes())
    for name, channel in sorted(log.channels.items()):
        values.update(name.encode() + channel.values.tobytes())
        values.update(b"" if channel.rows is None else channel.rows.tobytes())
        values.update(repr((channel.interval_s, channel.resolution, channel.column,
                            channel.recorded_unit, channel.unit_by, channel.held)).encode())
    return f"{values.hexdigest()} {log.source} {log.utc_start} {log.steps}"


def fresh(path: str) -> str:
    """Return what a log gives that is read by a child of this process."""
    receiving, sending = multiprocessing.Pipe(duplex=False)
    child = multiprocessing.get_context("fork").Process(
        target=lambda: sending.send(given(path)))
    child.start()
    found: str = receiving.recv()
    child.join()
    return found


if __name__ == "__main__":
    json.dump({path: fresh(path) for path in sys.argv[1:]}, sys.stdout)
