"""``evenfoot accounts``: the options of its commands. What they do is in :mod:`evenfoot.dashboard.cli.accounts`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

accounts = typer.Typer(help="Who may sign in, in which role, and for which farms.", no_args_is_help=True)

Ledger = Annotated[
    str | None,
    typer.Option("--ledger", help="Path or address of the ledger.", envvar="EVENFOOT_LEDGER"),
]
Name = Annotated[str, typer.Argument(help="Name of the account.")]
Farms = Annotated[list[str], typer.Option("--farm", help="A farm; may be repeated.")]


@accounts.command("add")
def add(
    name: Name,
    role: Annotated[str, typer.Option(help="owner, trimmer, manager or adviser.")],
    farm: Annotated[list[str] | None, typer.Option("--farm", help="A farm to see; may be repeated.")] = None,
    email: Annotated[
        str | None, typer.Option(help="Address by which the office's own sign-in knows the person.")
    ] = None,
    no_password: Annotated[bool, typer.Option("--no-password", help="Only the office's own sign-in.")] = False,
    ledger: Ledger = None,
) -> None:
    """Make an account. The password is asked for, or read from standard input; it never stands on the command line."""
    from evenfoot.dashboard.cli.accounts import add

    add(ledger, name, role, farm or [], email, with_password=not no_password)


@accounts.command("role")
def role(
    name: Name,
    role: Annotated[str, typer.Argument(help="owner, trimmer, manager or adviser.")],
    farm: Annotated[list[str] | None, typer.Option("--farm", help="A farm to see; may be repeated.")] = None,
    ledger: Ledger = None,
) -> None:
    """Give somebody another role, at once."""
    from evenfoot.dashboard.cli.accounts import change_role

    change_role(ledger, name, role, farm or [])


@accounts.command("end-second-factor")
def end_second_factor(name: Name, ledger: Ledger = None) -> None:
    """Ask somebody for the password alone: telephone and recovery codes are lost. Open sessions end."""
    from evenfoot.dashboard.cli.accounts import end_second_factor

    end_second_factor(ledger, name)


@accounts.command("list")
def listed(ledger: Ledger = None) -> None:
    """List the accounts."""
    from evenfoot.dashboard.cli.accounts import show

    show(ledger)


@accounts.command("history")
def history(
    format: Annotated[str, typer.Option(help="text, csv or json.")] = "text",
    out: Annotated[Path | None, typer.Option("--out", "-o", help="File to write instead of printing.")] = None,
    ledger: Ledger = None,
) -> None:
    """Who changed what of accounts, grants and links, who signed in or tried to, when, and from where."""
    from evenfoot.dashboard.cli.accounts import print_history

    print_history(ledger, format, out)


@accounts.command("grant")
def grant(name: Name, farm: Farms, ledger: Ledger = None) -> None:
    """Let somebody see more farms."""
    from evenfoot.dashboard.cli.accounts import grant

    grant(ledger, name, farm)


@accounts.command("revoke")
def revoke(name: Name, farm: Farms, ledger: Ledger = None) -> None:
    """Take farms away from somebody, at once."""
    from evenfoot.dashboard.cli.accounts import revoke

    revoke(ledger, name, farm)


@accounts.command("remove")
def remove(name: Name, ledger: Ledger = None) -> None:
    """Take an account away, with its sessions and links."""
    from evenfoot.dashboard.cli.accounts import remove

    remove(ledger, name)


@accounts.command("password")
def password(name: Name, ledger: Ledger = None) -> None:
    """Give somebody a new password; open sessions end."""
    from evenfoot.dashboard.cli.accounts import password

    password(ledger, name)


@accounts.command("sign-out-everywhere")
def sign_out_everywhere(name: Name, ledger: Ledger = None) -> None:
    """End every session of somebody."""
    from evenfoot.dashboard.cli.accounts import sign_out

    sign_out(ledger, name)
