"""Files of a ledger are their owner's alone, and nothing in one can make the engine read another file."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from tests.report.made import herd

CRAFTED = (
    "CREATE VIEW scores_of_all AS SELECT * FROM read_text('{secret}')",
    "CREATE MACRO md5(a) AS (SELECT content FROM read_text('{secret}'))",
    "CREATE MACRO everything() AS TABLE SELECT * FROM read_text('{secret}')",
    "DROP TABLE scores; CREATE VIEW scores AS SELECT content AS farm FROM read_text('{secret}')",
)


@pytest.fixture
def open_mask() -> object:
    """New files are readable by everybody, as on many machines."""
    before = os.umask(0o022)
    yield
    os.umask(before)


def modes(place: Path) -> dict[str, int]:
    return {path.name: stat.S_IMODE(path.stat().st_mode) for path in place.rglob("*") if path.is_file()}


@pytest.mark.skipif(os.name == "nt", reason="has no such permissions")
def test_ledgers_and_backups_are_for_their_owner_alone(tmp_path: Path, open_mask: object) -> None:
    ledger = herd(tmp_path / "own" / "l.duckdb", "Home Farm", 5)
    copy = back_up(ledger, tmp_path / "own" / "copy.duckdb")
    undo_import(ledger, 1)
    copy.chmod(0o644)  # as after a way over a memory stick
    restore(ledger, copy, replace=True)
    found = modes(tmp_path / "own")
    assert len(found) >= 4 and {name: mode for name, mode in found.items() if mode != 0o600} == {"copy.duckdb": 0o644}
    for folder in (tmp_path / "own", tmp_path / "own" / "backups"):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700


@pytest.mark.skipif(os.name == "nt", reason="has no such permissions")
def test_all_that_a_command_writes_is_for_its_owner_alone(tmp_path: Path) -> None:
    command = [sys.executable, "-c", "import os; os.umask(0o022); from evenfoot.dashboard.cli.main import main; main()"]
    sheet = tmp_path / "sheet.csv"
    rows = ("7,SU,LH", "8,none,")
    lines = [f"2026-01-05,Home Farm,whole-herd,{row}" for row in rows]
    sheet.write_text("\n".join(["visit_date,farm,visit_kind,cow,lesion,foot", *lines]))
    place = tmp_path / "place"
    environment = {**os.environ, "EVENFOOT_LEDGER": str(place / "l.duckdb"), "XDG_CACHE_HOME": str(place / "cache")}
    for words in (("import", str(sheet)), ("table", "prevalence"), ("backup", str(place / "copy.duckdb"))):
        done = subprocess.run([*command, *words], env=environment, capture_output=True, text=True, timeout=120)
        assert done.returncode == 0, done.stderr
    found = modes(place)
    assert {"l.duckdb", "copy.duckdb"} <= set(found) and set(found.values()) == {0o600}
    assert {stat.S_IMODE(path.stat().st_mode) for path in place.rglob("*") if path.is_dir()} <= {0o700}


def crafted(tmp_path: Path, statement: str) -> Path:
    secret = tmp_path / "secret.txt"
    secret.write_text("the password of the machine")
    copy = back_up(herd(tmp_path / "l.duckdb", "Home Farm", 5), tmp_path / "crafted.duckdb")
    with duckdb.connect(str(copy)) as connection:
        connection.execute(statement.format(secret=secret))
    return copy


@pytest.mark.parametrize("statement", CRAFTED)
def test_a_crafted_backup_is_refused(tmp_path: Path, statement: str) -> None:
    copy = crafted(tmp_path, statement)
    with pytest.raises(UserError, match="view or macro") as told:
        restore(open_ledger(tmp_path / "new.duckdb"), copy)
    assert "password" not in str(told.value)
    assert not (tmp_path / "new.duckdb").exists()
    for use in (lambda: open_ledger(copy).farms(), lambda: _write(open_ledger(copy))):
        with pytest.raises(UserError, match="view or macro"):
            use()


def _write(ledger: Ledger) -> None:
    with ledger.writing():
        pass


def test_a_reader_reads_no_other_file(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("the password of the machine")
    ledger = herd(tmp_path / "l.duckdb", "Home Farm", 5)
    with ledger.reading() as cursor:
        for statement in (
            f"SELECT content FROM read_text('{secret}')",
            f"ATTACH '{tmp_path / 'other.duckdb'}'",
            f"COPY (SELECT 1) TO '{tmp_path / 'out.csv'}'",
            "SET enable_external_access = true",
        ):
            with pytest.raises(duckdb.Error):
                cursor.execute(statement)
