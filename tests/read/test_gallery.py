"""Many exports of one invented flight, each with a habit of its own, and those to refuse."""

from __future__ import annotations

import numpy as np
import pytest
from gallery.cases import CASES, HERE, Case
from gallery.climb import START, truth
from gallery.refused import REFUSED, Refusal

from loganalyze import Channel, FlightLog, Problem, read_flights, read_log
from loganalyze.cli import main
from loganalyze.record.channels import CHANNELS


def edge(name: str, channel: Channel) -> np.ndarray:
    """A channel's values in the unit of the program's edges."""
    kind = CHANNELS[name.removesuffix("_2")]
    return (channel.values - kind.unit.offset) / kind.unit.factor


def check(log: FlightLog, case: Case) -> None:
    assert log.time[0] == 0
    started = case.t[0]
    if case.dated:
        assert log.utc_start is not None
        started = (log.utc_start - START) / np.timedelta64(1, "ns") * 1e-9
    else:
        assert log.utc_start is None
    np.testing.assert_allclose(started + log.time, case.t, atol=case.clock_s + 1e-9)
    assert set(log.channels) == set(case.channels)
    for name, quantum in case.channels.items():
        channel = log.channels[name]
        rows = np.arange(len(case.t)) if channel.rows is None else channel.rows
        if name in case.every:
            assert rows.tolist() == list(case.every[name]), name
        wanted = truth(name, case.t[rows])
        read = edge(name, channel)
        gone = np.isin(rows, list(case.missing.get(name, ())))
        assert np.isnan(read[gone]).all(), name
        blank = np.isnan(read) & ~gone
        inner = (rows >= case.open_ends) & (rows < len(case.t) - case.open_ends)
        assert not (blank & inner).any(), name
        good = ~gone & ~blank
        # A heading of 359.9 degrees may be written 0 or 360.
        off = read[good] - wanted[good]
        off = (off + 180) % 360 - 180 if name in ("heading", "track") else off
        assert np.abs(off).max() <= 0.505 * quantum + 1e-6, name


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.file)
def test_every_export_holds_the_same_flight(case: Case) -> None:
    check(read_log(case.path, case.columns), case)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.file)
def test_flight_by_flight_reads_the_same(case: Case) -> None:
    flights = list(read_flights(case.path, case.columns))
    assert len(flights) == 1
    check(flights[0], case)


@pytest.mark.parametrize("refusal", REFUSED, ids=lambda one: one.file)
def test_what_is_refused_says_why(refusal: Refusal, capsys: pytest.CaptureFixture[str]) -> None:
    path = refusal.path
    with pytest.raises(Problem) as caught:
        read_log(path, refusal.columns)
    assert caught.value.sentence == refusal.said
    with pytest.raises(Problem) as again:
        list(read_flights(path, refusal.columns))
    assert again.value.sentence == refusal.said
    columns = () if refusal.columns is None else ("--columns", str(refusal.columns))
    capsys.readouterr()
    with pytest.raises(SystemExit) as stopped:
        main(["inspect", str(path), *columns])
    out, err = capsys.readouterr()
    assert stopped.value.code == 2
    assert out == ""
    assert err.splitlines()[0] == f"loganalyze: {refusal.said}"
    assert "Traceback" not in err


def test_the_page_names_every_file() -> None:
    page = (HERE / "README.md").read_text()
    files = {one.file for one in (*CASES, *REFUSED)}
    assert [file for file in sorted(files) if f"`{file}`" not in page] == []
    assert len(CASES) >= 40
    assert len(REFUSED) >= 25
    on_disk = {path.relative_to(HERE).as_posix() for path in HERE.rglob("*")
               if path.is_file() and path.name != ".gitattributes"
               and (path.suffix not in (".py", ".toml", ".md", ".pyc") or "no_logs" in path.parts)}
    named = {file for file in on_disk if any(
        file == one or file.startswith(f"{one}/") for one in files)}
    assert on_disk == named


def test_files_in_sequence_may_be_named_one_by_one() -> None:
    case = next(case for case in CASES if case.file == "sequence")
    parts = sorted(case.path.iterdir())
    assert len(parts) == 4
    check(read_log(parts), case)
    check(next(iter(read_flights(parts))), case)
