"""A format of a log's file, added by one registration."""

import gzip
import io
import json

import numpy as np
import pyarrow as pa
import pytest

import loganalyze as la
from loganalyze.read.plan import log_formats
from loganalyze.read.plan.log_formats import arrow_format
from loganalyze.testing import make_sheet

SHEET = make_sheet({"name": "VMO", "quantity": "calibrated_airspeed", "maximum_kt": 250})
MAGIC = b"INVENTED"


def binary(file: log_formats.LogFile) -> pa.Table:
    """Read an invented format: its mark, a line of JSON with the names, then float64 by rows."""
    with file.stream() as stream:
        head, _, data = stream.read()[len(MAGIC):].partition(b"\n")
    names = json.loads(head)
    rows = np.frombuffer(data, dtype="<f8").reshape(-1, len(names))
    if not len(rows):
        raise la.Problem("it holds no rows", str(file.path), "export it again")
    return pa.table({name: rows[:, i] for i, name in enumerate(names)})


INVENTED = arrow_format("invented", (".inv",), lambda head: head.startswith(MAGIC), binary)


def write(path, rows, names=("Time [s]", "Pressure Altitude [ft]", "CAS [kt]")):
    path.write_bytes(MAGIC + json.dumps(names).encode() + b"\n"
                     + np.asarray(rows, dtype="<f8").tobytes())
    return path


@pytest.fixture
def rows():
    return [(i, 5000.0, 255.0 if 20 <= i < 30 else 230.0) for i in range(60)]


@pytest.fixture
def registered():
    log_formats.register(INVENTED)
    yield
    log_formats.withdraw(INVENTED)


@pytest.mark.usefixtures("registered")
def test_a_log_of_an_added_format_is_read_and_judged(tmp_path, rows):
    path = write(tmp_path / "flight.inv", rows)
    (flight,) = la.analyze(path, SHEET)
    (found,) = flight.exceedances
    assert (round(found.start_s), round(found.worst_excess_kt, 6)) == (20, 5.0)
    assert flight.log.source.dialect["format"] == "invented"
    assert flight.log.source.path == path
    text = tmp_path / "flight.csv"
    text.write_text("Time [s],Pressure Altitude [ft],CAS [kt]\n" + "".join(
        f"{a},{b},{c}\n" for a, b, c in rows))
    (same,) = la.analyze(text, SHEET)
    np.testing.assert_array_equal(same.columns["margin_kt"], flight.columns["margin_kt"])


@pytest.mark.usefixtures("registered")
def test_it_may_be_a_stream_a_folder_or_packed(tmp_path, rows):
    path = write(tmp_path / "flight.inv", rows)
    assert len(la.read_log(io.BytesIO(path.read_bytes()))) == 60
    (tmp_path / "flight.inv.gz").write_bytes(gzip.compress(path.read_bytes()))
    assert len(la.read_log(tmp_path / "flight.inv.gz")) == 60
    folder = tmp_path / "folder"
    folder.mkdir()
    write(folder / "1.inv", rows[:30])
    write(folder / "2.inv", rows[30:])
    assert len(la.read_log(folder)) == 60
    (folder / "3.csv").write_text("Time [s],CAS [kt]\n1,2\n")
    with pytest.raises(la.Problem, match=r"CSV and \.inv files"):
        la.read_log(folder)


@pytest.mark.usefixtures("registered")
def test_a_long_table_of_an_added_format(tmp_path):
    def long(file):
        return pa.table({"time_s": [0.0, 0.0, 1.0, 1.0, 2.0, 2.0],
                         "parameter": ["CAS", "Pressure Altitude"] * 3,
                         "value": [200.0, 5000.0] * 3, "unit": ["kt", "ft"] * 3})

    one = arrow_format("long", (".lng",), lambda head: head.startswith(b"LONG"), long)
    log_formats.register(one)
    try:
        (tmp_path / "a.lng").write_bytes(b"LONG")
        log = la.read_log(tmp_path / "a.lng")
    finally:
        log_formats.withdraw(one)
    assert {"calibrated_airspeed", "pressure_altitude"} <= set(log.channels)


@pytest.mark.usefixtures("registered")
def test_its_own_refusals_and_names_are_kept(tmp_path):
    with pytest.raises(la.Problem, match="holds no rows"):
        la.read_log(write(tmp_path / "empty.inv", []))
    with pytest.raises(ValueError, match="invented already"):
        log_formats.register(INVENTED)


def test_without_it_the_file_is_refused(tmp_path, rows):
    with pytest.raises(la.Problem):
        la.read_log(write(tmp_path / "flight.inv", rows))
