"""Accounts: who there is, in which role, and for which farms."""

from __future__ import annotations

import contextlib
import sqlite3
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.farm_names import farm_finder
from evenfoot.dashboard.auth.history import note
from evenfoot.dashboard.auth.names import refuse_confusable
from evenfoot.dashboard.auth.passwords import hash_of, refuse_weak
from evenfoot.dashboard.auth.roles import OWNER, ROLES
from evenfoot.dashboard.auth.store import Store, Unwritable
from evenfoot.dashboard.auth.viewer import Viewer

LONGEST_NAME = 64


@dataclass(frozen=True)
class Account:
    """An account as it is listed; ``farms`` is ``None`` for an owner, who sees all."""

    number: int
    name: str
    role: str
    farms: tuple[str, ...] | None
    signs_in_by: str


def add(
    store: Store, name: str, role: str, password: str | None, *, farms: Sequence[str] = (), email: str | None = None
) -> None:
    """Make an account.

    Parameters
    ----------
    store : Store
    name : str
        Told apart without regard to case.
    role : str
        One of :data:`evenfoot.dashboard.auth.roles.ROLES`.
    password : str, optional
        Without one the person signs in with the office's own sign-in, by *email*.
    farms : sequence of str
        Farms granted; an owner needs none.
    email : str, optional

    Raises
    ------
    UserError
        The name is taken, looks like another or cannot be one, the role is none, the password is weak, or there is no
        way to sign in.
    """
    shown = _shown(name)
    if role not in ROLES:
        raise UserError(f"'{role}' is not a role; use {', '.join(ROLES)}.")
    if role == OWNER and farms:
        raise UserError("An owner sees every farm, so none is granted; leave --farm out.")
    if role != OWNER and not farms:
        raise UserError(f"A {role} sees only farms that are granted; name at least one with --farm.")
    if password is None and not email:
        raise UserError("Give a password, or an e-mail address for signing in elsewhere with --email.")
    refuse_confusable(shown, [account.name for account in listed(store) if key(account.name) != key(shown)])
    kept = None
    if password is not None:
        refuse_weak(password, shown)
        kept = hash_of(password)
    if role != OWNER and not _has_owner(store):
        raise UserError("The first account must be an owner: `evenfoot accounts add NAME --role owner`.")
    try:
        with store.open() as connection:
            made = connection.execute(
                "INSERT INTO accounts (name, name_key, role, password, email_key, made_at) VALUES (?, ?, ?, ?, ?, ?)",
                [shown, key(name), role, kept, email.strip().casefold() if email else None, store.clock()],
            )
            connection.executemany(
                "INSERT OR IGNORE INTO grants VALUES (?, ?)", [(made.lastrowid, farm) for farm in farms]
            )
            note(connection, store.clock(), f"account made, {role}", f"account {shown}", farms)
    except sqlite3.IntegrityError:
        raise UserError(f"There is an account with the name {shown}, or with that e-mail address, already.") from None


def listed(store: Store) -> list[Account]:
    """All accounts, by name."""
    if not store.exists:
        return []
    with store.look() as connection:
        rows = connection.execute("SELECT * FROM accounts ORDER BY name_key").fetchall()
        return [
            Account(
                row["id"],
                row["name"],
                row["role"],
                _farms(connection, row),
                "password" if row["password"] else "e-mail",
            )
            for row in rows
        ]


