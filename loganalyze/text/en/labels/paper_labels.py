"""What a page of paper says of itself."""

from __future__ import annotations


def page(number: int, of: str) -> str:
    """Return a page's number."""
    return f"page {number} of {of}"


def footer(version: str, sha256: str) -> str:
    """Return what each page carries: the program's version and the log's hash, if any."""
    of = f" · log SHA-256 {sha256}" if sha256 else ""
    return f"loganalyze {version}{of}"


def log_hash(sha256: str) -> str:
    """Return the log's hash, as the foot of a page prints it."""
    return f"SHA-256 of the log: {sha256}"
