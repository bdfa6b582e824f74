"""The layouts the ledger has had, and how each becomes the next.

A ledger of an older layout is brought up to date when it is first opened, after a copy of it was put into the
``backups`` folder beside it. To change the layout: raise ``SCHEMA_VERSION``, change ``schema.py``, add one
:class:`Migration` here, and store a ledger of the new layout (``python -m tests.ledger.storing``).
"""

from __future__ import annotations

import contextlib
import json
from dataclasses import dataclass
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import checksums
from evenfoot.analytics.ledger.identity import give_id
from evenfoot.analytics.ledger.schema import ROW_TABLES, half_as_number, key_of
from evenfoot.analytics.ledger.superseded_rows import rekey
from evenfoot.analytics.messages import say


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
    keys : bool
        Whether a row table got another field: the rows' keys are then worked out anew, so that a row met again
        is still known.
    """

    to: int
    why: str
    statements: tuple[str, ...] = ()
    derive: bool = False
    keys: bool = False


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        2,
        "a history of changes",
        (
            'CREATE TABLE history ("history_no" BIGINT, "noted_at" TIMESTAMP, "who" VARCHAR, "what" VARCHAR, '
            '"subject" VARCHAR, "farm" VARCHAR, "before" VARCHAR, "after" VARCHAR)',
        ),
    ),
    Migration(
        3,
        "limits of horn that come with an import",
        (
            'CREATE TABLE limit_rows ("import_no" INTEGER, "row_no" BIGINT, "row_key" VARCHAR, "farm" VARCHAR, '
            '"breed" VARCHAR, "parity_first" INTEGER, "parity_last" INTEGER, "limit" VARCHAR, "value" DOUBLE, '
            '"note" VARCHAR)',
        ),
    ),
    Migration(
        4,
        "the lesions that a change aims at",
        ('ALTER TABLE change_rows ADD COLUMN "lesions" VARCHAR',),
        keys=True,
    ),
    Migration(5, "what was looked at: kinds of visit by the share of the herd, numbers used again", derive=True),
    Migration(
        6,
        "names that mean the same, answers kept for a layout, rows replaced, counts without cows",
        (
            'CREATE TABLE summary_rows ("import_no" INTEGER, "row_no" BIGINT, "row_key" VARCHAR, "visit_date" DATE, '
            '"farm" VARCHAR, "trimmer" VARCHAR, "herd_size" INTEGER, "looked_at" INTEGER, "lesion" VARCHAR, '
            '"cases" INTEGER, "unit" VARCHAR, "note" VARCHAR)',
            'CREATE TABLE replaced_rows ("import_no" INTEGER, "kind" VARCHAR, "farm" VARCHAR, "row_key" VARCHAR, '
            '"of_import" INTEGER, "row_no" BIGINT, "new_key" VARCHAR, "content" VARCHAR)',
            'CREATE TABLE aliases ("kind" VARCHAR, "farm" VARCHAR, "said" VARCHAR, "means" VARCHAR, '
            '"created_at" TIMESTAMP, "taken_back_at" TIMESTAMP)',
            'CREATE TABLE layouts ("layout_no" INTEGER, "name" VARCHAR, "headings" VARCHAR, "signature" VARCHAR, '
            '"trimmer" VARCHAR, "answers" VARCHAR, "created_at" TIMESTAMP, "used_at" TIMESTAMP)',
        ),
    ),
    Migration(
        7,
        "an id by which copies are known, what anonymous exports gave away",
        (
            'CREATE TABLE exports ("exported_at" TIMESTAMP, "farm" VARCHAR, "half_year" VARCHAR, '
            '"visit_kind" VARCHAR, "housing" VARCHAR, "lactation" VARCHAR, "cows" VARCHAR)',
        ),
    ),
    Migration(8, "sums of every table of sheet rows and of bookkeeping"),
    Migration(9, "what was looked at: numbers of cows met speak for eight months", derive=True),
    Migration(
        10,
        "the group on a sheet of scores; visits of a few cows that were all ill are not taken for the herd",
        ('ALTER TABLE score_rows ADD COLUMN "group" VARCHAR',),
        derive=True,
        keys=True,
    ),
    Migration(
        11,
        "the size of the herd on a sheet of scores",
        ('ALTER TABLE score_rows ADD COLUMN "herd_size" INTEGER',),
        derive=True,
        keys=True,
    ),
    Migration(
        12,
        "what farmer, trimmer and veterinarian agreed on",
        (
            'CREATE TABLE agreements ("agreement_no" INTEGER, "farm" VARCHAR, "agreed_on" DATE, "text" VARCHAR, '
            '"who" VARCHAR, "due_on" DATE, "lesion" VARCHAR, "place" VARCHAR, "done_on" DATE, "outcome" VARCHAR, '
            '"added_at" TIMESTAMP, "removed_at" TIMESTAMP)',
        ),
    ),
    Migration(
        13,
        "photos of filled sheets",
        (
            'CREATE TABLE sheet_photos ("import_no" INTEGER, "photo_no" INTEGER, "part_no" INTEGER, "farm" VARCHAR, '
            '"kind" VARCHAR, "sha256" VARCHAR, "added_at" TIMESTAMP, "content" VARCHAR)',
        ),
    ),
)


SUMS_SINCE = 8
"""From this layout on the sums of a file are of its rows. Steps that change no row keep them as they are: made anew
they would hide a fault."""


def migrate(connection: Any, layout: int) -> None:
    """Take a ledger from *layout* to the newest one, inside the caller's transaction."""
    from evenfoot.analytics.ledger.derive import derive_anew
    from evenfoot.analytics.ledger.history import note

    steps = [step for step in MIGRATIONS if step.to > layout]
    unlike = _unlike(connection, layout)
    for step in steps:
        for statement in step.statements:
            connection.execute(statement)
    newest = steps[-1].to
    give_id(connection)
    if any(step.keys for step in steps):
        _key_anew(connection)
    if any(step.derive for step in steps):
        derive_anew(connection)
    with checksums.changing(connection, "meta") if layout >= SUMS_SINCE else contextlib.nullcontext():
        connection.execute("UPDATE meta SET value = ? WHERE name = 'schema'", [str(newest)])
    if layout < SUMS_SINCE or any(step.statements or step.keys for step in steps):
        connection.execute("DELETE FROM meta WHERE name LIKE 'sum of %'")
        checksums.keep_all(connection, unlike)
    note(
        connection,
        "layout changed",
        subject="ledger",
        before={"layout": layout},
        after={"layout": newest, "new": [step.why for step in steps]},
    )


