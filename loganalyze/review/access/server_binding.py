"""Where the server may listen: beyond the loopback interface only with accounts and TLS."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from pathlib import Path

from loganalyze.problems import Problem

LOOPBACK = "127.0.0.1"


@dataclass(frozen=True)
class Binding:
    """Where a server listens, and under which addresses it answers.

    ``names`` : of hosts, as in its public address; ``accounts`` : whether people sign in;
    ``certificate``, ``key`` : files for TLS.
    """

    host: str
    port: int
    names: tuple[str, ...] = ()
    accounts: bool = False
    certificate: Path | None = None
    key: Path | None = None

    @property
    def secure(self) -> bool:
        """Whether the connection is encrypted."""
        return self.certificate is not None

    @property
    def scheme(self) -> str:
        """The scheme of its addresses."""
        return "https" if self.secure else "http"

    @property
    def hosts(self) -> frozenset[str]:
        """What a Host header may say, in lower case."""
        names = {name.lower() for name in self.names} or {_in_address(self.host)}
        if is_loopback(self.host):
            names |= {LOOPBACK, "localhost", "[::1]"}
        usual = 443 if self.secure else 80
        return frozenset({f"{name}:{self.port}" for name in names}
                         | (names if self.port == usual else set()))

    @property
    def origins(self) -> frozenset[str]:
        """What the Origin header of its own pages says."""
        return frozenset(f"{self.scheme}://{host}" for host in self.hosts)

    @property
    def address(self) -> str:
        """The address that is opened."""
        name = self.names[0] if self.names else _in_address(self.host)
        return f"{self.scheme}://{name}:{self.port}"


def check_binding(binding: Binding, people: int) -> None:
    """Refuse to serve others without accounts and transport security.

    Parameters
    ----------
    binding : Binding
        Where the server is to listen.
    people : int
        How many people may sign in.

    Raises
    ------
    Problem
        Naming what is missing.
    """
    if (binding.certificate is None) != (binding.key is None):
        raise Problem("a certificate and its key go together", "--certificate, --key",
                      "give both")
    for file in (binding.certificate, binding.key):
        if file is not None and not file.is_file():
            raise Problem("there is no such file", str(file), "check the path")
    if binding.accounts and not people:
        raise Problem("nobody can sign in", "--accounts",
                      "add an administrator first: loganalyze review person add NAME "
                      "--role administrator")
    if is_loopback(binding.host):
        return
    if not binding.accounts:
        raise Problem(f"{binding.host} can be reached by others, and the desk has no accounts",
                      "--host", "give --accounts, and add people with loganalyze review person add")
    if not binding.secure:
        raise Problem(f"{binding.host} can be reached by others, and the connection would not be "
                      "encrypted", "--host", "give --certificate and --key")
    if not binding.names:
        raise Problem("beyond this machine the desk answers only under its own name", "--host",
                      "give --name, the name of the host in the addresses that people open")


def is_loopback(host: str) -> bool:
    """Whether only this machine reaches a host; a name other than localhost may lead anywhere."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _in_address(host: str) -> str:
    return f"[{host}]" if ":" in host and not host.startswith("[") else host.lower()
