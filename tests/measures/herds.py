"""Small herds for the tests of measures: trims and scorings in a few words."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger import Ledger
from tests.sheets import checked, ledger_of


def trim(
    cow: object, lesion: str | None = None, foot: str | None = None, on: str = "2025-03-03", **more: Any
) -> dict[str, Any]:
    """A sheet row of a whole-herd visit on Ash, unless *more* says otherwise."""
    return {
        "farm": "Ash",
        "visit_kind": "whole-herd",
        "visit_date": on,
        "cow": str(cow),
        "lesion": lesion,
        "foot": foot,
        **more,
    }


def scoring(cow: object, score: int, on: str = "2025-03-03", farm: str = "Ash", scale: str = "1-5") -> dict[str, Any]:
    """A row of a scoring sheet."""
    return {"farm": farm, "cow": str(cow), "date": on, "score": score, "scale": scale, "scorer": "AB"}


def herd(path: Path, trims: Iterable[dict[str, Any]] = (), scorings: Iterable[dict[str, Any]] = ()) -> Ledger:
    """A new ledger in the folder *path* holding them."""
    sheets = [checked("trims", list(trims))] if trims else []
    sheets += [checked("locomotion", list(scorings))] if scorings else []
    return ledger_of(path / "herd.duckdb", *sheets)
