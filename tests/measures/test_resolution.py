"""Lame cows that were sound at their next scoring, against the same worked out with pandas from the scores."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.resolution import resolution
from evenfoot.analytics.queries.selection import Selection
from tests.measures.herds import herd, scoring


def by_hand(ledger: Ledger, farm: str) -> pd.DataFrame:
    """Cases and lame scorings by the days to the next scoring, of scores that one person gave a day."""
    sql = "SELECT cow, visit_date, lame FROM scores WHERE farm = ? AND visit_kind IN ('scoring', 'whole-herd')"
    scores = ledger.frame(sql, [farm])
    scores = scores.groupby(["cow", "visit_date"], as_index=False)["lame"].mean()
    scores = scores.assign(lame=scores["lame"] >= 0.5).sort_values(["cow", "visit_date"])
    after = scores.groupby("cow")[["lame", "visit_date"]].shift(-1)
    days = (pd.to_datetime(after["visit_date"]) - pd.to_datetime(scores["visit_date"])).dt.days
    pairs = pd.DataFrame({"days": days, "sound": after["lame"] == False})[scores["lame"] & (days <= 200)]  # noqa: E712
    stretch = pd.cut(pairs["days"], [0, 30, 60, 120, 200], labels=["1-30", "31-60", "61-120", "121-200"])
    return pairs.groupby(stretch, observed=True)["sound"].agg(["sum", "size"])


def test_the_demo_herd_is_counted_as_by_hand(demo_ledger: Ledger) -> None:
    farm = "Osier End"
    answer = resolution(demo_ledger, Selection(farms=(farm,), visits=("whole-herd",)))
    expected = by_hand(demo_ledger, farm)
    found = answer.table.set_index("days_between")
    assert list(found.index) == list(expected.index)
    assert found["cases"].tolist() == expected["sum"].astype(int).tolist()
    assert found["at_risk"].tolist() == expected["size"].tolist()
    assert (found["low"] < found["prevalence"]).all() and (found["prevalence"] <= found["high"]).all()


def test_few_cows_and_none_are_said(tmp_path: Path) -> None:
    scores = (("1", 3, "2026-01-05"), ("1", 1, "2026-02-10"), ("2", 2, "2026-01-05"), ("2", 2, "2026-02-10"))
    ledger = herd(tmp_path, scorings=[scoring(cow, score, on=day) for cow, score, day in scores])
    answer = resolution(ledger, Selection(visits=("all",)))
    assert answer.table[["days_between", "cases", "at_risk"]].values.tolist() == [["31-60", 1, 1]]
    assert any("only 1 cows were lame" in caution for caution in answer.cautions)
    nothing = resolution(ledger, Selection(cows=("2",), visits=("all",)))
    assert nothing.table.empty and any("no cow was lame" in caution for caution in nothing.cautions)


@pytest.mark.parametrize("days", ["days_between"])
def test_its_own_column_has_its_own_heading(days: str) -> None:
    from evenfoot.dashboard.charts.labels import column_label

    assert column_label(days) == "Days between the scorings"
