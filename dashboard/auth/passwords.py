"""Passwords: hashed with argon2id, checked in the same time whether or not the name is known."""

from __future__ import annotations

import functools
import threading

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth.common_passwords import is_common

FEWEST_LETTERS = 15
"""Of a password that is the only proof asked for [from memory: NIST SP 800-63B-4, 3.1.1.2]. No rule says which letters,
so three or four words do."""

MOST_LETTERS = 256
FEWEST_DIFFERENT = 5
"""Different letters in a password, so that one key held down is none. [common practice, no source]"""

AT_ONCE = 2
"""Passwords hashed at one time: each takes 64 MiB, and many at once would take the server's memory."""

_turn = threading.BoundedSemaphore(AT_ONCE)


def refuse_weak(password: str, name: str) -> None:
    """Refuse a password that is easily guessed.

    Raises
    ------
    UserError
        It is too short, too long, one letter over and over, the name itself, or made of common passwords.
    """
    if len(password) < FEWEST_LETTERS:
        raise UserError(
            say("The password is too short; take at least {n} letters, such as four words.", n=FEWEST_LETTERS)
        )
    if len(password) > MOST_LETTERS:
        raise UserError(say("The password is too long; take at most {n} letters.", n=MOST_LETTERS))
    plain = password.casefold()
    without_name = plain.replace(name.casefold(), "")
    if len(set(plain)) < FEWEST_DIFFERENT or is_common(without_name):
        raise UserError(say("The password is easily guessed; take four words that do not belong together."))


def hash_of(password: str) -> str:
    """The argon2id hash, salted, with its own parameters in it."""
    with _turn:
        return _hasher().hash(password)


def matches(password: str, kept: str | None) -> bool:
    """Whether a password is the one that was hashed.

    Without a hash (an unknown name, or an account that signs in elsewhere) as much is worked out, for nothing.
    """
    from argon2.exceptions import InvalidHashError, VerificationError

    with _turn:
        try:
            right = _hasher().verify(kept or _nobodys(), password[: MOST_LETTERS + 1])
        except (VerificationError, InvalidHashError):
            return False
    return right and kept is not None


def outdated(kept: str) -> bool:
    """Whether a hash was made with weaker parameters than are used now."""
    return bool(_hasher().check_needs_rehash(kept))


@functools.cache
def _hasher():  # type: ignore[no-untyped-def]
    from argon2 import PasswordHasher

    return PasswordHasher()


@functools.cache
def _nobodys() -> str:
    import secrets

    return str(_hasher().hash(secrets.token_urlsafe(32)))
