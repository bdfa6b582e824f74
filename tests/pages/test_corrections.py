"""The page of corrections: which records it lists, and what its form does to those marked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from dash import html

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.corrections import list_records
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.pages import corrections
from evenfoot.dashboard.pages.corrections_list import list_to_correct
from evenfoot.dashboard.ui.view import View
from tests.pages.test_pages import words_of
from tests.sheets import checked, ledger_of

ROWS = [
    {"farm": "Ash", "cow": cow, "visit_date": day, "foot": "LH", "claw": "lateral", "lesion": "SU", "severity": "2"}
    for day in ("2026-03-04", "2026-05-06")
    for cow in ("7", "8")
]


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return ledger_of(tmp_path / "herd.duckdb", checked("trims", ROWS))


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "accounts.sqlite")


def listed(ledger: Ledger, search: str) -> Any:
    return html.Div(list_to_correct(ledger, View.read("/corrections", search)))


def test_the_newest_day_a_day_and_a_cow_are_listed(ledger: Ledger) -> None:
    newest, day, cow = (
        [box.label for box in listed(ledger, f"?farms=Ash{more}")["correct-ids"].children]
        for more in ("", "&day=2026-03-04", "&cow=7")
    )
    line = "{}, cow {}, LH, left hind, Outer claw, Sole ulcer, Severity: 2"
    assert newest == [line.format("6 May 2026", each) for each in (7, 8)]
    assert day == [line.format("4 Mar 2026", each) for each in (7, 8)]
    assert cow == [line.format(each, 7) for each in ("6 May 2026", "4 Mar 2026")]
    assert "no record here" in words_of(listed(ledger, "?farms=Ash&cow=99"))
    assert "Choose a farm" in words_of(listed(ledger, ""))


def test_the_records_of_an_import_are_listed(ledger: Ledger) -> None:
    with pytest.raises(UserError, match="no number of an import"):
        listed(ledger, "?brought=1%20OR%201")
    more = checked("trims", [{**ROWS[0], "cow": "9"}, {**ROWS[0], "farm": "Elm", "cow": "1"}])
    own = add_sheets(ledger, [more], "more.csv", "1" * 64)
    both = listed(ledger, f"?brought={own.import_no}")
    assert [link.children for link in both.children[1].children if isinstance(link, html.A)] == ["Ash", "Elm"]
    [box] = listed(ledger, f"?brought={own.import_no}&farms=Ash")["correct-ids"].children
    assert "cow 9" in box.label
    assert len(listed(ledger, "?brought=1")["correct-ids"].children) == 2, "its only farm is the one meant"
    assert "Choose a farm" in words_of(listed(ledger, "?brought=77"))


def test_a_wrong_cow_number_is_put_right_on_all_that_are_marked(ledger: Ledger, store: Store) -> None:
    ids = list(list_records(ledger, farm="Ash", cow="7")["id"])
    done = corrections.correct(ledger, store, ids, "cow", "17", "misread")
    assert done.records == 2
    assert list(list_records(ledger, farm="Ash")["cow"]) == ["17", "8", "17", "8"]
    assert corrections.remove(ledger, store, list(list_records(ledger, farm="Ash", cow="8")["id"]), "sold").records == 2
    assert list(list_records(ledger, farm="Ash")["cow"]) == ["17", "17"]


def test_what_the_form_lacks_is_said(ledger: Ledger, store: Store) -> None:
    ids = list(list_records(ledger, farm="Ash")["id"])
    for given, said in (
        (([], "cow", "17", "why"), "Mark the records first"),
        ((ids, None, "17", "why"), "Choose what is wrong first"),
        ((ids, "cow", "17", ""), "Say why"),
        ((ids, "foot", "wing", "why"), "cannot be foot"),
    ):
        with pytest.raises(UserError, match=said):
            corrections.correct(ledger, store, *given)
