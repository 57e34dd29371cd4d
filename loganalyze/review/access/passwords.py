"""Passwords: hashed with argon2id, at the parameters that the library recommends."""

from __future__ import annotations

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from loganalyze.problems import Problem

SHORTEST = 12
"""Characters of the shortest password that is accepted."""
LONGEST = 1000

_HASHER = PasswordHasher()
_NOBODY = _HASHER.hash("a password that nobody has")


def password_hash(password: str) -> str:
    """Return the hash of a new password.

    Raises
    ------
    Problem
        For one that is too short or too long.
    """
    if not SHORTEST <= len(password) <= LONGEST:
        raise Problem(f"a password has {SHORTEST} to {LONGEST} characters", "the password",
                      "choose another; several words are easy to remember")
    return _HASHER.hash(password)


def is_password(password: str, kept: str | None) -> bool:
    """Whether a password is the one of a hash; for no hash it takes as long, and isn't."""
    try:
        fits = _HASHER.verify(kept or _NOBODY, password[:LONGEST])
    except (VerificationError, InvalidHashError):
        return False
    return fits and kept is not None


def is_outdated(kept: str) -> bool:
    """Whether a hash was made with weaker parameters than are recommended today."""
    return _HASHER.check_needs_rehash(kept)
