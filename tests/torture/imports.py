"""Imports of known content, and what a ledger must hold after some of them were cut short."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.verify import verify
from tests.sheets import checked
from tests.torture.forked import Told, Work, run

LESIONS = ("SU", "DD", "WL", "HHE", None, None)


def sheet_of(turn: int, rows: int) -> CheckedSheet:
    """A sheet whose rows all differ from those of every other turn; its farm is named by the turn."""
    chance = random.Random(turn)
    return checked(
        "trims",
        [
            {
                "visit_date": f"2025-{1 + turn % 12:02d}-{1 + i % 28:02d}",
                "farm": f"Farm {turn}",
                "visit_kind": "whole-herd",
                "cow": str(i),
                "foot": "LH",
                "lesion": chance.choice(LESIONS),
                "note": f"{turn}-{i}",
            }
            for i in range(rows)
        ],
    )


def import_on_and_on(path: str, first: int, rows: int, *, undo: bool = False) -> Work:
    """Import one sheet after another, telling each turn when it is done; every third one is undone if asked."""

    def work(tell: Callable[[Any], None]) -> None:
        sheets = {turn: sheet_of(turn, rows) for turn in range(first, first + 4)}
        ledger = open_ledger(path)
        tell("ready")
        for turn in range(first, first + 40):
            result = add_sheets(ledger, [sheets.get(turn) or sheet_of(turn, rows)], f"{turn}.csv", "0" * 64)
            tell(("added", turn, result.import_no))
            if undo and turn % 3 == 0:
                undo_import(ledger, result.import_no)
                tell(("undone", turn, result.import_no))

    return work


def state_of(path: str) -> Told:
    """What is in the ledger: findings of verify, and file -> (rows, undone); worked out in a child."""

    def look(_tell: Callable[[Any], None]) -> Any:
        ledger = open_ledger(path)
        if not ledger.exists:
            return ((), {})
        there = ledger.frame(
            "SELECT i.file, COUNT(t.row_key) AS n, MAX(i.undone_at) IS NOT NULL AS undone FROM imports i "
            "LEFT JOIN trim_rows t ON t.import_no = i.import_no GROUP BY i.file"
        )
        return (
            tuple(map(str, verify(ledger).findings)),
            {row.file: (int(row.n), bool(row.undone)) for row in there.itertuples()},
        )

    return run(look)
