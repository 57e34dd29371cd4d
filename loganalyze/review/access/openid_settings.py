"""The file that says by which OpenID Connect provider people sign in, and the client's secret."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from pydantic import Field, field_validator

from loganalyze.problems import Problem
from loganalyze.review.access.server_binding import is_loopback
from loganalyze.sheets.toml_models import Sheet, read_toml, refuse

SECRET_VARIABLE = "LOGANALYZE_REVIEW_OPENID_SECRET"
LONGEST_SECRET = 4096
BEGIN_PATH, ANSWER_PATH = "/sign-in/provider", "/sign-in/answer"
"""Where a sign-in by a provider begins, and where the provider leads back to."""


class ProviderFailed(Exception):
    """The provider can't be reached, or doesn't answer as its standard says."""


class NotVouchedFor(Exception):
    """What came back doesn't show that the provider knows who sent it."""


class OpenIdFile(Sheet):
    """The fields of the file.

    ``issuer`` : the provider's address, as its tokens name it; ``client_id`` : under which it knows
    the desk; ``secret_file`` : holds the client's secret, beside this file unless the path is
    absolute; ``claim`` : what of a token says who somebody is.
    """

    issuer: str = Field(examples=["https://id.example"])
    client_id: str = Field(min_length=1, max_length=1000, examples=["review-desk"])
    secret_file: str | None = Field(default=None, min_length=1, examples=["provider_secret"])
    claim: str = Field(default="sub", pattern=r"^[A-Za-z0-9_.:/-]{1,200}$", examples=["sub"])

    @field_validator("issuer")
    @classmethod
    def _is_issuer(cls, issuer: str) -> str:
        """Refuse what can't be an issuer (OpenID Connect Core 1.0, section 2: https, no query)."""
        if not is_protected(issuer) or any(mark in issuer for mark in "?#"):
            refuse("this can't be the address of a provider",
                   "write it as https://HOST, without a query")
        return issuer


@dataclass(frozen=True)
class OpenIdSettings:
    """By which provider people sign in; the secret is in no representation of it."""

    issuer: str
    client_id: str
    claim: str
    secret: str = field(repr=False)


def openid_settings(path: Path, environment: Mapping[str, str] = os.environ) -> OpenIdSettings:
    """Read the file of a provider, and the secret from its own file or the environment.

    Parameters
    ----------
    path : Path
        A TOML file, as `OpenIdFile` describes it.
    environment : mapping
        May hold the secret under `SECRET_VARIABLE`.

    Raises
    ------
    Problem
        For a file that doesn't fit, no secret or two, and a secret's file that others may read.
    """
    given = read_toml(path, OpenIdFile)
    spoken = environment.get(SECRET_VARIABLE, "")
    if given.secret_file is not None and spoken:
        raise Problem(f"the secret is given twice, by secret_file and by {SECRET_VARIABLE}",
                      str(path), "leave one of them out")
    if given.secret_file is not None:
        spoken = _secret_of(path.parent / given.secret_file)
    if not spoken:
        raise Problem("the client's secret is missing", str(path),
                      f"name a file that holds it, secret_file, or set {SECRET_VARIABLE}")
    return OpenIdSettings(given.issuer, given.client_id, given.claim, spoken)


def is_protected(address: str) -> bool:
    """Whether nobody between can read what is sent to an address: https, or this machine."""
    try:
        parts = urlsplit(address)
        host = parts.hostname or ""
    except ValueError:
        return False
    return bool(host) and parts.username is None and (
        parts.scheme == "https" or (parts.scheme == "http" and is_loopback(host)))


def _secret_of(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            mode = os.fstat(stream.fileno()).st_mode
            content = stream.read(LONGEST_SECRET + 1)
    except OSError as error:
        raise Problem(f"the secret's file can't be read ({error.strerror})", str(path),
                      "check the path") from None
    if mode & 0o077:
        raise Problem(f"others than its owner may read or change the secret's file (mode "
                      f"{mode & 0o777:o})", str(path), "run chmod 600 on it, and let the provider "
                      "make a new secret if others may have read it")
    try:
        text = content.decode("ascii").strip()
    except UnicodeDecodeError:
        text = ""
    if not text.isprintable() or not 0 < len(text) <= LONGEST_SECRET:
        raise Problem("the file holds no secret, one line of ASCII letters", str(path),
                      "write the secret into it that the provider gave for the desk")
    return text
