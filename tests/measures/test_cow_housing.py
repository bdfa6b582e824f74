"""How cows stood from day to day, and how they are expected to stand."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.measures.horn.cow_housing import Places
from evenfoot.analytics.queries.cow_status import herd_on
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

PERIODS = [
    {"farm": "Ash", "group": "milking", "starts_on": "2025-04-01", "ends_on": "2025-10-31", "housing": "pasture"},
    {"farm": "Ash", "group": "milking", "starts_on": "2025-11-01", "ends_on": "2026-03-31", "housing": "tie-stall"},
    {"farm": "Ash", "group": "milking", "starts_on": "2026-04-01", "housing": "pasture"},
    {"farm": "Ash", "starts_on": "2025-01-01", "housing": "bedded-pack"},
]
REGISTER = [
    {"farm": "Ash", "cow": "1", "group_moves": "2025-01-01 milking; 2026-01-10 dry; 2026-03-10 milking"},
    {"farm": "Ash", "cow": "2"},
]


@pytest.fixture
def places(tmp_path: Path) -> Places:
    trims = [
        {"farm": "Ash", "cow": "1", "visit_date": "2026-05-01", "visit_kind": "whole-herd"},
        {"farm": "Ash", "cow": "2", "visit_date": "2026-05-01", "visit_kind": "whole-herd", "group": "milking"},
    ]
    made = ledger_of(
        tmp_path / "w.duckdb", checked("trims", trims), checked("register", REGISTER), checked("housing", PERIODS)
    )
    on = dt.date(2026, 5, 10)
    return Places.of(made, Selection(), herd_on(made, Selection(), on), on, pd.Timestamp("2025-05-01"))


def on_day(places: Places, cow: str, day: str) -> str:
    codes, row = places.housed(pd.Series([f"Ash|{cow}"]))
    return places.housings[codes[row[0], places.days.get_loc(day)]]


@pytest.mark.parametrize(
    ("day", "housing"),
    [
        ("2025-06-01", "pasture"),
        ("2025-10-31", "pasture"),
        ("2025-11-01", "tie-stall"),
        ("2026-02-01", "bedded-pack"),  # dry, in a group without periods of its own: the farm's
        ("2026-03-09", "bedded-pack"),
        ("2026-03-10", "tie-stall"),
        ("2026-05-10", "pasture"),
        ("2026-12-01", "tie-stall"),  # as a year before
        ("2027-07-01", "pasture"),
        ("2027-12-01", "tie-stall"),  # and the year after that again
    ],
)
def test_housing_day_by_day(places: Places, day: str, housing: str) -> None:
    assert on_day(places, "1", day) == housing


def test_a_cow_without_moves_is_where_she_was_last_seen(places: Places) -> None:
    assert on_day(places, "2", "2025-06-01") == "pasture"
    assert on_day(places, "2", "2026-01-20") == "tie-stall"


def test_without_periods_she_stands_as_her_last_sheet_said(tmp_path: Path) -> None:
    trims = [
        {"farm": "Ash", "cow": "1", "visit_date": "2026-05-01", "visit_kind": "whole-herd", "housing": "freestall"}
    ]
    made = ledger_of(tmp_path / "w.duckdb", checked("trims", trims))
    on = dt.date(2026, 5, 10)
    places = Places.of(made, Selection(), herd_on(made, Selection(), on), on, pd.Timestamp("2026-05-01"))
    assert {on_day(places, "1", day) for day in ("2026-05-01", "2026-05-10", "2027-05-01")} == {"freestall"}
