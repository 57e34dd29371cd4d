"""A damaged export ends in a log whose clock rises, or in a Problem: never in a traceback."""

from __future__ import annotations

import gzip
import io
import random
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from small_exports import PLAIN, export

from loganalyze import Problem, read_flights, read_log

TOKENS = [b",", b";", b"\n", b'"', b"\x00", b"\xff", b"-", b"e", b"1e400", b"nan", b"inf", b"#",
          b"\t", b" ", b"|", b"\r", b".", b"9" * 30, b"0x10", b"[", b")", b"UTC", b":"]


def packed_table() -> bytes:
    """Return a small Parquet log's bytes."""
    names = ["time_s", "press_alt_ft", "ias_kt"]
    stream = io.BytesIO()
    pq.write_table(pa.table({name: pa.array(np.arange(200.0)) for name in names}), stream)
    return stream.getvalue()


SEEDS = {
    "plain": PLAIN.encode(),
    "decimal comma": PLAIN.replace(",", ";").replace(".", ",").encode(),
    "UTF-16": PLAIN.encode("utf-16"),
    "stamps": b"utc,press_alt_ft,ias_kt\n" + b"".join(
        b"2026-03-01T10:00:%02d.5Z,%d,%d\n" % (i, i, i) for i in range(30)),
    "gzip": gzip.compress(PLAIN.encode()),
    "parquet": packed_table(),
}


def mutated(data: bytes, rng: random.Random) -> bytes:
    """Change, insert, delete or repeat a few bytes or lines."""
    text = bytearray(data)
    for _ in range(rng.randint(1, 3)):
        place, kind = rng.randrange(len(text)), rng.randrange(5)
        if kind == 0:
            text[place] = rng.randrange(256)
        elif kind == 1:
            text[place:place] = rng.choice(TOKENS)
        elif kind == 2:
            del text[place : min(place + rng.randint(1, 20), len(text) - 1)]
        elif kind == 3:
            text[place:place] = text[place : place + rng.randint(1, 60)]
        else:
            lines = bytes(text).split(b"\n")
            lines.insert(rng.randrange(len(lines)), lines.pop(rng.randrange(len(lines))))
            text = bytearray(b"\n".join(lines))
    return bytes(text)


@pytest.mark.parametrize("kind", SEEDS)
def test_mutations(kind: str, tmp_path: Path) -> None:
    rng = random.Random(kind)
    read = 0
    refused: list[str] = []
    for _ in range(150):
        data = mutated(SEEDS[kind], rng)
        path = export(tmp_path, data)
        try:
            log = read_log(path)
            flights = list(read_flights(path, gap_s=1e9))
        except Problem as problem:
            refused.append(problem.sentence)
            continue
        read += 1
        assert (np.diff(log.time) > 0).all(), data
        assert np.isfinite(log.time).all(), data
        assert sum(map(len, flights)) == len(log), data
        for channel in log.channels.values():
            rows = len(log) if channel.rows is None else len(channel.rows)
            assert len(channel.values) == rows, data
    assert kind == "gzip" or read > 0
    assert all(sentence.startswith(str(path)) for sentence in refused)
