"""The layouts the ledger has had, and how each becomes the next.

A ledger of an older layout is brought up to date when it is first opened, after a copy of it was put into the
``backups`` folder beside it. To change the layout: raise ``SCHEMA_VERSION``, change ``schema.py``, add one
:class:`Migration` here, and store a ledger of the new layout (``python -m tests.ledger.storing``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Migration:
    """One step.

    Parameters
    ----------
    to : int
        The layout it leads to, from the one before.
    why : str
        What is new, in a few words.
    statements : tuple of str
        SQL as it stood when the step was written; it never reads ``schema.py``, which goes on changing.
    derive : bool
        Whether the derived tables are made anew from the row tables afterwards.
    """

    to: int
    why: str
    statements: tuple[str, ...] = ()
    derive: bool = False


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        2,
        "a history of changes",
        (
            'CREATE TABLE history ("history_no" BIGINT, "noted_at" TIMESTAMP, "who" VARCHAR, "what" VARCHAR, '
            '"subject" VARCHAR, "farm" VARCHAR, "before" VARCHAR, "after" VARCHAR)',
        ),
    ),
)


def migrate(connection: Any, layout: int) -> None:
    """Take a ledger from *layout* to the newest one, inside the caller's transaction."""
    from analytics.ledger.derive import derive_anew
    from analytics.ledger.history import note

    steps = [step for step in MIGRATIONS if step.to > layout]
    for step in steps:
        for statement in step.statements:
            connection.execute(statement)
    newest = steps[-1].to
    if any(step.derive for step in steps):
        derive_anew(connection)
    connection.execute("UPDATE meta SET value = ? WHERE name = 'schema'", [str(newest)])
    note(
        connection,
        "layout changed",
        subject="ledger",
        before={"layout": layout},
        after={"layout": newest, "new": [step.why for step in steps]},
    )
