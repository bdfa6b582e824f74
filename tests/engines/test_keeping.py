"""Verifying, erasing a farm, history, exports and backups where the ledger is on a server or in a registry."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, agreements, open_ledger
from evenfoot.analytics.ledger.engines.postgres import PostgresEngine
from evenfoot.analytics.ledger.engines.registry import RegistryFolder
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.repair import mend
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.limits import set_limit
from evenfoot.analytics.ledger.schema import BOOKKEEPING, DERIVED_TABLES, ROW_TABLES
from evenfoot.dashboard.cli.export import export
from evenfoot.dashboard.cli.maintenance import print_history
from tests.engines.conftest import Maker, new_database
from tests.engines.tables import rows_of
from tests.ledger.filled import fill
from tests.ledger.test_erase import MIXED, ONLY, REGISTER, SECRET, TRACES

pytestmark = pytest.mark.long

OTHERS = "visit_date,farm,cow,foot,lesion\n2025-03-05,Birch,7,RH,SU\n2025-03-05,Alder,3,LH,DD\n" + "".join(
    f"2025-03-06,Alder,{cow},,none\n" for cow in range(11, 16)
)


def add(ledger: Ledger, text: str, name: str) -> int:
    sheets = check_file(text.encode(), name, known_farms=ledger.farms())
    return add_sheets(ledger, sheets, name, f"{len(text):064d}").import_no


@pytest.fixture(scope="module")
def kept(elsewhere: Maker) -> Ledger:
    """A ledger that is filled once and copied for each test: it takes seven imports."""
    ledger = elsewhere()
    add(ledger, OTHERS, "others.csv")
    add(ledger, ONLY, f"{SECRET.lower()}.csv")
    add(ledger, MIXED, "mixed.csv")
    undo_import(ledger, add(ledger, ONLY.replace("zq811", "zq819"), "zq820.csv"))
    add(ledger, ONLY, "again.csv")
    add(ledger, REGISTER, "register.csv")
    set_limit(ledger, "long_toe_mm", 81, farm=SECRET)
    agreements.add(ledger, SECRET, f"Ask {SECRET} again", who="zq820")
    agreements.mark_done(ledger, 1, outcome="zq820 helped")
    return ledger


@pytest.fixture
def ledger(kept: Ledger, tmp_path: Path) -> Ledger:
    if kept.dialect != "postgres":
        place = tmp_path / "registry"
        shutil.copytree(kept.name.removeprefix("pyspark://").partition("?")[0], place)
        return open_ledger(f"pyspark://{place}?buckets=4")
    assert isinstance(kept.engine, PostgresEngine)
    kept.engine.close()
    return open_ledger(new_database(kept.address.rpartition("/")[0], like=kept.address.rpartition("/")[2]))


def traces(ledger: Ledger) -> list[str]:
    """Where the farm is still named: every column of every table, and what lies on the disk."""
    found = []
    for table in [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES, *BOOKKEEPING]:
        frame = ledger.frame(f"SELECT * FROM {table}")
        for column in frame:
            if any(trace in str(cell) for cell in frame[column].tolist() for trace in TRACES):
                found.append(f"{table}.{column}")
    return found + (_in_files_of_server(ledger) if ledger.dialect == "postgres" else _in_folder(ledger))


def _in_files_of_server(ledger: Ledger) -> list[str]:
    """Relations of the database, its own catalogues and indexes among them, whose files hold the farm's name."""
    with ledger.writing() as connection:
        connection.ask("SELECT 1")
    import psycopg

    with psycopg.connect(ledger.address.replace("postgres://", "postgresql://"), autocommit=True) as raw:
        raw.execute("CHECKPOINT")
        files = raw.execute(
            "SELECT relname, pg_read_binary_file(pg_relation_filepath(oid), 0, 100000000, true) FROM pg_class "
            "WHERE relkind IN ('r', 'i', 't') AND pg_relation_filepath(oid) IS NOT NULL"
        ).fetchall()
    return [f"{name} on the disk" for name, bytes_ in files if any(t.encode() in (bytes_ or b"") for t in TRACES)]


def _in_folder(ledger: Ledger) -> list[str]:
    """Files of the registry that do not count, and so hold what once was."""
    folder = RegistryFolder(Path(ledger.name.removeprefix("pyspark://")))
    counted = {folder.path / name for files in folder.contents().files.values() for name in files.values()}
    return [path.name for path in folder.path.glob("*/*.parquet") if path not in counted]


def test_nothing_of_an_erased_farm_is_left_and_all_of_the_others_is(ledger: Ledger) -> None:
    tables = [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES]
    before = {table: rows_of(ledger, table) for table in tables}
    found = traces(ledger)
    assert {
        "trim_rows.farm",
        "findings.farm",
        "imports.file",
        "set_aside.original",
        "horn_limits.farm",
        "agreements.text",
    } <= set(found)
    assert any("disk" in place or place.endswith(".parquet") for place in found), found
    done = erase_farm(ledger, SECRET)
    assert (done.rows, done.imports, done.copies) == (3, 3, ())
    assert len(done.beyond) == 1 and "in the hands of" in done.beyond[0]
    assert traces(ledger) == []
    for table in tables:
        kept = before[table][before[table]["farm"] != SECRET].reset_index(drop=True)
        pd.testing.assert_frame_equal(kept, rows_of(ledger, table), check_dtype=False, obj=table)
    assert ledger.farms() == ["Alder", "Birch"]
    assert {"others.csv", "mixed.csv"} <= set(ledger.imports()["file"])
    assert history(ledger)["what"].tolist()[-1] == "farm erased"
    assert verify(ledger).findings == ()
    with pytest.raises(UserError, match="no farm"):
        erase_farm(ledger, SECRET)


