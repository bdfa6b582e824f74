"""Limits of horn a user sets: by farm, breed and parity, kept, counted by, and taken back."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.limits import forget_limit, horn_limits, limit_table, set_limit
from evenfoot.analytics.measures.horn.horn_state import horn
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of


def test_limits_hold_for_the_cows_they_are_for(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb")
    assert horn_limits(ledger).of("Ash", "Jersey", 1).long_toe_mm == 80
    set_limit(ledger, "long_toe_mm", 75, breed="Jersey")
    set_limit(ledger, "long_toe_mm", 72, farm="Ash", breed="Jersey", parity=(1, 1))
    limits = horn_limits(ledger)
    assert limits.of("Ash", "Holstein", 1).long_toe_mm == 80
    assert limits.of("Birch", "Jersey", 1).long_toe_mm == 75
    assert limits.of("Ash", "Jersey", 1).long_toe_mm == 72
    set_limit(ledger, "long_toe_mm", 74, breed="Jersey")
    assert len(limit_table(ledger)) == 2
    forget_limit(ledger, int(limit_table(ledger)["limit_no"].iloc[0]))
    assert len(limit_table(ledger)) == 1


@pytest.mark.parametrize(("name", "value"), [("colour", 3), ("long_toe_mm", 750), ("thin_sole_mm", -1)])
def test_what_cannot_be_a_limit_is_said(tmp_path: Path, name: str, value: float) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb")
    with pytest.raises(UserError):
        set_limit(ledger, name, value)


def test_overgrown_is_counted_by_the_limit_set(tmp_path: Path) -> None:
    rows = [
        {
            "farm": "Ash",
            "visit_date": dt.date(2026, 3, 2),
            "visit_kind": "whole-herd",
            "cow": str(i),
            "breed": "Jersey",
            "foot": "RH",
            "claw": "lateral",
            "toe_length_mm": 77.0,
        }
        for i in range(30)
    ]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))

    def overgrown() -> float:
        table = horn(ledger, Selection(), by=()).table
        return float(table.loc[table["measure"] == "overgrown", "mean"].iloc[0])

    assert overgrown() == 0
    set_limit(ledger, "long_toe_mm", 75, breed="Jersey")
    assert overgrown() == 1
