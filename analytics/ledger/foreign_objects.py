"""A ledger's file holds tables and nothing that runs: views and macros in it are somebody else's."""

from __future__ import annotations

from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

VIEWS = "SELECT view_name FROM duckdb_views() WHERE NOT internal AND database_name = CURRENT_DATABASE()"
MACROS = "SELECT function_name FROM duckdb_functions() WHERE NOT internal AND database_name = CURRENT_DATABASE()"


def refuse_foreign_parts(connection: Any, name: str) -> None:
    """Refuse a file with a view or a macro, either of which could read other files under the name of a table.

    Evenfoot makes neither. Asked when a file is opened that has changed, and before every change.

    Parameters
    ----------
    connection : duckdb connection
    name : str
        Of the ledger, for the sentence.

    Raises
    ------
    UserError
        There is one.
    """
    found = connection.execute(f"{VIEWS} UNION ALL {MACROS}").fetchall()
    if found:
        raise UserError(
            say(
                "The ledger {name} holds a view or macro ({part}), which Evenfoot never makes; do not use the file, "
                "and put a backup of your own back with `evenfoot restore`.",
                name=name,
                part=found[0][0],
            )
        )
