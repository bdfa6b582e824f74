"""A visit brought again: the same records are known, other versions are shown and replaced, and come back."""

from __future__ import annotations

import datetime as dt
import json
import time
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.imports.bulk import add_stream
from evenfoot.analytics.ledger.imports.import_farms import farms_of_import
from evenfoot.analytics.ledger.imports.record_linkage import join_notes
from evenfoot.analytics.ledger.imports.revisions import Choice, compare_with_ledger
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.schema import BOOKKEEPING, DERIVED_TABLES, ROW_TABLES
from tests.effort import some
from tests.sheets import checked, ledger_of

pytestmark = pytest.mark.long

DAY = dt.date(2026, 9, 15)
TABLES = [name for name, _ in ROW_TABLES.values()] + list(DERIVED_TABLES)


def trim(cow: str, foot: str | None = None, lesion: str | None = None, **more: Any) -> dict[str, Any]:
    return {"farm": "Brookend", "visit_date": DAY, "cow": cow, "foot": foot, "lesion": lesion, **more}


def of_trimmer() -> CheckedSheet:
    rows = [trim("14", "RH", "SU", severity=2), trim("27", "LH", "DD", severity=1), trim("31")]
    return checked("trims", [{**row, "trimmer": "K. Vance"} for row in [*rows, trim("38", "LH", "WL", severity=1)]])


def of_office() -> CheckedSheet:
    rows = [trim("14", "RH", "SU", severity=2), trim("27", "LH", "DD", severity=1), trim("31")]
    return checked("trims", [*rows, trim("38", "LH", "WL", severity=2)])


def held(ledger: Ledger) -> dict[str, pd.DataFrame]:
    return {name: ledger.frame(f"SELECT * FROM {name} ORDER BY ALL") for name in TABLES}


def assert_same(one: dict[str, pd.DataFrame], other: dict[str, pd.DataFrame]) -> None:
    for name in one:
        pd.testing.assert_frame_equal(one[name], other[name], obj=name)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return ledger_of(tmp_path / "l.duckdb", of_trimmer())


def test_a_visit_typed_by_somebody_else_is_the_same_but_for_one_record(ledger: Ledger) -> None:
    found = compare_with_ledger(ledger, [of_office()])
    assert found.counts == {"new": 0, "same": 3, "differs": 1, "moved": 0, "twice": 0}
    assert found.frame.drop(columns=["source", "kind"]).values.tolist() == [["differs", 5, "severity", 1, 2]]
    assert (found.default, found.is_open) == ("replace", True)
    assert "1 differs, 0 are new, 3 are the same" in found.sentence


@pytest.mark.parametrize(
    ("choice", "counts", "severities"),
    [
        ("replace", (1, 3, 1), [2]),
        ("keep both", (1, 3, 0), [1, 2]),
        ("skip", (0, 4, 0), [1]),
        (None, (1, 3, 0), [1, 2]),
    ],
)
def test_what_is_chosen_is_done_and_taken_back(
    ledger: Ledger, choice: Choice | None, counts: tuple[int, int, int], severities: list[int]
) -> None:
    before = held(ledger)
    planned = add_sheets(ledger, [of_office()], "b.csv", "", revision_choice=choice, dry_run=True)
    done = add_sheets(ledger, [of_office()], "b.csv", "", revision_choice=choice)
    assert (done.added, done.already_known, done.replaced) == counts
    assert (planned.added, planned.already_known, planned.replaced) == counts
    assert done.read == done.added + done.already_known + done.set_aside
    of_38 = ledger.frame("SELECT severity, trimmer FROM trim_rows WHERE cow = '38' ORDER BY severity")
    assert of_38["severity"].tolist() == severities
    if choice == "replace":
        assert of_38["trimmer"].tolist() == ["K. Vance"]
        assert json.loads(history(ledger)["after"].iloc[-1])["replaced"] == 1
    assert verify(ledger).findings == ()
    assert add_sheets(ledger, [of_office()], "c.csv", "", revision_choice=choice).added == 0
    undo_import(ledger, 3)
    undo_import(ledger, 2)
    assert verify(ledger).findings == ()
    assert_same(held(ledger), before)


def growing(*rows: dict[str, Any]) -> CheckedSheet:
    return checked("trims", list(rows))


