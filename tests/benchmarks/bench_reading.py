"""What understanding a log costs, as ratios against the bare read of the same bytes.

Best of 7 interleaved rounds after a warm-up; the long log in processes of their own, for their
peak memory. Nothing is asserted; read the ratios.

    python tests/benchmarks/bench_reading.py [--rows N] [--rounds N] [--stream ROWS]
"""

from __future__ import annotations

import argparse
import tempfile
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pacsv
from bench_analysis import apart, interleaved, report, table

from loganalyze import read_flights, read_log
from loganalyze.read.plan.read_plan import understand

COLUMNS = ["time_s", "pressure_altitude_ft", "ias_kt", "sat_degc"]
PIECE = 4 << 20
FLIGHT_ROWS = 2_000_000


def german(plain: Path, path: Path) -> None:
    """Write a plain CSV anew with semicolons, decimal commas and a Latin-1 heading."""
    with plain.open("rb") as source, path.open("wb") as target:
        names = source.readline().decode().replace('"', "").replace("sat_degc", "SAT [°C]")
        target.write(names.replace(",", ";").encode("latin-1"))
        while block := source.read(PIECE):
            target.write(block.translate(bytes.maketrans(b",.", b";,")))


def detection(folder: Path, rows: int, rounds: int) -> None:
    """Print what telling the dialect adds, and what another dialect costs."""
    plain, other = folder / "plain.csv", folder / "other.csv"
    pacsv.write_csv(table(rows).select(COLUMNS), plain)
    german(plain, other)
    print(f"{rows:,} rows, {plain.stat().st_size / 1e6:.0f} MB CSV, 4 columns")
    options = pacsv.ParseOptions(delimiter=";")
    comma = pacsv.ConvertOptions(decimal_point=",")
    best = interleaved({
        "bare CSV": lambda: pacsv.read_csv(plain),
        "understanding it": lambda: understand(plain, None),
        "read CSV": lambda: read_log(plain),
        "bare CSV, decimal comma": lambda: pacsv.read_csv(
            other, read_options=pacsv.ReadOptions(encoding="latin-1"), parse_options=options,
            convert_options=comma),
        "read CSV, decimal comma": lambda: read_log(other),
    }, rounds)
    report(best, [
        ("understanding it", "read CSV"),
        ("read CSV", "bare CSV"),
        ("read CSV, decimal comma", "read CSV"),
        ("read CSV, decimal comma", "bare CSV, decimal comma"),
    ])


def make_long(path: Path, rows: int) -> None:
    """Write a long CSV: flights of two million rows, days apart."""
    piece = table(FLIGHT_ROWS).select(COLUMNS)
    with pacsv.CSVWriter(path, piece.schema) as writer:
        for i in range(max(1, rows // FLIGHT_ROWS)):
            shifted = piece["time_s"].to_numpy() + i * 300_000.0
            writer.write_table(piece.set_column(0, "time_s", pa.array(shifted)))


def pieces(path: Path) -> Iterator[bytes]:
    """Cut a CSV at line ends."""
    with path.open("rb") as source:
        source.readline()
        rest = b""
        while block := source.read(PIECE):
            cut = block.rfind(b"\n") + 1
            yield rest + block[:cut]
            rest = block[cut:]


def parse(piece: bytes) -> int:
    """Parse a piece with nothing more than pyarrow."""
    options = pacsv.ReadOptions(column_names=COLUMNS, use_threads=False,
                                block_size=len(piece) + 1)
    return len(pacsv.read_csv(pa.BufferReader(piece), read_options=options))


def bare_pieces(path: Path) -> None:
    """Parse all pieces on two threads and do nothing with them."""
    waiting: deque[Future[int]] = deque()
    with ThreadPoolExecutor(2) as pool:
        for piece in pieces(path):
            waiting.append(pool.submit(parse, piece))
            if len(waiting) > 2:
                waiting.popleft().result()


def read_long(path: Path) -> None:
    """Read every flight of a long log, one after the other."""
    number = rows = 0
    for flight in read_flights(path):
        number += 1
        rows += len(flight)
        del flight  # or it would stay while the next one is read
    print(f"  {number} flights, {rows:,} rows")


def stream(folder: Path, rows: int, rounds: int) -> None:
    """Print time and peak memory of reading a long CSV flight by flight."""
    path = folder / "long.csv"
    make_long(path, rows)
    print(f"{rows:,} CSV rows, {path.stat().st_size / 1e6:.0f} MB, flight by flight")
    runs = [(apart(bare_pieces, path), apart(read_long, path)) for _ in range(rounds)]
    bare, read = (min(one[i][0] for one in runs) for i in range(2))
    print(f"  bare pieces {bare:.1f} s; read {read:.1f} s, peak "
          f"{max(one[1][1] for one in runs):.0f} MB; ratio {read / bare:.2f}")


def main() -> None:
    """Run what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=5_760_000)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--stream", type=int, default=100_000_000, help="0: leave it out")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        detection(Path(name), chosen.rows, chosen.rounds)
    if chosen.stream:
        with tempfile.TemporaryDirectory() as name:
            stream(Path(name), chosen.stream, 2)


if __name__ == "__main__":
    main()
