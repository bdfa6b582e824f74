"""The id of a ledger: made with it, kept in it, and so carried by every copy of its file."""

from __future__ import annotations

import uuid
from typing import Any

NAME = "ledger"
"""Under this name the id stands in the table ``meta``."""


def give_id(connection: Any) -> None:
    """Give a ledger an id, unless it has one, inside the caller's transaction."""
    if id_of(connection) is None:
        connection.execute("INSERT INTO meta VALUES (?, ?)", [NAME, uuid.uuid4().hex])


def id_of(connection: Any) -> str | None:
    """The id of a ledger; ``None`` of one of a layout before the seventh."""
    rows = connection.execute("SELECT value FROM meta WHERE name = ?", [NAME]).fetchall()
    return str(rows[0][0]) if rows else None