MARCH = (
    trim("14", "RH", "SU", severity=2),
    trim("27", "LH", "DD", severity=1),
    trim("31"),
    trim("38", "LH", "WL", severity=1),
)
AGAIN = (
    {**MARCH[0], "note": "seen again in May - good"},
    MARCH[1],
    MARCH[2],
    {**MARCH[3], "cow": "39", "note": "was typed as 38"},
    {**trim("14"), "visit_date": dt.date(2026, 10, 9)},
)


def test_a_growing_sheet_sent_again(tmp_path: Path) -> None:
    """A remark makes no record new; a corrected cow number takes the place of the mistyped one."""
    ledger = ledger_of(tmp_path / "l.duckdb", growing(*MARCH))
    before = held(ledger)
    found = compare_with_ledger(ledger, [growing(*AGAIN)])
    [sheet] = found.sheets
    assert sheet.states.tolist() == ["same", "same", "same", "moved", "new"]
    assert sheet.frame.values.tolist() == [
        ["same", 2, "note", None, "seen again in May - good"],
        ["moved", 5, "cow", "38", "39"],
        ["moved", 5, "note", None, "was typed as 38"],
    ]
    done = add_sheets(ledger, [growing(*AGAIN)], "b.csv", "", revision_choice=found.default)
    assert (done.added, done.already_known, done.replaced) == (2, 3, 1)
    rows = ledger.frame("SELECT cow, note FROM trim_rows WHERE visit_date < DATE '2026-10-01' ORDER BY cow")
    assert rows["cow"].tolist() == ["14", "27", "31", "39"]
    assert rows["note"].dropna().tolist() == ["seen again in May - good", "was typed as 38"]
    assert verify(ledger).findings == ()
    assert add_sheets(ledger, [growing(*AGAIN)], "c.csv", "", revision_choice="replace").added == 0
    older = compare_with_ledger(ledger, [growing(*MARCH)])
    assert (older.counts["moved"], older.default) == (1, "skip")
    assert add_sheets(ledger, [growing(*MARCH)], "a.csv", "").added == 0
    for number in (4, 3, 2):
        undo_import(ledger, number)
        assert verify(ledger).findings == ()
    assert_same(held(ledger), before)


def test_equal_records_of_one_file_are_told_apart_from_known_ones(ledger: Ledger) -> None:
    sheet = checked("trims", [trim("50"), trim("50"), trim("31", trimmer="K. Vance")])
    found = compare_with_ledger(ledger, [sheet, sheet])
    assert [one.states.tolist() for one in found.sheets] == [["new", "twice", "same"], ["twice"] * 3]


@pytest.mark.parametrize("choice", [None, "replace", "keep both", "skip"])
def test_a_tab_that_is_there_twice_is_added_once(ledger: Ledger, choice: Choice | None) -> None:
    results = [
        add_sheets(ledger, [of_office(), of_office()], "b.xlsx", "", revision_choice=choice, dry_run=dry_run)
        for dry_run in (True, False)
    ]
    rows = 0 if choice == "skip" else 1
    assert [(one.read, one.added, one.replaced) for one in results] == [(8, rows, int(choice == "replace"))] * 2
    assert len(ledger.frame("SELECT * FROM trim_rows")) == (5 if choice in (None, "keep both") else 4)
    assert verify(ledger).findings == ()


def test_nothing_is_known_where_there_is_no_ledger(tmp_path: Path) -> None:
    found = compare_with_ledger(open_ledger(tmp_path / "none.duckdb"), [of_trimmer()])
    assert found.counts["new"] == 4 and not found.is_open and found.frame.empty


