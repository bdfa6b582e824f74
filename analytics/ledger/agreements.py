"""What farmer, trimmer and veterinarian agreed on: who does what by when, whether it was done, and how it came out.

Nothing is deleted: what is removed keeps its row, and can be put back. Every change leaves a line in the history.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from evenfoot.analytics.clock import today
from evenfoot.analytics.domain.lesions import LESIONS, PARENTS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.checksums import changing, come
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.schema import BOOKKEEPING
from evenfoot.analytics.messages import say

if TYPE_CHECKING:
    from evenfoot.analytics.ledger.ledger import Ledger

COLUMNS = tuple(BOOKKEEPING["agreements"])

TEXTS = ("text", "who", "place", "outcome")
DAYS = ("agreed_on", "due_on", "done_on")
CHANGEABLE = (*DAYS, *TEXTS, "lesion")
"""What :func:`change` may change."""

LONGEST = {"text": 200, "who": 80, "place": 80, "outcome": 200}
"""Letters of each text: it is a line of a list."""


def add(
    ledger: Ledger,
    farm: str,
    text: str,
    *,
    agreed_on: dt.date | None = None,
    who: str | None = None,
    due_on: dt.date | None = None,
    lesion: str | None = None,
    place: str | None = None,
    allowed: tuple[str, ...] | None = None,
) -> int:
    """Write down what was agreed.

    Parameters
    ----------
    ledger : Ledger
    farm : str
        As the ledger spells it.
    text : str
        What is to be done.
    agreed_on : date, optional
        Today without it.
    who : str, optional
        Who does it.
    due_on : date, optional
        By when.
    lesion : str, optional
        Code of the lesion it is for. A kind of a lesion is kept as the lesion.
    place : str, optional
        Where on the foot, in words.
    allowed : tuple of str, optional
        Farms that who writes may see; all without it.

    Returns
    -------
    int
        Its number.

    Raises
    ------
    UserError
        The farm is not there or may not be seen, the text is blank or too long, or a day cannot be.
    """
    if farm not in ledger.farms(allowed):
        raise UserError(say("The farm '{farm}' is not in the ledger; nothing was written down.", farm=farm))
    said = {"agreed_on": agreed_on or today(), "text": text, "who": who, "due_on": due_on, "lesion": lesion}
    row = checked(said | {"place": place, "done_on": None, "outcome": None})
    with ledger.writing() as connection:
        [(number,)] = connection.execute("SELECT COALESCE(MAX(agreement_no), 0) + 1 FROM agreements").fetchall()
        insert(connection, int(number), farm, row, dt.datetime.now(dt.UTC).replace(tzinfo=None))
        note(connection, "agreement added", subject=f"agreement {number}", farm=farm, after=_given(row))
    return int(number)


def mark_done(
    ledger: Ledger,
    number: int,
    *,
    done_on: dt.date | None = None,
    outcome: str | None = None,
    allowed: tuple[str, ...] | None = None,
) -> None:
    """Write down that it was done.

    Parameters
    ----------
    ledger : Ledger
    number : int
    done_on : date, optional
        Today without it.
    outcome : str, optional
        How it came out.
    allowed : tuple of str, optional
        Farms that who writes may see; all without it.

    Raises
    ------
    UserError
        There is no such agreement that may be seen, it is done already, or the day cannot be.
    """
    with _changing(ledger) as connection:
        before = _found(connection, number, allowed)
        if before["done_on"] is not None:
            raise UserError(
                say("Agreement {number} was done on {day} already.", number=number, day=str(before["done_on"]))
            )
        after = checked({**before, "done_on": done_on or today(), "outcome": outcome or before["outcome"]})
        _write(connection, number, before, after, "agreement done")


def change(
    ledger: Ledger, number: int, changes: Mapping[str, object], *, allowed: tuple[str, ...] | None = None
) -> None:
    """Change what is written down.

    Parameters
    ----------
    ledger : Ledger
    number : int
    changes : mapping of str to object
        Names of :data:`CHANGEABLE` and what they become; ``None`` or a blank text takes it out. Without ``done_on`` it
        is open again.
    allowed : tuple of str, optional
        Farms that who writes may see; all without it.

    Raises
    ------
    UserError
        There is no such agreement that may be seen, nothing would change, or something cannot be.
    """
    for name in changes:
        if name not in CHANGEABLE:
            raise UserError(
                say("'{name}' cannot be changed; use one of {listed}.", name=name, listed=", ".join(CHANGEABLE))
            )
    with _changing(ledger) as connection:
        before = _found(connection, number, allowed)
        after = checked({**before, **changes})
        if after == {name: before[name] for name in after}:
            raise UserError(say("Agreement {number} says that already; nothing was changed.", number=number))
        _write(connection, number, before, after, "agreement changed")


def remove(ledger: Ledger, number: int, *, allowed: tuple[str, ...] | None = None) -> None:
    """Remove an agreement from the lists; :func:`restore` puts it back.

    Raises
    ------
    UserError
        There is no such agreement that may be seen.
    """
    with _changing(ledger) as connection:
        before = _found(connection, number, allowed)
        _set(connection, number, {"removed_at": dt.datetime.now(dt.UTC).replace(tzinfo=None)})
        note(
            connection,
            "agreement removed",
            subject=f"agreement {number}",
            farm=before["farm"],
            before=_given(before),
        )


def restore(ledger: Ledger, number: int, *, allowed: tuple[str, ...] | None = None) -> None:
    """Put an agreement back that was removed.

    Raises
    ------
    UserError
        No agreement of that number that may be seen was removed.
    """
    with _changing(ledger) as connection:
        was = _found(connection, number, allowed, removed=True)
        _set(connection, number, {"removed_at": None})
        note(connection, "agreement put back", subject=f"agreement {number}", farm=was["farm"], after=_given(was))


def read(
    ledger: Ledger, farms: Sequence[str] = (), *, allowed: tuple[str, ...] | None = None, removed: bool = False
) -> pd.DataFrame:
    """What was agreed, the oldest first.

    Parameters
    ----------
    ledger : Ledger
    farms : sequence of str
        Only theirs.
    allowed : tuple of str, optional
        Farms that who reads may see; all without it.
    removed : bool
        Whether to list those that were removed in place of those that hold.

    Returns
    -------
    pandas.DataFrame
        :data:`COLUMNS`; days as ``datetime64``, missing where nothing was said.
    """
    if not ledger.exists:
        return _dated(pd.DataFrame(columns=list(COLUMNS)))
    listed = ", ".join(f'"{name}"' for name in COLUMNS)
    frame = ledger.frame(
        f"SELECT {listed} FROM agreements WHERE removed_at IS {'NOT ' if removed else ''}NULL "
        "ORDER BY agreed_on, agreement_no"
    )
    # Not in SQL: databases that others keep do not all know lists.
    for names in (farms or None, allowed):
        frame = frame if names is None else frame[frame["farm"].isin(list(names))]
    return _dated(frame.reset_index(drop=True))


def checked(said: Mapping[str, Any]) -> dict[str, Any]:
    """What is kept of an agreement, in the form it is kept in.

    Parameters
    ----------
    said : mapping
        Every name of :data:`CHANGEABLE`; others are left out.

    Raises
    ------
    UserError
        The text is blank, something is too long, a lesion is not known, or a day cannot be.
    """
    row: dict[str, Any] = {name: said[name] for name in DAYS}
    for name in TEXTS:
        row[name] = one_line(said[name])
        if len(row[name] or "") > LONGEST[name]:
            raise UserError(say("'{start}...' is too long; say it in {n} letters or fewer.",
                                start=row[name][:20], n=LONGEST[name]))  # fmt: skip
    if row["text"] is None:
        raise UserError(say("Say in a few words what was agreed."))
    lesion = said["lesion"] or None
    if lesion is not None and lesion not in LESIONS:
        raise UserError(
            say("'{lesion}' is no code of a lesion; use one of {listed}.", lesion=lesion, listed=", ".join(PARENTS))
        )
    row["lesion"] = None if lesion is None else LESIONS[lesion].parent
    _refuse_days(row)
    return row


def one_line(text: object) -> str | None:
    """A text as one line without signs that cannot be printed; ``None`` where nothing is left.

    Example
    -------
    >>> one_line("  two\\n lines "), one_line(" ")
    ('two lines', None)
    """
    seen = "".join(sign for sign in str(text or "") if sign.isprintable() or sign.isspace())
    return " ".join(seen.split()) or None


def insert(connection: Any, number: int, farm: str, row: Mapping[str, Any], added_at: dt.datetime) -> None:
    """Add one row, inside the caller's transaction."""
    whole = {**row, "agreement_no": number, "farm": farm, "added_at": added_at, "removed_at": None}
    marks = ", ".join("?" for _ in COLUMNS)
    connection.execute(f"INSERT INTO agreements VALUES ({marks})", [whole[name] for name in COLUMNS])
    come(connection, ["agreements"], "agreement_no = ?", number)


