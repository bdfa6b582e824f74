"""Versions of records are compared, replaced and brought back alike, whatever engine holds the ledger."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.imports.revisions import Choice, compare_with_ledger
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.verify import verify
from tests.engines.conftest import Maker
from tests.ledger.test_revisions import AGAIN, MARCH, TABLES, growing, of_office
from tests.sheets import checked

pytestmark = pytest.mark.long

STEPS: list[tuple[CheckedSheet, Choice | None]] = [
    (growing(*MARCH), None), (growing(*AGAIN), "replace"), (growing(*MARCH), "replace"), (of_office(), "skip"),
    (checked("register", [{"farm": "Brookend", "cow": "14", "birth_date": "2020-01-02"}]), None),
    (checked("register", [{"farm": "Brookend", "cow": "14", "breed": "Jersey"}]), "replace"),
]  # fmt: skip


def test_elsewhere_it_is_as_in_a_file(elsewhere: Maker, tmp_path: Path) -> None:
    ours, theirs = open_ledger(tmp_path / "l.duckdb"), elsewhere()
    for place, (sheet, choice) in enumerate(STEPS):
        revisions = [compare_with_ledger(ledger, [sheet]) for ledger in (ours, theirs)]
        assert revisions[0].counts == revisions[1].counts and revisions[0].default == revisions[1].default
        pd.testing.assert_frame_equal(revisions[0].frame, revisions[1].frame, check_dtype=False)
        done = [
            add_sheets(ledger, [sheet], f"{place}.csv", "", revision_choice=choice, dry_run=dry_run)
            for dry_run in (True, False)
            for ledger in (ours, theirs)
        ]
        assert done[0] == done[1] and done[2] == done[3]
        assert_rows_same(ours, theirs)
    assert verify(theirs).findings == ()
    for number in (3, 6, 2, 5):
        assert undo_import(ours, number) == undo_import(theirs, number)
        assert_rows_same(ours, theirs)
    assert verify(theirs).findings == ()
    erase_farm(theirs, "Brookend")
    assert theirs.frame("SELECT * FROM replaced_rows").empty


def assert_rows_same(ours: Ledger, theirs: Ledger) -> None:
    for table in (*TABLES, "replaced_rows", "seen_again"):
        one, other = (
            ledger.frame(f"SELECT * FROM {table}").astype(object).map(lambda cell: "" if pd.isna(cell) else str(cell))
            for ledger in (ours, theirs)
        )
        one, other = (each.replace(r"\.0$", "", regex=True).replace(" 00:00:00", "") for each in (one, other))
        assert sorted(map(tuple, one.to_numpy())) == sorted(map(tuple, other[list(one)].to_numpy())), table