VERSIONS: dict[str, tuple[list[dict[str, Any]], list[dict[str, Any]], list[str]]] = {
    "a zone where there was none": (
        [trim("14", "RH", "SU")], [trim("14", "RH", "SU", zone=4)], ["differs"]),
    "a blank never contradicts": (
        [trim("14", "RH", "SU", zone=4, claw="lateral", action="block")], [trim("14", "RH", "SU")], ["same"]),
    "letters and spaces are no difference": (
        [trim("14", "RH", "SU", trimmer="K. Vance")], [trim("14", "RH", "SU", trimmer="k.  vance")], ["same"]),
    "another foot is another record": (
        [trim("14", "RH", "SU"), trim("14", "LH", "DD")], [trim("14", "RH", "SU"), trim("14", "LH", "DD"),
        trim("14", "LF", "DD")], ["same", "same", "new"]),
    "a corrected foot": (
        [trim("14", "RH", "SU"), trim("15", "LH", "DD")], [trim("14", "LH", "SU"), trim("15", "LH", "DD")],
        ["moved", "same"]),
    "a corrected lesion": (
        [trim("14", "RH", "SU"), trim("15", "LH", "DD")], [trim("14", "RH", "WL"), trim("15", "LH", "DD")],
        ["moved", "same"]),
    "nothing found after all": (
        [trim("14", "RH", "SU"), trim("15", "LH", "DD")], [trim("14"), trim("15", "LH", "DD")], ["moved", "same"]),
    "the rest of a visit on a second sheet": (
        [trim("14", "RH", "SU"), trim("15", "LH", "DD")], [trim("16", "RH", "SU"), trim("17", "LH", "DD")],
        ["new", "new"]),
    "sound cows are no slips for each other": (
        [trim("14"), trim("15"), trim("36")], [trim("14"), trim("15"), trim("71")], ["same", "same", "new"]),
    "two that could be the mistyped one": (
        [trim("14"), trim("15"), trim("38")], [trim("14"), trim("15"), trim("39"), trim("48")],
        ["same", "same", "new", "new"]),
    "the likeliest version is taken": (
        [trim("14", "RH", "SU", severity=1), trim("14", "RH", "SU", severity=2)],
        [trim("14", "RH", "SU", severity=2, claw=None)], ["same"]),
    "another day": (
        [trim("14", "RH", "SU")], [{**trim("14", "RH", "SU", severity=3), "visit_date": dt.date(2026, 9, 16)}],
        ["new"]),
    "another farm": ([trim("14", "RH", "SU")], [{**trim("14", "RH", "SU", severity=3), "farm": "Alder"}], ["new"]),
    "nothing found says nothing of a foot": ([trim("14")], [trim("14", "RH", toe_length_mm=80.0)], ["new"]),
}  # fmt: skip


@pytest.mark.parametrize("name", some(VERSIONS, 2))
def test_versions_of_trims(name: str, tmp_path: Path) -> None:
    there, brought, states = VERSIONS[name]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", there))
    before = held(ledger)
    sheet = checked("trims", brought)
    [found] = compare_with_ledger(ledger, [sheet]).sheets
    assert found.states.tolist() == states
    done = add_sheets(ledger, [sheet], "b.csv", "", revision_choice="replace")
    assert done.added == len(states) - states.count("same")
    assert verify(ledger).findings == ()
    assert add_sheets(ledger, [sheet], "c.csv", "", revision_choice="replace").added == 0
    undo_import(ledger, 3)
    undo_import(ledger, 2)
    assert verify(ledger).findings == ()
    assert_same(held(ledger), before)


def test_what_said_more_of_a_lesion_goes_with_it(tmp_path: Path) -> None:
    first = trim("14", "RH", "WL", lesion_detail="WLA", severity=3, zone=3, group="high")
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [first, trim("15")]))
    add_sheets(ledger, [checked("trims", [trim("14", "RH", "SU"), trim("15")])], "b.csv", "", revision_choice="replace")
    [row] = ledger.frame("SELECT * FROM trim_rows WHERE cow = '14'").to_dict("records")
    assert (row["lesion"], row["group"], row["zone"]) == ("SU", "high", 3)
    assert row["lesion_detail"] is None and pd.isna(row["severity"])


