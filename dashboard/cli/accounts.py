"""``evenfoot accounts`` and ``evenfoot share``: accounts made and changed, links made and revoked."""

from __future__ import annotations

import datetime as dt
import getpass
import sys
from collections.abc import Hashable, Mapping, Sequence
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.farm_names import farm_finder
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.dashboard.auth import links, people, second_factor, sessions
from evenfoot.dashboard.auth.history import history
from evenfoot.dashboard.auth.kept_note import end_note, refuse_lost, write_note
from evenfoot.dashboard.auth.roles import OWNER, ROLES
from evenfoot.dashboard.auth.store import Store, store_of
from evenfoot.dashboard.auth.viewer import OWNER as THIS_MACHINE
from evenfoot.dashboard.cli.maintenance import write_history
from evenfoot.dashboard.ui.tables import known_farms


def add(
    address: str | None, name: str, role: str, farms: Sequence[str], email: str | None, *, with_password: bool
) -> None:
    """Make an account and say what it may."""
    ledger = open_ledger(address)
    store = store_of(ledger)
    if role not in ROLES:
        raise UserError(f"'{role}' is not a role; use {', '.join(ROLES)}.")
    spelled = _spelled(ledger, farms)
    given = _password(f"Password of {name}") if with_password else None
    people.add(store, name, role, given, farms=spelled, email=email)
    print(f"{name}: {ROLES[role]}. Kept in {store.path}.")
    try:
        write_note(ledger, store)
    except UserError as mistake:
        print(f"The ledger could not note that it has accounts; serving it tries again. {mistake}", file=sys.stderr)
    if role == OWNER and len(people.listed(store)) == 1:
        print("From now on everybody has to sign in, on this machine too.", file=sys.stderr)


def show(address: str | None) -> None:
    """List the accounts."""
    ledger = open_ledger(address)
    store = store_of(ledger)
    found = people.listed(store)
    if not found:
        refuse_lost(ledger, store)
        print("There are no accounts: whoever uses this machine sees everything, and nobody else can.")
    for account in found:
        farms = "every farm" if account.farms is None else ", ".join(account.farms) or "no farm"
        second = " and second factor" if second_factor.in_use(store, account.number) else ""
        print(f"{account.name}: {account.role}, {farms}; signs in by {account.signs_in_by}{second}")


def change_role(address: str | None, name: str, role: str, farms: Sequence[str]) -> None:
    """Give somebody another role and say what it may."""
    ledger = open_ledger(address)
    store = _store(ledger)
    people.set_role(store, name, role, farms=_spelled(ledger, farms))
    print(f"{name}: {ROLES[role]}")


def end_second_factor(address: str | None, name: str) -> None:
    """Take the second factor of somebody away, whose telephone and recovery codes are lost."""
    store = _store(open_ledger(address))
    number = people.number_of(store, name)
    second_factor.end(store, number)
    sessions.end_all(store, number)
    print(f"{name} signs in with the password alone, and is signed out everywhere.")


def grant(address: str | None, name: str, farms: Sequence[str]) -> None:
    """Let somebody see more farms."""
    ledger = open_ledger(address)
    spelled = _spelled(ledger, farms)
    people.grant(_store(ledger), name, spelled)
    print(f"{name} may see {', '.join(spelled)}.")


def revoke(address: str | None, name: str, farms: Sequence[str]) -> None:
    """Take farms away from somebody."""
    taken = people.revoke(_store(open_ledger(address)), name, farms)
    print(f"{name} may no longer see {', '.join(taken)}.")


def remove(address: str | None, name: str) -> None:
    """Take an account away."""
    ledger = open_ledger(address)
    store = _store(ledger)
    people.remove(store, name)
    print(f"{name} has no account any more.")
    if not store.in_use:
        end_note(ledger)
        print(
            "That was the last one: once the server is started anew, whoever uses this machine sees everything.",
            file=sys.stderr,
        )


def password(address: str | None, name: str) -> None:
    """Give somebody a new password."""
    store = _store(open_ledger(address))
    people.number_of(store, name)
    given = _password(f"New password of {name}")
    people.set_password(store, name, given)
    print(f"{name} has a new password and is signed out everywhere.")


def sign_out(address: str | None, name: str) -> None:
    """End every session of somebody."""
    store = _store(open_ledger(address))
    ended = sessions.end_all(store, people.number_of(store, name))
    print(f"{ended} sessions of {name} were ended.")


def print_history(address: str | None, format: str, out: Path | None = None) -> None:
    """Print who changed what of accounts and links, and who signed in or tried to, oldest first."""

    def who(line: Mapping[Hashable, Any]) -> str:
        return f"{line['who']}, by {line['through']}" + (f" from {line['address']}" if line["address"] else "")

    write_history(history(store_of(open_ledger(address))), format, out, who)


def share(
    address: str | None,
    farm: str | None,
    *,
    days: int,
    language: str,
    show: bool,
    revoke: str | None,
    names: Sequence[str],
) -> None:
    """Make, list or revoke links to reports."""
    ledger = open_ledger(address)
    store = store_of(ledger)
    if revoke is not None:
        gone = links.revoke(store, THIS_MACHINE, revoke)
        print(f"The link to the report of {gone.farm} leads nowhere now.")
    elif show:
        _show_links(store)
    elif farm is None:
        raise UserError("Give a farm, or --list, or --revoke and the mark of a link.")
    else:
        [spelled] = known_farms(ledger, [farm])
        token = links.make(store, THIS_MACHINE, spelled, days=days, language=language)
        print((f"https://{names[0]}" if names else "") + links.path_of(token))
        if not names:
            print(
                "Put the address of your server in front, or name it with --public-name herd.example.org.",
                file=sys.stderr,
            )


def _show_links(store: Store) -> None:
    now = store.clock()
    found = links.listed(store, THIS_MACHINE)
    if not found:
        print("There are no links.")
    for link in found:
        state = "revoked" if link.revoked_at else "ended" if link.ends_at < now else f"until {_day(link.ends_at)}"
        by = link.made_by or "command"
        print(f"{link.id}: {link.farm}, made {_day(link.made_at)} by {by}, opened {link.opened} times, {state}")


def _day(seconds: float) -> str:
    return str(dt.datetime.fromtimestamp(seconds, dt.UTC).date())


def _store(ledger: Ledger) -> Store:
    store = store_of(ledger)
    refuse_lost(ledger, store)
    if not store.in_use:
        raise UserError("There are no accounts yet; make one with `evenfoot accounts add NAME --role owner`.")
    return store


def _spelled(ledger: Ledger, farms: Sequence[str]) -> tuple[str, ...]:
    """Farms as the ledger spells them; one that is not there yet may be granted before its first sheet."""
    find = farm_finder(ledger.farms())
    out = []
    for farm in farms:
        plain = " ".join(farm.split())
        if not plain:
            raise UserError("A farm needs a name; give one with --farm.")
        found = find(farm)
        if found is None:
            print(f"The farm {plain} is not in the ledger yet; spell it so in the sheets.", file=sys.stderr)
        out.append(found or plain)
    return tuple(out)


def _password(what: str) -> str:
    """A password asked for twice, or the first line of standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass(f"{what}: ")
    if getpass.getpass("Again: ") != first:
        raise UserError("The two passwords are not the same; nothing was changed.")
    return first
