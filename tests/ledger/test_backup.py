"""A backup is the whole ledger of one moment, and goes back only where nothing is lost."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, file_copy, open_ledger
from evenfoot.analytics.ledger.engines import duckdb as duckdb_engine
from evenfoot.analytics.ledger.engines import file_lease
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from tests.sheets import checked, ledger_of

ROWS = [{"visit_date": "2026-03-02", "farm": "Home Farm", "cow": str(cow), "lesion": None} for cow in range(30)]


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return ledger_of(tmp_path / "ledger.duckdb", checked("trims", ROWS))


def test_a_backup_put_back_holds_the_same_records(ledger: Ledger, tmp_path: Path) -> None:
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    other = open_ledger(str(tmp_path / "elsewhere" / "ledger.duckdb"))
    assert restore(other, copy) is None
    for table in ("trim_rows", "trims", "imports"):
        ours, theirs = (each.frame(f"SELECT * FROM {table} ORDER BY ALL") for each in (ledger, other))
        assert ours.equals(theirs)
        assert len(ours)


def test_a_folder_gets_a_file_named_by_the_moment(ledger: Ledger, tmp_path: Path) -> None:
    folder = tmp_path / "backups"
    folder.mkdir()
    copy = back_up(ledger, folder)
    assert copy.parent == folder
    assert copy.name.startswith("evenfoot-")
    assert [path.name for path in folder.iterdir()] == [copy.name]


def test_nothing_is_overwritten_unasked(ledger: Ledger, tmp_path: Path) -> None:
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    with pytest.raises(UserError, match="there already"):
        back_up(ledger, copy)
    with pytest.raises(UserError, match="--replace"):
        restore(ledger, copy)


def test_what_is_replaced_is_kept_and_what_came_after_the_backup_is_gone(ledger: Ledger, tmp_path: Path) -> None:
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    add_sheets(ledger, [checked("trims", [{**ROWS[0], "farm": "Later Farm"}])], "later.csv", "1" * 64)
    assert ledger.farms() == ["Home Farm", "Later Farm"]
    kept = restore(ledger, copy, replace=True)
    assert ledger.farms() == ["Home Farm"]
    assert kept is not None
    assert open_ledger(str(kept)).farms() == ["Home Farm", "Later Farm"]


@pytest.mark.parametrize("content", [b"", b"not a database", b"visit_date,farm,cow\n2026-03-02,A,1\n"])
def test_what_is_no_ledger_is_not_put_back(tmp_path: Path, content: bytes) -> None:
    place = tmp_path / "wrong.duckdb"
    place.write_bytes(content)
    target = open_ledger(str(tmp_path / "ledger.duckdb"))
    with pytest.raises(UserError):
        restore(target, place)
    assert not target.exists
    with pytest.raises(UserError, match="no file"):
        restore(target, tmp_path / "absent.duckdb")


def test_a_backup_made_while_rows_come_in_is_whole(ledger: Ledger, tmp_path: Path) -> None:
    """Every copy holds whole imports only: a multiple of the rows of one."""

    def add() -> None:
        for number in range(6):
            rows = [{**row, "farm": f"Farm {number}"} for row in ROWS]
            add_sheets(ledger, [checked("trims", rows)], f"{number}.csv", f"{number}" * 64)

    thread = threading.Thread(target=add)
    thread.start()
    counts = []
    for number in range(4):
        copy = open_ledger(str(back_up(ledger, tmp_path / f"copy{number}.duckdb")))
        counts.append(int(copy.frame("SELECT COUNT(*) AS n FROM trims")["n"].iloc[0]))
    thread.join()
    assert all(count % len(ROWS) == 0 for count in counts)
    assert counts == sorted(counts)


def test_the_ledger_is_copied_before_an_import_is_undone(ledger: Ledger) -> None:
    assert undo_import(ledger, 1) == len(ROWS)
    [copy] = file_copy.kept_copies(ledger)
    assert copy.parent.name == "backups" and copy.name.endswith("-before-undo-1.duckdb")
    restore(ledger, copy, replace=True)
    assert len(ledger.frame("SELECT * FROM trim_rows")) == len(ROWS)
    with pytest.raises(UserError, match="no import 5"):
        undo_import(ledger, 5)
    assert file_copy.kept_copies(ledger) == [copy]


def test_an_import_is_not_undone_where_no_copy_can_be_made(ledger: Ledger, tmp_path: Path) -> None:
    (tmp_path / "backups").write_text("in the way")
    with pytest.raises(UserError, match=r"Import 1 was not undone.*No copy.*--no-backup"):
        undo_import(ledger, 1)
    assert len(ledger.frame("SELECT * FROM trim_rows")) == len(ROWS)
    assert undo_import(ledger, 1, copy=False) == len(ROWS)


def test_old_copies_go_by_number_and_by_size(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    layout = file_copy.copy_before(ledger, "layout-2")
    monkeypatch.setattr(file_copy, "KEPT_COPIES", 3)
    copies = [file_copy.copy_before(ledger, f"undo-{number}") for number in range(5)]
    assert file_copy.kept_copies(ledger) == [layout, *copies[2:]]
    monkeypatch.setattr(file_copy, "KEPT_BYTES", 1)
    last = file_copy.copy_before(ledger, "undo-9")
    assert file_copy.kept_copies(ledger) == [layout, last]


def written_by_another(ledger: Ledger) -> bool:
    """Whether another program can write to the file now."""
    try_to_write = "import duckdb, sys; duckdb.connect(sys.argv[1]).execute('CREATE TABLE IF NOT EXISTS t (i INTEGER)')"
    done = subprocess.run([sys.executable, "-c", try_to_write, ledger.name], capture_output=True, text=True)
    assert done.returncode == 0 or "lock" in done.stderr
    return done.returncode == 0


def test_nobody_writes_between_what_is_kept_and_what_is_put_back(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is written there would be told as done, and be in neither of the two."""
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    tried = []

    def replace(source: Any, target: Any, put: Any = os.replace) -> None:
        for where in ("before", "after"):
            if where == "after":
                put(source, target)
            if str(target).endswith(".old") or (str(target) == ledger.name and where == "before"):
                tried.append((Path(target).suffix, where, written_by_another(ledger)))

    monkeypatch.setattr(os, "replace", replace)
    restore(ledger, copy, replace=True)
    assert tried == [(".old", "before", False), (".old", "after", False), (".duckdb", "before", False)]
    ledger.lease.drop_if_idle()
    assert written_by_another(ledger)


