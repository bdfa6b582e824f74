"""The limits of horn a user has set, by farm, breed and parity, kept in the ledger."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from analytics.ledger.history import note
from analytics.ledger.ledger import Ledger
from analytics.mistake import Mistake
from analytics.trade.horn_limits import LIMITS, HornException, HornLimits

POSSIBLE: dict[str, tuple[float, float]] = {
    "long_toe_mm": (40.0, 150.0),
    "long_toe_angle_deg": (20.0, 80.0),
    "thin_sole_mm": (1.0, 15.0),
    "toe_break_mm": (0.0, 50.0),
}
"""What a limit can be set to; beyond is a slip of the pen. [common practice, no source]"""


def horn_limits(ledger: Ledger) -> HornLimits:
    """The limits that hold: the defaults, changed by what was set, in the order it was set.

    Raises
    ------
    Mistake
        The ledger cannot be read.
    """
    frame = limit_table(ledger)
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


def limit_table(ledger: Ledger) -> pd.DataFrame:
    """What was set: limit_no, farm, breed, parity_first, parity_last (missing means all), name, value."""
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
    Mistake
        There is no such limit, or the value cannot be one.
    """
    if name not in LIMITS:
        raise Mistake(f"There is no limit '{name}'; use one of {', '.join(LIMITS)}.")
    low, high = POSSIBLE[name]
    if not low <= value <= high:
        raise Mistake(f"The limit {name} cannot be {value:g}; give a number from {low:g} to {high:g}.")
    if parity is not None and not 1 <= parity[0] <= parity[1]:
        raise Mistake(f"The lactations {parity[0]}-{parity[1]} are not a range; write them as 1-2 or 3.")
    first, last = parity if parity else (None, None)
    with ledger.writing() as connection:
        same = "name = ? AND farm IS NOT DISTINCT FROM ? AND breed IS NOT DISTINCT FROM ? AND "
        same += "parity_first IS NOT DISTINCT FROM ? AND parity_last IS NOT DISTINCT FROM ?"
        whose = [name, farm, breed, first, last]
        old = connection.execute(f"SELECT value FROM horn_limits WHERE {same}", whose).fetchall()
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
    Mistake
        There is no such limit.
    """
    with ledger.writing() as connection:
        found = connection.execute(
            "SELECT name, farm, breed, parity_first, parity_last, value FROM horn_limits WHERE limit_no = ?", [number]
        ).fetchall()
        if not found:
            raise Mistake(f"There is no limit {number}; `evenfoot limits` lists them.")
        connection.execute("DELETE FROM horn_limits WHERE limit_no = ?", [number])
        [(name, farm, breed, first, last, value)] = found
        was = {"breed": breed, "parity_first": first, "parity_last": last, "value": value}
        note(connection, "limit taken back", subject=f"limit {name}", farm=farm, before=was)


def _text(value: object) -> str | None:
    return None if pd.isna(value) else str(value)  # type: ignore[call-overload]
