"""One name a farm: inside the transaction that writes rows, each farm gets the spelling that the ledger has."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.farm_names import farm_finder, key
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.messages import say

NAMING = ("cows", "housing_rows", "change_rows", "summary_rows", "limit_rows", "horn_limits", "agreements")
"""Tables that together name every farm of a ledger."""


def farms_there(connection: Any, before: str = "") -> list[str]:
    """Every farm that a ledger names, alphabetical.

    Parameters
    ----------
    connection : connection
    before : str
        Stands before the names of tables that hold the rows of all farms; see
        :meth:`evenfoot.analytics.ledger.engines.engine.Engine.whole_rows`.
    """
    each = " UNION ".join(f"SELECT farm FROM {before}{table} WHERE farm IS NOT NULL" for table in NAMING)
    return sorted(farm for (farm,) in connection.execute(each).fetchall())


def ledger_spelling(ledger: Ledger, connection: Any, farms: Iterable[str]) -> dict[str, str]:
    """How rows about to be written are to spell their farms, where that is not how they spell them.

    Two imports may have been read before either was written; the one that is written second finds the other's farm
    here. Two farms of one import with the same key get the first one's spelling.

    Parameters
    ----------
    ledger : Ledger
    connection : connection
        The transaction that writes.
    farms : iterable of str
        As the rows spell them, in their order.

    Returns
    -------
    dict of str to str
        Spelling of the rows -> the ledger's.

    Raises
    ------
    UserError
        A name may mean several farms, or the rows of the farm meant are not at hand in this transaction.
    """
    said = list(dict.fromkeys(farms))
    find = farm_finder(farms_there(connection, ledger.engine.whole_rows(connection)))
    new: dict[str, str] = {}
    spelt = {farm: find(farm) or new.setdefault(key(farm), farm) for farm in said}
    out = {farm: meant for farm, meant in spelt.items() if farm != meant}
    if ledger.dialect == "pyspark":
        for farm, meant in out.items():
            if meant not in spelt:
                # Only the buckets of the farms as the sheet spells them were taken out.
                raise UserError(
                    say(
                        "The farm '{farm}' came into the ledger as '{meant}' meanwhile; bring the sheet in again.",
                        farm=farm,
                        meant=meant,
                    )
                )
    return out
