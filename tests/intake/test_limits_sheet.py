"""A sheet of horn limits: which it is, what it may leave blank, and what is set aside."""

from __future__ import annotations

from pathlib import Path

from evenfoot.analytics.domain.horn_limits import LIMITS, POSSIBLE, HornLimits
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.limits import horn_limits, set_limit

SHEET = b"""farm,breed,parity_first,parity_last,limit,value
Alder,Jersey,1,2,long_toe_mm,75
,,,,Thin sole,6
Alder,,3,2,long toe,75
,,1,,toe break,9
,,,,sole,9
,,,,long toe,500
,,,,long toe,
"""


def test_what_is_taken_and_what_is_set_aside() -> None:
    (sheet,) = check_file(SHEET, "limits.csv")
    assert (sheet.kind, sheet.rows_read) == ("limits", 7)
    assert sheet.records["limit"].tolist() == ["long_toe_mm", "thin_sole_mm"]
    assert sheet.records["farm"].isna().tolist() == [False, True]
    assert dict(zip(sheet.set_aside["row"], sheet.set_aside["column"], strict=True)) == {
        4: "parity_last", 5: "parity_last", 6: "limit", 7: "value", 8: "value",
    }  # fmt: skip


def test_a_sheet_without_a_farm_column_is_for_every_farm() -> None:
    (sheet,) = check_file(b"limit,value\nlong toe,75\n", "limits.csv")
    assert sheet.records["farm"].isna().all()
    assert not any("None" in note for note in sheet.notes)
    (one,) = check_file(b"limit,value\nlong toe,75\n", "limits.csv", farm="Alder")
    assert one.records["farm"].tolist() == ["Alder"]


def test_the_last_given_wins_and_an_import_can_be_taken_back(tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "a.duckdb"))
    (sheet,) = check_file(SHEET, "limits.csv")
    set_limit(ledger, "thin_sole_mm", 5.5)
    number = add_sheets(ledger, [sheet], "limits.csv", "0" * 64).import_no
    assert horn_limits(ledger).of("Alder", "Jersey", 2).long_toe_mm == 75
    assert horn_limits(ledger).of("Birch", None, 2).thin_sole_mm == 6
    set_limit(ledger, "thin_sole_mm", 4.5, farm="Birch")
    assert horn_limits(ledger).of("Birch", None, 2).thin_sole_mm == 4.5
    undo_import(ledger, number)
    assert horn_limits(ledger).of("Alder", "Jersey", 2).long_toe_mm == HornLimits().long_toe_mm
    assert horn_limits(ledger).of("Alder", None, 2).thin_sole_mm == 5.5


def test_the_default_of_every_limit_is_possible() -> None:
    for name in LIMITS:
        low, high = POSSIBLE[name]
        assert low <= getattr(HornLimits(), name) <= high
