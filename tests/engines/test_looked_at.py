"""What was looked at is worked out alike on every engine: shares of the herd, the rest sound, numbers used again."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.domain.visits import REST_SOUND
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.queries.selection import Selection
from tests.engines.conftest import Maker
from tests.engines.tables import assert_same_records
from tests.measures.herds import scoring, trim
from tests.sheets import checked

pytestmark = pytest.mark.long

REGISTER = [
    {"farm": "Ash", "cow": "7", "birth_date": "2017-03-01", "entered_on": "2019-04-01", "left_on": "2024-05-01",
     "calvings": "2019-04-01; 2020-04-10", "group_moves": "2019-04-01 high"},
    {"farm": "Ash", "cow": "7", "birth_date": "2022-02-01", "entered_on": "2024-06-01", "calvings": "2024-09-01",
     "group_moves": "2024-09-01 low; 2025-02-01 dry"},
    *({"farm": "Ash", "cow": str(cow), "entered_on": "2022-01-01"} for cow in range(8, 30)),
]  # fmt: skip
TRIMS = [
    trim(7, "SU", "LH", on="2024-03-10"),
    trim(7, "SU", None, on="2025-02-10"),
    *(trim(cow, "DD" if cow < 12 else None, "RH" if cow < 10 else None, on="2025-02-10") for cow in range(8, 29)),
    *(trim(cow, "SU", "LH", on="2025-05-10", herd_size=24, visit_kind=REST_SOUND) for cow in range(8, 12)),
    *(trim(cow, "SU", "LH", farm="Elm", herd_size=40) for cow in range(9)),
]
SCORES = [
    *(scoring(cow, 3, on="2025-03-03") for cow in range(8, 13)),
    *(
        scoring(cow, 3 if cow < 10 else 1, on=day, farm="Oak")
        for day in ("2025-03-03", "2025-04-03")
        for cow in range(30)
    ),
    *(scoring(cow, 4, on="2025-05-03", farm="Oak") for cow in range(12)),
]


def test_what_was_looked_at_is_the_same(elsewhere: Maker, tmp_path: Path) -> None:
    sheets = [checked("register", REGISTER), checked("trims", TRIMS), checked("locomotion", SCORES)]
    ours, theirs = open_ledger(str(tmp_path / "l.duckdb")), elsewhere()
    for ledger in (ours, theirs):
        result = add_sheets(ledger, sheets, "sheets.csv", "0" * 64)
        assert [question.values["n"] for question in result.questioned] == [2, 2]
    assert_same_records(ours, theirs)
    for by in (("foot",), ("lesion", "zone"), ("farm", "foot", "claw")):
        answers = [prevalence(ledger, Selection(visits=("all",)), by=by) for ledger in (ours, theirs)]
        first, second = (answer.table.astype("str").to_numpy().tolist() for answer in answers)
        assert sorted(first) == sorted(second)
    kinds = ours.frame("SELECT DISTINCT farm, visit_kind, kind_from FROM scores ORDER BY ALL").to_numpy().tolist()
    assert kinds == [["Ash", "part-herd", "derived"], ["Oak", "part-herd", "derived"], ["Oak", "scoring", "derived"]]
