"""What lesions cost: by hand, against closed forms, and on the demonstration herds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.cost import cost
from evenfoot.analytics.measures.lesions.incidence import incidence
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of


def trim(cow: int, lesion: str | None, day: str = "2025-03-01") -> dict[str, Any]:
    row = {"farm": "Ash", "cow": str(cow), "visit_date": day, "visit_kind": "whole-herd"}
    return row | {"lesion": lesion, "foot": "RH" if lesion else None}


def herd(tmp_path: Path, counts: dict[str, int], name: str = "l") -> Ledger:
    """So many cows with each lesion, each seen again healthy half a year later."""
    rows, cow = [], 0
    for lesion, n in counts.items():
        for _ in range(n):
            cow += 1
            rows += [trim(cow, lesion), trim(cow, None, "2025-09-01")]
    return ledger_of(tmp_path / f"{name}.duckdb", checked("trims", rows))


def test_cases_times_the_users_price(tmp_path: Path) -> None:
    ledger = herd(tmp_path, {"SU": 30, "DD": 100, "WL": 4})
    answer = cost(ledger, Selection(), price={"SU": 200, "DD": 40}, currency="EUR 2026")
    table = answer.table.set_index("lesion")
    assert table["cost"].to_dict() == pytest.approx({"SU": 6000, "DD": 4000, "WL": np.nan}, nan_ok=True)
    assert answer.table["lesion"].tolist() == ["SU", "DD", "WL"]
    assert table["saving_if_halved"].to_dict() == pytest.approx({"SU": 3000, "DD": 2000, "WL": np.nan}, nan_ok=True)
    assert table.loc[["SU", "DD"], "currency"].tolist() == ["EUR 2026"] * 2
    assert table.loc["SU", "share"] == pytest.approx(0.6)
    # Jeffreys limits of 30 events: gamma(30.5) quantiles 20.61 and 42.18 [scipy.stats.gamma].
    from scipy.stats import gamma

    low, high = gamma.ppf([0.025, 0.975], 30.5) * 200
    assert table.loc["SU", "low"] == pytest.approx(low, rel=0.02)
    assert table.loc["SU", "high"] == pytest.approx(high, rel=0.02)
    said = " ".join(answer.cautions)
    assert "There is no price for white line disease" in said and "Sole ulcer costs most: 6,000 EUR 2026" in said
    total = answer.extra["total"].iloc[0]
    assert (total["cases"], total["cost"]) == (130, 10000)
    assert total["low"] > table.loc[["SU", "DD"], "low"].sum() and total["high"] < table.loc[["SU", "DD"], "high"].sum()


def test_published_prices(tmp_path: Path) -> None:
    """Dolecheck et al. 2018, ADSA abstract M213 [pub]: DD 137 ± 36, WL 203 ± 33, SU 252 ± 39 US$ a case."""
    answer = cost(herd(tmp_path, {"SU": 1000, "WL": 10, "DD": 20, "SH": 3}), Selection())
    table = answer.table.set_index("lesion")
    assert table["cost"].to_dict() == pytest.approx({"SU": 252_000, "DD": 2740, "WL": 2030, "SH": np.nan}, nan_ok=True)
    assert set(table["currency"].dropna()) == {"USD 2018"}
    # With 1000 cases nearly all the doubt is the price's: 252 * 1000 -/+ 1.96 * sqrt(39² * 1000² + 252² * 1000).
    spread = 1.96 * np.sqrt((39 * 1000) ** 2 + 252**2 * 1000)
    assert (table.loc["SU", "high"] - table.loc["SU", "low"]) / 2 == pytest.approx(spread, rel=0.03)
    assert any("Dolecheck et al. 2018" in note for note in answer.basis.notes)
    again = cost(herd(tmp_path, {"SU": 1000, "WL": 10, "DD": 20, "SH": 3}, "again"), Selection()).table
    pd.testing.assert_frame_equal(again, answer.table)


def test_too_little_is_an_answer(tmp_path: Path) -> None:
    nothing = cost(ledger_of(tmp_path / "a.duckdb"), Selection())
    assert nothing.empty and "Not enough to say" in " ".join(nothing.cautions)
    healthy = cost(ledger_of(tmp_path / "b.duckdb", checked("trims", [trim(1, None)])), Selection(lesions=("SU",)))
    assert healthy.table[["cases", "cost", "low"]].values.tolist() == [[0, 0, 0]] and healthy.table["high"].iloc[0] > 0
    unpriced = cost(herd(tmp_path, {"IH": 3}, "c"), Selection())
    assert unpriced.table["cost"].isna().all() and unpriced.extra["total"].empty
    assert "There is no price for interdigital hyperplasia" in " ".join(unpriced.cautions)
    assert cost(herd(tmp_path, {"SU": 3}, "d"), Selection(allowed=())).table["cases"].sum() == 0


def test_a_price_without_a_currency_is_said(tmp_path: Path) -> None:
    answer = cost(herd(tmp_path, {"SU": 3}), Selection(), price={"su": 200})
    assert answer.table["currency"].tolist() == ["currency not stated"]
    assert "give them with --currency" in " ".join(answer.cautions)


@pytest.mark.parametrize("price", [{"XX": 1}, {"SU": -1}, {"SU": float("nan")}, {"WLA": 100}, {"SU": 1e12}])
def test_a_price_that_cannot_be_is_said(demo_ledger: Ledger, price: dict[str, float]) -> None:
    with pytest.raises(UserError):
        cost(demo_ledger, Selection(), price=price)


def test_the_demonstration_herds(demo_ledger: Ledger) -> None:
    """Cases are those of the incidence; digital dermatitis, the commonest put in, costs most at one price."""
    cases = incidence(demo_ledger, Selection()).table.set_index("lesion")["new_cases"]
    table = cost(demo_ledger, Selection(), price=dict.fromkeys(cases.index, 100.0), currency="EUR 2026").table
    assert table["lesion"].iloc[0] == "DD"
    assert table.set_index("lesion")["cost"].to_dict() == (cases * 100.0).to_dict()
    assert table["share"].sum() == pytest.approx(1)
    assert ((table["low"] < table["cost"]) & (table["cost"] < table["high"])).all()
