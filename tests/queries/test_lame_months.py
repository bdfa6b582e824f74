"""Lameness by farm and month over many farms is what a count of days in plain Python gives, however often cows are
scored."""

from __future__ import annotations

import datetime as dt
import random
from collections import defaultdict
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import lame_counts
from evenfoot.analytics.queries import monthly_series as series_module
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.lame_counts import count_scorings
from evenfoot.analytics.queries.locomotion_scores import one_scoring_a_day
from evenfoot.analytics.queries.monthly_series import monthly
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, herds_of_one, ledger_of

FARMS = {"Ash": 1, "Birch": 3, "Cedar": 1, "Dene": 2}
"""How many people score there on a day, at most."""


FIRST_DAYS = (dt.date(2026, 1, 1), dt.date(2025, 2, 20), dt.date(2025, 3, 1))
"""In one number go the 62 months up to March 2025, and the next ones from April on."""


@pytest.fixture(autouse=True)
def counted_as_large(monkeypatch: pytest.MonkeyPatch) -> None:
    """The few records here are counted as those of a large ledger are."""
    for module in (lame_counts, series_module):
        monkeypatch.setattr(module, "is_large", lambda _ledger: True)


def scored(seed: int, first: dt.date = FIRST_DAYS[0]) -> list[dict[str, Any]]:
    draw = random.Random(seed)
    out = []
    for farm, people in FARMS.items():
        for cow in range(6):
            for day in draw.sample(range(75), 9):
                for person in range(draw.randint(1, people)):
                    scale = draw.choice(["1-5", "0-3"]) if farm == "Dene" else "1-5"
                    out.append(
                        {"farm": farm, "cow": str(cow), "date": first + dt.timedelta(days=day),
                         "score": draw.randint(1, 3), "scale": scale, "scorer": f"P{person}"}
                    )  # fmt: skip
    return out


def plain(rows: list[dict[str, Any]]) -> dict[dt.date, dict[str, Any]]:
    """Month -> scored, lame, severe, cows, and the sums over farms."""
    days = defaultdict(list)
    for row in rows:
        days[row["farm"], row["cow"], row["date"]].append(row)
    months: dict[Any, Any] = defaultdict(lambda: defaultdict(lambda: [0, 0, 0]))
    cows = defaultdict(set)
    for (farm, cow, day), met in days.items():
        lame = [row["score"] >= (3 if row["scale"] == "1-5" else 2) for row in met]
        severe = [row["score"] >= (4 if row["scale"] == "1-5" else 3) for row in met]
        total = months[day.replace(day=1)][farm]
        for place, what in enumerate((1, sum(lame) / len(met) >= 0.5, sum(severe) / len(met) >= 0.5)):
            total[place] += int(what)
        cows[day.replace(day=1)].add((farm, cow))
    return {
        month: {
            "scored": sum(n for n, _, _ in farms.values()),
            "lame": sum(m for _, m, _ in farms.values()),
            "severe": sum(s for _, _, s in farms.values()),
            "cows": len(cows[month]),
            "sum_nn": sum(n * n for n, _, _ in farms.values()),
            "sum_mn": sum(m * n for n, m, _ in farms.values()),
            "sum_mm": sum(m * m for _, m, _ in farms.values()),
        }
        for month, farms in months.items()
    }


@pytest.fixture(scope="module", params=enumerate(FIRST_DAYS, 1), ids=str)
def filled(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Ledger, Any]:
    rows = scored(*request.param)
    return ledger_of(
        tmp_path_factory.mktemp("l") / "l.duckdb", checked("locomotion", rows), herds_of_one(FARMS, request.param[1])
    ), rows


