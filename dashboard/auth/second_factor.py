"""A second factor: codes that change every 30 seconds, and recovery codes for the day the telephone is lost.

[pub: RFC 6238, TOTP; RFC 4226, HOTP]
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import secrets
import sqlite3
from urllib.parse import quote

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth.history import note
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.auth.throttle import use_once

STEP_SECONDS = 30
DIGITS = 6
SECRET_BYTES = 20
"""[pub: RFC 6238, 4.1 and 5.2; RFC 4226, 4 and 5.3]"""

STEPS_AROUND = 1
"""Codes of so many steps before and after count too: clocks differ. [pub: RFC 6238, 5.2]"""

RECOVERY_CODES = 10
RECOVERY_BYTES = 10
"""80 bits each, so a plain digest keeps them. [common practice, no source]"""

WRONG_CODE = say("The code is not right, or was used before. Wait for the next one, or take a recovery code.")


def new_secret() -> bytes:
    """A secret for an app."""
    return secrets.token_bytes(SECRET_BYTES)


def spelled(secret: bytes) -> str:
    """A secret as people type it into an app: base32, in groups of four.

    Examples
    --------
    >>> spelled(b"12345678901234567890")
    'GEZD GNBV GY3T QOJQ GEZD GNBV GY3T QOJQ'
    """
    plain = base64.b32encode(secret).decode().rstrip("=")
    return " ".join(plain[place : place + 4] for place in range(0, len(plain), 4))


def app_address(secret: bytes, name: str) -> str:
    """The address that an app on the same telephone opens. [from memory: the key URI format of apps]"""
    plain = spelled(secret).replace(" ", "")
    return f"otpauth://totp/Evenfoot:{quote(name, safe='')}?secret={plain}&issuer=Evenfoot"


def code_at(secret: bytes, seconds: float, digits: int = DIGITS, digest: str = "sha1") -> str:
    """The code of a moment.

    Parameters
    ----------
    secret : bytes
    seconds : float
        Since 1970.
    digits : int
    digest : str
        Name of a hash function; apps know SHA-1.

    Examples
    --------
    >>> code_at(b"12345678901234567890", 59, digits=8)
    '94287082'
    """
    counter = int(seconds // STEP_SECONDS).to_bytes(8, "big")
    found = hmac.new(secret, counter, digest).digest()
    place = found[-1] & 0x0F
    number = int.from_bytes(found[place : place + 4], "big") & 0x7FFFFFFF
    return str(number % 10**digits).zfill(digits)


def step_of(secret: bytes, code: str, seconds: float) -> int | None:
    """The step that a code is of, among those around a moment; ``None`` where it is of none."""
    plain = re.sub(r"\s", "", code)
    now, found = int(seconds // STEP_SECONDS), None
    for step in range(now - STEPS_AROUND, now + STEPS_AROUND + 1):
        if hmac.compare_digest(code_at(secret, step * STEP_SECONDS).encode(), plain.encode()):
            found = step
    return found


def in_use(store: Store, account: int) -> bool:
    """Whether an account has a second factor."""
    return _secret(store, account) is not None


def accept(store: Store, account: int, code: str) -> bool:
    """Whether a code of the app, or a recovery code, is right for an account; either counts once.

    Raises
    ------
    Unwritable
        A recovery code cannot be crossed out, because the disk takes nothing. Codes of the app work as always.
    """
    secret = _secret(store, account)
    if secret is None:
        return False
    step = step_of(secret, code, store.clock())
    if step is not None:
        return use_once(store, f"code {account} {step}")
    digest = _digest(code)
    with store.look() as connection:
        there = connection.execute("SELECT 1 FROM recovery_codes WHERE digest = ? AND account = ?", [digest, account])
        if there.fetchone() is None:
            return False
    with store.open() as connection:
        gone = connection.execute("DELETE FROM recovery_codes WHERE digest = ? AND account = ?", [digest, account])
        if gone.rowcount:
            _note(connection, store, account, "recovery code used")
    return gone.rowcount == 1


def begin(store: Store, account: int, secret: bytes, code: str) -> list[str]:
    """Ask an account for a second factor from now on; gives its recovery codes, which are not kept.

    Parameters
    ----------
    store : Store
    account : int
    secret : bytes
        That the app was given.
    code : str
        Of the app, which shows that it has it.

    Raises
    ------
    UserError
        The code is not the secret's.
    """
    step = step_of(secret, code, store.clock())
    if step is None or not use_once(store, f"code {account} {step}"):
        raise UserError(WRONG_CODE)
    codes = [_recovery_code() for _ in range(RECOVERY_CODES)]
    with store.open() as connection:
        connection.execute("INSERT OR REPLACE INTO second_factors VALUES (?, ?)", [account, secret])
        connection.execute("DELETE FROM recovery_codes WHERE account = ?", [account])
        connection.executemany("INSERT INTO recovery_codes VALUES (?, ?)", [(_digest(one), account) for one in codes])
        _note(connection, store, account, "second factor begun")
    return codes


def end(store: Store, account: int) -> None:
    """Ask an account for its password alone.

    Raises
    ------
    UserError
        It has no second factor.
    """
    with store.open() as connection:
        gone = connection.execute("DELETE FROM second_factors WHERE account = ?", [account])
        if not gone.rowcount:
            raise UserError(say("There is no second factor to take away."))
        connection.execute("DELETE FROM recovery_codes WHERE account = ?", [account])
        _note(connection, store, account, "second factor ended")


def recovery_codes_left(store: Store, account: int) -> int:
    """How many recovery codes of an account were not used."""
    with store.look() as connection:
        found = connection.execute("SELECT COUNT(*) FROM recovery_codes WHERE account = ?", [account]).fetchone()
    return int(found[0])


def _secret(store: Store, account: int) -> bytes | None:
    with store.look() as connection:
        row = connection.execute("SELECT secret FROM second_factors WHERE account = ?", [account]).fetchone()
    return None if row is None else bytes(row["secret"])


def _note(connection: sqlite3.Connection, store: Store, account: int, what: str) -> None:
    row = connection.execute("SELECT name FROM accounts WHERE id = ?", [account]).fetchone()
    note(connection, store.clock(), what, f"account {row['name']}", who=row["name"] if what.startswith("rec") else None)


def _recovery_code() -> str:
    plain = base64.b32encode(secrets.token_bytes(RECOVERY_BYTES)).decode().lower()
    return "-".join(plain[place : place + 4] for place in range(0, len(plain), 4))


def _digest(code: str) -> bytes:
    return hashlib.sha256(re.sub(r"[\s-]", "", code).casefold().encode()).digest()
