"""Importing, taking back, setting aside, limits, export and backups, on every engine but the embedded one."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, agreements, open_ledger, photos
from evenfoot.analytics.ledger.exports.agreements_file import FILE, take_agreements
from evenfoot.analytics.ledger.exports.folder import export_folder
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.limits import forget_limit, horn_limits, limit_table, set_limit
from evenfoot.analytics.measures.catalogue import answer
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.report.all_farms import records_of_farms
from tests.engines.conftest import Maker
from tests.engines.tables import assert_same_records
from tests.sheets import checked

pytestmark = pytest.mark.long

REGISTER = [
    {"farm": "Ash", "cow": "1", "calvings": "2024-01-02; 2025-02-03", "group_moves": "2024-01-02 high; 2025-01-01 dry"},
    {"farm": "Elm", "cow": "7", "breed": "Jersey"},
]
HOUSING = [{"farm": "Ash", "starts_on": "2024-11-01", "housing": "freestall", "pasture": False, "wetness": "wet"}]


def trims(farm: str, cows: range, **more: Any) -> list[dict[str, Any]]:
    return [
        {
            "farm": farm,
            "cow": str(cow),
            "visit_date": "2025-03-04",
            "herd_size": 10,
            "foot": "RH",
            "claw": "lateral",
            "zone": 4,
            "lesion": "SU" if cow % 3 else "DD",
            "toe_length_mm": 75.5 + cow,
            "locomotion_score": cow % 5 + 1,
            "locomotion_scale": "1-5",
            "note": "" if cow % 2 else "a \"quoted\", odd\nnote \\ 'here'",
            **more,
        }
        for cow in cows
    ]


@pytest.fixture
def pair(elsewhere: Maker, tmp_path: Path) -> tuple[Ledger, Ledger]:
    """An embedded ledger and one elsewhere."""
    return open_ledger(str(tmp_path / "l.duckdb")), elsewhere()


def test_what_comes_in_and_goes_out_is_the_same_as_in_a_file(pair: tuple[Ledger, Ledger]) -> None:
    first = [checked("trims", trims("Ash", range(9)) + trims("Elm", range(3))), checked("register", REGISTER)]
    second = [checked("trims", trims("Ash", range(5, 12))), checked("housing", HOUSING)]
    results = []
    for ledger in pair:
        mine = [add_sheets(ledger, first, "first.csv", "1" * 64), add_sheets(ledger, second, "second.csv", "2" * 64)]
        mine.append(add_sheets(ledger, first, "first.csv", "1" * 64, dry_run=True))
        results.append(mine)
    assert results[0] == results[1]
    assert [(r.added, r.already_known) for r in results[1]] == [(14, 0), (4, 4), (0, 14)]
    assert_same_records(*pair)
    versions = {ledger.version for ledger in pair}
    gone = [undo_import(ledger, 1, copy=False) for ledger in pair]
    assert gone == [10, 10]
    assert_same_records(*pair)
    assert versions.isdisjoint({ledger.version for ledger in pair})
    for ledger in pair:
        with pytest.raises(UserError, match="was undone already"):
            undo_import(ledger, 1, copy=False)
        with pytest.raises(UserError, match="no import 9"):
            undo_import(ledger, 9, copy=False)
        again = add_sheets(ledger, first, "first.csv", "1" * 64)
        assert (again.added, again.already_known, again.import_no) == (10, 4, 3)
    assert_same_records(*pair)
    said = [history(ledger)[["what", "subject", "after"]].to_numpy().tolist() for ledger in pair]
    assert said[0] == said[1]


def test_what_was_agreed(pair: tuple[Ledger, Ledger], tmp_path: Path) -> None:
    day, rows = (
        dt.date(2025, 3, 3),
        "date,farm,cow,foot,lesion\n"
        + "".join(f"2025-03-03,{farm},{cow},LH,DD\n" for farm in ("Ash", "Birch") for cow in range(30)),
    )
    sheet, files = tmp_path / "herds.csv", []
    sheet.write_text(rows)
    for ledger in pair:
        add_sheets(ledger, check_file(sheet, sheet.name), sheet.name, "4" * 64)
        agreements.add(
            ledger, "Ash", "Foot bath", agreed_on=day, due_on=dt.date(2025, 6, 1), lesion="DD", place="heels"
        )
        agreements.add(ledger, "Birch", "Rubber", agreed_on=day)
        agreements.mark_done(ledger, 1, done_on=dt.date(2025, 5, 1), outcome="half of it")
        agreements.change(ledger, 2, {"who": "Anna"})
        agreements.add(ledger, "Ash", "Never mind", agreed_on=day)
        agreements.remove(ledger, 3)
        export_folder(ledger, tmp_path / ledger.dialect, format="csv")
        files.append((tmp_path / ledger.dialect / FILE).read_bytes())
    told = [agreements.read(ledger, removed=gone).drop(columns=["added_at", "removed_at"]) for gone in (False, True)
            for ledger in pair]  # fmt: skip
    pd.testing.assert_frame_equal(told[0], told[1], check_dtype=False)
    pd.testing.assert_frame_equal(told[2], told[3], check_dtype=False)
    assert len(told[1]) == 2 and len(told[3]) == 1
    ours, theirs = (
        answer("agreed", ledger, Selection(farms=("Ash",)), on=dt.date(2025, 7, 1)).table for ledger in pair
    )
    pd.testing.assert_frame_equal(ours, theirs, check_dtype=False)
    # What left one comes into the other, and its own is known.
    assert take_agreements(pair[1], files[0]) == (2, 0) and take_agreements(pair[1], files[1]) == (0, 2)
    assert verify(pair[1]).whole


def test_rows_set_aside_limits_and_exports(pair: tuple[Ledger, Ledger], tmp_path: Path) -> None:
    sheet = tmp_path / "messy.csv"
    sheet.write_text(
        "date,farm,cow,foot,claw,lesion,note\n2025-03-04,Ash,1,RH,outer,SU,\n2025-03-04,Ash,2,RH,outer,gremlins,\n"
        "not a day,Ash,3,RH,outer,DD,x\n2025-03-04,Ash,4,,,none,\n"
    )
    for ledger in pair:
        assert add_sheets(ledger, check_file(sheet, sheet.name), sheet.name, "3" * 64).set_aside == 2
        set_limit(ledger, "long_toe_mm", 75, breed="Jersey")
        set_limit(ledger, "long_toe_mm", 76, breed="Jersey")
        set_limit(ledger, "thin_sole_mm", 5, farm="Ash", parity=(1, 2))
        forget_limit(ledger, 2 if len(limit_table(ledger)) == 2 else 1)
    ours, theirs = (ledger.set_aside() for ledger in pair)
    pd.testing.assert_frame_equal(ours, theirs, check_dtype=False)
    assert horn_limits(pair[0]) == horn_limits(pair[1])
    assert records_of_farms(pair[0]) == records_of_farms(pair[1])
    written = [export_folder(ledger, tmp_path / ledger.dialect, format="parquet") for ledger in pair]
    assert written[0] == written[1]
    for name in written[0]:
        one, other = (pd.read_parquet(tmp_path / ledger.dialect / name) for ledger in pair)
        pd.testing.assert_frame_equal(one, other, check_dtype=False)


def test_photos_of_sheets(pair: tuple[Ledger, Ledger], tmp_path: Path) -> None:
    scan = b"%PDF-1.4" + bytes(range(256)) * 300
    for ledger in pair:
        add_sheets(ledger, [checked("trims", trims("Ash", range(3)))], "a.csv", "1" * 64)
        assert photos.add_photo(ledger, 1, scan + b"1").number == photos.add_photo(ledger, 1, scan + b"1").number == 1
        second = photos.add_photo(ledger, 1, scan + b"2")
        assert second in photos.photos_of(ledger) and photos.read_photo(ledger, second) == scan + b"2"
        photos.remove_photo(ledger, photos.photos_of(ledger)[0])
        assert photos.photos_of(ledger) == [second]
        export_folder(ledger, tmp_path / ledger.dialect)
        assert (tmp_path / ledger.dialect / "photos" / "import-1-photo-2.pdf").read_bytes() == scan + b"2"
        assert verify(ledger).findings == ()


def test_a_backup_is_a_file_and_goes_back_anywhere(elsewhere: Maker, tmp_path: Path) -> None:
    ledger = elsewhere()
    add_sheets(ledger, [checked("trims", trims("Ash", range(9))), checked("register", REGISTER)], "a.csv", "1" * 64)
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    assert_same_records(open_ledger(str(copy)), ledger)
    other = elsewhere()
    assert restore(other, copy) is None
    assert_same_records(ledger, other)
    with pytest.raises(UserError, match="There are records in"):
        restore(other, copy)
    assert add_sheets(other, [checked("trims", trims("Elm", range(2)))], "b.csv", "2" * 64).import_no > 1


def test_nothing_is_there_yet(elsewhere: Maker) -> None:
    ledger = elsewhere()
    assert not ledger.exists and ledger.farms() == [] and ledger.version == (0, 0)
    with pytest.raises(UserError, match="no ledger"):
        ledger.imports()
    with pytest.raises(UserError, match="no import 1"):
        undo_import(ledger, 1)


def test_a_failing_import_leaves_nothing(elsewhere: Maker) -> None:
    ledger = elsewhere()
    add_sheets(ledger, [checked("trims", trims("Ash", range(3)))], "a.csv", "1" * 64)
    before = (ledger.version, len(ledger.imports()))
    broken = checked("trims", trims("Ash", range(3, 6)))
    object.__setattr__(broken, "rows_read", 7)
    with pytest.raises(AssertionError):
        add_sheets(ledger, [broken], "b.csv", "2" * 64)
    assert (ledger.version, len(ledger.imports())) == before