def set_role(store: Store, name: str, role: str, *, farms: Sequence[str] = ()) -> None:
    """Give somebody another role, at once and in open sessions too.

    Parameters
    ----------
    store : Store
    name : str
    role : str
        One of :data:`evenfoot.dashboard.auth.roles.ROLES`.
    farms : sequence of str
        Farms granted beside those that are; who is made an owner needs none, and loses the grants there were.

    Raises
    ------
    UserError
        There is no such account or role, the last owner would be none any more, or no farm would be granted.
    """
    if role not in ROLES:
        raise UserError(f"'{role}' is not a role; use {', '.join(ROLES)}.")
    if role == OWNER and farms:
        raise UserError("An owner sees every farm, so none is granted; leave --farm out.")
    with store.open() as connection:
        row = _row(connection, name)
        if row["role"] == role:
            raise UserError(f"{row['name']} is {role} already.")
        if row["role"] == OWNER:
            _refuse_last_owner(connection, row)
        if role == OWNER:
            connection.execute("DELETE FROM grants WHERE account = ?", [row["id"]])
        connection.executemany("INSERT OR IGNORE INTO grants VALUES (?, ?)", [(row["id"], farm) for farm in farms])
        connection.execute("UPDATE accounts SET role = ? WHERE id = ?", [role, row["id"]])
        if role != OWNER and not connection.execute("SELECT 1 FROM grants WHERE account = ?", [row["id"]]).fetchall():
            raise UserError(f"A {role} sees only farms that are granted; name at least one with --farm.")
        note(connection, store.clock(), f"role changed to {role}", f"account {row['name']}", farms)


def grant(store: Store, name: str, farms: Sequence[str]) -> None:
    """Let somebody see more farms."""
    with store.open() as connection:
        row = _row(connection, name)
        if row["role"] == OWNER:
            raise UserError(f"{row['name']} is an owner and sees every farm already.")
        connection.executemany("INSERT OR IGNORE INTO grants VALUES (?, ?)", [(row["id"], farm) for farm in farms])
        note(connection, store.clock(), "farm granted", f"account {row['name']}", farms)


def revoke(store: Store, name: str, farms: Sequence[str]) -> tuple[str, ...]:
    """Take farms away from somebody, at once and in open sessions too.

    The names are looked for among the farms that were granted, whatever the ledger has.

    Returns
    -------
    tuple of str
        The farms as they had been granted.

    Raises
    ------
    UserError
        There is no such account, or a farm was not granted or may be several that were.
    """
    taken: list[str] = []
    with store.open() as connection:
        row = _row(connection, name)
        find = farm_finder(_farms(connection, row) or ())
        for farm in farms:
            found = find(farm)
            if found is None:
                raise UserError(f"{row['name']} has not been granted the farm {farm}.")
            connection.execute("DELETE FROM grants WHERE account = ? AND farm = ?", [row["id"], found])
            taken.append(found)
        note(connection, store.clock(), "farm taken away", f"account {row['name']}", taken)
    return tuple(taken)


def remove(store: Store, name: str) -> None:
    """Take an account away, with its sessions and links. The last owner stays as long as others are there."""
    with store.open() as connection:
        row = _row(connection, name)
        if connection.execute("SELECT 1 FROM accounts WHERE id <> ?", [row["id"]]).fetchone():
            _refuse_last_owner(connection, row)
        connection.execute("DELETE FROM accounts WHERE id = ?", [row["id"]])
        note(connection, store.clock(), "account removed", f"account {row['name']}")


def set_password(store: Store, name: str, password: str) -> None:
    """Give somebody a new password; every session of that account ends."""
    with store.look() as connection:
        shown = str(_row(connection, name)["name"])
    refuse_weak(password, shown)
    kept = hash_of(password)
    with store.open() as connection:
        row = _row(connection, name)
        connection.execute("UPDATE accounts SET password = ? WHERE id = ?", [kept, row["id"]])
        connection.execute("DELETE FROM sessions WHERE account = ?", [row["id"]])
        note(connection, store.clock(), "password changed", f"account {row['name']}")


def number_of(store: Store, name: str) -> int:
    """The number of somebody's account.

    Raises
    ------
    UserError
        There is no such account.
    """
    with store.look() as connection:
        return int(_row(connection, name)["id"])


def name_of(store: Store, number: int | None) -> str | None:
    """The name of an account; ``None`` of a number that no account has, or of none."""
    with store.look() as connection:
        row = connection.execute("SELECT name FROM accounts WHERE id = ?", [number]).fetchone()
    return None if row is None else str(row["name"])