OTHER_KINDS: dict[str, tuple[str, dict[str, Any], dict[str, Any], str]] = {
    "another score": ("locomotion", {"farm": "A", "date": DAY, "cow": "1", "score": 2, "scale": "1-5"},
                      {"score": 3}, "differs"),
    "another scorer": ("locomotion", {"farm": "A", "date": DAY, "cow": "1", "score": 2, "scale": "1-5", "scorer": "K"},
                       {"score": 3, "scorer": "M"}, "new"),
    "scorer not told": ("locomotion", {"farm": "A", "date": DAY, "cow": "1", "score": 2, "scale": "1-5", "scorer": "K"},
                        {"scorer": None}, "same"),
    "one more calving": ("register", {"farm": "A", "cow": "1", "birth_date": "2020-01-01", "calvings": "2022-01-05"},
                         {"calvings": "2022-01-05; 2023-02-01"}, "differs"),
    "the last calving alone": ("register", {"farm": "A", "cow": "1", "calvings": "2022-01-05; 2023-02-01"},
                               {"calvings": "2023-02-01"}, "same"),
    "another animal of the number": ("register", {"farm": "A", "cow": "1", "birth_date": "2015-01-01"},
                                     {"birth_date": "2021-01-01"}, "new"),
    "the end of a period": ("housing", {"farm": "A", "starts_on": "2025-11-01", "housing": "freestall"},
                            {"ends_on": "2026-04-01"}, "differs"),
    "a remark on a change": ("changes", {"farm": "A", "date": DAY, "what": "Rubber"}, {"note": "in half"}, "same"),
    "a limit set anew": ("limits", {"farm": "A", "limit": "long_toe_mm", "value": 80.0}, {"value": 82.0}, "new"),
    "a count corrected": ("counts", {"farm": "A", "visit_date": DAY, "looked_at": 60, "lesion": "DD", "cases": 9,
                                     "unit": "cows"}, {"cases": 8}, "differs"),
}  # fmt: skip


@pytest.mark.parametrize("name", some(OTHER_KINDS, 2))
def test_versions_of_other_sheets(name: str, tmp_path: Path) -> None:
    kind, there, change, state = OTHER_KINDS[name]
    ledger = ledger_of(tmp_path / "l.duckdb", checked(kind, [there]))
    before = held(ledger)
    sheet = checked(kind, [{**there, **change}])
    [found] = compare_with_ledger(ledger, [sheet]).sheets
    assert found.states.tolist() == [state]
    add_sheets(ledger, [sheet], "b.csv", "", revision_choice="replace")
    table, _ = ROW_TABLES[kind]
    assert len(ledger.frame(f"SELECT * FROM {table}")) == (2 if state == "new" else 1)
    assert verify(ledger).findings == ()
    undo_import(ledger, 2)
    assert verify(ledger).findings == ()
    assert_same(held(ledger), before)


def test_calvings_and_notes_of_both_are_kept(tmp_path: Path) -> None:
    ledger = ledger_of(
        tmp_path / "l.duckdb",
        checked("register", [{"farm": "A", "cow": "1", "breed": "Jersey", "calvings": "2022-01-05", "note": "quiet"}]),
    )
    sheet = checked("register", [{"farm": "A", "cow": "1", "calvings": "2023-02-01", "note": "kicks"}])
    add_sheets(ledger, [sheet], "b.csv", "", revision_choice="replace")
    [row] = ledger.frame("SELECT breed, calvings, note FROM register_rows").values.tolist()
    assert row == ["Jersey", "2022-01-05; 2023-02-01", "quiet; kicks"]
    assert join_notes("Quiet cow", "quiet") == "Quiet cow"


def version(severity: int) -> CheckedSheet:
    return checked("trims", [trim("14", "RH", "SU", severity=severity), trim("15")])


@pytest.mark.parametrize("order", some([(2, 3), (3, 2), (1, 2, 3), (2, 1, 3), (3, 1, 2), (4, 2, 3, 1), (4, 3)], 2))
def test_versions_in_a_row_are_taken_back_in_any_order(order: tuple[int, ...], tmp_path: Path) -> None:
    """What is left is what the imports that are left say, the newest of them last."""
    ledger = ledger_of(tmp_path / "l.duckdb", version(1))
    for severity in (2, 3):
        add_sheets(ledger, [version(severity)], f"{severity}.csv", "", revision_choice="replace")
    left = {1: 1, 2: 2, 3: 3}
    if 4 in order:
        add_sheets(ledger, [version(3)], "again.csv", "")
        left[4] = 3
    for number in order:
        undo_import(ledger, number, copy=False)
        del left[number]
        assert verify(ledger).findings == ()
        expected = [left[max(left)]] if left else []
        assert ledger.frame("SELECT severity FROM findings")["severity"].tolist() == expected
        assert ledger.frame("SELECT * FROM replaced_rows")["import_no"].isin(list(left)).all()