@pytest.mark.parametrize("farms", [(), ("Ash", "Cedar"), ("Birch", "Dene"), ("Birch",), ("Ash",)])
def test_days_of_cows_equal_a_plain_count(filled: tuple[Ledger, Any], farms: tuple[str, ...]) -> None:
    ledger, rows = filled
    found = fetch(ledger, one_scoring_a_day(Selection(farms=farms)))
    days = defaultdict(list)
    for row in rows:
        if not farms or row["farm"] in farms:
            days[row["farm"], row["cow"], row["date"]].append(row)
    assert len(found) == len(days)
    for row in found.to_dict("records"):
        met = days.pop((row["farm"], row["cow"], row["visit_date"].date()))
        lame = [one["score"] >= (3 if one["scale"] == "1-5" else 2) for one in met]
        severe = [one["score"] >= (4 if one["scale"] == "1-5" else 3) for one in met]
        assert (row["lame"], row["severe"]) == (2 * sum(lame) >= len(met), 2 * sum(severe) >= len(met))
        scales = {one["scale"] for one in met}
        if len(scales) == 1:
            assert (row["scale"], row["score"]) == (*scales, pytest.approx(sum(one["score"] for one in met) / len(met)))
        else:
            assert pd.isna(row["scale"]) and pd.isna(row["score"])
        assert row["visit_kind"] == "scoring"


@pytest.mark.parametrize("farms", [(), ("Ash", "Cedar"), ("Birch", "Ash"), ("Birch", "Dene")])
def test_months_over_farms_equal_a_plain_count(filled: tuple[Ledger, Any], farms: tuple[str, ...]) -> None:
    ledger, rows = filled
    found = count_scorings(ledger, Selection(farms=farms))
    truth = plain([row for row in rows if not farms or row["farm"] in farms])
    both = found.table.merge(found.sums["lame"].drop(columns=["sum_n", "sum_m", "clusters"]), on="month")
    for row in both.to_dict("records"):
        wanted = truth.pop(row["month"].date())
        assert {name: row[name] for name in wanted} == wanted
    assert not truth
    assert found.kinds == ["farm"] * len(both)
    assert found.table["scale"].isna().all() == (not farms or "Dene" in farms)


