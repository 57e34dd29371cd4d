"""The logs of a run: what folders, patterns, files and addresses of object stores hold."""

from __future__ import annotations

import glob
import hashlib
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path, PurePosixPath
from typing import Any

import pyarrow.fs as pafs

from loganalyze.problems import Problem
from loganalyze.read.files.multi_file import PACKED, TABLES, TEXTS, files_in

BLOCK = 1 << 20


@dataclass(frozen=True, slots=True)
class LogSource:
    """One log of a run.

    ``name`` : its path, or its address, as the run found it; ``parts`` : the files that it is made
    of, where it is a folder; ``remote`` : whether it is to be fetched before it can be read.
    """

    name: str
    parts: tuple[str, ...] = ()
    remote: bool = False

    def sha256(self) -> str:
        """Return the SHA-256 of its bytes, the same that `Source.sha256` of the read log is."""
        if self.parts:
            joined = "".join(_digest(part, self.remote) for part in self.parts)
            return hashlib.sha256(joined.encode()).hexdigest()
        return _digest(self.name, self.remote)

    @contextmanager
    def local(self) -> Iterator[str | tuple[str, ...]]:
        """Give the path or paths that `read_flights` takes; what is remote is fetched meanwhile."""
        named = self.parts or (self.name,)
        if not self.remote:
            yield self.parts or self.name
            return
        with tempfile.TemporaryDirectory(prefix="loganalyze-") as folder:
            copies = []
            for number, part in enumerate(named):
                place = Path(folder) / f"{number}" / PurePosixPath(part).name
                place.parent.mkdir()
                with _opened(part) as stream, place.open("wb") as copy:
                    while block := stream.read(BLOCK):
                        copy.write(block)
                copies.append(str(place))
            yield tuple(copies) if self.parts else copies[0]


def find_logs(named: Iterable[str], *, folders: bool = False) -> list[LogSource]:
    """Return the logs that files, folders, patterns and addresses name, each once, by name.

    Parameters
    ----------
    named : iterable of str
        A file; a folder, which is searched through for logs; a pattern (``*``, ``?``, ``**``); or
        an address such as ``s3://bucket/folder`` of a filesystem that pyarrow or fsspec opens.
        Hidden files, and files and folders that begin with an underscore, are left out.
    folders : bool
        Each folder that holds logs is one recording in several files.

    Raises
    ------
    Problem
        For a name that leads to no log, and an address that nothing opens.
    """
    found: dict[str, LogSource] = {}
    for pattern in named:
        logs = _remote(pattern, folders) if "://" in pattern else _local(pattern, folders)
        if not logs:
            raise Problem("no log is there", pattern, "name files, or a folder with logs in it")
        for log in logs:
            found.setdefault(log.name, log)
    return [found[name] for name in sorted(found)]


def _local(named: str, folders: bool) -> list[LogSource]:
    path = Path(named)
    if path.is_dir():
        inside = [each for each in path.rglob("*") if each.is_file() and _is_log(
            each.relative_to(path).parts)]
        if not folders:
            return [LogSource(str(each)) for each in inside]
        return [LogSource(str(folder), tuple(map(str, files_in(folder))))
                for folder in {each.parent for each in inside}]
    if path.is_file():
        return [LogSource(named)]
    if glob.has_magic(named):
        return [log for each in glob.glob(named, recursive=True)  # noqa: PTH207 (may be absolute)
                if Path(each).is_dir() or _is_log((Path(each).name,))
                for log in _local(each, folders)]
    raise Problem("there is no such file or folder", named, "check the path")


def _is_log(parts: Sequence[str]) -> bool:
    name = PurePosixPath(parts[-1])
    packed = name.suffix.casefold() in PACKED
    suffix = (PurePosixPath(name.stem) if packed else name).suffix.casefold()
    return not any(part.startswith(("_", ".")) for part in parts) and (
        suffix in (*TEXTS, *TABLES) or name.suffix.casefold() == ".zip")


def _remote(address: str, folders: bool) -> list[LogSource]:
    system, path = _filesystem(address)
    scheme = address.split("://", 1)[0]
    info = system.get_file_info(path)
    if info.type == pafs.FileType.NotFound:
        raise Problem("there is no such file or folder", address, "check the address")
    if info.type == pafs.FileType.File:
        return [LogSource(address, remote=True)]
    start = path.rstrip("/")
    files = [file.path for file in system.get_file_info(pafs.FileSelector(start, recursive=True))
             if file.type == pafs.FileType.File
             and _is_log(PurePosixPath(file.path[len(start):].lstrip("/")).parts)]
    if not folders:
        return [LogSource(f"{scheme}://{file}", remote=True) for file in files]
    by_folder: dict[str, list[str]] = {}
    for file in sorted(files):
        by_folder.setdefault(str(PurePosixPath(file).parent), []).append(f"{scheme}://{file}")
    return [LogSource(f"{scheme}://{folder}", tuple(inside), remote=True)
            for folder, inside in by_folder.items()]


def _filesystem(address: str) -> tuple[pafs.FileSystem, str]:
    """Return the filesystem of an address, by pyarrow or else by fsspec, and the path in it."""
    try:
        system, path = pafs.FileSystem.from_uri(address)
        return system, path
    except (ValueError, OSError, NotImplementedError) as error:  # Arrow's errors are these, too
        first = error
    try:
        other, path = import_module("fsspec").url_to_fs(address)
    except ImportError:
        raise Problem(f"this address can't be opened ({first})", address, "install fsspec and "
                      "what it needs for such an address, or copy the logs here") from None
    except (ValueError, OSError) as error:
        raise Problem(f"this address can't be opened ({error})", address,
                      "check it") from None
    return pafs.PyFileSystem(pafs.FSSpecHandler(other)), path


@contextmanager
def _opened(address: str) -> Iterator[Any]:
    system, path = _filesystem(address)
    with system.open_input_stream(path) as stream:
        yield stream


def _digest(name: str, remote: bool) -> str:
    if not remote:
        with Path(name).open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    found = hashlib.sha256()
    with _opened(name) as stream:
        while block := stream.read(BLOCK):
            found.update(block)
    return found.hexdigest()
