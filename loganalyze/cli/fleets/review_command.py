"""``loganalyze review``: the review desk, and what belongs to it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from loganalyze.cli.shared_options import FILE, json_option, print_json, say

if TYPE_CHECKING:
    from loganalyze.review.access.openid_sign_in import OpenIdSignIn
    from loganalyze.review.access.server_binding import Binding

Command = TypeVar("Command", bound=Callable[..., Any])
DATABASE_HELP = ("The address of a PostgreSQL database of decisions, "
                 "postgresql://USER@HOST/NAME; otherwise they lie in the store's folder.")


def _store_options(command: Command) -> Command:
    """Add --store and --database."""
    command = click.option("--database", metavar="URL", envvar="LOGANALYZE_REVIEW_DATABASE",
                           help=DATABASE_HELP)(command)
    return click.option("--store", type=FILE, required=True, metavar="DIR",
                        help="The folder of the store.")(command)


@click.group("review", invoke_without_command=True)
@click.option("--store", type=FILE, metavar="DIR", help="The folder of the store that loganalyze "
              "fleet wrote.")
@click.option("--database", metavar="URL", envvar="LOGANALYZE_REVIEW_DATABASE",
              help=DATABASE_HELP)
@click.option("--host", default="127.0.0.1", show_default=True,
              help="The address to listen at. Others reach it only with --accounts, --certificate "
              "and --key.")
@click.option("--port", type=click.IntRange(0, 65535), default=0,
              help="The port; otherwise a free one.")
@click.option("--name", "names", multiple=True, metavar="HOST",
              help="The name of the host in the addresses that people open; under no other it "
              "answers. May be repeated.")
@click.option("--accounts", is_flag=True, help="People sign in, with the roles they were given.")
@click.option("--openid", type=FILE, metavar="FILE", help="People of --accounts may also sign in "
              "by the OpenID Connect provider that this TOML file names: issuer, client_id, claim "
              "(otherwise sub). The client's secret is read from the file that its secret_file "
              "names (mode 600), or from LOGANALYZE_REVIEW_OPENID_SECRET. Who isn't added with "
              "review person add --issuer --subject is refused. The provider must send people "
              "back to https://NAME:PORT/sign-in/answer.")
@click.option("--certificate", type=FILE, metavar="FILE", help="The certificate for TLS (PEM).")
@click.option("--key", type=FILE, metavar="FILE", help="Its key (PEM).")
@click.option("--no-browser", is_flag=True, help="Print the address only.")
@click.pass_context
def command(context: click.Context, store: Path | None, database: str | None, host: str,
            port: int, names: tuple[str, ...], accounts: bool, certificate: Path | None,
            key: Path | None, openid: Path | None, no_browser: bool) -> None:
    """Open the review desk over a store: which exceedances need a look, what each is found to be,
    what follows, and who decided it.

    For one person on one machine nothing else is needed: the desk opens in the browser, and only
    who has its address gets in. It ends with Ctrl+C.
    """
    if context.invoked_subcommand is not None:
        return
    if store is None:
        raise click.UsageError("Missing option '--store'.", context)
    import webbrowser

    from loganalyze.review.access.server_binding import Binding
    from loganalyze.review.commands.desk_server import serve_desk
    from loganalyze.text.language import desk_command_words

    def opened(address: str) -> None:
        say(desk_command_words.open_at(address))
        if not no_browser:
            webbrowser.open(address)

    serve_desk(store, Binding(host, port, names, accounts, certificate, key), database=database,
               provider=None if openid is None else _provider(openid), opened=opened)


def _provider(file: Path) -> Callable[[Binding], OpenIdSignIn]:
    """Return what makes the sign-in by the provider that a file names."""
    from loganalyze.problems import Problem
    from loganalyze.review.access.openid_settings import openid_settings

    settings = openid_settings(file)
    try:
        from loganalyze.review.access.openid_sign_in import OpenIdSignIn
    except ModuleNotFoundError as error:
        raise Problem(f"signing in by a provider needs the package {error.name}", "--openid",
                      "install loganalyze[openid]") from None
    return partial(OpenIdSignIn, settings)


@command.command("verify-trail")
@_store_options
@click.option("--head", metavar="HEAD", help="A head of the trail that was written down before, as "
              "a backup, an export or this command printed it.")
@json_option
def verify_trail(store: Path, database: str | None, head: str | None, as_json: bool) -> None:
    """Check whether the trail, and what it tells of, are as they were written.

    Exits with 1 where something was altered.
    """
    from loganalyze.problems import Problem
    from loganalyze.review.commands.desk_server import open_decisions
    from loganalyze.review.decisions.trail_checks import check_trail
    from loganalyze.review.decisions.trail_entries import TrailHead, head_of
    from loganalyze.text.language import desk_command_words

    try:
        witness = None if head is None else TrailHead.parse(head)
    except ValueError:
        raise Problem("this is no head of a trail", "--head",
                      "give it as it was printed, a number, a hyphen and 64 digits") from None
    with closing(open_decisions(store, database)) as decisions, decisions.reading() as connection:
        faults, found = check_trail(connection, witness), str(head_of(connection))
    if as_json:
        print_json({"intact": not faults, "head": found, "faults": [
            {"code": fault.code, "where": fault.where} for fault in faults]})
    else:
        for line in desk_command_words.trail_lines(
                [(fault.code, fault.where) for fault in faults], found):
            say(line)
    if faults:
        sys.exit(1)


@command.command("backup")
@_store_options
@click.argument("file", type=FILE)
def backup(store: Path, database: str | None, file: Path) -> None:
    """Write all decisions, follow-ups, people and the trail into a new FILE."""
    from loganalyze.review.commands.desk_server import open_decisions
    from loganalyze.review.decisions.decision_backup import write_backup
    from loganalyze.text.language import desk_command_words

    with closing(open_decisions(store, database)) as decisions:
        head = write_backup(decisions, file)
    say(desk_command_words.backed_up(str(file), str(head)))


@command.command("restore")
@_store_options
@click.argument("file", type=FILE)
def restore(store: Path, database: str | None, file: Path) -> None:
    """Put a backup into a new database, of the same kind or the other one."""
    from loganalyze.review.commands.desk_server import open_decisions
    from loganalyze.review.decisions.decision_backup import restore_backup
    from loganalyze.text.language import desk_command_words

    with closing(open_decisions(store, database)) as decisions:
        head = restore_backup(decisions, file)
    say(desk_command_words.restored(str(file), str(head)))


@command.command("upgrade")
@_store_options
def upgrade(store: Path, database: str | None) -> None:
    """Bring an older database to this program's form, with all that is in it."""
    from loganalyze.review.commands.desk_server import open_decisions
    from loganalyze.text.language import desk_command_words

    open_decisions(store, database, upgrade=True).close()
    say(desk_command_words.UPGRADED)