def _unlike(connection: Any, layout: int) -> dict[str, int]:
    """Row tables that are not what came in, by the sums that a file of layouts 1 to 7 keeps -> rows they should have.

    Raises
    ------
    UserError
        The ledger keeps sums of a newer layout than it says to have.
    """
    if layout < SUMS_SINCE and checksums.kept(connection):
        raise UserError(
            say(
                "It says that it has layout {layout}, but is of a newer one; put a backup back with "
                "`evenfoot restore`.",
                layout=layout,
            )
        )
    unlike = {}
    for name, value in connection.execute("SELECT name, value FROM meta WHERE name LIKE 'sum of %'").fetchall():
        table, kept = name.removeprefix("sum of "), json.loads(value)
        asked = f"SELECT COUNT(*), COALESCE(BIT_XOR({half_as_number('row_key')}), 0) FROM {table}"
        [(rows, keys)] = connection.execute(asked).fetchall()
        if (int(kept["rows"]), int(kept["keys"])) != (rows, keys):
            unlike[table] = int(kept["rows"])
    return unlike


def _key_anew(connection: Any) -> None:
    rekey(connection)
    for kind, (table, fields) in ROW_TABLES.items():
        connection.execute(
            f"""UPDATE seen_again SET row_key = other.new_key
            FROM (SELECT row_key, {key_of(fields)} AS new_key FROM {table}) AS other
            WHERE kind = ? AND seen_again.row_key = other.row_key""",
            [kind],
        )
        connection.execute(f"UPDATE {table} SET row_key = {key_of(fields)}")
