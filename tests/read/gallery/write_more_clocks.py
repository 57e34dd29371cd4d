"""Writes clocks of uncommon forms, and those that can't be read; called by ``write.py``."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from gallery.climb import START
from gallery.write_tables import arrow, put_table
from gallery.writing import FEW, T, few, put, stamps, text


def of_two_numbers(first_s: float, decimals: int = 0) -> list[str]:
    """Return minutes and seconds as mm:ss."""
    width = 3 + decimals if decimals else 2
    return [f"{int(t // 60):02}:{t % 60:0{width}.{decimals}f}" for t in T + first_s]


def more_clocks() -> None:
    def one(name: str, **clock: list[str]) -> None:
        put(name, text(few({key.replace("_", " "): cells for key, cells in clock.items()}), ";"))

    one("minutes_seconds.csv", Elapsed=of_two_numbers(3576))
    one("minutes_seconds_tenths.csv", Elapsed=of_two_numbers(7, 1))
    since = (T + 24 * 3600 - 24).astype(int).tolist()
    one("hours_beyond_24.csv", Elapsed=[f"{t // 3600}:{t // 60 % 60:02}:{t % 60:02}"
                                        for t in since])
    one("short_dates.csv", Date=stamps("%d%m%y"), UTC=stamps("%H:%M:%S"))
    one("comma_stamps.csv", UTC=stamps("%Y-%m-%d %H:%M:%S,%L"))
    rows = few({"UTC": stamps("%H:%M:%S")})
    order = list(range(len(rows)))
    order[9:12] = [11, 9, 10]
    order[30:32] = [31, 30]
    put("out_of_order.csv", text([rows[i] for i in order]))
    slow = 16 * T
    put_table("epoch_float32.parquet", {
        "timestamp": pa.array((START.astype(np.int64) / 1e9 + slow).astype(np.float32)),
        **arrow(FEW, slow)})


def refused_clocks() -> None:
    put("refused/day_fraction.csv", text(few({"Time": [f"{0.4132 + t / 86400:.9f}" for t in T]})))
    put("refused/decimal_hours.csv", text(few({"Time": [f"{9.9168 + t / 3600:.6f}" for t in T]})))
    put("refused/decimal_minutes.csv", text(few({"Time": [f"{t / 60:.6f}" for t in T]})))
    digits = stamps("%H%M%S")
    digits[17] = "23593"
    put("refused/hhmmss_damaged.csv", text(few({"UTC": digits})))
    far = pa.array(2**62 + (T * 1e6).astype(np.int64)).cast(pa.timestamp("us"))
    put_table("refused/far_stamps.parquet", {"Time": far, **arrow(FEW)})
