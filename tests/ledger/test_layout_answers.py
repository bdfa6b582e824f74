"""Answers for a layout: known again by its headings, each trimmer's own, listed and removed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.layout_answers import answers_for, layouts, remove_layout, save_answers, signature_of

HEADINGS = ["Date", "Cow No.", "LF", "RF", "Score 2026-03"]


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return open_ledger(tmp_path / "l.duckdb")


def test_a_layout_is_known_by_its_headings() -> None:
    one = signature_of(HEADINGS)
    assert one == signature_of([" lf", "DATE", "rf", "cow no", "score 2026-04", "Score 2026-05", ""])
    assert one != signature_of([*HEADINGS, "LH"]) and one != signature_of(HEADINGS[1:])
    assert signature_of(["Größe"]) == signature_of(["GRÖSSE"]) != signature_of(["Grosse"])


def test_answers_are_used_the_next_time(ledger: Ledger) -> None:
    assert answers_for(ledger, HEADINGS) == {} and layouts(ledger).empty
    assert save_answers(ledger, "a.csv", HEADINGS, None, {"word:x": "done", "word:U": "SU"}) == 1
    assert save_answers(ledger, "b.csv", HEADINGS, None, {"word:U": "TU"}) == 1
    assert save_answers(ledger, "c.csv", HEADINGS, "K. Vance", {"word:U": "SU", "zones": [1, 2]}) == 2
    assert answers_for(ledger, [*reversed(HEADINGS)]) == {"word:x": "done", "word:U": "TU"}
    assert answers_for(ledger, HEADINGS, "k.  vance") == {"word:x": "done", "word:U": "SU", "zones": [1, 2]}
    assert answers_for(ledger, HEADINGS, "J. Moss") == {"word:x": "done", "word:U": "TU"}
    assert answers_for(ledger, ["Date", "Cow"]) == {}
    frame = layouts(ledger)
    assert frame[["layout_no", "name"]].values.tolist() == [[1, "b.csv"], [2, "c.csv"]]
    assert json.loads(frame["headings"].iloc[0]) == HEADINGS
    assert verify(ledger).findings == ()


def test_the_only_trimmer_of_a_layout_need_not_be_told(ledger: Ledger) -> None:
    save_answers(ledger, "a.csv", HEADINGS, "K. Vance", {"word:U": "SU"})
    assert answers_for(ledger, HEADINGS) == {"word:U": "SU"}
    assert answers_for(ledger, HEADINGS, "J. Moss") == {}
    save_answers(ledger, "b.csv", HEADINGS, "J. Moss", {"word:U": "TU"})
    assert answers_for(ledger, HEADINGS) == {}


def test_a_layout_is_removed(ledger: Ledger) -> None:
    save_answers(ledger, "a.csv", HEADINGS, None, {"word:U": "SU"})
    save_answers(ledger, "a.csv", HEADINGS, None, {"word:U": "SU"})
    remove_layout(ledger, 1)
    assert answers_for(ledger, HEADINGS) == {}
    with pytest.raises(UserError, match="There is no layout 1"):
        remove_layout(ledger, 1)
    lines = history(ledger)
    assert lines["what"].tolist() == ["answers kept", "layout removed"]
    assert json.loads(lines["after"][0]) == {"word:U": "SU"}


def test_a_sheet_without_headings_cannot_be_known_again(ledger: Ledger) -> None:
    with pytest.raises(UserError, match="no headings"):
        save_answers(ledger, "a.csv", ["", " - "], None, {"x": 1})


@pytest.mark.parametrize("damage", ["answers = 'x'", "headings = '[\"Other\"]'", "signature = ''", "answers = '[]'"])
def test_damage_is_found(ledger: Ledger, damage: str) -> None:
    save_answers(ledger, "a.csv", HEADINGS, None, {"word:U": "SU"})
    with ledger.writing() as connection:
        connection.execute(f"UPDATE layouts SET {damage}")
    assert "1 layouts that are remembered cannot be read." in [str(said) for said in verify(ledger).findings]
