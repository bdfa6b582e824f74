"""Sheets that list only cows with a lesion, or few of the herd, are asked about, and the answer is counted."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.imports.rest_of_herd import RestChoice, answer_rest, rest_question
from evenfoot.analytics.ledger.integrity.verify import verify
from tests.sheets import checked, ledger_of

DAY = dt.date(2026, 8, 4)


def sheet(cows: int, *, sound: int = 0, **more: Any) -> CheckedSheet:
    rows = [
        {"farm": "Ty Gwyn", "visit_date": DAY, "cow": str(cow), "lesion": None if cow < sound else "DD",
         "foot": None if cow < sound else "LH", **more}
        for cow in range(cows)
    ]  # fmt: skip
    return checked("trims", rows)


def test_only_cows_with_a_lesion_of_a_known_herd(tmp_path: Path) -> None:
    [visit] = rest_question(open_ledger(tmp_path / "l.duckdb"), [sheet(12, herd_size=60, visit_kind="whole-herd")])
    assert (visit.cows, visit.herd_size, visit.rest, visit.stated, visit.usual) == (12, 60, 48, True, False)
    assert "all 12 cows on the sheet have a lesion; the herd is 60. Were the other 48 looked at" in visit.question


@pytest.mark.parametrize(
    ("brought", "asked"),
    [
        (sheet(12), "Were the other cows of the herd"),
        (sheet(12, sound=5, herd_size=60), "12 cows are on the sheet; the herd is 60. Were the other 48"),
        (sheet(12, sound=5), "Which cows were brought?"),
        (sheet(12, sound=5, visit_kind="whole-herd"), None),
        (sheet(48, herd_size=60), None),
        (sheet(12, herd_size=60, visit_kind="part-herd"), None),
        (sheet(12, herd_size=60, visit_kind="lame-cow"), None),
        (sheet(12, herd_size=60, visit_kind="whole-herd, rest sound"), None),
        (checked("locomotion", [{"farm": "A", "date": DAY, "cow": "1", "score": 3, "scale": "1-5"}]), None),
    ],
)
def test_what_is_asked(brought: CheckedSheet, asked: str | None, tmp_path: Path) -> None:
    found = rest_question(open_ledger(tmp_path / "l.duckdb"), [brought])
    assert len(found) == (asked is not None)
    assert not asked or asked in found[0].question


def test_the_herd_is_known_by_the_register_and_by_its_usual_numbers(tmp_path: Path) -> None:
    register = checked(
        "register",
        [{"farm": "Ty Gwyn", "cow": str(cow), "calvings": "2025-01-01", "group_moves": "2025-01-01 high"}
         for cow in range(100)],
    )  # fmt: skip
    [visit] = rest_question(ledger_of(tmp_path / "a.duckdb", register), [sheet(12)])
    assert (visit.herd_size, visit.usual) == (85, False)  # milking cows, 85 of 100
    assert "the herd is 85 (by the register)" in visit.question
    earlier = checked(
        "trims",
        [{"farm": "Ty Gwyn", "visit_date": DAY - dt.timedelta(days=90), "cow": str(cow)} for cow in range(50)],
    )
    [visit] = rest_question(ledger_of(tmp_path / "b.duckdb", earlier), [sheet(12)])
    assert (visit.herd_size, visit.usual) == (50, True)
    assert "the herd is 50 (by the cows met at other visits)" in visit.question
    told = sheet(50, herd_size=60)
    told.records["visit_date"] -= dt.timedelta(days=90)
    [visit] = rest_question(ledger_of(tmp_path / "c.duckdb", told), [sheet(12)])
    assert "the herd is 60 (by the sheet of 2026-05-06)" in visit.question


def test_days_of_one_visit_are_asked_about_together(tmp_path: Path) -> None:
    first, second = sheet(20, herd_size=60), sheet(40, herd_size=60)
    second.records["visit_date"] += dt.timedelta(days=1)
    ledger = ledger_of(tmp_path / "l.duckdb", first)
    [visit] = rest_question(ledger, [second])
    assert (visit.first, visit.cows) == (DAY + dt.timedelta(days=1), 40)
    [both] = rest_question(open_ledger(tmp_path / "none.duckdb"), [first, second])
    assert (both.first, both.last) == (DAY, DAY + dt.timedelta(days=1))


CHOICES: list[tuple[RestChoice, dict[str, Any], str, int]] = [
    ("rest sound", {}, "whole-herd", 60),
    ("only these", {}, "part-herd", 12),
    ("only these", {"locomotion_score": 4, "locomotion_scale": "1-5"}, "lame-cow", 12),
    ("not known", {"locomotion_score": 4, "locomotion_scale": "1-5"}, "part-herd", 12),
]


@pytest.mark.parametrize(("choice", "more", "kind", "cows"), CHOICES)
def test_the_answer_is_counted(choice: RestChoice, more: dict[str, Any], kind: str, cows: int, tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    brought = [sheet(12, herd_size=60, visit_kind="whole-herd", **more)]
    [visit] = rest_question(ledger, brought)
    answered = answer_rest(brought, visit, choice)
    assert rest_question(ledger, answered) == []
    add_sheets(ledger, answered, "a.csv", "")
    found = ledger.frame("SELECT visit_kind, COUNT(*) AS n FROM trims GROUP BY visit_kind")
    assert found.values.tolist() == [[kind, cows]]
    assert brought[0].records["visit_kind"].unique().tolist() == ["whole-herd"]
    assert verify(ledger).findings == ()


def test_the_herd_of_cows_that_are_not_listed_has_to_be_known(tmp_path: Path) -> None:
    ledger = open_ledger(tmp_path / "l.duckdb")
    brought = [sheet(12)]
    [visit] = rest_question(ledger, brought)
    with pytest.raises(UserError, match="How many cows are in the herd of Ty Gwyn"):
        answer_rest(brought, visit, "rest sound")
    [answered] = answer_rest(brought, visit, "rest sound", herd_size=40)
    assert answered.records["herd_size"].unique().tolist() == [40]
    with pytest.raises(UserError, match="'maybe' is no answer"):
        answer_rest(brought, visit, "maybe")  # type: ignore[arg-type]
