"""A farm that is erased is gone from every table and every byte, and nothing of the other farms is."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from analytics.intake import check_file
from analytics.ledger import Ledger, open_ledger
from analytics.ledger.adding import add_sheets, undo_import
from analytics.ledger.copies import copies_with
from analytics.ledger.erasing import erase_farm
from analytics.ledger.history import history
from analytics.ledger.limits import set_limit
from analytics.ledger.schema import BOOKKEEPING, DERIVED_TABLES, ROW_TABLES
from analytics.ledger.verifying import verify
from analytics.mistake import Mistake
from tests.ledger.storing import SHEETS, make

SECRET = "Quillwort"
"""A farm's name that occurs nowhere else."""

HEAD = "visit_date,farm,trimmer,cow,foot,lesion,note\n"
ONLY = HEAD + f"2025-03-03,{SECRET},KV,zq811,LH,SU,zq812\n2025-03-04,{SECRET},KV,zq813,LH,zq814,\n"
MIXED = (
    HEAD + f"2025-03-05,{SECRET},KV,zq815,RH,DD,\n2025-03-05,Alder,KV,1,RH,DD,\n2025-03-05,Alder,KV,2,RH,whatever,\n"
    f"2025-03-06,{SECRET.upper()},KV,zq816,RH,zq817,\n"
)
REGISTER = f"farm,cow,birth_date,calvings\n{SECRET},zq818,2020-01-01,2022-01-05; 2023-02-03\n"
TRACES = (SECRET, SECRET.upper(), "zq8")


def add(ledger: Ledger, text: str, name: str) -> int:
    sheets = check_file(text.encode(), name, known_farms=ledger.farms())
    return add_sheets(ledger, sheets, name, f"{len(text):064d}").import_no


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    ledger = make(tmp_path / "ledger.duckdb")
    add(ledger, ONLY, f"{SECRET.lower()}.csv")
    add(ledger, MIXED, "mixed.csv")
    undone = add(ledger, ONLY.replace("zq811", "zq819"), "zq820.csv")
    undo_import(ledger, undone)
    add(ledger, ONLY, "again.csv")
    add(ledger, REGISTER, "register.csv")
    set_limit(ledger, "long_toe_mm", 81, farm=SECRET)
    return ledger


def traces(ledger: Ledger) -> list[str]:
    """Where the farm is still named: columns, and files by their bytes."""
    found = []
    for table in [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES, *BOOKKEEPING]:
        frame = ledger.frame(f"SELECT * FROM {table}")
        for column in frame:
            if any(trace in str(cell) for cell in frame[column] for trace in TRACES):
                found.append(f"{table}.{column}")
    ledger.lease.drop_if_idle()
    content = Path(ledger.name).read_bytes()
    return found + [trace for trace in TRACES if trace.encode() in content]


def test_nothing_of_the_farm_is_left_and_all_of_the_others_is(ledger: Ledger, tmp_path: Path) -> None:
    others = {
        table: ledger.frame(f"SELECT * FROM {table} WHERE farm <> '{SECRET}' ORDER BY ALL")
        for table in [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES]
    }
    assert set(TRACES) <= set(traces(ledger))
    done = erase_farm(ledger, SECRET)
    assert (done.rows, done.imports) == (3, 3)
    assert traces(ledger) == []
    assert verify(ledger).findings == ()
    for table, frame in others.items():
        assert ledger.frame(f"SELECT * FROM {table} ORDER BY ALL").equals(frame), table
    assert ledger.farms() == ["Alder", "Birch"]
    assert ledger.set_aside()["value"].tolist() == ["no such thing", "whatever"]
    assert "mixed.csv" in ledger.imports()["file"].tolist()
    assert history(ledger)["what"].tolist()[-1] == "farm erased"
    assert [(copy.path.parent.name, copy.own) for copy in done.copies] == [("backups", True)]
    assert not list(tmp_path.glob("*.draft*")) and not list(tmp_path.glob("*.wal"))
    sheets = check_file(SHEETS["trims.csv"].encode(), "trims.csv", known_farms=ledger.farms())
    assert add_sheets(ledger, sheets, "trims.csv", "").added == 0
    assert add(ledger, ONLY, "back.csv") and SECRET in ledger.farms()


def test_a_farm_that_is_not_there_is_not_erased(ledger: Ledger) -> None:
    with pytest.raises(Mistake, match="no farm 'Nowhere'"):
        erase_farm(ledger, "Nowhere")


def test_erasing_that_fails_leaves_the_ledger_as_it_was(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    before = Path(ledger.name).read_bytes()

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("the power went")

    monkeypatch.setattr("analytics.ledger.erasing.note", broken)
    with pytest.raises(RuntimeError):
        erase_farm(ledger, SECRET)
    ledger.lease.drop_if_idle()
    assert Path(ledger.name).read_bytes() == before
    assert sorted(path.name for path in Path(ledger.name).parent.iterdir()) == ["backups", "ledger.duckdb"]


def test_copies_are_told_of(ledger: Ledger, tmp_path: Path) -> None:
    (tmp_path / "foreign.duckdb").write_text("no ledger at all " * 1000)
    make(tmp_path / "other.duckdb")
    told = [copy for copy in copies_with(ledger, SECRET) if copy.path.parent == tmp_path]
    assert [(copy.path.name, copy.own) for copy in told] == [("foreign.duckdb", False)]
    assert open_ledger(str(tmp_path / "other.duckdb")).farms() == ["Alder", "Birch"]


def test_what_a_killed_program_left_is_deleted_and_what_is_being_written_told_of(
    ledger: Ledger, tmp_path: Path
) -> None:
    backups = tmp_path / "backups"
    backups.mkdir(exist_ok=True)
    left, young = backups / "ledger-copy.duckdb.77.draft", tmp_path / "out.duckdb.78.draft"
    (backups / "essay.draft").write_text("of somebody else")
    os.utime(backups / "essay.draft", (0, 0))
    for draft in (left, left.with_name(left.name + ".wal"), young):
        draft.write_text(SECRET)
    for draft in (left, left.with_name(left.name + ".wal")):
        os.utime(draft, (0, time.time() - 7200))
    told = [copy.path for copy in copies_with(ledger, SECRET)]
    assert young in told and left not in told
    assert [path.name for path in backups.iterdir() if ".draft" in path.name] == ["essay.draft"]
