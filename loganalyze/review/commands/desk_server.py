"""The server of a desk: a socket, the application, and the address that opens it."""

from __future__ import annotations

import getpass
import socket
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn

from loganalyze.problems import Problem
from loganalyze.review.access.server_binding import Binding, check_binding
from loganalyze.review.access.sign_in import SignIn
from loganalyze.review.application.desk_application import desk_application
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.decisions.decision_database import DecisionDatabase, open_database
from loganalyze.review.decisions.people import can_sign_in

if TYPE_CHECKING:
    from loganalyze.review.access.openid_sign_in import OpenIdSignIn

    Provider = Callable[[Binding], OpenIdSignIn]


def serve_desk(store: Path, binding: Binding, *, database: str | None = None,
               provider: Provider | None = None, opened: Callable[[str], None]) -> None:
    """Serve the desk of a store until it is interrupted.

    Parameters
    ----------
    store : Path
        The folder of the store.
    binding : Binding
        Where it listens; port 0 takes a free one.
    database : str, optional
        The URL of a PostgreSQL database of decisions, in place of a file in the store.
    provider : callable, optional
        Gives the sign-in by an OpenID Connect provider, once it is known where the desk is.
    opened : callable
        Is given the address to open, once requests are answered there.

    Raises
    ------
    Problem
        For a store or database that can't be used, a port that is taken, and what `check_binding`
        refuses.
    """
    if provider is not None and not binding.accounts:
        raise Problem("a desk without accounts has nobody to sign in", "--openid",
                      "give --accounts too")
    decisions = open_database(database if database is not None else store)
    with decisions.reading() as connection:
        check_binding(binding, can_sign_in(connection))
    desk = ReviewDesk(store, decisions)
    with _listening(binding) as listener:
        bound = replace(binding, port=listener.getsockname()[1])
        sign_in = SignIn(decisions, None if binding.accounts else machine_person())
        server = uvicorn.Server(uvicorn.Config(
            desk_application(desk, sign_in, bound,
                             None if provider is None else provider(bound)),
            log_level="warning", access_log=False,
            server_header=False, proxy_headers=False, lifespan="off", ws="none",
            timeout_keep_alive=30, limit_concurrency=200,
            ssl_certfile=binding.certificate and str(binding.certificate),
            ssl_keyfile=binding.key and str(binding.key)))
        address = bound.address if binding.accounts else f"{bound.address}/enter/{sign_in.secret}"
        # The socket listens already: who opens the address now waits until the server answers.
        opened(address)
        try:
            server.run(sockets=[listener])
        finally:
            desk.close()


def machine_person() -> str:
    """Return the name by which this machine knows who runs the desk."""
    try:
        return getpass.getuser()[:100]
    except (OSError, KeyError):
        return "owner"


def open_decisions(store: Path, database: str | None, *, upgrade: bool | None = None
                   ) -> DecisionDatabase:
    """Open the decisions about a store: in its folder, or where the URL leads."""
    return open_database(database if database is not None else store, upgrade=upgrade)


def _listening(binding: Binding) -> socket.socket:
    family = socket.AF_INET6 if ":" in binding.host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((binding.host.strip("[]"), binding.port))
        listener.listen(128)
    except OSError as error:
        listener.close()
        raise Problem(f"the desk can't listen at {binding.host}, port {binding.port} "
                      f"({error.strerror or error})", "--host, --port",
                      "give another, or leave --port out") from None
    return listener