def password_of(store: Store, name: str) -> tuple[int | None, str | None]:
    """(number of the account, hash); (None, None) for a name nobody has."""
    with store.look() as connection:
        row = connection.execute("SELECT id, password FROM accounts WHERE name_key = ?", [key(name)]).fetchone()
    return (None, None) if row is None else (row["id"], row["password"])


def hash_of_account(store: Store, number: int) -> str | None:
    """The hash of the password of an account; ``None`` where there is no account or no password."""
    with store.look() as connection:
        row = connection.execute("SELECT password FROM accounts WHERE id = ?", [number]).fetchone()
    return None if row is None else row["password"]


def keep_hash(store: Store, number: int, kept: str) -> None:
    """Put a stronger hash of the same password in place; later, where the disk takes nothing now."""
    with contextlib.suppress(Unwritable), store.open() as connection:
        connection.execute("UPDATE accounts SET password = ? WHERE id = ?", [kept, number])


def viewer_of(connection: sqlite3.Connection, number: int) -> Viewer | None:
    """The viewer of an account, with the role and farms it has at this moment."""
    row = connection.execute("SELECT * FROM accounts WHERE id = ?", [number]).fetchone()
    if row is None:
        return None
    return Viewer(row["name"], _farms(connection, row), row["role"], row["id"])


def of_identity(store: Store, subject: str, email: str | None) -> int | None:
    """The account somebody has who proved elsewhere to be *subject*.

    An account made with an e-mail address is bound to the first subject that proves to have that address; from
    then on the subject alone counts, since an address can be given to another person.
    """
    known = "SELECT id FROM accounts WHERE subject = ?"
    with store.look() as connection:
        row = connection.execute(known, [subject]).fetchone()
    if row is not None:
        return int(row["id"])
    with store.open() as connection:
        row = connection.execute(known, [subject]).fetchone()
        if row is None and email:
            row = connection.execute(
                "SELECT id, name FROM accounts WHERE email_key = ? AND subject IS NULL", [email.strip().casefold()]
            ).fetchone()
            if row is not None:
                connection.execute("UPDATE accounts SET subject = ? WHERE id = ?", [subject, row["id"]])
                who = str(row["name"])
                note(connection, store.clock(), "bound to a sign-in elsewhere", f"account {who}", who=who)
    return None if row is None else int(row["id"])


def key(name: str) -> str:
    """What two spellings of one name have in common.

    Examples
    --------
    >>> key("  Kim  Vale ") == key("KIM VALE")
    True
    """
    return " ".join(unicodedata.normalize("NFKC", name).split()).casefold()


def _shown(name: str) -> str:
    shown = " ".join(unicodedata.normalize("NFKC", name).split())
    if not shown or len(shown) > LONGEST_NAME or not shown.isprintable():
        raise UserError(f"The name of an account must have 1 to {LONGEST_NAME} letters that can be printed.")
    return shown


def _row(connection: sqlite3.Connection, name: str) -> sqlite3.Row:
    row = connection.execute("SELECT * FROM accounts WHERE name_key = ?", [key(name)]).fetchone()
    if row is None:
        raise UserError(f"There is no account {name}; `evenfoot accounts list` has them.")
    assert isinstance(row, sqlite3.Row)
    return row


def _refuse_last_owner(connection: sqlite3.Connection, row: sqlite3.Row) -> None:
    others = "SELECT 1 FROM accounts WHERE id <> ? AND role = ?"
    if connection.execute(others, [row["id"], OWNER]).fetchone() is None:
        raise UserError(f"{row['name']} is the last owner; make another one first.")


def _farms(connection: sqlite3.Connection, row: sqlite3.Row) -> tuple[str, ...] | None:
    if row["role"] == OWNER:
        return None
    found = connection.execute("SELECT farm FROM grants WHERE account = ? ORDER BY farm", [row["id"]])
    return tuple(each["farm"] for each in found)


def _has_owner(store: Store) -> bool:
    return any(account.role == OWNER for account in listed(store))