@pytest.mark.parametrize("by", [("month",), ("quarter",)])
@pytest.mark.parametrize("farms", [(), ("Ash", "Cedar"), ("Birch", "Ash")])
def test_a_small_ledger_says_the_same_as_a_large_one(
    filled: tuple[Ledger, Any], farms: tuple[str, ...], by: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger, _ = filled
    found, series = (
        count_scorings(ledger, Selection(farms=farms), by),
        monthly(ledger, Selection(farms=farms), "lameness"),
    )
    for module in (lame_counts, series_module):
        monkeypatch.setattr(module, "is_large", lambda _ledger: False)
    plainly = count_scorings(ledger, Selection(farms=farms), by)
    pd.testing.assert_frame_equal(found.table, plainly.table)
    for outcome, sums in found.sums.items():
        pd.testing.assert_frame_equal(sums, plainly.sums[outcome])
    pd.testing.assert_frame_equal(series, monthly(ledger, Selection(farms=farms), "lameness"))


def test_one_farm_is_told_as_among_others(filled: tuple[Ledger, Any]) -> None:
    ledger, _ = filled
    together = count_scorings(ledger, Selection(), ("month", "farm"))
    series = monthly(ledger, Selection(), "lameness")
    for farm in FARMS:
        alone = count_scorings(ledger, Selection(farms=(farm,)))
        rows = together.table["farm"] == farm
        for name in ("scored", "lame", "severe", "cows", "scale", "mean_score"):
            expected = alone.table[name].tolist()
            assert together.table.loc[rows, name].tolist() == pytest.approx(expected, nan_ok=True), name
        sums = together.sums["severe"][rows.to_numpy()].drop(columns="farm").reset_index(drop=True)
        assert sums.equals(alone.sums["severe"])
        months = series[series["farm"] == farm]
        assert months["cases"].tolist() == alone.table["lame"].tolist()
        assert months["at_risk"].tolist() == alone.table["scored"].tolist()
        assert months["cows"].tolist() == alone.table["cows"].tolist()


def mixed(seed: int) -> list[dict[str, Any]]:
    """Farms scored on one day a month, on many, and by two people; in May only Elm, on two days."""
    draw = random.Random(seed)
    plans = {"Elm": [(2, 3), (3, 9), (5, 4), (5, 20)], "Fern": [(2, 5), (3, 1)], "Gorse": [(2, 5), (2, 6), (3, 30)]}
    out = []
    for farm, days in plans.items():
        for month, day in days:
            for cow in range(7):
                for person in range(2 if farm == "Gorse" and month == 3 else 1):
                    if draw.random() < 0.8:
                        out.append({"farm": farm, "cow": str(cow), "date": dt.date(2026, month, day),
                                    "score": draw.randint(1, 5), "scale": "1-5", "scorer": f"P{person}"})  # fmt: skip
    return out


def breed_of(farm: str, cow: str) -> str:
    """The last cow of Elm is the only one of her breed."""
    return "Brown" if (farm, cow) == ("Elm", "6") else "Jersey" if int(cow) % 2 else "Holstein"


def in_plain_python(rows: list[dict[str, Any]], by: tuple[str, ...]) -> dict[Any, tuple[int, ...]]:
    """Group -> scored, lame, cows, farms, and sums of m², m·n, n² over farms, or cows of a lone farm."""
    met = defaultdict(list)
    for row in rows:
        met[row["farm"], row["cow"], row["date"]].append(row["score"] >= 3)
    groups: dict[Any, Any] = defaultdict(lambda: defaultdict(lambda: [0, 0]))
    for (farm, cow, day), lame in met.items():
        value = {"farm": farm, "month": day.month, "quarter": (day.month - 1) // 3, "year": day.year,
                 "breed": breed_of(farm, cow)}  # fmt: skip
        total = groups[tuple(value[name] for name in by)][farm, cow]
        total[0] += sum(lame) / len(lame) >= 0.5
        total[1] += 1
    out = {}
    for group, cows in groups.items():
        farms: dict[str, list[int]] = defaultdict(lambda: [0, 0])
        for (farm, _), (m, n) in cows.items():
            farms[farm][0] += m
            farms[farm][1] += n
        clusters = list(farms.values() if len(farms) > 1 else cows.values())
        out[group] = (
            sum(n for _, n in clusters), sum(m for m, _ in clusters), len(cows), len(farms),
            sum(m * m for m, _ in clusters), sum(m * n for m, n in clusters), sum(n * n for _, n in clusters),
        )  # fmt: skip
    return out


@pytest.mark.parametrize("large", [True, False], ids=["large", "plain"])
@pytest.mark.parametrize(
    "by",
    [
        (), ("month",), ("quarter",), ("year",), ("farm",), ("farm", "month"), ("breed",), ("month", "breed"),
        ("breed", "quarter"), ("year", "breed"), ("farm", "breed"),
    ],
)  # fmt: skip
def test_any_period_over_farms_equals_a_plain_count(
    tmp_path: Path, by: tuple[str, ...], large: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not large:
        monkeypatch.setattr(lame_counts, "is_large", lambda _ledger: False)
    rows = mixed(7)
    kept = [{"farm": farm, "cow": str(cow), "breed": breed_of(farm, str(cow))}
            for farm in ("Elm", "Fern", "Gorse") for cow in range(7)]  # fmt: skip
    sizes = herds_of_one(("Elm", "Fern", "Gorse"), dt.date(2026, 3, 15))
    sheets = checked("locomotion", rows), checked("register", kept), sizes
    found = count_scorings(ledger_of(tmp_path / "l.duckdb", *sheets), Selection(), by)
    part = {"month": lambda day: day.month, "quarter": lambda day: (day.month - 1) // 3}
    counted = {
        tuple(part.get(name, lambda value: value)(row[name]) for name in by): tuple(
            int(row[name]) for name in ("scored", "lame", "cows", "n_farms")
        )
        + tuple(int(sums[name]) for name in ("sum_mm", "sum_mn", "sum_nn"))
        for row, sums in zip(found.table.to_dict("records"), found.sums["lame"].to_dict("records"), strict=True)
    }
    assert counted == in_plain_python(rows, by)
