"""Ledgers of every layout there has been are opened, brought up to date, and lose nothing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.checksums import changing
from evenfoot.analytics.ledger.file_copy import kept_copies
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.migrations import MIGRATIONS, Migration, migrate
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES, SCHEMA_VERSION
from tests.ledger.storing import SHEETS, make, unpack
from tests.sheets import checked

pytestmark = pytest.mark.long

LAYOUTS = range(1, SCHEMA_VERSION + 1)
KEPT = [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES, "seen_again"]


def columns(ledger: Ledger) -> dict[tuple[str, str], str]:
    frame = ledger.frame(
        "SELECT table_name, column_name, data_type FROM information_schema.columns WHERE table_schema = 'main'"
    )
    return {(row.table_name, row.column_name): row.data_type for row in frame.itertuples()}


def test_every_step_leads_one_layout_on() -> None:
    assert [step.to for step in MIGRATIONS] == list(range(2, SCHEMA_VERSION + 1))


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_stored_ledger_becomes_what_a_new_one_is(layout: int, tmp_path: Path) -> None:
    old, new = unpack(layout, tmp_path / "old.duckdb"), make(tmp_path / "new.duckdb")
    assert columns(old) == columns(new)
    assert verify(old).findings == ()
    for table in KEPT:
        ours, theirs = (each.frame(f"SELECT * FROM {table} ORDER BY ALL") for each in (old, new))
        assert ours.equals(theirs), table
    assert len(old.frame("SELECT * FROM trims")) == 8
    assert old.set_aside()["value"].tolist() == ["no such thing"]
    assert old.imports()["file"].tolist() == new.imports()["file"].tolist()
    assert add_sheets(
        old, [checked("trims", [{"farm": "Alder", "visit_date": "2026-01-01", "cow": "5"}])], "b", ""
    ).added


@pytest.mark.parametrize("layout", LAYOUTS[:-1])
def test_a_copy_is_kept_from_before_and_it_is_noted(layout: int, tmp_path: Path) -> None:
    ledger = unpack(layout, tmp_path / "old.duckdb")
    before = Path(ledger.name).read_bytes()
    assert len(ledger.imports()) == 8
    [copy] = kept_copies(ledger)
    assert copy.read_bytes() == before
    lines = history(ledger)
    line = lines[lines["what"] == "layout changed"].iloc[-1]
    assert json.loads(line["before"]) == {"layout": layout}
    assert json.loads(line["after"])["layout"] == SCHEMA_VERSION
    ledger.imports()
    assert len(kept_copies(ledger)) == 1


def test_a_change_of_layout_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ledger = unpack(1, tmp_path / "old.duckdb")

    def broken(*_: object, **__: object) -> None:
        raise UserError("The power went.")

    with monkeypatch.context() as patch:
        patch.setattr("evenfoot.analytics.ledger.history.note", broken)
        with pytest.raises(UserError, match="changed nothing: The power went"):
            ledger.imports()
    with ledger.lease.reading() as cursor:
        assert cursor.execute("SELECT value FROM meta").fetchall() == [("1",)]
        assert cursor.execute(
            "SELECT COUNT(*) FROM information_schema.tables WHERE table_name = 'history'"
        ).fetchall() == [(0,)]
    assert len(ledger.imports()) == 8


def test_a_new_field_leaves_rows_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A row of an older layout that is met again is still known when its table has got another field."""
    table, fields = ROW_TABLES["trims"]
    ledger = make(tmp_path / "l.duckdb")
    monkeypatch.setitem(ROW_TABLES, "trims", (table, {**fields, "weather": "VARCHAR"}))
    step = Migration(SCHEMA_VERSION + 1, "the weather", (f"ALTER TABLE {table} ADD COLUMN weather VARCHAR",), keys=True)
    monkeypatch.setattr("evenfoot.analytics.ledger.migrations.MIGRATIONS", (*MIGRATIONS, step))
    with ledger.writing() as connection:
        migrate(connection, SCHEMA_VERSION)
        with changing(connection, "meta"):
            connection.execute("UPDATE meta SET value = ? WHERE name = 'schema'", [str(SCHEMA_VERSION)])
    assert verify(ledger).findings == ()
    sheets = check_file(SHEETS["trims.csv"].encode(), "trims.csv", known_farms=ledger.farms())
    assert add_sheets(ledger, sheets, "trims.csv", "").added == 0


def test_without_room_for_the_copy_the_layout_stays(tmp_path: Path) -> None:
    ledger = unpack(1, tmp_path / "old.duckdb")
    (tmp_path / "backups").write_text("a file where the folder should be")
    before = Path(ledger.name).read_bytes()
    with pytest.raises(UserError, match=r"older Evenfoot \(layout 1\).*No copy of the ledger could be written"):
        ledger.imports()
    ledger.lease.drop_if_idle()
    assert Path(ledger.name).read_bytes() == before


def test_many_readers_of_an_old_ledger_bring_it_up_to_date_once(tmp_path: Path) -> None:
    import threading

    ledger = unpack(1, tmp_path / "old.duckdb")
    errors: list[BaseException] = []

    def read() -> None:
        try:
            assert len(open_ledger(ledger.name).imports()) == 8
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=read) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(240)
    assert not errors
    assert (history(ledger)["what"] == "layout changed").sum() == 1
