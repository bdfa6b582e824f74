"""What was agreed, as one CSV file that goes along with the records and back in."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.rejected_rows import bare_text, safe_text
from evenfoot.analytics.ledger.agreements import DAYS, checked, insert
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.imports.farm_spelling import ledger_spelling
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.messages import say

FILE = "agreements.csv"

KIND = "agreements"
"""What the data dictionary calls the file."""

HEADINGS: dict[str, str] = {
    "farm": "Farm on which it was agreed",
    "agreed_on": "Day on which it was agreed",
    "text": "What is to be done",
    "who": "Who does it",
    "due_on": "By when",
    "lesion": "Code of the lesion it is for",
    "place": "Where on the foot",
    "done_on": "Day on which it was done; empty where it is open",
    "outcome": "How it came out",
    "added_at": "When it was written down (UTC)",
}
"""Heading -> what stands under it."""


def write_agreements(cursor: Any, folder: Path, farms: Sequence[str] = ()) -> int:
    """Write the file into a folder; how many agreements it holds, and no file where there are none.

    Parameters
    ----------
    cursor : connection
    folder : Path
    farms : sequence of str
        Only theirs. What was removed is left out.
    """
    listed = ", ".join(f'"{name}"' for name in HEADINGS)
    where = "AND farm IN (SELECT UNNEST(?))" if farms else ""
    rows = cursor.execute(
        f"SELECT {listed} FROM agreements WHERE removed_at IS NULL {where} ORDER BY agreement_no",
        [list(farms)] if farms else None,
    ).fetchall()
    if rows:
        with (folder / FILE).open("w", encoding="utf-8-sig", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(HEADINGS)
            writer.writerows([["" if cell is None else safe_text(str(cell)) for cell in row] for row in rows])
    return len(rows)


def is_agreements(content: bytes) -> bool:
    """Whether a file's content is such a file, by its headings."""
    first = content[:1000].decode("utf-8-sig", "replace").partition("\n")[0]
    return first.strip().split(",") == list(HEADINGS)


def take_agreements(ledger: Ledger, content: bytes, *, dry_run: bool = False) -> tuple[int, int]:
    """Take what a file holds into a ledger, all of it or nothing.

    One that was written down on the same farm at the same moment is known, and stays as the ledger has it, also where
    it was removed.

    Parameters
    ----------
    ledger : Ledger
    content : bytes
    dry_run : bool
        Count only.

    Returns
    -------
    tuple of int
        How many were added, and how many are known.

    Raises
    ------
    UserError
        A row cannot be read.
    """
    rows = _rows(content)
    if dry_run and not ledger.exists:
        return len(rows), 0
    with ledger.reading() if dry_run else ledger.writing() as connection:
        spelt = {} if dry_run else ledger_spelling(ledger, connection, [farm for farm, _, _ in rows])
        there = set(connection.execute("SELECT farm, added_at FROM agreements").fetchall())
        [(number,)] = connection.execute("SELECT COALESCE(MAX(agreement_no), 0) FROM agreements").fetchall()
        added = 0
        for said, row, moment in rows:
            farm = spelt.get(said, said)
            if (farm, moment) in there:
                continue
            there.add((farm, moment))
            added += 1
            if not dry_run:
                insert(connection, number + added, farm, row, moment)
                kept = {name: value for name, value in row.items() if value is not None}
                note(connection, "agreement added", subject=f"agreement {number + added}", farm=farm, after=kept)
    return added, len(rows) - added


def _rows(content: bytes) -> list[tuple[str, dict[str, Any], dt.datetime]]:
    """Farm, what was agreed, and when it was written down, row by row."""
    out = []
    try:
        lines = list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    except (UnicodeDecodeError, csv.Error):
        raise UserError(say("{file} cannot be read; export the records anew.", file=FILE)) from None
    for number, line in enumerate(lines, start=2):
        if None in line or None in line.values():
            raise _unread(number, say("it has more or fewer cells than there are headings"))
        said: dict[str, Any] = {name: bare_text(cell) for name, cell in line.items()}
        farm = " ".join(said.pop("farm").split())
        if not farm:
            raise _unread(number, say("it names no farm"))
        try:
            moment = dt.datetime.fromisoformat(said.pop("added_at")).replace(tzinfo=None)
            said |= {name: dt.date.fromisoformat(said[name]) if said[name] else None for name in DAYS}
        except ValueError:
            raise _unread(number, say("a day or moment is not written as 2026-03-31")) from None
        try:
            out.append((farm, checked(said), moment))
        except UserError as mistake:
            raise _unread(number, mistake.sentence) from None
    return out


def _unread(number: int, why: str) -> UserError:
    return UserError(
        say("Row {number} of {file} cannot be read, and nothing of the file was taken: {why}",
            number=number, file=FILE, why=why)
    )  # fmt: skip
