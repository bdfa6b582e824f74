"""Erase one farm completely where the ledger is on a server or in the folder of a registry."""

from __future__ import annotations

from evenfoot.analytics.ledger.checksums import changing_all
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.integrity.erase import (
    Erased,
    counted,
    is_named,
    no_such_farm,
    scrub_imports,
    told_by_others,
)
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, FARM_BOOKKEEPING, ROW_TABLES


def erase_in_place(ledger: Ledger, farm: str) -> Erased:
    """Erase a farm in one transaction; then its bytes, as far as they are in Evenfoot's hands.

    Raises
    ------
    UserError
        There is no such farm, or the ledger cannot be changed.
    """
    if not is_named(ledger, farm):
        raise no_such_farm(ledger, farm)
    with ledger.writing([farm] if ledger.dialect == "pyspark" else None) as connection:
        # Of a registry only the farm's own bucket is here to be changed; whose rows an import brought is asked of all.
        source = ledger.engine.whole_rows(connection)
        rows, imports = counted(connection, farm)
        with changing_all(connection):
            scrub_imports(connection, source, farm)
            for table in [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES, *FARM_BOOKKEEPING]:
                connection.execute(f"DELETE FROM {table} WHERE farm = ?", [farm])
        note(connection, "farm erased", subject="ledger")
    told = tuple(map(str, told_by_others(ledger, farm)))
    return Erased(rows, imports, (), told + ledger.engine.forget_bytes())
