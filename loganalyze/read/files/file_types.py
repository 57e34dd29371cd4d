"""Opening a log: what kind of file it is, and refusing what can't be one."""

from __future__ import annotations

import os
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa

from loganalyze.problems import Problem
from loganalyze.read.files.address_space import is_shortage
from loganalyze.read.files.containers import check_zip, open_zip, regular

HEAD = 1 << 18
"""Bytes looked at to understand a file."""
PIECE = 4 << 20
"""Bytes parsed at a time: large enough to be fast, small enough to keep memory bounded."""

_COMPRESSIONS = {b"\x1f\x8b": "gzip", b"\x28\xb5\x2f\xfd": "zstd", b"PK\x03\x04": "zip"}
_DAMAGE = (OSError, EOFError, pa.ArrowException, zipfile.BadZipFile, zlib.error)
"""What is raised for packed bytes that aren't what they should be."""
_OTHERS = {
    b"%PDF": ("a PDF document", "give the recorder's export as CSV or Parquet"),
    b"\xd0\xcf\x11\xe0": ("an old spreadsheet or office document", "export it as CSV"),
    b"\x89PNG": ("a picture", "give the recorder's export as CSV or Parquet"),
    b"\xff\xd8\xff": ("a picture", "give the recorder's export as CSV or Parquet"),
    b"SQLite format 3": ("a database", "export the flight as CSV or Parquet"),
    b"BZh": ("a bzip2 archive", "unpack it first"),
    b"\xfd7zXZ": ("an xz archive", "unpack it first"),
    b"7z\xbc\xaf": ("a 7z archive", "unpack it first"),
    b"Rar!": ("a rar archive", "unpack it first"),
    b"<!DOCTYPE html": ("a web page", "download the export itself, as CSV or Parquet"),
    b"<!doctype html": ("a web page", "download the export itself, as CSV or Parquet"),
    b"<html": ("a web page", "download the export itself, as CSV or Parquet"),
    b"<?xml": ("an XML document", "export the log as CSV or Parquet"),
}

@dataclass(frozen=True)
class LogFile:
    """A file that may be a log.

    ``compression`` is "gzip", "zstd", "zip" or empty; ``head`` : its first bytes, unpacked;
    ``data`` : the file that holds the bytes, which for a pipe is a copy of them.
    """

    path: Path
    size: int
    modified_ns: int
    compression: str
    head: bytes
    data: Path

    def stream(self) -> BinaryIO:
        """Open the unpacked bytes for reading from the start."""
        return _stream(self.data, self.compression)

    def text_blocks(self, start: int, stream: BinaryIO | None = None,
               newline: bytes = b"\n") -> Iterator[Callable[[], bytes]]:
        """Cut the unpacked bytes from `start` on at line ends, into batches of some 4 MB.

        Each batch is a function to call for the bytes, so that workers can read side by side.
        """
        if stream is None and not self.compression:
            yield from self._cut_in_place(start, newline)
            return
        with stream or self.stream() as source:
            _skip(source, start)
            rest = b""
            while block := _read(source, PIECE, self.path):
                cut = block.rfind(newline) + 1
                if cut:
                    yield partial(bytes, rest + block[:cut])
                    rest = block[cut:]
                else:
                    rest = _bounded(rest + block, self.path)
            if rest:
                yield partial(bytes, rest)

    def _cut_in_place(self, start: int, newline: bytes) -> Iterator[Callable[[], bytes]]:
        with self.data.open("rb") as stream:
            while start < self.size:
                end = min(start + PIECE, self.size)
                if end < self.size:
                    end = _line_end_before(stream, start, end, self.path, newline)
                yield partial(_range, self.data, start, end)
                start = end


def open_log(path: Path, given: Path | None = None) -> LogFile:
    """Look at the file at `path`, or at `given`, which holds what is called `path`.

    Raises Problem for a file that is missing, a folder, empty, unreadable or packed twice.
    """
    where = str(path)
    try:
        if given is None and path.is_dir():
            raise Problem("this is a folder, not a log", where, "name the log files in it")
        data = given or regular(path)
        with data.open("rb") as stream:
            state = os.fstat(stream.fileno())
            head = stream.read(HEAD)
    except FileNotFoundError:
        raise Problem("there is no such file", where, "check the path") from None
    except PermissionError:
        raise Problem("no permission to read this file", where,
                      "ask its owner, or copy it where you may read it") from None
    except OSError as error:
        raise Problem(f"the file can't be read ({error.strerror})", where,
                      "copy it to a local disk") from None
    if not head:
        raise Problem("the file is empty", where, "export the log again")
    compression = next((name for magic, name in _COMPRESSIONS.items()
                        if head.startswith(magic)), "")
    if compression:
        if compression == "zip":
            check_zip(data, where)
        with _stream(data, compression) as stream:
            head = _read(stream, HEAD, path)
        if not head:
            raise Problem("the file is empty once unpacked", where, "export the log again")
    if compression and head.startswith(tuple(_COMPRESSIONS)):
        raise Problem("the file is packed twice", where, "unpack it once, and give what is in it")
    return LogFile(path, state.st_size, state.st_mtime_ns, compression, head, data)


def refuse_others(file: LogFile) -> None:
    """Raise Problem for a file that is known to be something else than a text."""
    where = str(file.path)
    for magic, (kind, hint) in _OTHERS.items():
        if file.head.startswith(magic):
            raise Problem(f"this isn't a log but {kind}", where, hint)
    if file.head[257:262] == b"ustar":
        raise Problem("this isn't a log but a tar archive", where,
                      "unpack it, and give the log in it")


def _stream(path: Path, compression: str) -> BinaryIO:
    if not compression:
        return path.open("rb")
    if compression == "zip":
        return open_zip(path)
    stream: BinaryIO = pa.input_stream(str(path), compression=compression)
    return stream


def _read(stream: BinaryIO, size: int, path: Path) -> bytes:
    try:
        return stream.read(size)
    except _DAMAGE as error:
        if is_shortage(error):
            raise
        raise Problem("the compressed file is damaged or cut short", str(path),
                      "export or copy it again") from None
    except UnicodeDecodeError:
        raise Problem("the text's encoding breaks off in the middle", str(path),
                      "export the log again as UTF-8") from None


def _skip(stream: BinaryIO, count: int) -> None:
    while count > 0:
        skipped = len(stream.read(count))
        if not skipped:
            return
        count -= skipped


def _range(path: Path, start: int, end: int) -> bytes:
    with path.open("rb") as source:
        source.seek(start)
        data = source.read(end - start)
    if len(data) != end - start:
        raise Problem("the file became shorter while it was read", str(path),
                      "run the command again once nothing writes to it")
    return data


def _line_end_before(source: BinaryIO, start: int, end: int, path: Path,
                     newline: bytes) -> int:
    stop = end
    while stop > start:
        begin = max(start, stop - 65536)
        source.seek(begin)
        found = source.read(stop - begin).rfind(newline)
        if found >= 0:
            return begin + found + 1
        stop = begin
    raise Problem("a line is longer than 4 MB, so this isn't a log", str(path),
                  "export the log as CSV with a line a sample")


def _bounded(rest: bytes, path: Path) -> bytes:
    if len(rest) > 2 * PIECE:
        raise Problem("a line is longer than 4 MB, so this isn't a log", str(path),
                      "export the log as CSV with a line a sample")
    return rest