@pytest.mark.parametrize("when", ["before it is locked", "when it is locked"])
def test_an_import_goes_into_the_file_that_the_path_names(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    """Another program replaces the file while it is being locked: what is written from the old one would be lost."""
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    left = ["once"]

    def locked(file: Any, *, alone: bool, take: Any = file_lease.locked) -> bool:
        replaced = alone and bool(left) and bool(left.pop())
        if replaced and when.startswith("before"):
            os.replace(copy, ledger.name)
        taken = take(file, alone=alone)
        if replaced and when.startswith("when"):
            os.replace(copy, ledger.name)
        return bool(taken)

    monkeypatch.setattr(file_lease, "locked", locked)
    done = add_sheets(ledger, [checked("trims", [{**ROWS[0], "farm": "New Farm"}])], "new.csv", "1" * 64)
    assert done.added == 1 and not left
    ledger.lease.drop_if_idle()
    shutil.copy(ledger.name, tmp_path / "seen.duckdb")
    assert open_ledger(str(tmp_path / "seen.duckdb")).farms() == ["Home Farm", "New Farm"]


def test_a_file_put_there_without_asking_is_not_overwritten(ledger: Ledger, tmp_path: Path) -> None:
    """Somebody moves a file there in the middle of a change, and asks for no lock."""
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    with pytest.raises(UserError, match="being changed by another program"), ledger.lease.writing() as connection:
        connection.execute("DELETE FROM trim_rows")
        os.replace(copy, ledger.name)
    assert ledger.farms() == ["Home Farm"]
    # The copy of the change stays until somebody has the new file alone: it may be theirs by then.
    add_sheets(ledger, [checked("trims", [{**ROWS[0], "farm": "New Farm"}])], "new.csv", "1" * 64)
    assert ledger.farms() == ["Home Farm", "New Farm"] and not list(tmp_path.glob("*.change*"))


def test_a_ledger_made_meanwhile_is_not_overwritten(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody makes a ledger, by importing, where a backup is being put into an empty place."""
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    target = open_ledger(str(tmp_path / "elsewhere" / "ledger.duckdb"))

    def note(*_what: Any, **_more: Any) -> None:
        add_sheets(target, [checked("trims", [{**ROWS[0], "farm": "New Farm"}])], "new.csv", "1" * 64)

    monkeypatch.setattr("evenfoot.analytics.ledger.integrity.backup.note", note)
    with pytest.raises(UserError, match=r"There is a ledger at .* already"):
        restore(target, copy)
    assert target.farms() == ["New Farm"]


def test_who_finds_the_ledger_made_leaves_the_lock_of_its_maker(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two pages make the first import at once: while one writes, the other's coming lets no other program in."""
    target = open_ledger(str(tmp_path / "new.duckdb"))
    both = threading.Barrier(2, timeout=30)
    writing = threading.Lock()
    let_in = []
    made = duckdb_engine.make_file

    def make(path: Path) -> None:
        with contextlib.suppress(threading.BrokenBarrierError):
            both.wait(2)  # Both have seen that there is none.
        made(path)

    def bring_in(number: int) -> None:
        with target.writing() as connection, writing:
            time.sleep(1)
            let_in.append(written_by_another(target))
            connection.execute("INSERT INTO meta VALUES (?, '1')", [f"page {number}"])

    monkeypatch.setattr(duckdb_engine, "make_file", make)
    threads = [threading.Thread(target=bring_in, args=(number,)) for number in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert let_in == [False, False]
    assert len(target.frame("SELECT * FROM meta WHERE name LIKE 'page %'")) == 2


def test_a_copy_does_not_let_a_writer_in(ledger: Ledger, tmp_path: Path) -> None:
    """While this process reads, no other may write, also when a copy was made meanwhile."""
    with ledger.reading():
        assert not written_by_another(ledger)
        with pytest.raises(UserError, match="still being read"), pytest.MonkeyPatch.context() as patch:
            patch.setattr("evenfoot.analytics.ledger.engines.file_lease.WAIT_SECONDS", 0.2)
            back_up(ledger, tmp_path / "copy.duckdb")
        assert not written_by_another(ledger)
    with ledger.lease.still():
        assert not written_by_another(ledger)
    ledger.lease.drop_if_idle()
    assert written_by_another(ledger)
