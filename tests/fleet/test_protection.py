"""Protection of people: pseudonyms, identities kept apart, retention, and what is given to others.

A file is searched as it lies on the disk and as it is decoded: compression hides text.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import stat
import subprocess
import sys
from collections import Counter
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from pathlib import Path

import pyarrow.dataset as pads
import pyarrow.parquet as pq
import pytest

import loganalyze
from loganalyze.cli import main
from loganalyze.fleet.store.deidentified_export import grouped
from loganalyze.problems import Problem
from tests.fleet.conftest import ROOT, agree, contents, rows, write_log, write_sheet

NAMES = ("DEMO-", "ZQ417", "north-1", "captain", "Petrel", "letter", "an invented twin",
         "twin.toml", "2031-01-05", "2031-01-06", "2031-02-07", "T10:0")
FLEET = """
[identity]
path = "/(?P<registration>DEMO-[0-9])/"
[[aircraft]]
registration = ["DEMO-*"]
tags = { base = "north", captain = "Petrel" }
[[aircraft.sheet]]
limits = "twin.toml"
[[aircraft.sheet]]
limits = "later.toml"
effective = 2031-02-15
"""


def searched(folder: Path) -> bytes:
    """All bytes of a folder's files, with every table decoded, its metadata and its statistics."""
    found = []
    for path in sorted(folder.rglob("*")):
        if not path.is_file():
            continue
        found += [str(path.relative_to(folder)).encode(), path.read_bytes()]
        if path.suffix == ".parquet":
            with pq.ParquetFile(path) as file:
                table = file.read()
                about = repr(file.metadata.to_dict())
            found += [about.encode(), str(table.schema.metadata).encode()]
            found += ["\n".join(map(str, column.to_pylist())).encode()
                      for column in table.columns]
    return b"\n".join(found)


def seen(folder: Path, *more: str) -> list[str]:
    everything = searched(folder)
    return [name for name in (*NAMES, *more) if name.encode() in everything]


@pytest.fixture
def fleet(tmp_path):
    """Five logs of two aircraft in three months, and one that is none."""
    write_sheet(tmp_path / "twin.toml")
    write_sheet(tmp_path / "later.toml", vmo=260)
    (tmp_path / "fleet.toml").write_text(FLEET)
    for number, (peak, day) in enumerate([
            (230, "2031-01-05"), (251, "2031-01-06"), (249, "2031-02-07"), (252, "2031-02-20"),
            (235, "2031-03-08")]):
        write_log(tmp_path / f"logs/DEMO-{1 + number % 2}/ZQ417-{number}.csv", peak, day=day)
    (tmp_path / "logs/DEMO-1/letter.csv").write_text("dear,Petrel\nno,log\n")
    return tmp_path


def run(fleet: Path, store: str = "store", **options: object) -> loganalyze.FleetReport:
    return loganalyze.run_fleet(
        [str(fleet / "logs")], fleet / store, fleet=fleet / "fleet.toml", workers=0,
        protect=fleet / "store.key", **options)


def test_nothing_in_a_protected_store_says_whose_it_is(fleet):
    run(fleet, identities=fleet / "vault")
    agree(fleet / "store")
    assert seen(fleet / "store") == []
    assert len(rows(fleet / "store", "problems", "source", "reason")) == 1
    # What it doesn't hold is all in the other folder: the search finds what is there.
    assert set(seen(fleet / "vault")) >= {"DEMO-", "ZQ417", "Petrel", "letter", "twin.toml"}


def test_the_facts_are_those_of_a_store_with_names(fleet):
    run(fleet)
    loganalyze.run_fleet([str(fleet / "logs")], fleet / "open", fleet=fleet / "fleet.toml",
                         workers=0)
    hidden = {"source", "log", "aircraft", "registration", "limits_sheet", "start_utc", "tags",
              "utc", "set_by", "flight_key", "log_sha256", "judgement_key"}
    for name in ("flights", "exceedances", "near", "measures", "contributions", "samples"):
        columns = pads.dataset(fleet / "open" / name, partitioning="hive").schema.names
        facts = sorted({*columns} - hidden)
        assert rows(fleet / "store", name, *facts) == rows(fleet / "open", name, *facts)
    assert rows(fleet / "store", "flights", "tags")[0] == ('{"base": "north"}',)


