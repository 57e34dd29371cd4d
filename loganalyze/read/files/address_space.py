"""Whether there is memory for a log, looked at before it is taken.

Arrow ends the whole process where one of its own threads gets no memory, and the system does so
where more is used than there is: neither can be caught, so both are looked at beforehand. What
Python and NumPy ask for themselves ends in a MemoryError, and needs no look.
"""

from __future__ import annotations

import errno
import mmap
import re
from collections.abc import Iterator
from pathlib import Path

PROC, GROUPS = Path("/proc"), Path("/sys/fs/cgroup")
SMALL = 64 << 20
"""Bytes that are asked for without a look: reading the system's counts takes longer."""
PARSING = 24
"""Bytes taken for each byte of text while it is parsed, by two threads: the text itself, Arrow's
copy of it and its columns. A byte and its delimiter may be a float64; measured, 6 to 14."""
STACKS = 32 << 20
"""Address space [bytes] for the threads that Arrow may still start: four stacks of 8 MB."""

_GROUP_FILES = {
    "": ("memory.max", "memory.current", "inactive_file"),
    "memory": ("memory.limit_in_bytes", "memory.usage_in_bytes", "total_inactive_file"),
}
"""For each kind of control group (version 2, version 1): the files of the limit and of what is
used, and the key of memory.stat that counts what the system can take back."""


_SHORTAGE = re.compile("can't start new thread|launch worker thread|bad_alloc|out of memory|"
                       "malloc of size|cannot allocate memory", re.IGNORECASE)
"""What Python, Arrow and the system say where there is no memory, or no room for a thread."""


def is_shortage(error: BaseException) -> bool:
    """Whether an error means that memory doesn't suffice, whatever its class."""
    return (isinstance(error, MemoryError) or getattr(error, "errno", None) == errno.ENOMEM
            or _SHORTAGE.search(str(error)) is not None)


def require(size: int) -> None:
    """Raise MemoryError where the system can't back `size` more bytes with memory."""
    if size > SMALL and (there := available()) is not None and size > there:
        raise MemoryError(f"{size} bytes are needed, and {there} are there")


def require_address_space(text_bytes: int) -> None:
    """Raise MemoryError where there isn't the address space to parse so many bytes of text.

    It is taken and given back at once, so that a limit of the process (RLIMIT_AS) counts as it
    is. That leaves out what Arrow's pool has reserved and doesn't use: it errs towards refusing.
    """
    size = PARSING * text_bytes + (STACKS if text_bytes > 1 << 20 else 0)
    try:
        mmap.mmap(-1, max(size, mmap.PAGESIZE)).close()
    except OSError:
        raise MemoryError(f"no address space of {size} bytes is left") from None


def available(proc: Path = PROC, groups: Path = GROUPS) -> int | None:
    """Return the bytes that the system can still give to this process, or None if unknown.

    The least of what the machine has left (free, reclaimable and swap) and of what each control
    group that the process is in has left. `proc`, `groups` : where the system shows its counts.
    """
    left = [*_machine(proc), *_of_groups(proc, groups)]
    return max(min(left), 0) if left else None


def _machine(proc: Path) -> Iterator[int]:
    counts = _counts(proc / "meminfo")
    if "MemAvailable" in counts:
        yield 1024 * (counts["MemAvailable"] + counts.get("SwapFree", 0))


def _of_groups(proc: Path, groups: Path) -> Iterator[int]:
    for line in _text(proc / "self" / "cgroup").splitlines():
        _, kinds, path = (*line.split(":", 2), "", "")[:3]
        kind = next((kind for kind in kinds.split(",") if kind in _GROUP_FILES), None)
        if kind is None:
            continue
        limit_file, used_file, key = _GROUP_FILES[kind]
        # A group's own folder may not be shown within a container: then the root is its own.
        group = groups / kind / path.lstrip("/")
        for folder in (group, *group.parents):
            limit, used = _text(folder / limit_file), _text(folder / used_file)
            if limit.isdigit() and used.isdigit():
                yield int(limit) - int(used) + _counts(folder / "memory.stat").get(key, 0)
            if folder == groups:
                break


def _counts(file: Path) -> dict[str, int]:
    """Return the numbers of a file with a name and a number a line."""
    words = (line.replace(":", " ").split() for line in _text(file).splitlines())
    return {row[0]: int(row[1]) for row in words if len(row) > 1 and row[1].isdigit()}


def _text(file: Path) -> str:
    try:
        return file.read_text().strip()
    except (OSError, UnicodeDecodeError):
        return ""
