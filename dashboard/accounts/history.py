"""Who changed what of the accounts, and when: one line a change, in the same transaction as the change itself.

Lines are added and never altered, and hold no password, no hash and nothing a link could be made from. Only the erasing
of a farm takes that farm's lines out.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd
from flask import has_request_context

from analytics.ledger.history import who_acts

if TYPE_CHECKING:
    from dashboard.accounts.store import Store

COLUMNS = ("history_no", "noted_at", "who", "through", "what", "subject", "farm")


def note(
    connection: sqlite3.Connection,
    moment: float,
    what: str,
    subject: str,
    farms: Sequence[str] = (),
    *,
    who: str | None = None,
) -> None:
    """Add a line for each farm, or one without a farm, inside the caller's transaction.

    Parameters
    ----------
    connection : sqlite3.Connection
        What :meth:`Store.open` gives; the lines are committed, or not, together with the change.
    moment : float
        Seconds since 1970.
    what : str
        The change in a few plain words: "farm granted", "password changed".
    subject : str
        On what: "account Kim", "link 9f2c". Never a password or a link's token.
    farms : sequence of str
    who : str, optional
        Without it the viewer a page acts for, else this machine's user.
    """
    through = "page" if has_request_context() else "command"
    connection.executemany(
        "INSERT INTO history (noted_at, who, through, what, subject, farm) VALUES (?, ?, ?, ?, ?, ?)",
        [(moment, who or who_acts(), through, what, subject, farm) for farm in farms or (None,)],
    )


def history(store: Store) -> pd.DataFrame:
    """The changes so far, newest last.

    Returns
    -------
    pandas.DataFrame
        history_no, noted_at (UTC), who, through ("page" or "command"), what, subject, farm (missing where none is
        concerned).
    """
    rows: list[sqlite3.Row] = []
    if store.exists:
        with store.open() as connection:
            rows = connection.execute(f"SELECT {', '.join(COLUMNS)} FROM history ORDER BY history_no").fetchall()
    frame = pd.DataFrame([tuple(row) for row in rows], columns=list(COLUMNS))
    frame["noted_at"] = [dt.datetime.fromtimestamp(moment, dt.UTC).replace(tzinfo=None) for moment in frame["noted_at"]]
    return frame
