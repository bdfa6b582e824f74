"""Whatever is changed or deleted behind the ledger's back is found: every column of every table, every row."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, checksums, open_ledger
from evenfoot.analytics.ledger.integrity import verify as verifying
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.integrity.verify import verdict_of, verify
from evenfoot.analytics.ledger.integrity.verify_derived import count_of
from evenfoot.analytics.ledger.migrations import SUMS_SINCE, migrate
from evenfoot.analytics.ledger.schema import BOOKKEEPING, DERIVED_TABLES, SCHEMA_VERSION, create_statement, every_table
from tests.effort import WHOLE, some
from tests.ledger.filled import fill, steps
from tests.ledger.storing import unpack

pytestmark = pytest.mark.long

CHANGED = {
    "VARCHAR": "COALESCE({c}, '') || 'x'",
    "INTEGER": "COALESCE({c}, 0) + 1",
    "BIGINT": "COALESCE({c}, 0) + 1",
    "DOUBLE": "COALESCE({c}, 0) + 0.5",
    "DATE": "COALESCE({c}, DATE '2025-01-01') + 1",
    "TIMESTAMP": "COALESCE({c}, TIMESTAMP '2025-01-01') + INTERVAL 1 MICROSECOND",
    "BOOLEAN": "NOT COALESCE({c}, FALSE)",
}


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Ledger, duckdb.DuckDBPyConnection]]:
    """A ledger with rows in every table, and the engine on it."""
    folder = tmp_path_factory.mktemp("filled")
    ledger = fill(open_ledger(str(folder / "ledger.duckdb")), folder)
    assert verify(ledger).findings == ()
    ledger.lease.drop_if_idle()
    with duckdb.connect(ledger.name) as connection:
        for table in every_table():
            written_anew(connection, table, table)
        yield ledger, connection
        assert not is_found(ledger, connection), "a table was not put back"


def written_anew(connection: duckdb.DuckDBPyConnection, table: str, source: str) -> None:
    """Write a table anew from another, so that its rows are numbered from 0."""
    connection.execute(f"CREATE OR REPLACE TABLE {table} AS SELECT * FROM {source} ORDER BY rowid")


def is_found(ledger: Ledger, connection: duckdb.DuckDBPyConnection) -> bool:
    """Whether somebody who opens and verifies the ledger is told of something."""
    try:
        layout = ledger.layout(connection)
        if layout < SCHEMA_VERSION:
            migrate(connection, layout)
        return not verdict_of(connection).whole
    except UserError:
        return True


def unfound(filled: tuple[Ledger, duckdb.DuckDBPyConnection], table: str, faults: list[str]) -> list[str]:
    """Those of some statements whose fault is not found; the table is put back after each.

    Faults of tables that are not derived are found without working the derived ones out anew, which takes long.
    """
    ledger, connection = filled
    written_anew(connection, "kept", table)
    out = []
    with pytest.MonkeyPatch.context() as patch:
        if table not in DERIVED_TABLES:
            patch.setattr(verifying, "derived_anew", lambda _: ())
        for fault in faults:
            connection.execute(fault)
            try:
                if not is_found(ledger, connection):
                    out.append(fault)
            finally:
                written_anew(connection, table, "kept")
    return out


@pytest.mark.parametrize("table", every_table())
def test_a_change_of_any_column_is_found(filled: tuple[Ledger, duckdb.DuckDBPyConnection], table: str) -> None:
    """One row of the table, each column of it in turn: to another value, and to none where there is one."""
    _, connection = filled
    faults = []
    for place, (column, kind) in enumerate(every_table()[table].items()):
        row = place % count_of(connection, f"SELECT COUNT(*) FROM {table}")
        one = f'"{column}"'
        faults.append(f"UPDATE {table} SET {one} = {CHANGED[kind].format(c=one)} WHERE rowid = {row}")
        said = connection.execute(f"SELECT MIN(rowid) FROM {table} WHERE {one} IS NOT NULL").fetchone()
        if said and said[0] is not None:
            faults.append(f"UPDATE {table} SET {one} = NULL WHERE rowid = {said[0]}")
    assert unfound(filled, table, some(faults, 6, len(faults))) == []


@pytest.mark.parametrize("table", every_table())
def test_that_any_row_is_gone_or_there_twice_is_found(
    filled: tuple[Ledger, duckdb.DuckDBPyConnection], table: str
) -> None:
    _, connection = filled
    last = count_of(connection, f"SELECT COUNT(*) FROM {table}") - 1
    faults = [f"DELETE FROM {table} WHERE rowid = {row}" for row in range(last + 1)]
    faults.append(f"DELETE FROM {table} WHERE rowid IN (0, {last})")
    faults.append(f"INSERT INTO {table} SELECT * FROM {table} WHERE rowid = {last}")
    assert unfound(filled, table, some(faults, 8, len(faults))) == []


BY_HAND = {
    "meta": [
        f"UPDATE meta SET value = '{SUMS_SINCE - 1}' WHERE name = 'schema'",
        "UPDATE meta SET value = 'x' WHERE name = 'digest of history'",
        'INSERT INTO meta VALUES (\'digest of nothing\', \'{"rows": 0, "digests": "0"}\')',
        "DELETE FROM meta WHERE name = 'ledger'",
    ],
    "history": [
        "DELETE FROM history WHERE history_no = (SELECT MAX(history_no) FROM history)",
        "UPDATE history SET history_no = history_no + 1",
        "UPDATE history SET who = 'somebody else'",
    ],
    "horn_limits": ["UPDATE horn_limits SET value = value + 1"],
    "agreements": [
        "UPDATE agreements SET due_on = due_on + 1",
        "UPDATE agreements SET removed_at = NULL",
        "DELETE FROM agreements WHERE agreement_no = 1",
    ],
    "seen_again": ["DELETE FROM seen_again", "UPDATE seen_again SET import_no = 1"],
    "replaced_rows": [
        "UPDATE replaced_rows SET content = content || 'x'",
        "UPDATE replaced_rows SET content = '[]'",
        "UPDATE replaced_rows SET content = REPLACE(content, '2025-', '2025-77-')",
        "UPDATE replaced_rows SET content = REPLACE(content, '2025-07', '2025-08')",
        "UPDATE replaced_rows SET content = NULL",
    ],
    "imports": [
        "UPDATE imports SET file = 'another.csv' WHERE import_no = 2",
        "UPDATE imports SET sha256 = REPEAT('f', 64) WHERE import_no = 2",
        "UPDATE imports SET notes = '[]' WHERE import_no = 2",
    ],
    "trim_rows": ["UPDATE trim_rows SET row_no = row_no + 1 WHERE import_no = 1"],
    "set_aside": [
        "UPDATE set_aside SET row_no = row_no + 1",
        "UPDATE set_aside SET original = '{}'",
        "UPDATE set_aside SET reason = reason || '.'",
    ],
}


@pytest.mark.parametrize("table", BY_HAND)
def test_faults_that_were_not_found_once_are(filled: tuple[Ledger, duckdb.DuckDBPyConnection], table: str) -> None:
    assert unfound(filled, table, BY_HAND[table]) == []


def test_alike_rows_that_change_together_change_the_sum() -> None:
    """Two equal rows do not make up for each other."""
    with duckdb.connect() as connection:
        connection.execute(create_statement("seen_again", BOOKKEEPING["seen_again"]))
        connection.execute("INSERT INTO seen_again VALUES (1, 'trims', 'a'), (1, 'trims', 'a')")
        before = checksums.sum_of(connection, "seen_again")
        connection.execute("UPDATE seen_again SET row_key = 'b'")
        assert before[0] == checksums.sum_of(connection, "seen_again")[0] == 2
        assert before[1] != checksums.sum_of(connection, "seen_again")[1]


def test_a_fault_stays_one_whatever_comes_after_it(tmp_path: Path) -> None:
    """Imports, undoing, an erasure, a backup that is put back: none makes a fault look right."""
    ledger = open_ledger(str(tmp_path / "l.duckdb"))
    for place, (_, step) in enumerate(steps(ledger, tmp_path)):
        step()
        if place == 1:
            assert verify(ledger).findings == ()
            with ledger.writing() as connection:
                connection.execute("UPDATE history SET who = 'x' WHERE history_no = 1")
                connection.execute("UPDATE trim_rows SET row_no = row_no + 1 WHERE cow = '3'")
    other = open_ledger(str(tmp_path / "other.duckdb"))
    restore(other, back_up(ledger, tmp_path / "backup.duckdb"))
    for one in (ledger, other):
        assert [str(finding).split()[3] for finding in verify(one).findings] == ["trim_rows", "history"]


def test_everything_that_people_do_leaves_a_ledger_whole(tmp_path: Path) -> None:
    """A sum that was not brought on stays wrong, so ``make test`` looks at the end alone."""
    ledger = open_ledger(str(tmp_path / "l.duckdb"))
    for name, step in steps(ledger, tmp_path):
        step()
        assert not WHOLE or (name, verify(ledger).findings) == (name, ())
    assert verify(ledger).findings == ()


@pytest.mark.parametrize("fault", ["DELETE FROM trim_rows WHERE cow = '2'", "UPDATE score_rows SET row_key = 'x'"])
def test_bringing_a_layout_up_to_date_hides_no_fault(fault: str, tmp_path: Path) -> None:
    ledger = unpack(7, tmp_path / "l.duckdb")
    ledger.lease.drop_if_idle()
    with duckdb.connect(ledger.name) as connection:
        connection.execute(fault)
    before = [*map(str, verify(ledger).findings)]
    assert any("came in" in finding for finding in before)
    ledger.imports()
    assert [*map(str, verify(ledger).findings)] == before
