"""A de-identified debrief: no byte of any of its files tells which flight it is of."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import re
import zlib
from pathlib import Path

import pyarrow.parquet as pq
import pypdf
import pytest

from .conftest import SHEET

REGISTRATION, FLIGHT_NUMBER, CREW = "XX-QWV", "OUZ4711", "Quillfeather"
DAY = ("2031-05-06", "20310506", "06.05.2031", "06/05/2031")


@pytest.fixture
def named(tmp_path) -> tuple[Path, Path]:
    """Two flights of a named, dated log; its sheet is named, too."""
    head = "UTC,Pressure Altitude [ft],CAS [kt],SAT [degC],Regn,Flt No,Capt\n"
    rows = []
    for start, speeds in ((0, [230] * 20 + [250] * 10 + [230] * 20), (2 * 3600, [220] * 50)):
        for i, speed in enumerate(speeds):
            minute, second = divmod(17 * 60 + 43 + i + start % 3600, 60)
            rows.append(f"2031-05-06T{21 + start // 3600}:{minute:02d}:{second:02d}Z,"
                        f"{5000 + 10 * (i % 3)},{speed + 0.1 * (i % 2)},4,{REGISTRATION},"
                        f"{FLIGHT_NUMBER},{CREW}\n")
    log = tmp_path / f"{REGISTRATION}_{FLIGHT_NUMBER}_20310506.csv"
    log.write_text(head + "".join(rows))
    sheet = tmp_path / f"limits_{REGISTRATION}.toml"
    sheet.write_text(SHEET.replace("an invented twin", f"an invented twin {REGISTRATION}")
                     + FREE_TEXT)
    return log, sheet


FREE_TEXT = """
[[severity]]
name = "Saltmarsh rule of low"
level = "low"
excess_kt = 1
[[severity]]
name = "Saltmarsh rule of high"
level = "high"
excess_kt = 3
[[ceiling]]
name = "Saltmarsh descent speed"
set_by = "Saltmarsh Example Air"
quantity = "calibrated_airspeed"
maximum_kt = 240
[uncertainty]
airspeed = { limits = 4, source = "Saltmarsh workshop" }
"""
PRIORS = """
[[prior]]
limit = "VMO"
source = "Saltmarsh fleet"
normals = [[1.0, 40.0, 15.0]]
"""


def unfolded(path: Path) -> bytes:
    """All bytes of a file, with what it holds compressed beside them."""
    data = path.read_bytes()
    # Long runs of base64 hold any four letters by chance; what they hold is unpacked below.
    text = path.suffix in (".html", ".svg")
    plain = re.sub(rb"[A-Za-z0-9+/=]{200,}", b"", data) if text else data
    parts = [path.name.encode(), plain]
    if path.suffix == ".parquet":
        table = pq.read_table(path)
        parts += [json.dumps(table.to_pylist(), default=str).encode(),
                  str(table.schema).encode(), str(table.schema.metadata).encode()]
    if path.suffix == ".html":
        for packed in re.findall(rb'type="text/plain"[^>]*>([A-Za-z0-9+/=]+)<', data):
            parts.append(gzip.decompress(base64.b64decode(packed)))
    if text:
        for picture in re.findall(rb"data:image/\w+;base64,([A-Za-z0-9+/=]+)", data):
            parts.append(base64.b64decode(picture))
    if path.suffix == ".pdf":
        reader = pypdf.PdfReader(path)
        parts += [page.extract_text().encode() for page in reader.pages]
        parts.append(str(reader.metadata).encode())
    if path.suffix in (".pdf", ".png"):
        for start in [found.start() for found in re.finditer(rb"x[\x01\x9c\xda\x5e]", data)]:
            try:
                parts.append(zlib.decompressobj().decompress(data[start:], 1_000_000))
            except zlib.error:
                continue
    return b"\n".join(parts)


@pytest.mark.parametrize(("plot", "reader"), [
    ("png", "crew"), ("svg", "safety"), ("pdf", "maintenance")])
def test_no_byte_tells_which_flight_it_is(run, named, tmp_path, plot, reader):
    log, sheet = named
    out = tmp_path / "out"
    priors = tmp_path / "priors.toml"
    priors.write_text(PRIORS)
    done = run("analyze", log, "--limits", sheet, "--out", out, "--report", "both",
               "--deidentify", "--plot-format", plot, "--for", reader, "--priors", priors, "-v")
    assert done.code in (0, 3), done.err
    digest = hashlib.sha256(log.read_bytes()).hexdigest()
    sheets = hashlib.sha256(sheet.read_bytes()).hexdigest()
    telling = ["Saltmarsh", REGISTRATION, FLIGHT_NUMBER, CREW, "Regn", "Flt No", log.name,
               sheet.name, log.stem, digest, digest[:12], sheets, *DAY, "21:17:4", "23:17:4"]
    assert "saltmarsh" not in done.out.lower()
    assert '"rule 2"' in done.out
    files = [path for path in out.rglob("*") if path.is_file()]
    assert {path.suffix for path in files} >= {".parquet", ".csv", ".json", ".html", ".pdf"}
    for path in files:
        assert path.relative_to(out).parts[0] in ("debrief", "index.html")
        content = unfolded(path)
        for word in telling:
            found = word.lower().encode() in content.lower()
            assert not found, (path.name, word)
    flights = json.loads((out / "debrief" / "summary.json").read_text())["flights"]
    assert [one["start_utc"] for one in flights] == [None, None]
    assert [one["limit"] for one in flights[0]["exceedances"]] == ["VMO"]
    assert pq.read_table(out / "debrief" / "samples.parquet")["utc"].null_count == 100


def test_the_search_finds_what_a_named_debrief_tells(run, named, tmp_path):
    log, sheet = named
    priors = tmp_path / "priors.toml"
    priors.write_text(PRIORS)
    run("analyze", log, "--limits", sheet, "--out", tmp_path / "out", "--report", "both",
        "--priors", priors)
    digest = hashlib.sha256(log.read_bytes()).hexdigest()
    told = {path.name: unfolded(path) for path in (tmp_path / "out" / log.stem).iterdir()}
    for name in ("summary.json", "report.html", "report.pdf"):
        assert digest.encode() in told[name].replace(b"\n", b""), name
    for words, name in (("rule of high", "exceedances.csv"), ("descent speed", "ceilings.csv"),
                        ("workshop", "summary.json"), ("fleet", "summary.json"),
                        ("Example Air", "summary.json")):
        assert f"Saltmarsh {words}".encode() in told[name], words
    for name in ("samples.parquet", "exceedances.csv", "exceedances.parquet"):
        assert log.name.encode() in told[name], name
        assert b"2031-05-06" in told[name], name


def test_several_logs_get_folders_that_tell_nothing(run, named, tmp_path):
    log, sheet = named
    other = tmp_path / f"again_{REGISTRATION}.csv"
    other.write_bytes(log.read_bytes())
    run("analyze", log, other, "--limits", sheet, "--out", tmp_path / "out", "--deidentify")
    folders = [path.name for path in (tmp_path / "out").iterdir() if path.is_dir()]
    assert sorted(folders) == ["debrief", "debrief-2"]
    refused = run("analyze", log, "--limits", sheet, "--out", tmp_path / "out", "--deidentify",
                  "--skip-existing")
    assert refused.code == 2
    assert "exclude each other" in refused.err


def test_no_byte_of_a_comparison_tells_which_flights_they_are(run, named, tmp_path):
    log, sheet = named
    out = tmp_path / "out"
    asked = ("compare", log, log, "--limits", sheet, "--flight-b", "2", "--mark-a", "5",
             "--mark-b", "7205", "--report", "both")
    told = run(*asked, "--out", tmp_path / "named")
    assert told.code == 0, told.err
    done = run(*asked, "--out", out, "--deidentify")
    assert done.code == 0, done.err
    printed = run(*asked, "--deidentify", "--json")
    digest = hashlib.sha256(log.read_bytes()).hexdigest()
    telling = ["Saltmarsh", REGISTRATION, FLIGHT_NUMBER, CREW, log.name, log.stem, digest,
               digest[:12], *DAY]
    files = sorted(out.iterdir())
    assert len(files) == 7
    searched = b"\n".join([done.out.encode(), printed.out.encode(), *map(unfolded, files)])
    assert [one for one in telling if one.encode() in searched] == []
    named_bytes = b"\n".join(map(unfolded, sorted((tmp_path / "named").iterdir())))
    assert REGISTRATION.encode() in named_bytes
    assert digest.encode() in named_bytes
