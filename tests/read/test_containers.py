"""Logs from a pipe, from the standard input and out of a zip archive."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import zipfile
from pathlib import Path

import pytest
from gallery.cases import CASES, HERE

from loganalyze import Problem, read_flights, read_log


@pytest.mark.parametrize("name", ["plain.csv", "packed.csv.gz", "packed.csv.zip", "plain.parquet"])
def test_a_named_pipe(tmp_path: Path, name: str) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_bytes, args=((HERE / name).read_bytes(),))
    writer.start()
    log = read_log(pipe)
    writer.join()
    whole = read_log(HERE / name)
    assert log.time.tolist() == whole.time.tolist()
    assert log.source.sha256 == whole.source.sha256
    assert log.source.path == pipe


@pytest.mark.parametrize("named", ["-", "/dev/stdin"])
def test_the_standard_input(named: str) -> None:
    done = subprocess.run([sys.executable, "-m", "loganalyze", "inspect", named],
                          input=(HERE / "plain.csv").read_text(), capture_output=True, text=True,
                          timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert "40 samples over 39.0 s" in done.stdout


def test_a_zip_archive_of_any_export(tmp_path: Path) -> None:
    for case in [case for case in CASES if case.path.suffix == ".csv"][::12]:
        path = tmp_path / f"{case.path.stem}.zip"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.write(case.path, "folder/" + case.path.name)
        assert read_log(path, case.columns).time.tolist() == (
            read_log(case.path, case.columns).time.tolist()), case.file


def test_zip_archives_in_a_folder(tmp_path: Path) -> None:
    for part in sorted((HERE / "sequence").iterdir()):
        with zipfile.ZipFile(tmp_path / f"{part.name}.zip", "w") as archive:
            archive.write(part, part.name)
    assert len(list(read_flights(tmp_path))) == 1
    assert read_log(tmp_path).time.tolist() == read_log(HERE / "sequence").time.tolist()


def test_an_archive_of_an_archive_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "twice.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.write(HERE / "plain.parquet", "plain.parquet")
    with pytest.raises(Problem, match="a Parquet file packed once more"):
        read_log(path)
    with zipfile.ZipFile(path, "w") as archive:
        archive.write(HERE / "packed.csv.zip", "packed.csv.zip")
    with pytest.raises(Problem, match="is packed twice"):
        read_log(path)
