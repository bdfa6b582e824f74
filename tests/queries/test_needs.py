"""Who needs someone now, at the edges of the days that count."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.planning.worklist import needing_someone, worklist
from evenfoot.analytics.queries.cow_status import RECENT_DAYS, RETURNING_DAYS, SCORE_DAYS
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

NOW = dt.date(2026, 6, 30)


def row(cow: str, days_ago: int, **more: Any) -> dict[str, Any]:
    return {"farm": "Ash", "cow": cow, "visit_date": NOW - dt.timedelta(days=days_ago), **more}


def score(cow: str, days_ago: int, points: int) -> dict[str, Any]:
    return row(cow, days_ago, locomotion_score=points, locomotion_scale="1-5")


def ulcers(cow: str, *days_ago: int) -> list[dict[str, Any]]:
    return [row(cow, days, foot="LH", claw="lateral", lesion="SU") for days in days_ago]


def test_days_that_count(tmp_path: Path) -> None:
    rows = [
        row("newest", 0),
        score("severe", SCORE_DAYS, 4),
        score("severe long ago", SCORE_DAYS + 1, 4),
        score("better since", SCORE_DAYS, 4), score("better since", 3, 2),
        row("deep", RECENT_DAYS, foot="LH", lesion="IP"),
        row("deep long ago", RECENT_DAYS + 1, foot="LH", lesion="IP"),
        *ulcers("comes back", RETURNING_DAYS - 1, 90, 70),
        *ulcers("twice a day", 90, 90, 20),
        row("due", 100, foot="RH", lesion="WL", recheck_on=NOW - dt.timedelta(days=80)),
        row("not due yet", 20, foot="RH", lesion="WL", recheck_on=NOW + dt.timedelta(days=1)),
        row("seen since", 100, foot="RH", lesion="WL", recheck_on=NOW - dt.timedelta(days=80)), row("seen since", 50),
    ]  # fmt: skip
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    found = needing_someone(ledger, Selection(), on=NOW).table
    assert found["cow"].tolist() == ["severe", "deep", "comes back", "due"]
    assert [(NOW - day.date()).days for day in found["since"]] == [SCORE_DAYS, RECENT_DAYS, 70, 80]
    before = needing_someone(ledger, Selection(), on=NOW - dt.timedelta(days=SCORE_DAYS)).table
    assert {"severe", "better since", "severe long ago", "deep", "deep long ago"} <= set(before["cow"])
    assert needing_someone(ledger, Selection(farms=("Birch",)), on=NOW).empty


def test_they_are_the_first_of_the_list(demo_ledger: Ledger) -> None:
    """Same cows, same order, at whatever day and farm the list is asked for."""
    for on in (dt.date(2025, 9, 1), dt.date(2026, 10, 31), dt.date(2026, 11, 28)):
        for farms in ((), ("Larkmoor",)):
            first = needing_someone(demo_ledger, Selection(farms=farms), on=on).table
            whole = worklist(demo_ledger, Selection(farms=farms), on=on).table
            assert len(first) > 5
            columns = ["rank", "farm", "cow", "who", "since", "score", "group"]
            pd.testing.assert_frame_equal(first[columns], whole[columns].head(len(first)))
            rest = whole.iloc[len(first) :]
            open_now = rest[rest["due_on"] <= pd.Timestamp(on)]
            assert set(open_now["kinds"].str.split(",").str[0]) <= {
                "never", "long-toe", "early", "dry-off", "half-year", "leave"
            }  # fmt: skip