def test_a_whole_ledger_is_whole_and_what_is_changed_behind_it_is_found(ledger: Ledger) -> None:
    verdict = verify(ledger)
    assert verdict.findings == () and (verdict.imports, verdict.rows) == (5, 11)
    if ledger.dialect == "postgres":
        damages = {
            "UPDATE trim_rows SET lesion = 'WL' WHERE cow = '3'": "not what they were when they came in",
            "DELETE FROM trim_rows WHERE cow = '3'": "are there",
            "DELETE FROM findings WHERE cow = '7'": "lacks 1 rows",
            "DROP TABLE seen_again": "table seen_again is missing",
        }
        for damage, said in damages.items():
            with ledger.writing() as connection:
                connection.execute(damage)
            assert said in " ".join(map(str, verify(ledger).findings)), damage
        return
    folder = RegistryFolder(Path(ledger.name.removeprefix("pyspark://")))
    files = [folder.path / name for name in folder.contents().files["trim_rows"].values()]
    one, other = files[0].read_bytes(), files[1].read_bytes()
    files[0].write_bytes(other)
    assert "belong to another bucket" in " ".join(map(str, verify(ledger).findings))
    files[0].write_bytes(one[:200])
    assert "cannot be read" in " ".join(map(str, verify(ledger).findings))
    files[0].unlink()
    assert "cannot be read" in " ".join(map(str, verify(ledger).findings))


def test_history_exports_and_backups(ledger: Ledger, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    print_history(ledger.address, "text")
    assert "import added: import 1" in capsys.readouterr().out
    for format in ("csv", "parquet", "ade"):
        export(ledger.address, format, tmp_path / format, [])
    assert "1" in pd.read_csv(tmp_path / "csv" / "trims.csv", dtype=str)["cow"].tolist()
    export(ledger.address, "anonymous", tmp_path / "rows.csv", [])
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    assert verify(open_ledger(str(copy))).whole
    with pytest.raises(UserError, match="There are records in"):
        restore(ledger, copy)
    with pytest.raises(UserError, match="not one file on this machine"):
        mend(ledger)


FAULTS = {
    "history": "UPDATE history SET who = 'x' WHERE history_no = 1",
    "imports": "UPDATE imports SET sha256 = 'x' WHERE import_no = 2",
    "horn_limits": "UPDATE horn_limits SET value = value + 1",
    "agreements": "UPDATE agreements SET text = text || 'x'",
    "seen_again": "DELETE FROM seen_again",
    "set_aside": "UPDATE set_aside SET original = '{}' WHERE row_no = 3",
    "trim_rows": "UPDATE trim_rows SET row_no = row_no + 1 WHERE cow = '3'",
    "meta": "UPDATE meta SET value = 'x' WHERE name = 'ledger'",
}


def test_whatever_people_do_the_ledger_stays_whole_and_its_backup_too(elsewhere: Maker, tmp_path: Path) -> None:
    ledger = fill(elsewhere(), tmp_path, erase=True)
    assert verify(ledger).findings == ()
    assert verify(open_ledger(str(back_up(ledger, tmp_path / "backup.duckdb")))).findings == ()


def test_planted_faults_are_found_and_go_into_backups(ledger: Ledger, tmp_path: Path) -> None:
    assert verify(ledger).findings == ()
    with ledger.writing() as connection:
        for fault in FAULTS.values():
            connection.execute(fault)
    told = " ".join(map(str, verify(ledger).findings))
    assert [table for table in FAULTS if f"rows of {table} are" not in told and f"{table} holds" not in told] == []
    told = " ".join(map(str, verify(open_ledger(str(back_up(ledger, tmp_path / "backup.duckdb")))).findings))
    assert [table for table in FAULTS if table != "meta" and table not in told] == []


def test_a_backup_is_put_back_with_its_line_in_the_history_or_not_at_all(
    postgres_ledger: Maker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = open_ledger(str(tmp_path / "copy.duckdb"))
    add(copy, OTHERS, "others.csv")
    copy.lease.drop_if_idle()
    target = postgres_ledger()

    def cut_short(*_what: object, **_more: object) -> None:
        raise InterruptedError

    with monkeypatch.context() as patch:
        patch.setattr("evenfoot.analytics.ledger.integrity.backup.note", cut_short)
        with pytest.raises(InterruptedError):
            restore(target, Path(copy.name))
    assert not target.exists
    restore(target, Path(copy.name))
    assert history(target)["what"].tolist() == ["import added", "backup put back"]
