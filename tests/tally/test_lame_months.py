"""Lameness by farm and month over many farms is what a count of days in plain Python gives, however often cows are
scored."""

from __future__ import annotations

import datetime as dt
import random
from collections import defaultdict
from typing import Any

import pytest

from analytics.ledger import Ledger
from analytics.tally.lame_counts import count_scorings
from analytics.tally.selection import Selection
from analytics.tally.series import monthly
from tests.sheets import checked, ledger_of

FARMS = {"Ash": 1, "Birch": 3, "Cedar": 1, "Dene": 2}
"""How many people score there on a day, at most."""


def scored(seed: int) -> list[dict[str, Any]]:
    draw = random.Random(seed)
    out = []
    for farm, people in FARMS.items():
        for cow in range(6):
            for day in draw.sample(range(75), 9):
                for person in range(draw.randint(1, people)):
                    scale = draw.choice(["1-5", "0-3"]) if farm == "Dene" else "1-5"
                    out.append(
                        {"farm": farm, "cow": str(cow), "date": dt.date(2026, 1, 1) + dt.timedelta(days=day),
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


@pytest.fixture(scope="module", params=[1, 2])
def filled(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Ledger, Any]:
    rows = scored(request.param)
    return ledger_of(tmp_path_factory.mktemp("l") / "l.duckdb", checked("locomotion", rows)), rows


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
