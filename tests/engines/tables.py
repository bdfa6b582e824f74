"""Whether two ledgers hold the same, table by table and row by row."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES, STAMP


def rows_of(ledger: Ledger, table: str) -> pd.DataFrame:
    """All rows of a table, in one order, as texts."""
    kinds = {name: {**STAMP, **fields} for name, fields in ROW_TABLES.values()} | DERIVED_TABLES
    columns = list(kinds[table])
    listed = ", ".join(f'"{name}"' for name in columns)
    frame = ledger.frame(f"SELECT {listed} FROM {table}")
    frame = frame.astype(object).where(frame.notna(), None).map(_text)
    return frame.sort_values(columns).reset_index(drop=True)


def _text(value: object) -> str:
    if value is None:
        return ""
    return repr(float(value)) if isinstance(value, (int, float)) and not isinstance(value, bool) else str(value)


def assert_same_records(ours: Ledger, theirs: Ledger, *, numbers: bool = True) -> None:
    """Every row table and derived table holds the same rows; import numbers too, unless told otherwise."""
    for table in [name for name, _ in ROW_TABLES.values()] + list(DERIVED_TABLES):
        one, other = rows_of(ours, table), rows_of(theirs, table)
        if not numbers and "import_no" in one:
            one, other = (
                each.drop(columns=["import_no", "row_no"]).pipe(lambda f: f.sort_values(list(f)).reset_index(drop=True))
                for each in (one, other)
            )
        assert len(one) == len(other), table
        pd.testing.assert_frame_equal(one, other, check_dtype=False, obj=table)
