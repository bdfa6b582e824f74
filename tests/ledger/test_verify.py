"""A whole ledger is found whole; whatever is taken, changed or added behind its back is found."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import undo_import
from evenfoot.analytics.ledger.integrity import verify_derived
from evenfoot.analytics.ledger.integrity.verify import verify
from tests.ledger.storing import make, unpack
from tests.sheets import checked, ledger_of


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    ledger = make(tmp_path_factory.mktemp("made") / "ledger.duckdb")
    ledger.lease.drop_if_idle()
    return Path(ledger.name)


@pytest.fixture
def ledger(made: Path, tmp_path: Path) -> Ledger:
    shutil.copyfile(made, tmp_path / "ledger.duckdb")
    return open_ledger(str(tmp_path / "ledger.duckdb"))


def test_a_whole_ledger_is_whole_and_stays_so_as_imports_go(ledger: Ledger) -> None:
    verdict = verify(ledger)
    assert verdict.findings == ()
    assert (verdict.imports, verdict.rows) == (7, 14)
    for number in (2, 8, 1, 5):
        undo_import(ledger, number, copy=False)
        assert verify(ledger).findings == ()
    assert verify(ledger).rows == 5


def test_the_demo_herds_are_whole(demo_ledger: Ledger) -> None:
    assert verify(demo_ledger).whole


def test_farms_are_worked_out_anew_a_few_at_a_time(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verify_derived, "ROWS_AT_A_TIME", 1)
    assert verify(ledger).whole
    with ledger.lease.writing() as connection:
        connection.execute("DELETE FROM findings WHERE lesion = 'SU'")
        connection.execute("INSERT INTO cows SELECT * REPLACE ('Nowhere' AS farm) FROM cows")
        connection.execute("INSERT INTO moves VALUES (NULL, '1', DATE '2026-01-01', 'high')")
        [(cows,)] = connection.execute("SELECT COUNT(*) FROM cows WHERE farm = 'Nowhere'").fetchall()
    found = " ".join(map(str, verify(ledger).findings))
    assert "findings lacks 1 rows and has 0" in found and "moves lacks 0 rows and has 1" in found
    assert cows and f"cows lacks 0 rows and has {cows}" in found


def test_limits_of_every_farm_are_of_none(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("limits", [{"limit": "long_toe_mm", "value": 80}]))
    assert verify(ledger).whole


@pytest.mark.parametrize("layout", [1, 2])
def test_older_ledgers_are_checked_and_not_touched(layout: int, tmp_path: Path) -> None:
    ledger = unpack(layout, tmp_path / "old.duckdb")
    before = Path(ledger.name).read_bytes()
    assert verify(ledger).whole
    ledger.lease.drop_if_idle()
    assert Path(ledger.name).read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["old.duckdb"]


DAMAGES = {
    "DELETE FROM trim_rows WHERE cow = '2'": "holds 7 rows, but 8 came in",
    "UPDATE trim_rows SET lesion = 'DD' WHERE lesion = 'SU'": "1 rows of trim_rows are not what they were",
    "UPDATE trim_rows SET import_no = 99 WHERE cow = '2'": "belong to no import",
    "UPDATE trim_rows SET import_no = 7 WHERE cow = '2'": "one that was taken back",
    "INSERT INTO trim_rows SELECT * FROM trim_rows WHERE cow = '2'": "there more than once",
    "UPDATE score_rows SET row_key = MD5('x'), cow = 'x' WHERE cow = '1'": "not the same ones",
    "DELETE FROM findings WHERE lesion = 'SU'": "derived table findings lacks 1 rows and has 0",
    "UPDATE trims SET visit_kind = 'recheck'": "derived table trims lacks",
    "INSERT INTO cows SELECT * REPLACE ('Nowhere' AS farm) FROM cows": "has",
    "DELETE FROM set_aside": "1 rows were set aside, but 0 are kept",
    "UPDATE imports SET rows_read = rows_read + 1 WHERE import_no = 3": "Import 3: 3 rows were read, but 2",
    "UPDATE imports SET import_no = 3 WHERE import_no = 4": "given twice",
    "DELETE FROM imports WHERE import_no = 8": "seen_again belong to no import",
    "INSERT INTO seen_again VALUES (8, 'trims', 'no such key')": "met again are no longer in trim_rows",
    "UPDATE history SET history_no = 1": "bear a number that another bears",
    "ALTER TABLE findings DROP COLUMN zone": "other columns than it should (zone)",
    "DROP TABLE moves": "table moves is missing",
    "UPDATE register_rows SET calvings = '2023-02-07x'": "cannot be worked out anew",
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_damage_is_found(ledger: Ledger, damage: str) -> None:
    with ledger.writing() as connection:
        connection.execute(damage)
    assert any(DAMAGES[damage] in finding for finding in verify(ledger).findings), verify(ledger).findings


def test_flipped_bytes_are_found_or_do_no_harm(made: Path, tmp_path: Path) -> None:
    """A byte changed anywhere is found, or stood where nothing is kept: then every row and count is as it was."""
    whole = verify(open_ledger(str(made)))
    content = made.read_bytes()
    chance = random.Random(7)
    for turn in range(8):
        place = tmp_path / f"{turn}.duckdb"
        where = chance.randrange(len(content))
        place.write_bytes(content[:where] + bytes([content[where] ^ (1 << chance.randrange(8))]) + content[where + 1 :])
        ledger = open_ledger(str(place))
        try:
            verdict = verify(ledger)
        except UserError:
            continue
        finally:
            ledger.lease.drop_if_idle()
            place.unlink()
        if verdict.whole:
            assert verdict == whole
