"""Of which farms an import brought rows: what may be shown and taken back by somebody who may not see every farm."""

from __future__ import annotations

from collections.abc import Sequence

from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import ROW_TABLES


def farms_of_import(ledger: Ledger, number: int) -> set[str]:
    """Farms of which an import holds rows, or held rows that were replaced.

    Empty when all its rows were known already or set aside.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    each = " UNION ".join(f"SELECT farm FROM {table} WHERE import_no = ?" for table, _ in ROW_TABLES.values())
    each += " UNION SELECT farm FROM replaced_rows WHERE of_import = ?"
    return set(ledger.frame(each, [number] * (len(ROW_TABLES) + 1))["farm"].dropna())


def imports_beyond(ledger: Ledger, farms: Sequence[str]) -> set[int]:
    """Numbers of the imports that hold rows of any farm but *farms*.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    each = " UNION ".join(f"SELECT import_no, farm FROM {table}" for table, _ in ROW_TABLES.values())
    each += " UNION SELECT of_import, farm FROM replaced_rows"
    frame = ledger.frame(f"SELECT DISTINCT import_no, farm FROM ({each}) AS met")
    return {int(number) for number in frame.loc[~frame["farm"].isin(list(farms)), "import_no"]}
