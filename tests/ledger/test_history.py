"""Every change leaves a line: who, when, what, before and after."""

from __future__ import annotations

import datetime as dt
import getpass
import json
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.history import acting, history, note
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.limits import forget_limit, set_limit
from tests.sheets import checked, ledger_of

ROW = {"farm": "Ash", "visit_date": "2026-03-02", "cow": "1"}


def test_imports_undoing_and_limits_are_noted(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [ROW]))
    with acting("Anna"):
        undo_import(ledger, 1)
        set_limit(ledger, "long_toe_mm", 80, farm="Ash", breed="Jersey")
        set_limit(ledger, "long_toe_mm", 82, farm="Ash", breed="Jersey")
    forget_limit(ledger, 1)
    lines = history(ledger)
    assert lines["what"].tolist() == ["import added", "import undone", "limit set", "limit set", "limit taken back"]
    me = getpass.getuser()
    assert lines["who"].tolist() == [me, "Anna", "Anna", "Anna", me]
    assert lines["history_no"].tolist() == [1, 2, 3, 4, 5]
    assert json.loads(lines["after"][0])["added"] == 1
    assert json.loads(lines["before"][1]) == {"rows": 1, "farms": ["Ash"]}
    assert json.loads(lines["before"][3])["value"] == 80 and json.loads(lines["after"][3])["value"] == 82
    assert json.loads(lines["before"][4])["value"] == 82
    assert history(ledger, farms=("Ash",))["history_no"].tolist() == [3, 4, 5]
    assert history(ledger, farms=()).empty
    assert abs(lines["noted_at"].iloc[0] - dt.datetime.now(dt.UTC).replace(tzinfo=None)) < dt.timedelta(minutes=5)


def test_a_change_that_fails_leaves_no_line(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [ROW]))
    with pytest.raises(RuntimeError), ledger.writing() as connection:
        note(connection, "something", after={"day": dt.date(2026, 1, 1)})
        raise RuntimeError("the power went")
    assert len(history(ledger)) == 1
    with pytest.raises(UserError):
        undo_import(ledger, 9)
    assert len(history(ledger)) == 1


def test_putting_a_backup_back_is_noted(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [ROW]))
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    add_sheets(ledger, [checked("trims", [{**ROW, "cow": "2"}])], "b.csv", "")
    restore(ledger, copy, replace=True)
    lines = history(ledger)
    assert lines["what"].tolist() == ["import added", "backup put back"]
    assert json.loads(lines["after"][1]) == {"backup": "copy.duckdb"}
