"""Changes on farms: the planted halving is found, the planted nothing is not, and little is called little."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from analytics.ledger import Ledger
from analytics.measures.change_impact import change_impact
from analytics.mistake import Mistake
from analytics.tally.selection import Selection
from sample_data import truths
from tests.measures.herds import herd, trim
from tests.sheets import checked, ledger_of

DAYS = [f"{2024 + m // 12}-{m % 12 + 1:02d}-20" for m in range(24)]


def _rows(cases: list[int], cows: int = 40, farm: str = "Ash") -> list[dict[str, object]]:
    return [
        trim(f"{cow}", "DD" if cow < k else None, "LH" if cow < k else None, on=day, farm=farm)
        for day, k in zip(DAYS, cases, strict=False)
        for cow in range(cows)
    ]


def test_a_change_recorded_is_the_default(tmp_path: Path) -> None:
    ledger = ledger_of(
        tmp_path / "herd.duckdb",
        checked("trims", _rows([20] * 12 + [10] * 12)),
        checked("changes", [
            {"farm": "Ash", "date": "2024-02-01", "what": "new scraper"},
            {"farm": "Ash", "date": "2025-01-01", "what": "foot bath"},
            {"farm": "Birch", "date": "2025-06-01", "what": "another farm's"},
        ]),
    )  # fmt: skip
    answer = change_impact(ledger, Selection(lesions=("DD",), farms=("Ash",)))
    table = answer.table.set_index("term")
    assert table.loc["share before", "estimate"] == 0.5
    assert table.loc["share after", "estimate"] == 0.25
    assert table.loc["odds ratio, after against before", "estimate"] == pytest.approx(1 / 3)
    assert table.loc["odds ratio, level at the change", "estimate"] == pytest.approx(1 / 3)
    assert table.loc["percentage points at the end", "estimate"] == pytest.approx(-25)
    assert any("foot bath, from 2025-01-01" in note for note in answer.basis.notes)
    assert any("need not have come from it" in caution for caution in answer.cautions)
    series = answer.extra["series"]
    assert series["prevalence"].tolist() == [0.5] * 12 + [0.25] * 12
    assert series["counterfactual"].iloc[12:].tolist() == pytest.approx([0.5] * 12)
    assert series["counterfactual"].iloc[:12].isna().all()
    assert answer.extra["changes"]["what"].tolist() == ["foot bath", "new scraper"]


def test_a_change_within_a_month_splits_it(tmp_path: Path) -> None:
    rows = _rows([20] * 12 + [10] * 12) + [
        trim(f"{cow}", "DD" if cow < 20 else None, "LH" if cow < 20 else None, on="2025-01-05") for cow in range(40)
    ]
    answer = change_impact(herd(tmp_path, rows), Selection(lesions=("DD",)), change=dt.date(2025, 1, 10))
    series = answer.extra["series"]
    january = series[series["month"] == pd.Timestamp("2025-01-01")]
    assert january[["after", "cases"]].to_numpy().tolist() == [[False, 20], [True, 10]]
    assert answer.table.set_index("term").loc["share before", "estimate"] == 0.5


def test_a_farm_that_did_not_change(tmp_path: Path) -> None:
    """Both farms fall by a quarter of the cows; the change went with no more than that."""
    rows = _rows([20] * 12 + [10] * 12) + _rows([30] * 12 + [20] * 12, farm="Birch")
    ledger = herd(tmp_path, rows)
    answer = change_impact(
        ledger, Selection(lesions=("DD",), farms=("Ash",)), change=dt.date(2025, 1, 1), against="Birch"
    )
    table = answer.table.set_index("term")
    assert table.loc["percentage points more than the other farm", "estimate"] == pytest.approx(0)
    assert table.loc["odds ratio over that of the other farm", "estimate"] == pytest.approx(1.0)
    assert any("knows only two farms" in caution for caution in answer.cautions)


def test_too_little_is_said_in_words(tmp_path: Path) -> None:
    day = dt.date(2025, 1, 1)
    few_months = change_impact(herd(tmp_path / "1", _rows([20] * 15)), Selection(), change=day)
    assert few_months.table["estimate"].iloc[2:].isna().all()
    assert any("12 before and 3 after" in caution for caution in few_months.cautions)
    few_cows = change_impact(herd(tmp_path / "2", _rows([3] * 24, cows=8)), Selection(), change=day)
    assert few_cows.table["estimate"].iloc[2:].isna().all()
    assert any("fewer than 20 cows" in caution for caution in few_cows.cautions)
    for number, cases in (("3", [0] * 24), ("4", [40] * 24)):
        answer = change_impact(herd(tmp_path / number, _rows(cases)), Selection(), change=day)
        assert any("Not enough to say" in caution for caution in answer.cautions)
    nothing = change_impact(herd(tmp_path / "5", _rows([1])), Selection(farms=("Nowhere",)), change=day)
    assert nothing.empty
    assert nothing.cautions


def test_bad_requests_are_refused(tmp_path: Path) -> None:
    ledger = herd(tmp_path, _rows([3] * 3) + _rows([3] * 3, farm="Birch"))
    with pytest.raises(Mistake, match="--change"):
        change_impact(ledger, Selection())
    with pytest.raises(Mistake, match="No change is recorded for Ash"):
        change_impact(ledger, Selection(farms=("Ash",)))
    with pytest.raises(Mistake, match="cannot be the comparison farm; use one of Birch"):
        change_impact(ledger, Selection(farms=("Ash",)), change=dt.date(2025, 1, 1), against="Cedar")
    with pytest.raises(Mistake, match="cannot be the comparison farm"):
        allowed = Selection(farms=("Ash",), allowed=("Ash",))
        change_impact(ledger, allowed, change=dt.date(2025, 1, 1), against="Birch")


def test_demo_the_planted_halving_is_found(demo_ledger: Ledger) -> None:
    planted, nothing = truths.CHANGES
    answer = change_impact(
        demo_ledger, Selection(farms=(planted.farm,), lesions=(planted.lesion,)), against="Osier End"
    )
    table = answer.table.set_index("term")
    for term in ("odds ratio, after against before", "odds ratio, level at the change"):
        assert table.loc[term, "low"] < planted.odds_ratio < table.loc[term, "high"] < 1
    other = table.loc["odds ratio over that of the other farm"]
    assert other["low"] < planted.odds_ratio < other["high"] < 1
    assert any("part-herd and lame-cow visits are used too" in note for note in answer.basis.notes)
    bystander = change_impact(demo_ledger, Selection(farms=(planted.farm,), lesions=("SU",))).table
    step = bystander.set_index("term").loc["odds ratio, after against before"]
    assert step["low"] < 1 < step["high"]
    for lesions in ((nothing.lesion,), ()):
        quiet = change_impact(demo_ledger, Selection(farms=(nothing.farm,), lesions=lesions)).table.set_index("term")
        for term in ("odds ratio, after against before", "odds ratio, level at the change"):
            assert quiet.loc[term, "low"] < 1 < quiet.loc[term, "high"]
