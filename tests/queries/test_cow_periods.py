"""Cows by month and quarter, counted from bits, are what a plain count gives; so is what was found on them."""

from __future__ import annotations

import datetime as dt
import random
from collections import defaultdict
from typing import Any

import duckdb
import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import counts as counts_module
from evenfoot.analytics.queries import monthly_series as series_module
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import trims
from evenfoot.analytics.queries.large.cow_periods import IN_A_YEAR, cows_by_period, period_number, period_of
from evenfoot.analytics.queries.monthly_series import monthly
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

FIRST = dt.date(2024, 11, 3)
"""The months up to March 2025 go in one number, those from April on in the next; the quarters to 2030 in one."""


def trimmed(seed: int) -> list[dict[str, Any]]:
    draw = random.Random(seed)
    return [
        {
            "farm": farm, "cow": str(cow), "visit_date": FIRST + dt.timedelta(days=day), "visit_kind": "whole-herd",
            "herd_size": 1, "housing": draw.choice(["freestall", "tie-stall"]),
            "lesion": draw.choice(["SU", "DD", None, None]),
        }
        for farm in ("Elm", "Fern", "Gorse")
        for cow in range(8)
        for day in draw.sample(range(300), 7)
    ]  # fmt: skip


@pytest.fixture(autouse=True)
def counted_as_large(monkeypatch: pytest.MonkeyPatch) -> None:
    """The few records here are counted as those of a large ledger are."""
    for module in (counts_module, series_module):
        monkeypatch.setattr(module, "is_large", lambda _ledger: True)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Ledger, list[dict[str, Any]]]:
    rows = trimmed(4)
    return ledger_of(tmp_path_factory.mktemp("l") / "l.duckdb", checked("trims", rows)), rows


@pytest.mark.parametrize("period", IN_A_YEAR)
def test_the_number_of_a_period_leads_back_to_its_first_day(filled: tuple[Ledger, Any], period: str) -> None:
    days = [dt.date(1899, 12, 31), dt.date(1970, 1, 1), dt.date(2000, 2, 29)]
    days += [dt.date(2023, 1, 1) + dt.timedelta(days=5 * step) for step in range(300)]
    rows = sql.union(*(f"SELECT {sql.literal(day)} AS visit_date" for day in days))
    number = period_number("visit_date", period)
    asked = f"SELECT visit_date, {period_of(number, period)} AS first, {number} AS number FROM ({rows}) AS days"
    with duckdb.connect() as memory:
        found = memory.execute(f"{asked} ORDER BY visit_date").df()
    for row in found.itertuples():
        day = row.visit_date
        months = 12 // IN_A_YEAR[period]
        assert (row.first.year, row.first.month, row.first.day) == (
            day.year, (day.month - 1) // months * months + 1, 1,
        )  # fmt: skip
    assert (found["number"].diff().dropna() >= 0).all()


@pytest.mark.parametrize("period", IN_A_YEAR)
def test_cows_are_counted_once_a_period(filled: tuple[Ledger, list[dict[str, Any]]], period: str) -> None:
    ledger, rows = filled
    found = fetch(ledger, cows_by_period(trims(Selection()), ["farm", "housing"], period))
    wanted = defaultdict(set)
    for row in rows:
        day = row["visit_date"]
        at = day.year * 12 + day.month if period == "month" else day.year * 4 + (day.month - 1) // 3 + 1
        wanted[row["farm"], row["housing"], at].add(row["cow"])
    got = {(row["farm"], row["housing"], row["number"]): row["n"] for row in found.to_dict("records")}
    assert got == {key: len(cows) for key, cows in wanted.items()}


@pytest.mark.parametrize(
    "by", [("month",), ("quarter",), ("housing", "month"), ("quarter", "lesion"), ("quarter", "month")]
)
def test_cases_over_farms_equal_a_plain_count(
    filled: tuple[Ledger, list[dict[str, Any]]], by: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger, rows = filled
    where = tuple(name for name in by if name != "lesion")
    seen, ill = defaultdict(set), defaultdict(set)
    for row in rows:
        first = row["visit_date"].replace(day=1)
        told = {**row, "month": first, "quarter": first.replace(month=(first.month - 1) // 3 * 3 + 1)}
        seen[tuple(told[name] for name in where)].add((row["farm"], row["cow"]))
        if row["lesion"]:
            ill[tuple(told[name] for name in by)].add((row["farm"], row["cow"]))
    found = count(ledger, Selection(), by)
    assert found.cluster == "farm"
    for row in found.table.to_dict("records"):
        named = {name: row[name].date() if name in ("month", "quarter") else row[name] for name in by}
        group = seen[tuple(named[name] for name in where)]
        cases = ill[tuple(named[name] for name in by)]
        farms = [(sum(f == farm for f, _ in cases), sum(f == farm for f, _ in group)) for farm in {f for f, _ in group}]
        assert (row["cases"], row["at_risk"]) == (len(cases), len(group))
        assert (row["sum_mm"], row["sum_mn"], row["sum_nn"], row["clusters"]) == (
            sum(m * m for m, _ in farms), sum(m * n for m, n in farms), sum(n * n for _, n in farms), len(farms),
        )  # fmt: skip
    monkeypatch.setattr(counts_module, "is_large", lambda _ledger: False)
    pd.testing.assert_frame_equal(found.table, count(ledger, Selection(), by).table)


@pytest.mark.parametrize("farms", [(), ("Elm", "Gorse"), ("Fern",)])
def test_months_of_farms_with_their_cows(
    filled: tuple[Ledger, list[dict[str, Any]]], farms: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger, rows = filled
    found = monthly(ledger, Selection(farms=farms), "lesion")
    days, cows, ill = defaultdict(int), defaultdict(set), defaultdict(int)
    for row in rows:
        if not farms or row["farm"] in farms:
            key = row["farm"], row["visit_date"].replace(day=1)
            days[key] += 1
            cows[key].add(row["cow"])
            ill[key] += bool(row["lesion"])
    got = {(r["farm"], r["month"].date()): (r["at_risk"], r["cows"], r["cases"]) for r in found.to_dict("records")}
    assert got == {key: (days[key], len(cows[key]), ill[key]) for key in days}
    monkeypatch.setattr(series_module, "is_large", lambda _ledger: False)
    pd.testing.assert_frame_equal(found, monthly(ledger, Selection(farms=farms), "lesion"))
