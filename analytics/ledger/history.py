"""Who changed what, and when: one line a change, written in the same transaction as the change itself.

Lines are added and never altered. Only the complete erasing of a farm takes that farm's lines out.
"""

from __future__ import annotations

import contextlib
import contextvars
import datetime as dt
import getpass
import json
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.checksums import come
from evenfoot.analytics.ledger.engines.engine import next_number

if TYPE_CHECKING:
    from evenfoot.analytics.ledger.ledger import Ledger

COLUMNS = ("history_no", "noted_at", "who", "what", "subject", "farm", "before", "after")

_acting: contextvars.ContextVar[str | None] = contextvars.ContextVar("acting", default=None)
_still_may: contextvars.ContextVar[Callable[[], None] | None] = contextvars.ContextVar("still_may", default=None)


def note(
    connection: Any,
    what: str,
    *,
    subject: str = "",
    farm: str | None = None,
    before: Mapping[str, object] | None = None,
    after: Mapping[str, object] | None = None,
    who: str | None = None,
) -> None:
    """Add one line to the history, inside the caller's transaction.

    Parameters
    ----------
    connection : connection
        What :meth:`Ledger.writing` gives; the line is committed, or not, together with the change.
    what : str
        The change in a few plain words: "import added", "limit set", "farm granted".
    subject : str
        On what: "import 7", "limit long_toe_mm", "account Anna".
    farm : str, optional
        The one farm concerned. A line with a farm goes when that farm is erased.
    before, after : mapping, optional
        What was there and what is there now. Dates are kept as text.
    who : str, optional
        Who did it; without it :func:`who_acts`.
    """
    number = next_number(connection, "history", "history_no")
    connection.execute(
        "INSERT INTO history VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [
            number,
            dt.datetime.now(dt.UTC).replace(tzinfo=None),
            who or who_acts(),
            what,
            subject,
            farm,
            _json(before),
            _json(after),
        ],
    )
    come(connection, ["history"], "history_no = ?", number)


def who_acts() -> str:
    """The viewer a page acts for, else this machine's user."""
    acting = _acting.get()
    if acting:
        return acting
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unknown"


def refuse_gone() -> None:
    """Ask whether who acts still may; called at the end of every change, before it is committed.

    Raises
    ------
    UserError
        Whatever the check given to :func:`acting` raises.
    """
    check = _still_may.get()
    if check is not None:
        check()


@contextlib.contextmanager
def acting(who: str, still_may: Callable[[], None] | None = None) -> Iterator[None]:
    """Changes made within the block are *who*'s.

    Parameters
    ----------
    who : str
    still_may : callable, optional
        Raises a UserError once *who* may change nothing any more: a change may take minutes.

    Examples
    --------
    >>> with acting("Anna"):
    ...     who_acts()
    'Anna'
    """
    token, check = _acting.set(who), _still_may.set(still_may)
    try:
        yield
    finally:
        _acting.reset(token)
        _still_may.reset(check)


def history(ledger: Ledger, *, farms: tuple[str, ...] | None = None) -> pd.DataFrame:
    """The changes so far, newest last.

    Parameters
    ----------
    ledger : Ledger
    farms : tuple of str, optional
        Only lines on these farms.

    Returns
    -------
    pandas.DataFrame
        history_no, noted_at (UTC), who, what, subject, farm, before, after (JSON, missing where there is nothing).
    """
    if not ledger.exists:
        raise UserError(f"There is no ledger at {ledger.name} yet; import a sheet first.")
    where = "WHERE farm IN (SELECT UNNEST(?))" if farms is not None else ""
    return ledger.frame(
        f"SELECT {', '.join(COLUMNS)} FROM history {where} ORDER BY history_no",
        [list(farms)] if farms is not None else None,
    )


def _json(values: Mapping[str, object] | None) -> str | None:
    return None if values is None else json.dumps(values, ensure_ascii=False, sort_keys=True, default=str)
