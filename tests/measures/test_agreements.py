"""What was agreed on a herd whose lesions are known: open, overdue, done, and what became of the lesion."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.agreements import add, mark_done, remove
from evenfoot.analytics.measures.planning.agreements import agreements
from evenfoot.analytics.queries.selection import Selection
from tests.measures.herds import herd, trim

VISITS = {
    f"{year}-{month}-10": (30 if year < 2025 else 5) for year in (2022, 2023, 2024, 2025) for month in ("03", "09")
}
"""Day of a whole-herd visit of 100 cows -> cows with digital dermatitis at it."""

AGREED = dt.date(2024, 9, 10)
TODAY = dt.date(2025, 10, 1)


def visit(day: str, sick: int, cows: int = 100, **more: Any) -> list[dict[str, Any]]:
    return [trim(cow, *(("DD", "LH") if cow < sick else ()), on=day, **more) for cow in range(cows)]


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    rows = [row for day, sick in VISITS.items() for row in visit(day, sick)]
    return herd(tmp_path, [*rows, *visit("2025-09-20", 20, 20, visit_kind="lame-cow")])


def of(ledger: Ledger, **more: Any) -> dict[str, Any]:
    [row] = agreements(ledger, Selection(farms=("Ash",)), on=TODAY, **more).table.to_dict("records")
    return row


def test_what_became_of_the_lesion_is_as_built_in(ledger: Ledger) -> None:
    add(ledger, "Ash", "A foot bath twice a week", agreed_on=AGREED, lesion="DD")
    row = of(ledger)
    assert (row["before_cases"], row["before_looks"], row["before"]) == (60, 200, 0.3)
    assert (row["now_on"], row["now_cases"], row["now_looks"]) == (pd.Timestamp("2025-09-10"), 5, 100)
    assert row["verdict"] == "better"
    assert str(row["since"]) == (
        "In the year before 30 of 100 cows had it (60 of 200 looks at cows), at the newest visit on 2025-09-10 5 of "
        "100 (5 of 100)."
    )


def test_a_lesion_that_was_never_found_has_no_cases(ledger: Ledger) -> None:
    add(ledger, "Ash", "Mind the toes", agreed_on=AGREED, lesion="TU")
    row = of(ledger)
    assert (row["before_cases"], row["now_cases"], row["verdict"]) == (0, 0, "no-clear-change")


def test_without_a_lesion_nothing_is_said_of_one(ledger: Ledger) -> None:
    add(ledger, "Ash", "Come earlier", agreed_on=AGREED)
    row = of(ledger)
    assert row["since"] is None and row["verdict"] is None and pd.isna(row["before_looks"])


@pytest.mark.parametrize(
    ("agreed_on", "said"),
    [
        (dt.date(2025, 9, 10), "was not looked at since"),
        # Agreed on the last day but one of a visit: that visit is no later one.
        (dt.date(2025, 9, 8), "was not looked at since"),
        (dt.date(2021, 9, 10), "was not looked at in the year before"),
    ],
)
def test_too_few_is_an_answer(ledger: Ledger, agreed_on: dt.date, said: str) -> None:
    add(ledger, "Ash", "A foot bath", agreed_on=agreed_on, lesion="DD")
    row = of(ledger)
    assert row["verdict"] == "too-few" and said in row["since"]


def test_few_cows_and_visits_of_lame_cows_are_too_few(tmp_path: Path) -> None:
    small = herd(tmp_path, [*visit("2025-01-10", 5, 19), *visit("2025-06-10", 1, 19)])
    add(small, "Ash", "A foot bath", agreed_on=dt.date(2025, 2, 1), lesion="DD")
    assert of(small)["verdict"] == "too-few"
    (tmp_path / "lame").mkdir()
    lame = herd(tmp_path / "lame", [row for day in VISITS for row in visit(day, 40, 40, visit_kind="lame-cow")])
    add(lame, "Ash", "A foot bath", agreed_on=AGREED, lesion="DD")
    row = of(lame)
    assert row["verdict"] == "too-few" and "neither in the year before nor since" in row["since"]


def test_open_overdue_and_done_by_the_day(ledger: Ledger) -> None:
    due = {1: dt.date(2025, 9, 30), 2: TODAY, 3: None, 4: dt.date(2025, 1, 1), 5: dt.date(2025, 8, 1)}
    for number, day in due.items():
        add(ledger, "Ash", f"No. {number}", agreed_on=AGREED, due_on=day)
    mark_done(ledger, 4, done_on=TODAY, outcome="late")
    add(ledger, "Ash", "removed", agreed_on=AGREED)
    remove(ledger, 6)
    add(ledger, "Ash", "later", agreed_on=TODAY + dt.timedelta(days=1))
    table = agreements(ledger, Selection(), on=TODAY).table
    assert table["number"].tolist() == [5, 1, 2, 3, 4]
    assert table["state"].tolist() == ["overdue", "overdue", "open", "open", "done"]
    before = agreements(ledger, Selection(), on=TODAY - dt.timedelta(days=1)).table.set_index("number")
    assert before.loc[4, "state"] == "overdue" and before.loc[4, "outcome"] is None
    assert before.loc[1, "state"] == "open"


def test_only_of_farms_that_may_be_seen(ledger: Ledger) -> None:
    add(ledger, "Ash", "A foot bath", agreed_on=AGREED, lesion="DD")
    hidden = agreements(ledger, Selection(allowed=("Birch",)), on=TODAY)
    assert hidden.empty and hidden.cautions[-1] == "Nothing that was agreed is written down."
    assert agreements(ledger, Selection(lesions=("SU",)), on=TODAY).empty
    assert len(agreements(ledger, Selection(lesions=("DD",)), on=TODAY).table) == 1
