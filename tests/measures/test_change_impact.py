"""Changes on farms: the planted halving is found, the planted nothing is not, and little is called little."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.change_impact import HEADLINE, change_impact
from evenfoot.analytics.queries.change_windows import changes
from evenfoot.analytics.queries.selection import Selection
from evenfoot.sample_data import truths
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
    assert table.loc[HEADLINE, "estimate"] == pytest.approx(1 / 3, abs=0.01)
    assert table["headline"].tolist() == [term == HEADLINE for term in table.index]
    points = table.loc["percentage points, first 12 months after the change", "estimate"]
    assert points == pytest.approx(-25, abs=0.5)
    assert any("foot bath, from 2025-01-01" in note for note in answer.basis.notes)
    assert any("need not have come from it" in caution for caution in answer.cautions)
    series = answer.extra["series"]
    assert series["prevalence"].tolist() == [0.5] * 12 + [0.25] * 12
    assert series["counterfactual"].iloc[12:].tolist() == pytest.approx([0.5] * 12, abs=0.01)
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
    """Both farms lose two thirds of the odds; the change went with no more than that."""
    rows = _rows([20] * 12 + [10] * 12) + _rows([20] * 12 + [10] * 12, farm="Birch")
    ledger = herd(tmp_path, rows)
    answer = change_impact(
        ledger, Selection(lesions=("DD",), farms=("Ash",)), change=dt.date(2025, 1, 1), against="Birch"
    )
    table = answer.table.set_index("term")
    other = table.loc["odds ratio over that of the other farm"]
    assert other["estimate"] == pytest.approx(1.0, abs=0.02)
    assert other["low"] < 1 < other["high"]
    assert table["headline"].sum() == 1 and table.loc[HEADLINE, "headline"]
    assert any("knows only two farms" in caution for caution in answer.cautions)


AIMS = (
    ("Regular foot-bathing", "", "usual", "DD ID IP HHE"),
    ("pediluvio dos veces por semana", "", "usual", "DD ID IP HHE"),
    ("piso de caucho en los pasillos", "", "usual", "SU BU TU SH WL DS TS"),
    ("rubber in the alleys", "SU WL", "stated", "SU WL"),
    ("more straw", "", "", ""),
)


@pytest.mark.parametrize(("what", "lesions", "aimed", "codes"), AIMS)
def test_a_change_is_looked_at_by_what_it_aims_at(
    tmp_path: Path, what: str, lesions: str, aimed: str, codes: str
) -> None:
    ledger = ledger_of(
        tmp_path / "herd.duckdb",
        checked("trims", _rows([20] * 12 + [10] * 12)),
        checked("changes", [{"farm": "Ash", "date": "2025-01-01", "what": what, "lesions": lesions}]),
    )
    answer = change_impact(ledger, Selection(farms=("Ash",)))
    verdict = answer.extra["verdict"].iloc[0]
    assert (verdict["aimed"], verdict["lesions"]) == (aimed, codes)
    named = "any lesion" if not codes else LESIONS[codes.split()[0]].name
    assert any(note.startswith(f"Counted is {named}") for note in answer.basis.notes)
    seen = answer.table.set_index("term").loc["share before", "estimate"]
    assert seen == (0.5 if not codes or "DD" in codes else 0.0)
    chosen = change_impact(ledger, Selection(farms=("Ash",), lesions=("DD",)))
    assert chosen.extra["verdict"]["aimed"].tolist() == ["selection"]


def test_a_change_written_down_again_with_its_lesions_is_one_change(tmp_path: Path) -> None:
    row = {"farm": "Ash", "date": "2025-01-01", "what": "foot bath"}
    ledger = ledger_of(
        tmp_path / "herd.duckdb", checked("changes", [row, {**row, "lesions": "DD"}, {**row, "lesions": "HHE"}])
    )
    [found] = changes(ledger, Selection()).to_dict("records")
    assert (found["lesions"], found["aimed"]) == ("DD HHE", "stated")


def test_a_falling_farm_is_not_told_that_a_change_helped(tmp_path: Path) -> None:
    """Odds fall by a fifth a year over six years and the change does nothing; the share after is far below before."""
    share = 1 / (1 + np.exp(0.2 - np.log(0.8) * np.arange(72) / 12))
    answer = change_impact(herd(tmp_path, _long(share)), Selection(farms=("Ash",)), change=dt.date(2023, 1, 1))
    table = answer.table.set_index("term")
    assert table.loc["share after", "estimate"] < 0.75 * table.loc["share before", "estimate"]
    assert answer.extra["verdict"]["verdict"].tolist() == ["no-clear-change"]
    assert table.loc[HEADLINE, "low"] < 1 < table.loc[HEADLINE, "high"]


def test_a_herd_trimmed_in_spring_and_autumn_gets_an_answer(tmp_path: Path) -> None:
    season = np.where(np.arange(12) % 2 == 0, 0.0, 0.4)
    share = 1 / (1 + np.exp(0.8 - season - np.log(0.2) * (np.arange(12) >= 6)))
    days = [f"{2020 + k // 2}-{4 + 6 * (k % 2):02d}-10" for k in range(12)]
    ledger = herd(tmp_path, _long(share, days, cows=120))
    answer = change_impact(ledger, Selection(), change=dt.date(2023, 1, 1))
    assert answer.extra["verdict"]["verdict"].tolist() == ["better"]
    assert "Better: in the first 12 months" in " ".join(answer.basis.notes)
    few = change_impact(ledger, Selection(), change=dt.date(2024, 6, 1))
    assert any("9 before and 3 after" in caution and "36 months" in caution for caution in few.cautions)
    assert not few.table["headline"].any()


def _long(share: np.ndarray, days: list[str] | None = None, cows: int = 60) -> list[dict[str, object]]:
    days = days or [f"{2020 + m // 12}-{m % 12 + 1:02d}-20" for m in range(len(share))]
    return [
        trim(f"{cow}", "DD" if cow < round(part * cows) else None, "LH" if cow < round(part * cows) else None, on=day)
        for day, part in zip(days, share, strict=True)
        for cow in range(cows)
    ]


def test_too_little_is_said_in_words(tmp_path: Path) -> None:
    day = dt.date(2025, 1, 1)
    few_months = change_impact(herd(tmp_path / "1", _rows([20] * 15)), Selection(), change=day)
    assert few_months.table["estimate"].iloc[2:].isna().all()
    assert any("12 before and 3 after" in caution for caution in few_months.cautions)
    assert not few_months.table["headline"].any()
    few_cows = change_impact(herd(tmp_path / "2", _rows([3] * 24, cows=8)), Selection(), change=day)
    assert few_cows.table["estimate"].iloc[2:].isna().all()
    assert any("fewer than 20 cows" in caution for caution in few_cows.cautions)
    for number, cases in (("3", [0] * 24), ("4", [40] * 24)):
        answer = change_impact(herd(tmp_path / number, _rows(cases)), Selection(), change=day)
        assert any("Too few to say" in caution for caution in answer.cautions)
    nothing = change_impact(herd(tmp_path / "5", _rows([1])), Selection(farms=("Nowhere",)), change=day)
    assert nothing.empty
    assert nothing.cautions


def test_bad_requests_are_refused(tmp_path: Path) -> None:
    ledger = herd(tmp_path, _rows([3] * 3) + _rows([3] * 3, farm="Birch"))
    with pytest.raises(UserError, match="--change"):
        change_impact(ledger, Selection())
    with pytest.raises(UserError, match="No change is recorded for Ash"):
        change_impact(ledger, Selection(farms=("Ash",)))
    with pytest.raises(UserError, match="cannot be the comparison farm; use one of Birch"):
        change_impact(ledger, Selection(farms=("Ash",)), change=dt.date(2025, 1, 1), against="Cedar")
    with pytest.raises(UserError, match="cannot be the comparison farm"):
        allowed = Selection(farms=("Ash",), allowed=("Ash",))
        change_impact(ledger, allowed, change=dt.date(2025, 1, 1), against="Birch")


def test_demo_the_planted_halving_is_told_of_its_lesion(demo_ledger: Ledger) -> None:
    """Nine whole-herd visits cannot tell a halving from the luck of visits, and nothing is claimed that they cannot."""
    planted, nothing = truths.CHANGES
    answer = change_impact(demo_ledger, Selection(farms=(planted.farm,)), against="Osier End")
    verdict = answer.extra["verdict"].iloc[0]
    assert (verdict["lesions"], verdict["aimed"]) == (planted.lesion, "stated")
    table = answer.table.set_index("term")
    for term in (HEADLINE, "odds ratio over that of the other farm"):
        assert table.loc[term, "low"] < planted.odds_ratio < table.loc[term, "high"]
    assert table.loc[HEADLINE, "estimate"] < 0.75
    assert verdict["seen"] < verdict["expected"]
    assert table.loc["share after", "high"] < table.loc["share before", "low"]
    assert any("part-herd and lame-cow visits are used too" in note for note in answer.basis.notes)
    bystander = change_impact(demo_ledger, Selection(farms=(planted.farm,), lesions=("SU",))).table
    step = bystander.set_index("term").loc[HEADLINE]
    assert step["low"] < 1 < step["high"]
    quiet = change_impact(demo_ledger, Selection(farms=(nothing.farm,))).table.set_index("term")
    assert quiet.loc[HEADLINE, "low"] < 1 < quiet.loc[HEADLINE, "high"]
