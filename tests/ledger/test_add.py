"""Imports: whole or not at all, nothing twice, nothing lost, taken back by number."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
import threading
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES
from tests.sheets import checked, ledger_of

DAY = dt.date(2026, 3, 2)


def row(cow: str, **more: object) -> dict[str, object]:
    return {"farm": "Ash", "visit_date": DAY, "visit_kind": "whole-herd", "cow": cow, **more}


def test_the_same_sheet_twice_adds_nothing(tmp_path: Path) -> None:
    sheet = checked("trims", [row("1", lesion="SU", foot="LH"), row("2")])
    ledger = ledger_of(tmp_path / "l.duckdb", sheet)
    again = add_sheets(ledger, [sheet], "again.csv", "1" * 64)
    assert (again.read, again.added, again.already_known, again.set_aside) == (2, 0, 2, 0)
    assert len(ledger.frame("SELECT * FROM trim_rows")) == 2


def test_a_long_question_prints_no_bar_among_the_figures(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1")]))
    asked = "SELECT current_setting('enable_progress_bar')"
    assert ledger.frame(asked).to_numpy().tolist() == [[False]]
    with ledger.writing() as connection:
        assert connection.execute(asked).fetchall() == [(False,)]


def test_equal_rows_of_one_sheet_count_once(tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    done = add_sheets(ledger, [checked("trims", [row("1"), row("1"), row("2")])], "a.csv", "")
    assert (done.added, done.already_known) == (2, 1)


def test_a_dry_run_says_the_same_and_writes_nothing(tmp_path: Path) -> None:
    sheet = checked("trims", [row("1"), row("1"), row("2")])
    ledger = open_ledger(tmp_path / "l.duckdb")
    planned = add_sheets(ledger, [sheet], "a.csv", "", dry_run=True)
    assert not ledger.exists
    assert (planned.added, planned.already_known) == (2, 1)
    add_sheets(ledger, [checked("trims", [row("2")])], "b.csv", "")
    planned = add_sheets(ledger, [sheet], "a.csv", "", dry_run=True)
    assert (planned.added, planned.already_known) == (1, 2)


def test_undo_leaves_the_ledger_as_it_was(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1", lesion="SU", foot="LH")]))
    tables = [name for name, _ in ROW_TABLES.values()] + list(DERIVED_TABLES)
    before = {name: ledger.frame(f"SELECT * FROM {name} ORDER BY ALL") for name in tables}
    add_sheets(
        ledger,
        [
            checked("trims", [row("1", lesion="DD", foot="RH"), row("9")]),
            checked("register", [{"farm": "Ash", "cow": "1", "calvings": "2024-01-01; 2025-02-03"}]),
            checked("locomotion", [{"farm": "Ash", "cow": "1", "date": DAY, "score": 3, "scale": "1-5"}]),
        ],
        "b.csv",
        "",
    )
    assert undo_import(ledger, 2) == 4
    for name in tables:
        pd.testing.assert_frame_equal(ledger.frame(f"SELECT * FROM {name} ORDER BY ALL"), before[name])
    with pytest.raises(UserError, match="undone already"):
        undo_import(ledger, 2)
    with pytest.raises(UserError, match="no import 7"):
        undo_import(ledger, 7)


def test_undo_keeps_rows_that_a_later_import_brought_again(tmp_path: Path) -> None:
    first = checked("trims", [row("1"), row("2")])
    ledger = ledger_of(tmp_path / "l.duckdb", first)
    add_sheets(ledger, [checked("trims", [row("2"), row("3")])], "b.csv", "")
    assert undo_import(ledger, 1) == 1
    assert sorted(ledger.frame("SELECT cow FROM trims")["cow"]) == ["2", "3"]
    assert add_sheets(ledger, [first], "a.csv", "").added == 1


def test_an_import_that_fails_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1")]))

    def broken(*_: object) -> None:
        raise RuntimeError("the power went")

    monkeypatch.setattr("evenfoot.analytics.ledger.imports.add.rebuild", broken)
    with pytest.raises(RuntimeError):
        add_sheets(ledger, [checked("trims", [row("2")])], "b.csv", "")
    assert ledger.frame("SELECT cow FROM trim_rows")["cow"].tolist() == ["1"]
    assert len(ledger.imports()) == 1


def test_visit_kind_is_derived_from_the_share_of_the_herd(tmp_path: Path) -> None:
    """The 80 % rule. [common practice, no source]"""

    def visit(farm: str, day: dt.date, cows: int, herd: int | None) -> list[dict[str, object]]:
        return [{"farm": farm, "visit_date": day, "cow": str(i), "herd_size": herd} for i in range(cows)]

    rows = [
        *visit("All", DAY, 8, 10),
        *visit("Some", DAY, 7, 10),
        *visit("Unsaid", DAY, 7, None),
        # Two days running make one visit of the whole herd.
        *visit("Days", DAY, 5, 10),
        *[{"farm": "Days", "visit_date": DAY + dt.timedelta(1), "cow": str(i), "herd_size": 10} for i in range(5, 9)],
    ]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    kinds = ledger.frame("SELECT DISTINCT farm, visit_kind, kind_from FROM trims ORDER BY farm")
    assert kinds.values.tolist() == [
        ["All", "whole-herd", "derived"],
        ["Days", "whole-herd", "derived"],
        ["Some", "part-herd", "derived"],
        ["Unsaid", "unknown", "unknown"],
    ]


def test_attributes_come_from_register_and_housing(tmp_path: Path) -> None:
    """The sheet's own word wins; else the register's group, parity and breed, and the group's housing."""
    ledger = ledger_of(
        tmp_path / "l.duckdb",
        checked("trims", [row("1"), row("2", housing="pasture", parity=5)]),
        checked(
            "register",
            [
                {
                    "farm": "Ash",
                    "cow": cow,
                    "breed": "Jersey",
                    "sire": "S1",
                    "calvings": "2024-01-01; 2025-02-03; 2026-09-09",
                    "group_moves": "2025-01-01 dry; 2025-02-03 high cows; 2026-09-01 dry",
                }
                for cow in ("1", "2")
            ],
        ),
        checked(
            "housing",
            [
                {"farm": "Ash", "starts_on": dt.date(2025, 1, 1), "housing": "bedded-pack", "floor": "soil"},
                {"farm": "Ash", "group": "high cows", "starts_on": dt.date(2025, 6, 1), "housing": "freestall"},
            ],
        ),
    )
    trims = ledger.frame('SELECT cow, "group", housing, parity, breed, sire FROM trims ORDER BY cow')
    assert trims.values.tolist() == [
        ["1", "high cows", "freestall", 2, "Jersey", "S1"],
        ["2", "high cows", "pasture", 5, "Jersey", "S1"],
    ]


