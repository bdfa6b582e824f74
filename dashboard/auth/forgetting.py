"""A farm that is erased from the ledger leaves the accounts as well: who may see it, links, and letterheads."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Sequence

from evenfoot.analytics.intake.parsing.farm_names import farm_finder
from evenfoot.analytics.ledger.integrity.farm_mentions import FarmMentions
from evenfoot.dashboard.auth.history import note
from evenfoot.dashboard.auth.store import Store

OF_FARMS = ("grants", "links", "history", "letterheads")
"""Tables with a column ``farm``; it is empty where a line is of none."""


def left_of(store: Store, farm: str) -> str | None:
    """A farm as the accounts still spell it; None where they do not hold it.

    Raises
    ------
    UserError
        The name may mean several farms.
    """
    if not store.exists:
        return None
    with store.open() as connection:
        rows = connection.execute(" UNION ".join(f"SELECT farm FROM {table}" for table in OF_FARMS))
        named = [str(row["farm"]) for row in rows if row["farm"]]
    return farm_finder(named)(farm)


def forget_farm(store: Store, farm: str, others: Sequence[str] = ()) -> None:
    """Take a farm out of the accounts file, in whatever spelling it was granted, so that its name is not left in it.

    Parameters
    ----------
    store : Store
    farm : str
    others : sequence of str
        Farms of the ledger that are not meant, however alike their names.
    """
    named = FarmMentions(farm, others)
    if not store.exists:
        return
    with store.open() as connection:
        connection.execute("PRAGMA secure_delete = ON")
        for table in OF_FARMS:
            for (name,) in connection.execute(f"SELECT DISTINCT farm FROM {table}").fetchall():
                if name and named.is_it(name):
                    connection.execute(f"DELETE FROM {table} WHERE farm = ?", (name,))
        note(connection, store.clock(), "farm erased", "accounts")
    with contextlib.closing(sqlite3.connect(store.path, isolation_level=None)) as connection:
        connection.execute("VACUUM")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
