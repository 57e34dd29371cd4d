"""Logs that don't lie in a file of their own: in a zip archive, or behind a pipe."""

from __future__ import annotations

import io
import os
import shutil
import stat
import tempfile
import zipfile
from pathlib import Path
from typing import BinaryIO, cast

from loganalyze.problems import Problem

STANDARD_INPUT = Path("-")
_COPIES: dict[Path, Path] = {}
"""Of each pipe that was read a copy, since it can be read only once."""
_FOLDER: list[tempfile.TemporaryDirectory[str]] = []


def regular(path: Path) -> Path:
    """Return a file that can be read again and again: `path`, or a copy of what a pipe gives.

    The copy goes with the process. "-" is the standard input. Raises OSError as reading does.
    """
    if path == STANDARD_INPUT and not path.exists():
        path = Path("/dev/stdin")
    if path in _COPIES:
        return _COPIES[path]
    mode = path.stat().st_mode
    if stat.S_ISREG(mode):
        return path
    copy = scratch_file()
    with path.open("rb", buffering=0) as pipe, copy.open("wb") as out:
        shutil.copyfileobj(pipe, out, 1 << 20)
    _COPIES[path] = copy
    return copy


def scratch_file() -> Path:
    """Return the path of a new file that goes with the process."""
    if not _FOLDER:
        _FOLDER.append(tempfile.TemporaryDirectory(prefix="loganalyze-"))
    handle, name = tempfile.mkstemp(dir=_FOLDER[0].name)
    os.close(handle)
    return Path(name)


def check_zip(path: Path, where: str) -> None:
    """Raise Problem for an archive that doesn't hold one log alone."""
    try:
        with zipfile.ZipFile(path) as archive:
            names = [member.filename for member in _members(archive)]
            kinds = {member.filename for member in archive.infolist()}
    except zipfile.BadZipFile:
        raise Problem("the zip archive is damaged or cut short", where,
                      "export or copy it again") from None
    if "[Content_Types].xml" in kinds or "mimetype" in kinds:
        raise Problem("this isn't a log but a spreadsheet or office document", where,
                      "export it as CSV")
    if not names:
        raise Problem("the zip archive holds no file", where, "export the log again")
    if len(names) > 1:
        listed = ", ".join(names[:5]) + (" and others" if len(names) > 5 else "")
        raise Problem(f"the zip archive holds {len(names)} files ({listed})", where,
                      "unpack it, and name the log, or the folder of one recording's files")
    with zipfile.ZipFile(path) as archive:
        try:
            archive.open(names[0]).close()
        except RuntimeError:
            raise Problem("the zip archive is locked with a password", where,
                          "unpack it first") from None
        except NotImplementedError:
            raise Problem("the zip archive is packed in a way that isn't known", where,
                          "unpack it first") from None
        except zipfile.BadZipFile:
            raise Problem("the zip archive is damaged or cut short", where,
                          "export or copy it again") from None


def open_zip(path: Path) -> BinaryIO:
    """Open the only member of an archive; see `check_zip`."""
    archive = zipfile.ZipFile(path)
    member = archive.open(_members(archive)[0])
    archive.close()  # The member keeps the file open.
    return cast(BinaryIO, io.BufferedReader(cast(io.RawIOBase, member)))


def _members(archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    """Return the files in an archive, without what systems add for themselves."""
    return [member for member in archive.infolist() if not member.is_dir() and not any(
        part.startswith(("__MACOSX", ".")) for part in Path(member.filename).parts)]