def test_identities_lead_from_each_pseudonym_to_its_log(fleet):
    run(fleet)
    known = {key: (source, name, own) for key, source, name, own in rows(
        fleet / "store", "identities", "flight_key", "source", "pseudonym", "own_sha256")}
    flights = rows(fleet / "store", "flights", "flight_key", "source", "aircraft", "log_sha256")
    assert len(flights) == 5
    for key, name, _, digest in flights:
        assert known[key][1] == name
        own = sha256(Path(known[key][0]).read_bytes()).hexdigest()
        assert known[key][2] == own != digest
    assert len({aircraft for _, _, aircraft, _ in flights}) == 2
    ((source, reason),) = [row for *row, key in rows(
        fleet / "store", "identities", "source", "reason", "flight_key") if key is None]
    assert source.endswith("letter.csv")
    assert reason.startswith(source)


def test_key_and_identities_are_for_their_owner_alone(fleet):
    run(fleet)
    assert stat.S_IMODE((fleet / "store.key").stat().st_mode) == 0o600
    assert stat.S_IMODE((fleet / "store/identities").stat().st_mode) == 0o700
    for path in (fleet / "store/identities").rglob("*.parquet"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_another_key_gives_other_pseudonyms_and_other_hashes(fleet):
    """Who has the logs and no key can't find the rows of one by its bytes."""
    run(fleet, identities=fleet / "vault")
    (fleet / "store.key").rename(fleet / "first.key")
    run(fleet, "other")
    loganalyze.run_fleet([str(fleet / "logs")], fleet / "open", fleet=fleet / "fleet.toml",
                         workers=0)
    digests = {sha256(path.read_bytes()).hexdigest() for path in fleet.glob("logs/*/*.csv")}
    assert {digest for (digest,) in rows(fleet / "open", "flights", "log_sha256")} < digests
    assert not seen_words(fleet / "store", digests)
    assert seen_words(fleet / "vault", digests)
    for table, columns in (("flights", ("source", "flight_key", "log_sha256", "judgement_key")),
                           ("problems", ("source", "log_sha256", "attempt_key")),
                           ("exceedances", ("flight_key",))):
        for column in columns:
            values = [{value for (value,) in rows(fleet / one, table, column)}
                      for one in ("store", "other", "open")]
            assert len(set.union(*values)) == sum(map(len, values)) > 2, (table, column)


def seen_words(folder: Path, words: set[str]) -> set[str]:
    everything = searched(folder)
    return {word for word in words if word.encode() in everything}


def test_a_second_run_judges_nothing_again_with_and_without_identities(fleet):
    run(fleet)
    before = contents(fleet / "store")
    report = run(fleet)
    assert (report.judged, report.known, report.problems) == (0, 5, 1)
    assert contents(fleet / "store") == before
    loganalyze.retain(fleet / "store", keep_identities=timedelta(0), today=date(2050, 1, 1))
    assert [row for row in rows(fleet / "store", "identities", "flight_key") if row[0]] == []
    report = run(fleet)
    assert (report.judged, report.known, report.problems) == (0, 5, 1)
    assert rows(fleet / "store", "flights") == before["flights"]
    assert [row for row in rows(fleet / "store", "identities", "flight_key") if row[0]] == []


def test_a_registration_in_the_log_itself_is_read_again_when_it_is_forgotten(fleet):
    (fleet / "fleet.toml").write_text("""
[[aircraft]]
registration = ["X-*"]
sheet = [{ limits = "twin.toml" }]
""")
    write_log(fleet / "stated/a.csv", 250, day="2031-01-31", registration="X-AB1")
    given = {"fleet": fleet / "fleet.toml", "workers": 0, "protect": fleet / "store.key"}
    loganalyze.run_fleet([str(fleet / "stated")], fleet / "store", **given)
    assert seen(fleet / "store", "X-AB1") != []
    loganalyze.retain(fleet / "store", keep_identities=timedelta(0), today=date(2050, 1, 1))
    assert seen(fleet / "store", "X-AB1", "2031-01-31") == []
    report = loganalyze.run_fleet([str(fleet / "stated")], fleet / "store", **given)
    assert (report.judged, report.known) == (0, 1)


@pytest.mark.parametrize(("spoil", "what"), [
    (lambda fleet: (fleet / "store.key").chmod(0o644), "others than its owner .*mode 644"),
    (lambda fleet: (fleet / "store.key").write_text("secret"), "holds no key"),
    (lambda fleet: (fleet / "store.key").unlink(), "no such key file"),
    (lambda fleet: (fleet / "store.key").write_text("0" * 64), "with another key"),
])
def test_a_key_that_does_not_fit_is_refused(fleet, spoil, what):
    run(fleet)
    before = searched(fleet / "store")
    spoil(fleet)
    with pytest.raises(Problem, match=what):
        run(fleet)
    assert searched(fleet / "store") == before


def test_names_and_pseudonyms_are_not_mixed_in_one_store(fleet):
    run(fleet)
    given = {"fleet": fleet / "fleet.toml", "workers": 0}
    with pytest.raises(Problem, match="the key isn't given"):
        loganalyze.run_fleet([str(fleet / "logs")], fleet / "store", **given)
    loganalyze.run_fleet([str(fleet / "logs")], fleet / "open", **given)
    with pytest.raises(Problem, match="holds names"):
        run(fleet, "open")
    with pytest.raises(Problem, match="inside the store"):
        loganalyze.run_fleet([str(fleet / "logs")], fleet / "new",
                             protect=fleet / "new" / "a.key", **given)
    with pytest.raises(Problem, match="give --protect"):
        loganalyze.run_fleet([str(fleet / "logs")], fleet / "new", identities=fleet / "v", **given)


def test_a_vault_that_is_not_there_ends_a_run_and_no_trends(fleet):
    run(fleet, identities=fleet / "vault")
    (fleet / "vault").rename(fleet / "away")
    with pytest.raises(Problem, match="isn't there"):
        run(fleet)
    assert loganalyze.fleet_trends(fleet / "store", least=1).whole.rate.events == 2
    (fleet / "away").rename(fleet / "vault")
    assert run(fleet).known == 5


# Retention


def test_identities_older_than_their_time_are_in_no_byte_of_any_file(fleet):
    run(fleet)
    assert {"ZQ417-0", "ZQ417-3"} <= set(seen(fleet / "store", "ZQ417-0", "ZQ417-3"))
    # The last day on which that of 5 January may be kept, and the next.
    for today, kept in ((date(2031, 4, 5), 5), (date(2031, 4, 6), 4), (date(2031, 5, 21), 2)):
        for path in (fleet / "store").rglob("*.parquet"):
            written(path, date(2040, 1, 1))
        loganalyze.retain(fleet / "store", keep_identities=timedelta(days=90), today=today)
        assert len([key for (key,) in rows(
            fleet / "store", "identities", "flight_key") if key]) == kept
    gone = ("ZQ417-0", "ZQ417-1", "ZQ417-2")
    assert {*gone, "ZQ417-3"} & set(seen(fleet / "store", *gone, "ZQ417-3")) == {"ZQ417-3"}
    assert len(rows(fleet / "store", "flights", "flight_key")) == 5
    loganalyze.retain(fleet / "store", keep_identities=timedelta(0), today=date(2050, 1, 1))
    assert seen(fleet / "store") == []
    agree(fleet / "store")


def written(path: Path, day: date) -> None:
    seconds = datetime.combine(day, time(12), UTC).timestamp()
    os.utime(path, (seconds, seconds))


@pytest.mark.parametrize("protect", [True, False])
def test_flights_older_than_their_time_go_with_all_that_was_found_in_them(fleet, protect):
    given = {"protect": fleet / "store.key"} if protect else {}
    run_ = {"fleet": fleet / "fleet.toml", "workers": 0, **given}
    loganalyze.run_fleet([str(fleet / "logs")], fleet / "store", **run_)
    keys = dict(rows(fleet / "store", "flights", "flight_key", "log_sha256"))
    for path in (fleet / "store").rglob("*.parquet"):
        written(path, date(2040, 1, 1))
    found = loganalyze.retain(fleet / "store", keep_flights=timedelta(days=30),
                              today=date(2031, 3, 10))
    left = {key for (key,) in rows(fleet / "store", "flights", "flight_key")}
    assert (found.flights, len(left)) == (3, 2)
    gone = {*keys} - left
    everything = searched(fleet / "store").decode(errors="replace")
    for word in (*gone, *(keys[key] for key in gone), "ZQ417-0", "ZQ417-1", "ZQ417-2"):
        assert word not in everything
    agree(fleet / "store")
    # What is deleted isn't judged again, by whatever sheet.
    write_sheet(fleet / "twin.toml", vmo=244)
    report = loganalyze.run_fleet([str(fleet / "logs")], fleet / "store", **run_)
    assert (report.judged, report.known, report.expired) == (0, 2, 3)


def test_a_flight_without_a_date_counts_from_the_day_of_its_judging(fleet):
    write_log(fleet / "logs/DEMO-1/nodate.csv", 230)
    write_sheet(fleet / "twin.toml")
    loganalyze.run_fleet([str(fleet / "logs/DEMO-1/nodate.csv")], fleet / "store",
                         limits=fleet / "twin.toml", workers=0)
    for path in (fleet / "store").rglob("*.parquet"):
        written(path, date(2030, 1, 1))
    keep = timedelta(days=10)
    assert loganalyze.retain(
        fleet / "store", keep_flights=keep, today=date(2030, 1, 11)).flights == 0
    assert loganalyze.retain(
        fleet / "store", keep_flights=keep, today=date(2030, 1, 12)).flights == 1


KILLED_AT = """
import os, signal
from datetime import date, timedelta
from loganalyze import retain
count = 0
def counted(real):
    def call(*given, **named):
        global count
        count += 1
        if count == {step}:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*given, **named)
    return call
os.fsync, os.replace, os.unlink = map(counted, (os.fsync, os.replace, os.unlink))
retain({store!r}, keep_flights=timedelta(days=30), today=date(2031, 3, 10))
"""


@pytest.mark.parametrize("step", [3, 8, 17])
def test_retention_that_is_killed_is_finished_by_the_next(fleet, step):
    run(fleet)
    for path in (fleet / "store").rglob("*.parquet"):
        written(path, date(2040, 1, 1))
    shutil.copytree(fleet / "store", fleet / "whole")
    killed = subprocess.run(
        [sys.executable, "-c", KILLED_AT.format(step=step, store=str(fleet / "store"))], cwd=ROOT,
        check=False, capture_output=True)
    assert killed.returncode == -signal.SIGKILL
    for store in ("store", "whole"):
        loganalyze.retain(fleet / store, keep_flights=timedelta(days=30), today=date(2031, 3, 10))
    agree(fleet / "store")
    assert contents(fleet / "store") == contents(fleet / "whole")
    assert len(rows(fleet / "store", "flights", "flight_key")) == 2


def test_names_in_all_rows_cannot_be_deleted_alone(fleet):
    loganalyze.run_fleet([str(fleet / "logs")], fleet / "open", fleet=fleet / "fleet.toml",
                         workers=0)
    with pytest.raises(Problem, match="holds names in all its rows"):
        loganalyze.retain(fleet / "open", keep_identities=timedelta(days=1))


# What is given to others


@pytest.mark.parametrize("protect", [True, False])
def test_an_export_holds_nothing_that_leads_to_a_flight(fleet, protect):
    given = {"protect": fleet / "store.key"} if protect else {}
    loganalyze.run_fleet([str(fleet / "logs")], fleet / "store", fleet=fleet / "fleet.toml",
                         workers=0, samples="all", **given)
    written = loganalyze.export_deidentified(fleet / "store", fleet / "out", least=2)
    assert {path.name for path in written} >= {"about.json", "flights.csv", "exceedances.parquet"}
    digests = [digest for row in rows(
        fleet / "store", "flights", "flight_key", "log_sha256", "judgement_key", "source",
        "aircraft", "registration") for digest in row]
    assert None not in digests
    assert seen(fleet / "out", *digests, "2031-02-20", "1925899200", "north") == []
    flights = rows_of(fleet / "out/flights.parquet")
    assert [one["outcome"] for one in flights].count("exceeded") == 2
    keys = [one["flight_key"] for one in flights]
    assert {one["flight_key"] for one in rows_of(fleet / "out/exceedances.parquet")} < {*keys}
    assert keys == sorted(keys)


def rows_of(path: Path) -> list[dict]:
    return pq.ParquetFile(path).read().to_pylist()


def test_no_group_of_an_export_is_small_also_by_difference():
    """Random fleets: each group of aircraft and month, and what is blank, is large enough."""
    chance = random.Random(4)
    blanked = 0
    for _ in range(300):
        least = chance.randint(2, 6)
        given = {str(i): (f"aircraft-{chance.randint(1, 4)}", chance.choice(
            [None, "2031-01", "2031-02", "2031-03", "2031-04"][:chance.randint(1, 5)]))
            for i in range(chance.randint(least, 60))}
        found = grouped(given, least)
        assert found.keys() == given.keys()
        assert min(Counter(found.values()).values()) >= least
        months = Counter(month for _, month in found.values())
        assert min(months.values()) >= least
        for flight, (aircraft, month) in found.items():
            assert aircraft in (None, given[flight][0])
            assert month in (None, given[flight][1])
        blanked += sum(aircraft is None for aircraft, _ in found.values())
    assert blanked > 500


def test_a_large_group_is_shown():
    given = {str(i): (f"aircraft-{i % 2}", "2031-01") for i in range(20)}
    assert grouped(given, 5) == given


def test_pseudonyms_of_two_exports_agree_only_by_a_key(fleet):
    run(fleet)

    def keys(name: str, **options: object) -> set[str]:
        loganalyze.export_deidentified(fleet / "store", fleet / name, least=2, **options)
        return {one["flight_key"] for one in rows_of(fleet / name / "flights.parquet")}

    assert not keys("a") & keys("b")
    assert keys("c", key_file=fleet / "e.key") == keys("d", key_file=fleet / "e.key")


def test_fewer_flights_than_a_group_are_not_exported(fleet):
    run(fleet)
    with pytest.raises(Problem, match="5 flights, fewer than a group"):
        loganalyze.export_deidentified(fleet / "store", fleet / "out", least=6)
    assert not (fleet / "out").exists()


@pytest.mark.parametrize("tag", ["captain", "Crew", "pilot name", "PIC"])
def test_no_table_is_made_by_person(fleet, tag):
    run(fleet)
    with pytest.raises(Problem, match="no table is made by person"):
        loganalyze.fleet_trends(fleet / "store", by=(f"tag:{tag}",))


def test_the_commands_protect_delete_and_export(fleet, capsys):
    def ran(*arguments: object) -> str:
        with pytest.raises(SystemExit) as ended:
            main([str(one) for one in arguments])
        assert ended.value.code in (0, 5)
        return capsys.readouterr().out

    store = fleet / "store"
    ran("fleet", fleet / "logs", "--fleet", fleet / "fleet.toml", "--store", store, "--workers",
        0, "--protect", fleet / "store.key", "--identities", fleet / "vault")
    assert seen(store) == []
    said = ran("deidentify", "--store", store, "--out", fleet / "out", "--least", 2)
    assert "5 flights" in said
    said = ran("retain", "--store", store, "--keep-identities", "0d", "--as-of", "2050-01-01")
    assert "5 identities and 0 flights" in said
    assert seen(fleet / "vault") == []
    assert json.loads(ran("retain", "--store", store, "--keep-flights", "2y", "--as-of",
                          "2050-01-01", "--json")) == {"identities": 0, "flights": 5}
    with pytest.raises(SystemExit) as ended:
        main(["retain", "--store", str(store), "--keep-flights", "soon"])
    assert ended.value.code == 2
    assert "write 90d" in capsys.readouterr().err
