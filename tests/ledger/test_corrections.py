"""Single records are corrected and removed, taken back, and never brought back by a sheet without asking."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.corrections import KINDS, correct_records, list_records, remove_records
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.imports.add import undo_import
from evenfoot.analytics.ledger.imports.file_import import prepare_import, run_import
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES

HEAD = "date,farm,cow,foot,lesion,severity,locomotion_score,locomotion_scale\n"
ROWS = "2026-03-04,Ash,7,LH,SU,2,3,1-5\n2026-03-04,Ash,8,RH,DD,1,2,1-5\n2026-03-04,Ash,9,,,,1,1-5\n"
SCORES = "date,farm,cow,score,scale,scorer\n2026-04-01,Ash,7,2,1-5,KV\n"
TODAY = dt.date(2026, 11, 28)


def brought(ledger: Ledger, text: str, name: str = "visit.csv", **given: str) -> None:
    prepared = prepare_import(ledger, text.encode(), name, today=TODAY, accept=True, given=given)
    run_import(ledger, prepared, "0" * 64)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    made = open_ledger(str(tmp_path / "herd.duckdb"))
    brought(made, HEAD + ROWS)
    brought(made, SCORES, "scores.csv")
    return made


def id_of(ledger: Ledger, cow: str, kind: str = "trims") -> str:
    table = list_records(ledger, farm="Ash", cow=cow)
    return str(table.loc[table["kind"] == kind, "id"].iloc[0])


def contents(ledger: Ledger) -> dict[str, list[tuple[object, ...]]]:
    """Every row and derived table, without the number of the import."""
    out = {}
    for table, fields in [ROW_TABLES[kind] for kind in ROW_TABLES]:
        columns = ", ".join(f'"{name}"' for name in fields)
        out[table] = sorted(
            ledger.frame(f"SELECT {columns} FROM {table}").astype(str).itertuples(index=False, name=None)
        )
    for table in DERIVED_TABLES:
        out[table] = sorted(ledger.frame(f"SELECT * FROM {table}").astype(str).itertuples(index=False, name=None))
    return out


def is_whole(ledger: Ledger) -> bool:
    return verify(ledger).whole


def test_a_corrected_record_is_what_a_right_sheet_would_have_brought(ledger: Ledger, tmp_path: Path) -> None:
    done = correct_records(ledger, [id_of(ledger, "7")], {"foot": "right hind", "severity": "3"}, "wrong foot typed")
    right = open_ledger(str(tmp_path / "right.duckdb"))
    brought(right, HEAD + ROWS.replace("7,LH,SU,2", "7,RH,SU,3"))
    brought(right, SCORES, "scores.csv")
    assert contents(ledger) == contents(right) and done.records == 1 and is_whole(ledger)


def test_a_cow_number_wrong_all_day_and_its_scores(ledger: Ledger) -> None:
    before = contents(ledger)
    ids = list_records(ledger, farm="Ash", cow="7")["id"].tolist()
    done = correct_records(ledger, ids, {"cow": "70"}, "misread")
    assert done.records == len(ids) == 2
    assert len(list_records(ledger, farm="Ash", cow="70")) == 2 and list_records(ledger, farm="Ash", cow="7").empty
    undo_import(ledger, done.number, copy=False)
    assert contents(ledger) == before and is_whole(ledger)


def test_two_cows_that_are_one_and_a_farm_of_another_name(ledger: Ledger) -> None:
    correct_records(ledger, [id_of(ledger, "8")], {"cow": "7"}, "one cow")
    assert len(list_records(ledger, farm="Ash", cow="7")) == 3
    correct_records(ledger, [id_of(ledger, "9")], {"farm": "Birch"}, "another farm")
    assert ledger.farms() == ["Ash", "Birch"] and is_whole(ledger)


def test_a_removed_record_does_not_come_back_by_itself(ledger: Ledger) -> None:
    before = contents(ledger)
    done = remove_records(ledger, [id_of(ledger, "8")], "not ours")
    assert list_records(ledger, farm="Ash", cow="8").empty and is_whole(ledger)
    sheet = (HEAD + ROWS + "2026-03-04,Ash,10,LH,WL,1,2,1-5\n").encode()
    prepared = prepare_import(ledger, sheet, "again.csv", today=TODAY)
    assert "removed" in {question.id for question in prepared.answers.blocking()}
    brought(ledger, sheet.decode(), "again.csv")
    assert list_records(ledger, farm="Ash", cow="8").empty and len(list_records(ledger, farm="Ash", cow="10")) == 1
    brought(ledger, sheet.decode(), "again.csv", removed="bring")
    assert len(list_records(ledger, farm="Ash", cow="8")) == 1 and is_whole(ledger)
    for number in (5, 4, done.number):
        undo_import(ledger, number, copy=False)
    assert contents(ledger) == before and is_whole(ledger)


def test_what_it_was_who_changed_it_and_why_is_kept(ledger: Ledger) -> None:
    id = id_of(ledger, "7")
    done = correct_records(ledger, [id], {"severity": ""}, "nobody graded it")
    line = history(ledger).iloc[-1]
    assert (line["what"], line["subject"], line["farm"]) == ("records corrected", f"import {done.number}", "Ash")
    assert json.loads(line["before"]) == {id: {"severity": "2"}}
    assert json.loads(line["after"]) == {id: {"severity": None}, "why": "nobody graded it"}


@pytest.mark.parametrize(
    ("ids", "changes", "why", "said"),
    [
        (["zzzzzz"], {"foot": "LH"}, "x", "no id of a record"),
        (["abcdef012345"], {"foot": "LH"}, "x", "There is no record"),
        (["7"], {"colour": "red"}, "x", "has no field 'colour'"),
        (["7"], {"zone": "13"}, "x", "'13' cannot be zone"),
        (["7"], {"visit_date": "2999-01-01"}, "x", "cannot be"),
        (["7"], {"foot": "LH"}, "x", "Nothing would change"),
        (["7"], {"foot": "RH"}, "  ", "Say why"),
        (["7"], {}, "x", "Nothing is to be changed"),
        (["7"], {"cow": ""}, "x", "cannot be"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_changes(
    ledger: Ledger, ids: list[str], changes: dict[str, str], why: str, said: str
) -> None:
    before = contents(ledger)
    named = [id_of(ledger, id) if id == "7" else id for id in ids]
    with pytest.raises(UserError, match=said):
        correct_records(ledger, named, changes, why)
    assert contents(ledger) == before


def test_who_may_not_see_a_farm_corrects_nothing_of_it(ledger: Ledger) -> None:
    id = id_of(ledger, "7")
    for act in (lambda: correct_records(ledger, [id], {"foot": "RH"}, "x", allowed=("Birch",)),
                lambda: remove_records(ledger, [id], "x", allowed=()),
                lambda: correct_records(ledger, [id], {"farm": "Birch"}, "x", allowed=("Ash",))):  # fmt: skip
        with pytest.raises(UserError):
            act()
    assert is_whole(ledger) and id_of(ledger, "7") == id


def test_a_correction_of_nothing_else_leaves_every_field_as_it_was(demo_ledger: Ledger, tmp_path: Path) -> None:
    """Each record of a herd, written anew with another note, keeps all of its other fields."""
    shutil.copy(demo_ledger.name, tmp_path / "own.duckdb")
    own = open_ledger(str(tmp_path / "own.duckdb"))
    table = list_records(own, farm="Withy Flat", since=dt.date(2026, 1, 1))
    for kind in KINDS:
        ids = table.loc[table["kind"] == kind, "id"].tolist()[:400]
        before = table[table["id"].isin(ids)].drop(columns=["id", "import_no", "note"]).reset_index(drop=True)
        correct_records(own, ids, {"note": "looked through"}, "trial")
        after = list_records(own, farm="Withy Flat", since=dt.date(2026, 1, 1))
        after = after[after["note"] == "looked through"].drop(columns=["id", "import_no", "note"])
        order = list(before.columns)
        pd.testing.assert_frame_equal(
            before.astype(str).sort_values(order, ignore_index=True),
            after[after["kind"] == kind].astype(str).sort_values(order, ignore_index=True),
        )
