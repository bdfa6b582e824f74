"""A panel is drawn from the newest records, for the page that is open; what fails is one sentence."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest
from dash import html

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.pages import PAGES, lesions
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Panel
from evenfoot.dashboard.ui.view import View
from tests.auth.asking import asked, contents
from tests.auth.people import Clock, Office
from tests.sheets import checked


def sheet(cow: str) -> Any:
    return checked("trims", [{"visit_date": "2026-03-02", "farm": "Home", "cow": cow, "lesion": "SU", "foot": "RH"}])


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    made = open_ledger(tmp_path / "ledger.duckdb")
    add_sheets(made, [sheet("1")], "first.csv", "first")
    return made


def office_with(ledger: Ledger, panel: Panel, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Office:
    """An office whose page of lesions has one panel more."""
    page: Page = dataclasses.replace(lesions.PAGE, panels=(*lesions.PAGE.panels, panel))
    monkeypatch.setitem(PAGES, "/lesions", page)
    return Office(ledger, Store(tmp_path / "none.sqlite"), Clock())


def said(office: Office, panel: Panel, search: str = "?farms=Home", path: str = "/lesions") -> str:
    code, text = contents(office, office.client(), panel.name, search, path)
    assert code in (200, 204), text
    return text


def test_a_changed_ledger_is_drawn_anew(ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    panel = Panel("own", "Cows", lambda own, _view: html.P(f"{len(own.frame('SELECT DISTINCT cow FROM trims'))} cows"))
    office = office_with(ledger, panel, tmp_path, monkeypatch)
    assert "1 cows" in said(office, panel)
    add_sheets(ledger, [sheet("2")], "second.csv", "second")
    assert "2 cows" in said(office, panel)


def test_a_panel_of_a_page_that_was_left_is_not_drawn(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[str] = []
    panel = Panel("own", "Cows", lambda _ledger, view: drawn.append(view.href))
    office = office_with(ledger, panel, tmp_path, monkeypatch)
    said(office, panel, path="/horn")
    assert drawn == []
    said(office, panel)
    assert set(drawn) == {"/lesions?farms=Home"}


@pytest.mark.parametrize(
    ("trouble", "words"),
    [
        (UserError("The ledger is in use."), "The ledger is in use."),
        (MemoryError(), "There is not enough memory to work this out."),
        (ZeroDivisionError("secret"), "because of an error in Evenfoot; the records are safe"),
    ],
)
def test_what_fails_is_one_sentence(
    trouble: Exception, words: str, ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def draw(_ledger: Ledger, _view: View) -> Any:
        raise trouble

    panel = Panel("own", "Fails", draw)
    text = said(office_with(ledger, panel, tmp_path, monkeypatch), panel)
    assert words in text and "secret" not in text


def test_what_there_is_to_choose_from_is_sent_when_it_changes(ledger: Ledger, tmp_path: Path) -> None:
    office = Office(ledger, Store(tmp_path / "none.sqlite"), Clock())
    key = next(key for key in office.app.callback_map if "navigation.children" in key)

    def around(**values: Any) -> dict[str, Any]:
        given = {"address.pathname": "/lesions", "address.search": "?farms=Home", **values}
        answer = office.client().post("/_dash-update-component", json=asked(office, key, given))
        assert answer.status_code == 200, answer.text
        parts: dict[str, Any] = answer.json["response"]
        return parts

    first = around()
    shown = {f"{name}.children": first[name]["children"] for name in ("picker", "look")}
    again = around(**shown, **{"address.pathname": "/horn"})
    assert "navigation" in again
    assert not {"picker", "look"} & set(again)
    other = around(**shown, **{"address.search": "?farms=Home&since=2026-01-01&theme=night"})
    assert {"picker", "look"} <= set(other)