def test_a_newer_ledger_and_a_foreign_file_are_refused_kindly(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1")]))
    with ledger.writing() as connection:
        connection.execute("UPDATE meta SET value = '99' WHERE name = 'schema'")
    with pytest.raises(UserError, match="newer Evenfoot"):
        ledger.frame("SELECT 1")
    other = tmp_path / "other.duckdb"
    other.write_text("not a ledger at all, but some text of a fair length " * 100)
    with pytest.raises(UserError, match=r"other\.duckdb"):
        open_ledger(other).frame("SELECT 1")
    with pytest.raises(UserError, match="no ledger"):
        open_ledger(tmp_path / "absent.duckdb").frame("SELECT 1")
    with pytest.raises(UserError, match="cannot be opened"):
        open_ledger("mongodb://somewhere")


HOLD = """
import sys, duckdb, time
c = duckdb.connect(sys.argv[1], read_only=len(sys.argv) > 3)
print("held", flush=True)
time.sleep(float(sys.argv[2]))
"""


def test_a_writer_waits_for_a_reader_in_another_program(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1")]))
    ledger.lease.drop_if_idle()
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, ledger.name, "1.5", "read"], stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None and other.stdout.readline() == "held\n"
        assert add_sheets(ledger, [checked("trims", [row("2")])], "b.csv", "").added == 1


def test_who_holds_the_file_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1")]))
    ledger.lease.drop_if_idle()
    monkeypatch.setattr("evenfoot.analytics.ledger.engines.file_lease.WAIT_SECONDS", 0.5)
    with subprocess.Popen([sys.executable, "-c", HOLD, ledger.name, "600"], stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None and other.stdout.readline() == "held\n"
        with pytest.raises(UserError, match=rf"in use by .*process {other.pid}"):
            ledger.frame("SELECT 1")
        other.kill()


def test_many_threads_read_while_one_writes(tmp_path: Path) -> None:
    """Every thread reads on its own cursor; writers take turns; no answer is wrong or lost."""
    from evenfoot.analytics.queries.counts import count
    from evenfoot.analytics.queries.selection import Selection

    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row(str(i)) for i in range(20)]))
    errors: list[BaseException] = []
    seen: list[int] = []

    def read() -> None:
        try:
            for _ in range(15):
                seen.append(int(count(ledger, Selection(), ()).table["at_risk"].iloc[0]))
        except BaseException as error:
            errors.append(error)

    def write(start: int) -> None:
        try:
            for i in range(4):
                add_sheets(ledger, [checked("trims", [row(str(start + i))])], "t.csv", "")
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=read) for _ in range(8)]
    threads += [threading.Thread(target=write, args=(start,)) for start in (100, 200)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(240)
    assert not errors
    assert all(20 <= n <= 28 for n in seen)
    assert int(count(ledger, Selection(), ()).table["at_risk"].iloc[0]) == 28
