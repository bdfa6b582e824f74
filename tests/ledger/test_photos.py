"""Photos of sheets are checked by content, and go wherever the records of their import go."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.exports.folder import export_folder, files_of_export
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.photos import (
    LARGEST,
    MOST,
    PART,
    add_photo,
    checked,
    photos_of,
    read_photo,
    remove_photo,
    without_exif,
)
from evenfoot.analytics.ledger.transfer import move
from tests.sheets import checked as sheet
from tests.sheets import ledger_of

START, SCAN = bytes.fromhex("ffd8"), bytes.fromhex("ffda0002") + bytes(range(1, 250)) * 300 + bytes.fromhex("ffd9")
APP0 = bytes.fromhex("ffe00004aabb")
EXIF = bytes.fromhex("ffe10011") + b"Exif\0\0GPS 52 N."
JPEG = START + APP0 + SCAN
SCANNED = b"%PDF-1.7\n" + bytes(range(256)) * 400


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    ours, theirs = (
        sheet("trims", [{"visit_date": "2026-03-02", "farm": farm, "cow": cow} for cow in "12"])
        for farm in ("Home Farm", "Long Acre")
    )
    ledger = ledger_of(tmp_path / "ledger.duckdb", ours)
    add_sheets(ledger, [theirs], "theirs.csv", "1" * 64)
    return ledger


def bytes_of(ledger: Ledger) -> dict[tuple[int, int, str], bytes]:
    return {(each.import_no, each.number, each.farm): read_photo(ledger, each) for each in photos_of(ledger)}


def fill(ledger: Ledger) -> None:
    add_photo(ledger, 1, JPEG)
    add_photo(ledger, 1, SCANNED)
    add_photo(ledger, 2, JPEG)


KEPT = {(1, 1, "Home Farm"): JPEG, (1, 2, "Home Farm"): SCANNED, (2, 1, "Long Acre"): JPEG}


def test_a_photo_comes_back_as_it_went_in_but_for_where_it_was_taken(ledger: Ledger) -> None:
    assert len(JPEG) > 3 * PART
    photo = add_photo(ledger, 1, START + EXIF + APP0 + EXIF + SCAN)
    assert (photo.kind, photo.farm, photo.file) == ("jpeg", "Home Farm", "import-1-photo-1.jpg")
    assert bytes_of(ledger) == {(1, 1, "Home Farm"): JPEG}
    assert history(ledger)["what"].iloc[-1] == "photo added"
    assert verify(ledger).findings == ()


def test_the_same_photo_is_kept_once_and_no_more_than_six_are(ledger: Ledger) -> None:
    for turn in range(MOST):
        assert add_photo(ledger, 1, SCANNED + bytes([turn])).number == turn + 1
    assert add_photo(ledger, 1, SCANNED + bytes([2])).number == 3
    with pytest.raises(UserError, match="Import 1 keeps 6 photos already"):
        add_photo(ledger, 1, JPEG)
    assert len(photos_of(ledger, 1)) == MOST and photos_of(ledger, 2) == []


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "neither a JPEG nor a PDF"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "neither a JPEG nor a PDF"),
        (b"\x89PNG\r\n\x1a\n" + bytes(99), "neither a JPEG nor a PDF"),
        (b"<html>%PDF-1.7", "neither a JPEG nor a PDF"),
        (b"%PDF-1.7" + bytes(LARGEST), "may have 5 MB"),
        (START + EXIF, "is broken"),
        (START + APP0 + b"\xff\xe1\x00\x00" + SCAN, "is broken"),
        (START + b"\xff\xe1", "is broken"),
    ],
)
def test_what_is_no_photo_is_refused(ledger: Ledger, data: bytes, why: str) -> None:
    with pytest.raises(UserError, match=why):
        add_photo(ledger, 1, data)
    assert photos_of(ledger) == []


def test_the_largest_is_taken_and_bytes_that_fill_up_do_no_harm() -> None:
    assert checked(b"%PDF-" + bytes(LARGEST - 5))[0] == "pdf"
    assert without_exif(START + b"\xff\xff" + EXIF[1:] + SCAN) == START + SCAN


def test_an_import_without_rows_of_one_farm_keeps_none(ledger: Ledger) -> None:
    undo_import(ledger, 2, copy=False)
    for number in (2, 3):
        with pytest.raises(UserError, match=f"Import {number} has no rows"):
            add_photo(ledger, number, JPEG)


def test_photos_of_an_import_that_is_taken_back_stay(ledger: Ledger) -> None:
    fill(ledger)
    undo_import(ledger, 1, copy=False)
    assert bytes_of(ledger) == KEPT and verify(ledger).findings == ()


def test_one_that_was_taken_out_is_gone_and_the_history_says_so(ledger: Ledger) -> None:
    fill(ledger)
    remove_photo(ledger, photos_of(ledger)[0])
    assert set(bytes_of(ledger)) == set(KEPT) - {(1, 1, "Home Farm")} and verify(ledger).findings == ()
    assert history(ledger)["what"].iloc[-1] == "photo removed"


def test_they_are_in_a_backup_and_come_back(ledger: Ledger, tmp_path: Path) -> None:
    fill(ledger)
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    other = open_ledger(str(tmp_path / "elsewhere.duckdb"))
    restore(other, copy)
    assert bytes_of(other) == KEPT and verify(other).findings == ()


def test_they_move_from_one_ledger_to_another(ledger: Ledger, tmp_path: Path) -> None:
    fill(ledger)
    other = open_ledger(str(tmp_path / "other.duckdb"))
    move(ledger, other)
    assert bytes_of(other) == KEPT and verify(other).findings == ()


def test_they_are_in_an_export_of_their_farm(ledger: Ledger, tmp_path: Path) -> None:
    fill(ledger)
    assert export_folder(ledger, tmp_path / "all")["photos"] == 3
    assert export_folder(ledger, tmp_path / "one", format="csv", farms=["Home Farm"])["photos"] == 2
    found = {path.name: path.read_bytes() for path in (tmp_path / "one" / "photos").iterdir()}
    assert found == {"import-1-photo-1.jpg": JPEG, "import-1-photo-2.pdf": SCANNED}
    assert [path.name for path in files_of_export(tmp_path / "one")] == ["trims.csv"]


def test_they_go_with_their_farm(ledger: Ledger) -> None:
    fill(ledger)
    erase_farm(ledger, "Home Farm")
    assert bytes_of(ledger) == {(2, 1, "Long Acre"): JPEG} and verify(ledger).findings == ()


def test_a_farm_of_which_photos_are_all_that_is_left_is_found_and_erased(ledger: Ledger) -> None:
    fill(ledger)
    undo_import(ledger, 1, copy=False)
    erase_farm(ledger, "Home Farm")
    assert set(bytes_of(ledger)) == {(2, 1, "Long Acre")}


def test_a_photo_that_was_changed_behind_the_ledgers_back_is_found(ledger: Ledger) -> None:
    fill(ledger)
    with ledger.lease.writing() as connection:
        connection.execute("UPDATE sheet_photos SET content = 'QUJD' WHERE photo_no = 2")
        connection.execute("UPDATE sheet_photos SET import_no = 9 WHERE import_no = 2")
    found = " ".join(map(str, verify(ledger).findings))
    assert "The rows of sheet_photos are as many as came in, but not the same" in found
    assert "rows of sheet_photos belong to no import" in found
