"""The secret key of a store's pseudonyms: a file that its owner alone may read."""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import secrets
from dataclasses import dataclass, field
from pathlib import Path

from loganalyze.problems import Problem

BYTES = 32
"""Length of a key: that of the hash, as RFC 2104, section 3, advises."""
_TEXT = re.compile(rf"[0-9a-f]{{{2 * BYTES}}}\s*", re.ASCII)


@dataclass(frozen=True)
class SecretKey:
    """A key of pseudonyms; its bytes are in no representation of it."""

    secret: bytes = field(repr=False)

    def digest(self, domain: str, text: str) -> str:
        """Return the keyed hash of a text, as 64 hexadecimal digits.

        Parameters
        ----------
        domain : str
            What the text is: the same text gives another hash in another domain.
        text : str
            Any.
        """
        return hmac.new(self.secret, f"{domain}\0{text}".encode(), hashlib.sha256).hexdigest()

    @property
    def fingerprint(self) -> str:
        """What a store remembers of its key, to notice another one; it doesn't lead to the key."""
        return self.digest("store", "fingerprint")[:16]


def throwaway_key() -> SecretKey:
    """Return a key that is kept nowhere: what it hides can't be found again by anyone."""
    return SecretKey(secrets.token_bytes(BYTES))


def secret_key(path: Path, *, make: bool) -> SecretKey:
    """Read a key file, or make one.

    Parameters
    ----------
    path : Path
        A file of 64 hexadecimal digits.
    make : bool
        Make it with a random key where there is none, for its owner alone (mode 0600).

    Raises
    ------
    Problem
        Where it isn't there and isn't to be made, others than its owner may read or change it, or
        it holds no key.
    """
    if make and not path.exists():
        _make(path)
    try:
        with path.open("rb") as stream:
            mode = os.fstat(stream.fileno()).st_mode
            text = stream.read(4 * BYTES).decode("ascii", errors="replace")
    except FileNotFoundError:
        raise Problem("there is no such key file", str(path), "give the key file that the store "
                      "was made with; without it its pseudonyms can't be continued") from None
    if mode & 0o077:
        raise Problem(f"others than its owner may read or change the key file (mode "
                      f"{mode & 0o777:o})", str(path), "run chmod 600 on it; if others may have "
                      "read it, judge into a new store with a new key")
    if not _TEXT.fullmatch(text):
        raise Problem(f"the file holds no key ({2 * BYTES} hexadecimal digits)", str(path),
                      "name another file; one that isn't there is made")
    return SecretKey(bytes.fromhex(text.strip()))


def _make(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    hidden = path.with_name(f".{path.name}.{os.getpid()}.part")
    number = os.open(hidden, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(number, "w", encoding="ascii") as stream:
            stream.write(secrets.token_hex(BYTES) + "\n")
            stream.flush()
            os.fsync(stream.fileno())
        try:
            os.link(hidden, path)  # unlike a renaming it replaces no key that is there by now
        except FileExistsError:
            return
    finally:
        hidden.unlink()
