"""The import page without a browser: demo herds, questions, mended rows, where a sheet leads."""

from __future__ import annotations

import hashlib
import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.clock import SET_BY
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.corrections import correct_records, list_records, remove_records
from evenfoot.analytics.ledger.imports.file_import import prepare_import, run_import
from evenfoot.analytics.messages import say
from evenfoot.dashboard.cli import demo
from evenfoot.dashboard.pages.imports_added import herd_address
from evenfoot.dashboard.pages.imports_demo import demo_imports, take_out_demo
from evenfoot.dashboard.pages.imports_mending import rows_to_mend, try_again
from evenfoot.dashboard.pages.imports_questions import field, open_questions, shown_values
from evenfoot.sample_data.farms import END


def brought(ledger: Ledger, text: str, name: str = "own.csv", **given: str) -> int:
    prepared = prepare_import(ledger, text.encode(), name, given=given)
    assert not prepared.answers.blocking()
    return run_import(ledger, prepared, hashlib.sha256(text.encode()).hexdigest()).import_no


def test_demo_herds_make_room_and_come_back(
    demo_ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    demo_ledger.lease.drop_if_idle()
    place = tmp_path / "demo.duckdb"
    shutil.copy(demo_ledger.name, place)
    ledger = open_ledger(str(place))
    monkeypatch.setenv(SET_BY, END.isoformat())
    assert len(demo_imports(ledger)) > 5
    first, second = list_records(ledger, farm="Larkmoor")["id"].head(2)
    correct_records(ledger, [first], {"note": "seen again"}, "tried")
    again = list_records(ledger, farm="Larkmoor").set_index("note").loc["seen again", "id"]
    correct_records(ledger, [again], {"note": "seen twice"}, "tried")
    remove_records(ledger, [second], "tried")
    take_out_demo(ledger)
    assert demo_imports(ledger) == [] and ledger.farms() == []
    assert SET_BY not in os.environ, "the present day counts again"
    brought(ledger, "date,farm,cow,foot,lesion\n2026-02-03,Elm End,1,LH,SU\n")
    with pytest.raises(ValueError, match="holds other records than the demo herds"):
        demo.build(str(place))


@pytest.mark.parametrize(
    ("kind", "herd", "address"),
    [
        ("", "", "/lesions?farms=Elm+End&visits=all"),
        ("", "40", "/lesions?farms=Elm+End&visits=all"),
        ("", "10", "/lesions?farms=Elm+End"),
        ("whole-herd", "10", "/lesions?farms=Elm+End"),
    ],
)
def test_the_link_shows_every_kind_of_visit(tmp_path: Path, kind: str, herd: str, address: str) -> None:
    ledger = open_ledger(str(tmp_path / "l.duckdb"))
    rows = "\n".join(f"2026-02-03,Elm End,{n},{kind},{herd}" for n in range(10))
    brought(ledger, f"visit_date,farm,cow,visit_kind,herd_size\n{rows}\n")
    assert herd_address(ledger, "Elm End") == address


def test_a_sheet_of_changes_without_a_farm_asks_for_it(tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "l.duckdb"))
    text = "date,what\n2026-01-05,New floor\n"
    prepared = prepare_import(ledger, text.encode(), "changes.csv")
    assert [question.id for question in prepared.answers.blocking()] == ["farm"]
    brought(ledger, text, "changes.csv", farm="Elm End")
    assert ledger.frame("SELECT farm, what FROM change_rows").to_numpy().tolist() == [["Elm End", "New floor"]]
    again = prepare_import(ledger, text.replace("01-05", "02-05").encode(), "changes.csv")
    assert not again.answers.blocking() and again.records == 1, "the answer is remembered for the layout"


def test_rows_that_are_right_go_in_and_the_others_stay_with_their_row_numbers(tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "l.duckdb"))
    text = (
        "visit_date,farm,cow,foot,lesion\n2026-03-09,Elm End,11,LH,SU\nsoon,Elm End,12,RH,DD\nlate,Elm End,13,RH,DD\n"
    )
    number = brought(ledger, text)
    headings, lines = rows_to_mend(ledger.set_aside(number))
    assert [line["row"] for line in lines] == [3, 4] and headings[0] == "visit_date"
    tried = try_again(ledger, number, headings, [{**lines[0], "c0": "2026-03-09"}, lines[1]], {})
    assert tried.result is not None and (tried.result.added, tried.result.set_aside) == (1, 0)
    assert tried.left["row"].tolist() == [4]
    nothing = try_again(ledger, number, headings, [lines[1]], {})
    assert nothing.result is None and len(nothing.left) == 1


def parts(component: Any) -> list[Any]:
    """A component and all within it."""
    if isinstance(component, (list, tuple)):
        return [part for each in component for part in parts(each)]
    return (
        [component, *parts(getattr(component, "children", None) or [])] if hasattr(component, "to_plotly_json") else []
    )


def test_a_question_without_a_likeliest_answer_has_no_button_to_confirm() -> None:
    answers = Answers()
    some = choices([("a", say("one")), ("b", say("other"))])
    answers.ask(Question("open", "x", say("Which?"), some, None))
    answers.ask(Question("likely", "y", say("Really?"), some, "b"))
    answers.ask(Question("safe", "z", say("Is it?"), some, "a", safe=True))
    assert shown_values(answers) == {"open": "", "likely": "b", "safe": "a"}
    shown = parts(open_questions("1", answers.blocking()))
    confirmed = [part.id["question"] for part in shown if getattr(part, "id", {}) and part.id["type"] == "confirm"]
    assert confirmed == ["likely"]


def test_a_long_list_holds_each_answer_once() -> None:
    many = choices([*((f"v{n}", say("{n}", n=n)) for n in range(9)), ("v1", say("again"))])
    [select] = field("1", Question("q", "q", say("Which?"), many, None), "")
    values = [each["value"] for each in select.data]
    assert len(values) == len(set(values)) == 9


def test_a_second_visit_leads_to_the_herd_page(tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "l.duckdb"))
    rows = "\n".join(f"2026-0{month}-03,Elm End,{n},whole-herd,10" for month in (2, 5) for n in range(10))
    brought(ledger, f"visit_date,farm,cow,visit_kind,herd_size\n{rows}\n")
    assert herd_address(ledger, "Elm End") == "/?farms=Elm+End"