def test_a_version_that_was_brought_again_stays_when_who_made_it_is_taken_back(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", version(1))
    add_sheets(ledger, [version(2)], "b.csv", "", revision_choice="replace")
    add_sheets(ledger, [version(2)], "c.csv", "")
    undo_import(ledger, 2)
    assert ledger.frame("SELECT severity FROM findings")["severity"].tolist() == [2]
    undo_import(ledger, 3)
    assert ledger.frame("SELECT severity, import_no FROM trim_rows WHERE cow = '14'").values.tolist() == [[1, 1]]
    assert verify(ledger).findings == ()


def test_a_version_that_came_in_anew_meanwhile_is_not_there_twice(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", version(1))
    before = held(ledger)
    add_sheets(ledger, [version(2)], "b.csv", "", revision_choice="replace")
    assert add_sheets(ledger, [version(1)], "c.csv", "", revision_choice="keep both").added == 1
    undo_import(ledger, 2)
    assert_same(held(ledger), before)
    assert ledger.imports()["added"].tolist() == [2, 1, 0]
    assert verify(ledger).findings == ()
    undo_import(ledger, 1)
    assert ledger.frame("SELECT severity FROM findings")["severity"].tolist() == [1]
    assert verify(ledger).findings == ()


def test_rows_replaced_are_checked(ledger: Ledger) -> None:
    add_sheets(ledger, [of_office()], "b.csv", "", revision_choice="replace")
    for damage, told in {
        "UPDATE replaced_rows SET content = REPLACE(content, 'Vance', 'Moss')": "not what they were",
        "UPDATE replaced_rows SET of_import = 9": "belong to no import",
        "DELETE FROM replaced_rows": "Import 1: 4 rows were added, but 3 are there",
    }.items():
        with ledger.writing() as connection:
            connection.execute(damage)
        assert told in " ".join(map(str, verify(ledger).findings))


def test_an_erased_farm_is_gone_from_what_was_replaced(ledger: Ledger) -> None:
    other = checked("trims", [{**trim("1"), "farm": "Alder"}, trim("14", "RH", "SU", severity=3)])
    add_sheets(ledger, [other], "b.csv", "", revision_choice="replace")
    assert farms_of_import(ledger, 1) == {"Brookend"}
    erase_farm(ledger, "Brookend")
    for table in [*TABLES, *BOOKKEEPING]:
        assert "Brookend" not in ledger.frame(f"SELECT * FROM {table}").to_string(), table
    assert verify(ledger).findings == ()
    assert ledger.farms() == ["Alder"]


def test_a_large_file_says_that_its_visits_are_there(ledger: Ledger, tmp_path: Path) -> None:
    from evenfoot.analytics.intake.large_files.stream import check_stream

    path = tmp_path / "large.csv"
    path.write_text(
        "date,farm,cow,foot,lesion,severity\n2026-09-15,Brookend,14,RH,SU,3\n2026-09-16,Brookend,1,,none,\n"
    )
    stream = check_stream(path, path.name, known_farms=ledger.farms(), big_from=0)
    assert stream is not None
    done = add_stream(ledger, stream, path.name, "")
    assert (done.added, done.already_known) == (2, 0)
    assert any("1, such as Brookend, 2026-09-15" in said for said in done.questioned)


def test_the_cost_is_that_of_the_visits_in_both(tmp_path: Path) -> None:
    """A large sheet that brings everything again, one value corrected in a tenth of its rows, takes seconds."""
    rows = [
        {**trim(str(cow), "RH", "SU" if cow % 3 else None, severity=1), "visit_date": DAY - dt.timedelta(days=day)}
        for day in range(20)
        for cow in range(1000)
    ]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    corrected = checked("trims", [{**row, "severity": 2} if place % 10 == 0 else row for place, row in enumerate(rows)])
    start = time.perf_counter()
    found = compare_with_ledger(ledger, [corrected])
    assert found.counts["differs"] == 2000 and found.counts["same"] == 18000
    assert add_sheets(ledger, [corrected], "b.csv", "", revision_choice="replace").replaced == 2000
    assert time.perf_counter() - start < 30
    assert verify(ledger).findings == ()
