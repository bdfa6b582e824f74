"""``evenfoot limits``: where a toe counts as long and a sole as thin, by farm, breed and parity."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

from evenfoot.analytics.domain.horn_limits import LIMITS, HornLimits
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.limits import forget_limit, imported_limits, limit_table, set_limit
from evenfoot.dashboard.ui.console import tell
from evenfoot.dashboard.ui.tables import known_farms


def change_limits(
    address: str | None, set_to: str | None, farm: str | None, breed: str | None, parity: str | None, forget: int | None
) -> None:
    """Set or take back one limit, then print those that hold.

    Raises
    ------
    UserError
        The limit, its value, the farm or the lactations cannot be read.
    """
    ledger = open_ledger(address)
    if set_to is not None:
        name, _, amount = set_to.partition("=")
        try:
            value = float(amount)
        except ValueError:
            raise UserError(f"The limit '{set_to}' cannot be read; write it as long_toe_mm=75.") from None
        of_farm = known_farms(ledger, [farm])[0] if farm else None
        if breed is not None:
            _tell_unknown(ledger, breed)
        set_limit(ledger, name.strip(), value, farm=of_farm, breed=breed, parity=_lactations(parity))
    if forget is not None:
        forget_limit(ledger, forget)
    defaults = HornLimits()
    for name in LIMITS:
        print(f"{name}: {getattr(defaults, name):g} unless set otherwise below")
    for row in limit_table(ledger).to_dict("records"):
        print(f"{int(row['limit_no'])}. {_said(row)}")
    for row in imported_limits(ledger).to_dict("records"):
        print(f"{_said(row)} (came with import {int(row['import_no'])}, which `evenfoot undo` takes back)")


def _tell_unknown(ledger: Ledger, breed: str) -> None:
    """Say that no cow is of a breed, and which breeds there are."""
    breeds = sorted(ledger.frame("SELECT DISTINCT breed FROM cows WHERE breed IS NOT NULL")["breed"])
    if breed not in breeds:
        there = f"the breeds there are: {', '.join(breeds)}" if breeds else "no breed is on record yet"
        tell(f"No cow on record is of the breed '{breed}'; {there}. The limit holds once there is one.")


def _said(row: dict[Hashable, Any]) -> str:
    whose = [str(row[key]) for key in ("farm", "breed") if isinstance(row[key], str)]
    if row["parity_first"] == row["parity_first"] and row["parity_first"] is not None:
        whose.append(f"lactations {int(row['parity_first'])} to {int(row['parity_last'])}")
    return f"{row['name']}: {row['value']:g} for {', '.join(whose) or 'every cow'}"


def _lactations(text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    first, _, last = text.partition("-")
    try:
        return int(first), int(last or first)
    except ValueError:
        raise UserError(f"The lactations '{text}' cannot be read; write them as 1 or 2-4.") from None
