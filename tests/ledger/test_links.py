"""A ledger that is opened by several names: links, links of folders, names relative to where one is."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.file_copy import FOLDER
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.dashboard.auth.store import store_of
from tests.sheets import checked, ledger_of

ROW = {"farm": "Ash", "visit_date": "2026-03-02"}


@pytest.fixture
def names(tmp_path: Path) -> tuple[Ledger, Ledger]:
    """One ledger by its own name and by that of a link to it."""
    (tmp_path / "far").mkdir()
    ledger = ledger_of(tmp_path / "far" / "real.duckdb", checked("trims", [{**ROW, "cow": "1"}]))
    (tmp_path / "link.duckdb").symlink_to(ledger.name)
    return ledger, open_ledger(str(tmp_path / "link.duckdb"))


def test_all_names_of_a_file_have_one_lease(
    names: tuple[Ledger, Ledger], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger, link = names
    (tmp_path / "folder").symlink_to(tmp_path / "far")
    monkeypatch.chdir(tmp_path)
    others = [link, open_ledger("link.duckdb"), open_ledger("folder/real.duckdb"), open_ledger("duckdb://link.duckdb")]
    assert {id(one.lease) for one in others} == {id(ledger.lease)}
    assert {one.name for one in others} == {ledger.name}
    assert {store_of(one).path for one in others} == {store_of(ledger).path}


def test_who_writes_by_another_name_waits(names: tuple[Ledger, Ledger]) -> None:
    """Both changes are there; the second was made on what the first had left."""
    ledger, link = names
    sheet = checked("trims", [{**ROW, "cow": "2"}])
    second = threading.Thread(target=lambda: add_sheets(link, [sheet], "2.csv", "2" * 64))
    with ledger.writing() as connection:
        second.start()
        time.sleep(1)
        note(connection, "first")
    second.join(30)
    assert ledger.frame("SELECT what FROM history ORDER BY history_no")["what"].tolist()[-2:] == [
        "first",
        "import added",
    ]
    assert verify(ledger).rows == 2 and verify(link).findings == ()


def test_a_program_that_uses_the_link_and_one_that_does_not_take_turns(
    names: tuple[Ledger, Ledger], tmp_path: Path
) -> None:
    """Ten changes of each, begun at the same time; all are there, and nothing is left beside either name."""
    ledger, _ = names
    ledger.lease.drop_if_idle()
    work = (
        "import sys; from evenfoot.analytics.ledger import open_ledger\n"
        "from evenfoot.analytics.ledger.limits import set_limit\n"
        "for turn in range(10): set_limit(open_ledger(sys.argv[1]), 'long_toe_mm', 70 + turn, farm=sys.argv[2])"
    )
    given = [str(tmp_path / "link.duckdb"), ledger.name]
    programs = [subprocess.Popen([sys.executable, "-c", work, name, name]) for name in given]
    assert [program.wait(120) for program in programs] == [0, 0]
    said = ledger.frame("SELECT farm, COUNT(*) AS n FROM history WHERE what = 'limit set' GROUP BY farm ORDER BY farm")
    assert said["n"].tolist() == [10, 10]
    assert verify(ledger).findings == ()
    ledger.lease.drop_if_idle()
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("link")] == ["link.duckdb"]


def test_a_link_to_nothing_yet_is_filled_and_a_backup_goes_behind_it(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    link = tmp_path / "link.duckdb"
    link.symlink_to(tmp_path / "far" / "real.duckdb")
    ledger = ledger_of(link, checked("trims", [{**ROW, "cow": "1"}]))
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    add_sheets(ledger, [checked("trims", [{**ROW, "cow": "2"}])], "2.csv", "2" * 64)
    restore(open_ledger(str(link)), copy, replace=True)
    assert link.is_symlink()
    assert len(open_ledger(str(tmp_path / "far" / "real.duckdb")).imports()) == 1
    assert len(ledger.imports()) == 1 and not (tmp_path / FOLDER).exists()
