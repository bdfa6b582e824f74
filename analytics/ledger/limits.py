"""The limits of horn a user has set, by farm, breed and parity, kept in the ledger."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from evenfoot.analytics.domain.horn_limits import LIMITS, POSSIBLE, HornException, HornLimits
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.checksums import changing
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.ledger import Ledger

EVERY_LIMIT = """(
  SELECT i.imported_at AS set_at, r.import_no AS number, r.row_no AS place, r.farm, r.breed, r.parity_first,
    r.parity_last, r."limit", r.value
  FROM limit_rows r JOIN imports i ON i.import_no = r.import_no
  UNION ALL
  SELECT set_at, 0, limit_no, farm, breed, parity_first, parity_last, name, value FROM horn_limits) AS every_limit"""
"""SQL of what was set by hand and what came with imports."""

IN_ORDER = "ORDER BY set_at, number, place"
"""The oldest first: of the limits that hold for a cow the last one wins."""


def horn_limits(ledger: Ledger) -> HornLimits:
    """The limits that hold: the defaults, changed by what was set or imported, in the order that was done.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    frame = ledger.frame(
        f'SELECT farm, breed, parity_first, parity_last, "limit" AS name, value FROM {EVERY_LIMIT} {IN_ORDER}'
    )
    exceptions = tuple(
        HornException(
            farm=_text(row["farm"]),
            breed=_text(row["breed"]),
            parity=None if pd.isna(row["parity_first"]) else (int(row["parity_first"]), int(row["parity_last"])),
            **{str(row["name"]): float(row["value"])},
        )
        for row in frame.to_dict("records")
    )
    return HornLimits(exceptions=exceptions)


def imported_limits(ledger: Ledger) -> pd.DataFrame:
    """What came with imports: import_no, farm, breed, parity_first, parity_last (missing means all), name, value."""
    return ledger.frame(
        'SELECT import_no, farm, breed, parity_first, parity_last, "limit" AS name, value FROM limit_rows '
        "ORDER BY import_no, row_no"
    )


def limit_table(ledger: Ledger) -> pd.DataFrame:
    """What was set by hand: limit_no, farm, breed, parity_first, parity_last (missing means all), name, value."""
    return ledger.frame(
        "SELECT limit_no, farm, breed, parity_first, parity_last, name, value FROM horn_limits ORDER BY limit_no"
    )


def set_limit(
    ledger: Ledger,
    name: str,
    value: float,
    *,
    farm: str | None = None,
    breed: str | None = None,
    parity: tuple[int, int] | None = None,
) -> None:
    """Set one limit for some cows, in place of what was set for the same cows before.

    Raises
    ------
    UserError
        There is no such limit, or the value cannot be one.
    """
    if name not in LIMITS:
        raise UserError(f"There is no limit '{name}'; use one of {', '.join(LIMITS)}.")
    low, high = POSSIBLE[name]
    if not low <= value <= high:
        raise UserError(f"The limit {name} cannot be {value:g}; give a number from {low:g} to {high:g}.")
    if parity is not None and not 1 <= parity[0] <= parity[1]:
        raise UserError(f"The lactations {parity[0]}-{parity[1]} are not a range; write them as 1-2 or 3.")
    first, last = parity if parity else (None, None)
    with ledger.writing() as connection:
        same = "name = ? AND farm IS NOT DISTINCT FROM ? AND breed IS NOT DISTINCT FROM ? AND "
        same += "parity_first IS NOT DISTINCT FROM ? AND parity_last IS NOT DISTINCT FROM ?"
        whose = [name, farm, breed, first, last]
        old = connection.execute(f"SELECT value FROM horn_limits WHERE {same}", whose).fetchall()
        with changing(connection, "horn_limits"):
            connection.execute(f"DELETE FROM horn_limits WHERE {same}", whose)
            [(number,)] = connection.execute("SELECT COALESCE(MAX(limit_no), 0) + 1 FROM horn_limits").fetchall()
            connection.execute(
                "INSERT INTO horn_limits VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                [number, farm, breed, first, last, name, value, dt.datetime.now(dt.UTC).replace(tzinfo=None)],
            )
        cows = {"breed": breed, "parity_first": first, "parity_last": last}
        note(
            connection,
            "limit set",
            subject=f"limit {name}",
            farm=farm,
            before={**cows, "value": old[0][0]} if old else None,
            after={**cows, "value": value},
        )


def forget_limit(ledger: Ledger, number: int) -> None:
    """Take a limit that was set back.

    Raises
    ------
    UserError
        There is no such limit.
    """
    with ledger.writing() as connection:
        found = connection.execute(
            "SELECT name, farm, breed, parity_first, parity_last, value FROM horn_limits WHERE limit_no = ?", [number]
        ).fetchall()
        if not found:
            raise UserError(f"There is no limit {number}; `evenfoot limits` lists them.")
        with changing(connection, "horn_limits"):
            connection.execute("DELETE FROM horn_limits WHERE limit_no = ?", [number])
        [(name, farm, breed, first, last, value)] = found
        was = {"breed": breed, "parity_first": first, "parity_last": last, "value": value}
        note(connection, "limit taken back", subject=f"limit {name}", farm=farm, before=was)


def _text(value: object) -> str | None:
    return None if pd.isna(value) else str(value)  # type: ignore[call-overload]
