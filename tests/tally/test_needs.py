"""Who needs someone, at the edges of the days that count."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from analytics.tally.needs import RECENT_DAYS, RETURNING_DAYS, cows_in_need
from analytics.tally.selection import Selection
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
        score("severe", RECENT_DAYS, 4),
        score("severe long ago", RECENT_DAYS + 1, 4),
        score("better since", RECENT_DAYS, 4), score("better since", 3, 2),
        row("deep", RECENT_DAYS, foot="LH", lesion="IP"),
        row("deep long ago", RECENT_DAYS + 1, foot="LH", lesion="IP"),
        *ulcers("comes back", RETURNING_DAYS - 1, 90, 70),
        *ulcers("came back before", RETURNING_DAYS, 90, 70),
        *ulcers("twice a day", 90, 90, 70),
        row("due", 100, foot="RH", lesion="WL", recheck_on=NOW - dt.timedelta(days=80)),
        row("not due yet", 20, foot="RH", lesion="WL", recheck_on=NOW + dt.timedelta(days=1)),
        row("seen since", 100, foot="RH", lesion="WL", recheck_on=NOW - dt.timedelta(days=80)), row("seen since", 50),
    ]  # fmt: skip
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    found = cows_in_need(ledger, Selection())
    assert found.attrs["as_of"].date() == NOW
    assert found["cow"].tolist() == ["severe", "deep", "comes back", "due"]
    assert [(NOW - day.date()).days for day in found["since"]] == [RECENT_DAYS, RECENT_DAYS, 70, 80]
    # A period chosen narrows what is looked at; its newest record is the day then.
    before = cows_in_need(ledger, Selection(until=NOW - dt.timedelta(days=RECENT_DAYS)))
    assert {"severe", "better since", "severe long ago", "deep", "deep long ago"} <= set(before["cow"])
    assert cows_in_need(ledger, Selection(farms=("Birch",))).empty
