"""Of the files around a ledger only its own copies are deleted with a farm, and only those that were listed."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.file_copy import copy_before
from evenfoot.analytics.ledger.identity import NAME, id_of
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.integrity.copies import Copy, copies_with
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.dashboard.cli import maintenance
from tests.ledger.storing import make, unpack

FARM = "Quillwort"
HEAD = "visit_date,farm,cow,foot,lesion\n"


def add(ledger: Ledger, farm: str, cow: int, name: str = "a.csv") -> int:
    text = f"{HEAD}2026-03-02,{farm},{cow},LH,SU\n".encode()
    return add_sheets(ledger, check_file(text, name, known_farms=ledger.farms()), name, "0" * 64).import_no


def ledger_at(path: Path) -> Ledger:
    ledger = open_ledger(str(path))
    add(ledger, "Alder", 1)
    add(ledger, FARM, 1)
    ledger.lease.drop_if_idle()
    return ledger


def own(copies: list[Copy]) -> dict[str, bool]:
    return {copy.path.name: copy.own for copy in copies}


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return ledger_at(tmp_path / "ledger.duckdb")


def test_a_ledger_of_somebody_else_is_told_of_and_left(ledger: Ledger, tmp_path: Path) -> None:
    """It has a farm of the same name, lies in the same folder, and bears the name of a kept copy."""
    ledger_at(tmp_path / "office.duckdb")
    other = ledger_at(tmp_path / "other.duckdb")
    (tmp_path / "backups").mkdir()
    other.lease.drop_if_idle()
    shutil.copy(other.name, tmp_path / "backups" / "ledger-2026-01-01-120000-000001-before-undo-1.duckdb")
    back_up(ledger, tmp_path / "mine.duckdb")
    found = own(copies_with(ledger, FARM))
    assert found.pop("mine.duckdb") is True
    assert found and not any(found.values())
    maintenance.erase_farm(ledger.address, FARM, yes=True, delete_copies=True)
    assert not (tmp_path / "mine.duckdb").exists()
    assert FARM in open_ledger(str(tmp_path / "office.duckdb")).farms()
    assert len(list((tmp_path / "backups").iterdir())) == 1


def test_a_copy_that_went_on_by_itself_is_a_ledger_and_left(ledger: Ledger, tmp_path: Path) -> None:
    back_up(ledger, tmp_path / "course.duckdb")
    add(open_ledger(str(tmp_path / "course.duckdb")), "Cedar", 9, "b.csv")
    back_up(ledger, tmp_path / "mine.duckdb")
    assert own(copies_with(ledger, FARM)) == {"course.duckdb": False, "mine.duckdb": True}


def test_copies_the_program_keeps_are_its_own_and_of_older_layouts_too(tmp_path: Path) -> None:
    ledger = unpack(6, tmp_path / "ledger.duckdb")
    assert "Alder" in ledger.farms()
    with ledger.reading() as cursor:
        assert id_of(cursor)
    [first] = copies_with(ledger, "Alder")
    assert first.own and first.path.parent.name == "backups" and "before-layout" in first.path.name
    ledger.lease.drop_if_idle()
    shutil.copy(first.path, tmp_path / "elsewhere.duckdb")
    assert own(copies_with(ledger, "Alder"))["elsewhere.duckdb"] is False
    kept = restore(ledger, back_up(ledger, tmp_path / "mine.duckdb"), replace=True)
    assert kept is not None
    assert own(copies_with(ledger, "Alder")) | {"elsewhere.duckdb": True} == dict.fromkeys(
        ("elsewhere.duckdb", first.path.name, kept.name, "mine.duckdb"), True
    )


def test_a_link_and_a_second_name_are_told_of(ledger: Ledger, tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    (tmp_path / "near.duckdb").symlink_to(back_up(ledger, tmp_path / "far" / "copy.duckdb"))
    os.link(back_up(ledger, tmp_path / "twice.duckdb"), tmp_path / "far" / "twice.duckdb")
    found = copies_with(ledger, FARM)
    assert own(found) == {"near.duckdb": False, "twice.duckdb": False}
    assert "link to" in str(found[0].why) and "another name" in str(found[1].why)


def test_a_copy_keeps_the_id_and_a_new_ledger_has_another(ledger: Ledger, tmp_path: Path) -> None:
    ids = []
    for one in (ledger, open_ledger(str(back_up(ledger, tmp_path / "mine.duckdb"))), make(tmp_path / "new.duckdb")):
        with one.reading() as cursor:
            ids.append(id_of(cursor))
    assert ids[0] == ids[1] != ids[2]
    erase_farm(ledger, FARM)
    with ledger.reading() as cursor:
        assert id_of(cursor) == ids[0]
    assert ledger.frame("SELECT * FROM meta WHERE name = ?", [NAME]).shape == (1, 2)


@pytest.mark.parametrize("answer", ["Alder", "", None])
def test_copies_are_listed_and_nothing_goes_without_the_name(
    answer: str | None,
    ledger: Ledger,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    mine = back_up(ledger, tmp_path / "mine.duckdb")

    def said(_: str) -> str:
        assert str(mine) in capsys.readouterr().out
        if answer is None:
            raise EOFError
        return answer

    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", said)
    with pytest.raises(UserError, match="Nothing was erased"):
        maintenance.erase_farm(ledger.address, FARM, yes=False, delete_copies=True)
    assert mine.exists() and FARM in ledger.farms()


def test_a_copy_that_came_after_the_list_stays(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def said(_: str) -> str:
        copy_before(ledger, "undo-9")
        return FARM

    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", said)
    maintenance.erase_farm(ledger.address, FARM, yes=False, delete_copies=True)
    [copy] = (tmp_path / "backups").iterdir()
    assert f"Not deleted: {copy}" in capsys.readouterr().out


def test_what_cannot_be_deleted_is_not_called_deleted(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = back_up(ledger, tmp_path / "mine.duckdb")
    unlink = Path.unlink

    def refused(path: Path, missing_ok: bool = False) -> None:
        if path == mine:
            raise PermissionError
        unlink(path, missing_ok)

    monkeypatch.setattr(Path, "unlink", refused)
    maintenance.erase_farm(ledger.address, FARM, yes=True, delete_copies=True)
    out = capsys.readouterr().out
    assert f"Not deleted: {mine}" in out and "Deleted" not in out


def test_an_undone_import_keeps_its_copy_in_the_list(ledger: Ledger) -> None:
    undo_import(ledger, add(ledger, FARM, 7, "b.csv"))
    [copy] = copies_with(ledger, FARM)
    assert copy.own and "its records" in str(copy.why)
