"""How many of the herd were looked at, where sheets do not say how large it is."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.file_import import PreparedImport, prepare_import, run_import

TODAY = dt.date(2026, 11, 1)


def prepared(ledger: Ledger, day: str, cows: int, ill: int, kind: str = "whole-herd") -> PreparedImport:
    rows = "".join(f"{day},Elm,{kind},{cow},{'SU' if cow < ill else 'none'}\n" for cow in range(cows))
    sheet = f"visit_date,farm,visit_kind,cow,lesion\n{rows}".encode()
    return prepare_import(ledger, sheet, f"{day}.csv", today=TODAY, accept=True)


def whole_herd(ledger: Ledger) -> list[str]:
    days = ledger.frame("SELECT DISTINCT visit_date FROM trims WHERE visit_kind = 'whole-herd' ORDER BY visit_date")
    return [f"{day:%Y-%m-%d}" for day in days["visit_date"]]


def test_a_part_of_a_herd_seen_twice_a_year_is_not_the_herd(tmp_path: Path) -> None:
    """The visit before was 184 days ago."""
    ledger = open_ledger(tmp_path / "l.duckdb")
    run_import(ledger, prepared(ledger, "2025-03-01", 100, 10), "1")
    later = prepared(ledger, "2025-09-01", 30, 15)
    assert [question.id for question in later.answers.met.values()] == ["rest:Elm:2025-09-01"]
    run_import(ledger, later, "2")
    assert whole_herd(ledger) == ["2025-03-01"]


def test_a_visit_told_to_be_left_out_is_left_out_where_no_herd_size_is_known(tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    first = prepared(ledger, "2025-03-01", 3, 3)
    assert "left out of herd figures" in " ".join(map(str, first.told))
    run_import(ledger, first, "1")
    assert whole_herd(ledger) == []
