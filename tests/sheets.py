"""Sheets made in memory for tests, and a ledger holding them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd

from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.schema import ROW_TABLES

_DTYPES = {
    "DATE": "datetime64[us]",
    "VARCHAR": "str",
    "INTEGER": "Int64",
    "DOUBLE": "float64",
    "BOOLEAN": "boolean",
}


def checked(kind: str, rows: list[dict[str, Any]], source: str = "made up") -> CheckedSheet:
    """A checked sheet of *rows* as the intake would give it."""
    fields = ROW_TABLES[kind][1]
    frame = pd.DataFrame(rows).reindex(columns=list(fields))
    for column, sql in fields.items():
        if _DTYPES[sql] == "datetime64[us]":
            frame[column] = pd.to_datetime(frame[column]).astype("datetime64[us]")
        elif sql != "VARCHAR":
            frame[column] = frame[column].astype(_DTYPES[sql])
        else:
            frame[column] = frame[column].astype("str").where(frame[column].notna(), None)
    frame["row"] = pd.Series(range(2, len(frame) + 2), dtype="Int64")
    held = pd.DataFrame(columns=["row", "column", "value", "reason", "remedy", "original"])
    return CheckedSheet(
        kind=kind,
        source=source,
        records=frame,
        set_aside=held,
        rows_read=len(frame),
        understood=pd.DataFrame(columns=["field", "heading", "said", "understood_as", "rows"]),
        notes=(),
    )


def ledger_of(path: Path, *sheets: CheckedSheet) -> Ledger:
    """A new ledger at *path* with the sheets in it."""
    ledger = open_ledger(str(path))
    add_sheets(ledger, sheets, "made-up.csv", "0" * 64)
    return ledger


def herds_of_one(farms: Iterable[str], day: dt.date) -> CheckedSheet:
    """A trim sheet by which every farm has one cow around *day*, so that whoever is scored is enough of the herd."""
    call = {"visit_date": day, "cow": "called", "visit_kind": "lame-cow", "herd_size": 1}
    return checked("trims", [{"farm": farm, **call} for farm in farms])
