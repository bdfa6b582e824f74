"""A change written down beside a chart: comes in as any sheet, is marked, can be taken back, and refuses nonsense."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import undo_import
from evenfoot.dashboard.auth.store import Store, store_of
from evenfoot.dashboard.auth.viewer import Viewer
from evenfoot.dashboard.charts.dated import mark_changes
from evenfoot.dashboard.charts.plain import Figure
from evenfoot.dashboard.pages import PANELS, dated_changes
from evenfoot.dashboard.pages.dated_changes import form, recorded, write_down
from evenfoot.dashboard.ui.panel import Drawn
from evenfoot.dashboard.ui.view import View
from tests.measures.herds import scoring, trim
from tests.sheets import checked, ledger_of

ASH = View.read("/locomotion", "?farms=Ash")


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    months = [f"2025-{month:02d}-05" for month in range(1, 9)]
    return ledger_of(
        tmp_path / "herd.duckdb",
        checked("trims", [trim(cow, on=day) for day in months for cow in range(25)]),
        checked("locomotion", [scoring(cow, 1 + cow % 4, on=day) for day in months for cow in range(25)]),
    )


@pytest.fixture
def store(ledger: Ledger) -> Store:
    return store_of(ledger)


def test_written_marked_and_taken_back(ledger: Ledger, store: Store) -> None:
    result = write_down(ledger, store, "Ash", "2025-04-02", '  Rubber, "soft"\n in the alleys', "")
    assert (result.added, result.set_aside) == (1, 0)
    [row] = recorded(ledger, ASH).to_dict("records")
    assert (row["date"], row["what"]) == (pd.Timestamp("2025-04-02"), 'Rubber, "soft" in the alleys')
    newest = ledger.imports().iloc[-1]
    assert (newest["file"], newest["kinds"]) == ("change-ash-2025-04-02.csv", "changes")
    drawn = PANELS["locomotion-trend"].draw(ledger, ASH)
    assert isinstance(drawn, Drawn) and drawn.figure is not None
    assert "2 Apr 2025" in drawn.figure.layout.title.text.replace("\xa0", " ")
    assert any(shape.x0 == "2025-04-02T00:00:00" for shape in drawn.figure.layout.shapes)
    undo_import(ledger, result.import_no)
    assert recorded(ledger, ASH).empty


def test_the_same_change_twice_is_refused_and_another_is_not(ledger: Ledger, store: Store) -> None:
    write_down(ledger, store, "Ash", "2025-04-02", "Rubber", None)
    with pytest.raises(UserError, match="written down already"):
        write_down(ledger, store, "Ash", "2025-04-02", " Rubber ", "")
    write_down(ledger, store, "Ash", "2025-04-02", "Foot bath", None)
    assert len(recorded(ledger, ASH)) == 2


def test_what_a_change_aims_at_is_kept_and_shown(ledger: Ledger, store: Store) -> None:
    write_down(ledger, store, "Ash", "2025-04-02", "Foot bath", None)
    write_down(ledger, store, "Ash", "2025-05-02", "Rubber", None, ["WL", "SU"])
    found = recorded(ledger, ASH).set_index("what")
    assert found["lesions"].to_dict() == {"Rubber": "SU WL", "Foot bath": "DD ID IP HHE"}
    assert found["aimed"].to_dict() == {"Rubber": "stated", "Foot bath": "usual"}
    with pytest.raises(UserError, match="written down already"):
        write_down(ledger, store, "Ash", "2025-05-02", "Rubber", None, ["SU", "WL"])
    drawn = str(PANELS["change-recorded"].draw(ledger, View.read("/change", "?farms=Ash")))
    assert "Sole ulcer, White line disease" in drawn


@pytest.mark.parametrize(
    ("farm", "day", "what", "said"),
    [
        (None, "2025-04-02", "Rubber", "Choose the farm"),
        ("Ash", None, "Rubber", "Choose the day"),
        ("Ash", "  ", "Rubber", "Choose the day"),
        ("Ash", "2025-04-02", " \n ", "Say in a few words"),
        ("Ash", "2025-04-02", "x" * 201, "200 letters or fewer"),
        ("Ash", "2125-04-02", "Rubber", "still to come"),
        ("Ash", "soon", "Rubber", "."),
    ],
)
def test_what_cannot_be_is_one_sentence_and_nothing_is_kept(
    ledger: Ledger, store: Store, farm: str | None, day: str | None, what: str, said: str
) -> None:
    before = len(ledger.imports())
    with pytest.raises(UserError) as caught:
        write_down(ledger, store, farm, day, what, None)
    assert said in str(caught.value) and "\n" not in str(caught.value)
    assert len(ledger.imports()) == before and recorded(ledger, ASH).empty


@pytest.mark.parametrize(
    ("viewer", "said"),
    [
        (Viewer("an adviser", None, "adviser", 3), "may not bring anything in"),
        (Viewer("a farmer", ("Birch",), "manager", 4), "not granted: Ash"),
    ],
)
def test_who_may_not_is_refused(
    ledger: Ledger, store: Store, monkeypatch: pytest.MonkeyPatch, viewer: Viewer, said: str
) -> None:
    monkeypatch.setattr(dated_changes, "current_viewer", lambda: viewer)
    with pytest.raises(UserError, match=said):
        write_down(ledger, store, "Ash", "2025-04-02", "Rubber", None)
    assert recorded(ledger, ASH).empty
    assert bool(form(ASH)) == viewer.may("record changes")


def test_the_form_stands_only_where_the_farm_is_known() -> None:
    assert not form(View.read("/locomotion", ""))
    assert "2025-03-01" in str(form(View.read("/locomotion", "?farms=Ash&span=2025-03")))


def test_changes_of_one_day_share_a_mark_and_those_outside_have_none() -> None:
    months = pd.Series(pd.date_range("2025-01-01", periods=6, freq="MS"))
    days = [dt.date(2025, 2, 3), dt.date(2025, 2, 3), dt.date(2024, 1, 1), dt.date(2025, 5, 5)]
    changes = pd.DataFrame({"date": days, "what": ["a", "b", "long ago", "c"]})
    figure = Figure()
    notes = mark_changes(figure, changes, months, "paper")
    assert len(figure.layout.shapes) == len(notes) == 2
    assert notes[0].endswith("a; b") and notes[1].endswith("c")
    assert mark_changes(figure, None, months, "paper") == []
