"""What was agreed on the page Today: listed, written down, done, taken back, and only for who may."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.agreements import mark_done, read
from evenfoot.dashboard.auth.viewer import Viewer
from evenfoot.dashboard.pages import PANELS, agreed
from evenfoot.dashboard.pages.agreed import act_on, agreed_list, form, write_down
from evenfoot.dashboard.ui.view import View
from tests.measures.herds import herd, trim
from tests.pages.test_pages import words_of

ASH = View.read("/today", "?farms=Ash&on=2025-10-01")
DAY = dt.date(2025, 10, 1)


@pytest.fixture
def ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ledger:
    monkeypatch.setenv("EVENFOOT_TODAY", "2025-10-01")
    rows = [
        trim(cow, *(("DD", "LH") if cow < sick else ()), on=day)
        for day, sick in (("2025-03-03", 12), ("2025-09-03", 3))
        for cow in range(30)
    ]
    return herd(tmp_path, rows)


def of(part: Any, name: str) -> list[Any]:
    """Every component of a kind in a tree."""
    found = [part] if type(part).__name__ == name else []
    children = part if isinstance(part, list) else getattr(part, "children", None)
    for each in children if isinstance(children, list) else [children] if children is not None else []:
        found += of(each, name)
    return found


def acts(part: Any) -> list[str]:
    return [button.id["act"] for button in of(part, "Button") if isinstance(getattr(button, "id", None), dict)]


def test_written_down_listed_done_and_taken_back(ledger: Ledger) -> None:
    number = write_down(
        ledger, "Ash", "Foot bath", day="2025-03-03", who="Anna", due="2025-06-01", lesion="DD", place="hind heels"
    )
    write_down(ledger, "Ash", "Come earlier", day="2025-09-03")
    [one, other] = of(agreed_list(ledger, ASH), "Li")
    said = words_of(one).replace("\u00a0", " ")
    assert (
        "Overdue since 1 Jun 2025." in said
        and "Foot bath (Anna; by 1 Jun 2025; digital dermatitis; hind heels)" in said
    )
    assert "In the year before 40 of 100 cows had it (12 of 30 looks at cows)" in said and "own past:" in said
    assert [strong.children for strong in of(one, "Strong")] and not of(other, "Strong")
    assert "Open." in words_of(other) and acts(other) == ["done", "remove"]
    assert act_on(ledger, "done", number) == "It is done."
    [open_one, done] = of(agreed_list(ledger, ASH), "Li")
    assert "Come earlier" in words_of(open_one) and "Done on 1 Oct 2025." in words_of(done).replace("\u00a0", " ")
    assert acts(done) == ["reopen"]
    act_on(ledger, "reopen", number)
    act_on(ledger, "remove", number)
    assert len(of(agreed_list(ledger, ASH), "Li")) == 1
    act_on(ledger, "restore", number)
    assert len(of(agreed_list(ledger, ASH), "Li")) == 2


def test_it_stands_in_the_panel_above_the_questions(ledger: Ledger) -> None:
    write_down(ledger, "Ash", "Foot bath", day="2025-03-03")
    said = words_of(PANELS["today-ask"].draw(ledger, ASH))
    assert said.index("What was agreed") < said.index("Foot bath") < said.index("The trimmer")
    assert agreed_list(ledger, View.read("/today", "")) == []
    assert "Nothing is agreed that is still open." in words_of(agreed_list(herd_of_none(ledger), ASH))


def herd_of_none(ledger: Ledger) -> Ledger:
    act_on(ledger, "remove", 1)
    return ledger


def test_what_was_done_long_ago_is_left_to_the_command(ledger: Ledger) -> None:
    write_down(ledger, "Ash", "Foot bath", day="2024-03-03")
    mark_done(ledger, 1, done_on=dt.date(2024, 9, 1))
    assert of(agreed_list(ledger, ASH), "Li") == []


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"farm": None}, "Choose the farm first"),
        ({"farm": "Birch"}, "'Birch' is not in the ledger"),
        ({"text": "  "}, "Say in a few words"),
        ({"text": None}, "Say in a few words"),
        ({"text": "x" * 201}, "200 letters or fewer"),
        ({"day": "soon"}, "cannot be read"),
        ({"day": "2026-01-01"}, "still to come"),
        ({"due": "2025-01-01"}, "before it was agreed"),
        ({"lesion": "XX"}, "no code of a lesion"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_nothing_is_kept(ledger: Ledger, given: dict[str, Any], said: str) -> None:
    filled = {"farm": "Ash", "text": "Foot bath", "day": "2025-03-03"} | given
    with pytest.raises(UserError, match=said) as caught:
        write_down(ledger, **filled)
    assert "\n" not in str(caught.value) and read(ledger).empty


@pytest.mark.parametrize(
    ("viewer", "said"),
    [
        (Viewer("an adviser", None, "adviser", 3), "may not bring anything in"),
        (Viewer("a farmer", ("Birch",), "manager", 4), "is not in the ledger|There is no agreement"),
    ],
)
def test_who_may_not_changes_nothing_and_sees_no_buttons(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch, viewer: Viewer, said: str
) -> None:
    number = write_down(ledger, "Ash", "Foot bath", day="2025-03-03")
    before = read(ledger)
    monkeypatch.setattr(agreed, "current_viewer", lambda: viewer)
    with pytest.raises(UserError, match=said):
        write_down(ledger, "Ash", "Rubber")
    for act in ("done", "reopen", "remove"):
        with pytest.raises(UserError, match=said):
            act_on(ledger, act, number)
    assert read(ledger).equals(before)
    assert bool(form(ASH, DAY)) == viewer.may("record changes")
    if viewer.allowed is None:
        assert acts(agreed_list(ledger, ASH)) == []
    else:
        seen = View.read("/today", "?farms=Ash&on=2025-10-01", viewer.allowed)
        assert "Foot bath" not in words_of(agreed_list(ledger, seen))


def test_a_button_that_is_none_is_refused(ledger: Ledger) -> None:
    write_down(ledger, "Ash", "Foot bath", day="2025-03-03")
    with pytest.raises(UserError, match="no such button"):
        act_on(ledger, "burn", 1)