@command.command("person")
@_store_options
@click.argument("action", type=click.Choice(["add", "change", "list"]))
@click.argument("name", required=False)
@click.option("--role", type=click.Choice(["reviewer", "gatekeeper", "administrator"]),
              help="What they may do.")
@click.option("--password/--no-password", default=False,
              help="Ask for a password for them, or read it from standard input.")
@click.option("--issuer", metavar="URL", help="The OpenID Connect provider by which they sign in.")
@click.option("--subject", metavar="TEXT", help="The value of the claim by which it knows them.")
@click.option("--active/--inactive", default=None, help="Whether they may sign in.")
def person(store: Path, database: str | None, action: str, name: str | None, role: str | None,
           password: bool, issuer: str | None, subject: str | None, active: bool | None) -> None:
    """Add or change people who may sign in, or list them."""
    from loganalyze.review.commands.desk_server import open_decisions
    from loganalyze.review.commands.people_commands import (
        add_by_command,
        change_by_command,
        listed_people,
    )

    if action != "list" and name is None:
        raise click.UsageError("Missing argument 'NAME'.")
    if action == "add" and role is None:
        raise click.UsageError("Missing option '--role'.")
    given = None
    if password:
        given = (click.prompt("Password", hide_input=True, confirmation_prompt=True)
                 if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n"))
    with closing(open_decisions(store, database)) as decisions:
        if name is None:
            for line in listed_people(decisions):
                say(line)
        elif role is not None and action == "add":
            add_by_command(decisions, name, role, given, issuer, subject)
        else:
            change_by_command(decisions, name, role, given, active, issuer, subject)


@command.command("token")
@_store_options
@click.argument("name")
def token(store: Path, database: str | None, name: str) -> None:
    """Print a token by which a program of a person uses the HTTP interface."""
    from loganalyze.review.commands.desk_server import open_decisions
    from loganalyze.review.commands.people_commands import token_by_command

    with closing(open_decisions(store, database)) as decisions:
        say(token_by_command(decisions, name))


@command.command("report")
@_store_options
@click.option("--since", default="", metavar="MONTH", help="The first month of flight (2031-01).")
@click.option("--until", default="", metavar="MONTH", help="The last one.")
@click.option("--action", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY",
              help="A day (UTC) on which something was done: compare the rates after and before.")
@click.option("--page", type=FILE, metavar="FILE", help="Write it as a page.")
@click.option("--pdf", type=FILE, metavar="FILE", help="Write it as a PDF.")
@json_option
def report(store: Path, database: str | None, since: str, until: str, action: datetime | None,
           page: Path | None, pdf: Path | None, as_json: bool) -> None:
    """Write the periodic safety report: rates, decisions, what is open, follow-ups, and the effect
    of an action. It names nobody and no aircraft."""
    from loganalyze.review.commands.period_command import period_by_command
    from loganalyze.text.language import period_words

    if page is None and pdf is None and not as_json:
        raise click.UsageError("Give --page, --pdf or --json.")
    counts, written = period_by_command(store, database, since, until,
                                        action.date() if action else None,
                                        {"html": page, "pdf": pdf})
    if as_json:
        print_json(counts)
    else:
        follow_ups = counts["follow_ups"]
        say(period_words.summary(counts["cases"], counts["cases"] - counts["waiting"],
                                 counts["waiting"], follow_ups["open"], follow_ups["overdue"]))
        for file in written:
            say(str(file))


@command.command("openapi")
def openapi() -> None:
    """Print the description of the HTTP interface (OpenAPI 3.1)."""
    from loganalyze.review.application.interface_description import interface_description

    print_json(interface_description())