def _refuse_days(row: Mapping[str, Any]) -> None:
    agreed, due, done = (row[name] for name in DAYS)
    if agreed is None:
        raise UserError(say("Say on which day it was agreed."))
    if agreed > today():
        raise UserError(say("The day {day} on which it was agreed is still to come.", day=str(agreed)))
    if done is not None and done > today():
        raise UserError(say("The day {day} on which it was done is still to come.", day=str(done)))
    if due is not None and due < agreed:
        raise UserError(
            say("It cannot be due on {day}, before it was agreed on {agreed}.", day=str(due), agreed=str(agreed))
        )
    if done is not None and done < agreed:
        raise UserError(
            say("It cannot be done on {day}, before it was agreed on {agreed}.", day=str(done), agreed=str(agreed))
        )


@contextlib.contextmanager
def _changing(ledger: Ledger) -> Iterator[Any]:
    """A transaction on agreements that are there; a ledger that is not there is not made for it."""
    if not ledger.exists:
        raise UserError(say("There is no ledger yet, and nothing was agreed; import a sheet first."))
    with ledger.writing() as connection:
        yield connection


def _found(connection: Any, number: int, allowed: tuple[str, ...] | None, *, removed: bool = False) -> dict[str, Any]:
    listed = ", ".join(f'"{name}"' for name in COLUMNS)
    rows = connection.execute(f"SELECT {listed} FROM agreements WHERE agreement_no = ?", [number]).fetchall()
    row = dict(zip(COLUMNS, rows[0], strict=True)) if rows else None
    if row is None or (allowed is not None and row["farm"] not in allowed):
        raise UserError(say("There is no agreement {number}; `evenfoot agreed` lists them.", number=number))
    if removed and row["removed_at"] is None:
        raise UserError(say("Agreement {number} was not removed; nothing was changed.", number=number))
    if not removed and row["removed_at"] is not None:
        raise UserError(
            say("Agreement {number} was removed; `evenfoot agreed restore {number}` puts it back.", number=number)
        )
    return row


def _write(connection: Any, number: int, before: Mapping[str, Any], after: dict[str, Any], what: str) -> None:
    changed = [name for name in after if after[name] != before[name]]
    _set(connection, number, {name: after[name] for name in changed})
    note(
        connection,
        what,
        subject=f"agreement {number}",
        farm=before["farm"],
        before=_given(before),
        after=_given(after),
    )


def _set(connection: Any, number: int, values: Mapping[str, object]) -> None:
    assigned = ", ".join(f'"{name}" = ?' for name in values)
    with changing(connection, "agreements", "agreement_no = ?", [number]):
        connection.execute(f"UPDATE agreements SET {assigned} WHERE agreement_no = ?", [*values.values(), number])


def _given(row: Mapping[str, Any]) -> dict[str, Any]:
    """What a line of the history tells of an agreement: what was said."""
    return {name: row[name] for name in CHANGEABLE if row[name] is not None}


def _dated(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.assign(**{name: pd.to_datetime(frame[name]) for name in (*DAYS, "added_at", "removed_at")})
