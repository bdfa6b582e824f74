"""Trend and season: what was planted in the demo herds is found, what was not is not."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.season import season
from evenfoot.analytics.measures.lameness.trend import trend
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.trend import cochran_armitage
from evenfoot.sample_data import truths
from tests.measures.herds import herd, scoring, trim

MONTHS = [f"{y}-{m:02d}-05" for y in (2024, 2025) for m in range(1, 13)]


def _rows(shares: list[float], cows: int = 40, farm: str = "Ash", seed: int = 1) -> list[dict[str, object]]:
    rng = np.random.default_rng(seed)
    return [
        scoring(f"{farm}{cow}", 4 if rng.random() < share else 1, on=day, farm=farm)
        for day, share in zip(MONTHS, shares, strict=False)
        for cow in range(cows)
    ]


def _of(table: pd.DataFrame, term: str) -> pd.Series:
    return table.set_index("term").loc[term]


def test_trend_by_hand(tmp_path: Path) -> None:
    lame = [40 + 3 * month for month in range(24)]
    rows = [
        scoring(f"{cow}", 4 if cow < cases else 1, on=day)
        for day, cases in zip(MONTHS, lame, strict=True)
        for cow in range(200)
    ]
    answer = trend(herd(tmp_path, scorings=rows), Selection())
    plain = cochran_armitage(lame, [200] * 24)
    assert _of(answer.table, "percentage points a year")["estimate"] == pytest.approx(100 * 12 * plain.slope)
    slope = _of(answer.table, "odds ratio a year")
    # From 40 of 200 to 109 of 200 over 23 months.
    assert slope["estimate"] == pytest.approx(((109 / 91) / (40 / 160)) ** (12 / 23), rel=0.05)
    assert slope["low"] > 1
    assert answer.extra["series"]["cases"].tolist() == lame
    assert any("rises" in note for note in answer.basis.notes)


def test_months_that_wander_together_are_no_trend(tmp_path: Path) -> None:
    """Months drift for no reason (autocorrelation 0.8): the test of independent scorings calls it a trend."""
    rng = np.random.default_rng(30)
    months = [f"{2022 + m // 12}-{m % 12 + 1:02d}-05" for m in range(36)]
    steps = rng.normal(0, 0.3, 36)
    wander = steps[:1].tolist()
    for step in steps[1:]:
        wander.append(0.8 * wander[-1] + 0.6 * step)
    lame = rng.binomial(80, 1 / (1 + np.exp(1.3 - np.array(wander))))
    rows = [scoring(cow, 4 if cow < k else 1, on=day) for day, k in zip(months, lame, strict=True) for cow in range(80)]
    answer = trend(herd(tmp_path, scorings=rows), Selection())
    assert cochran_armitage(lame, [80] * 36).p_value < 0.01
    slope = _of(answer.table, "odds ratio a year")
    assert slope["low"] < 1 < slope["high"]
    assert any("No trend can be told from chance" in note for note in answer.basis.notes)


def test_a_herd_seen_in_the_same_two_months_has_a_trend(tmp_path: Path) -> None:
    days = [f"{2018 + k // 2}-{4 + 6 * (k % 2):02d}-10" for k in range(14)]
    share = 1 / (1 + np.exp(1.6 - 0.3 * (np.arange(14) % 2) - np.log(1.5) * np.arange(14) / 2))
    rows = [
        trim(cow, "DD" if cow < 150 * part else None, "LH" if cow < 150 * part else None, on=day)
        for day, part in zip(days, share, strict=True)
        for cow in range(150)
    ]
    slope = _of(trend(herd(tmp_path, rows), Selection(lesions=("DD",))).table, "odds ratio a year")
    assert 1.2 < slope["low"] < 1.5 < slope["high"]


def test_whose_turn_it_was_is_no_trend(tmp_path: Path) -> None:
    """A sound farm scored in the first year and a lame farm in the second: within farms nothing moves."""
    first = _rows([0.1] * 12, farm="Ash")
    second = [row for row in _rows([0.0] * 9 + [0.4] * 15, farm="Birch", seed=4) if str(row["date"]) > "2024-10"]
    answer = trend(herd(tmp_path, scorings=[*first, *second]), Selection())
    slope = _of(answer.table, "odds ratio a year")
    assert slope["low"] < 1 < slope["high"]
    assert len(answer.table) == 3, "a line through farms pooled would say the contrary"


@pytest.mark.parametrize("measure", [trend, season])
def test_too_little_is_said_in_words(tmp_path: Path, measure: object) -> None:
    ledger = herd(
        tmp_path,
        [trim(cow, on=day) for cow, day in itertools.product(range(30), MONTHS[:3])],
        [scoring(cow, 4, on=day) for cow in range(3) for day in MONTHS],
    )
    few_cows = measure(ledger, Selection(visits=("all",)))  # type: ignore[operator]
    assert few_cows.table.iloc[:2]["estimate"].isna().all()
    assert any("Not enough to say" in caution for caution in few_cows.cautions)
    no_case = measure(ledger, Selection(lesions=("SU",)))  # type: ignore[operator]
    assert any("Not enough to say" in caution for caution in no_case.cautions)
    nothing = measure(ledger, Selection(farms=("Nowhere",)))  # type: ignore[operator]
    assert nothing.empty
    assert nothing.cautions


def test_all_lame_is_no_trend(tmp_path: Path) -> None:
    ledger = herd(tmp_path, scorings=[scoring(cow, 5, on=day) for cow in range(25) for day in MONTHS[:8]])
    for measure in (trend, season):
        answer = measure(ledger, Selection(visits=("all",)))  # a list of lame cows is not counted unless asked for
        assert any("every unit, is a case" in c or "every cow, is a case" in c for c in answer.cautions)


def test_season_of_a_made_up_wave(tmp_path: Path) -> None:
    wave = [1 / (1 + np.exp(1.2 - 0.9 * np.cos(2 * np.pi * (m % 12 - 9) / 12))) for m in range(24)]
    table = season(herd(tmp_path, scorings=_rows(wave, cows=60)), Selection()).table
    ratio, peak = _of(table, "peak-to-trough odds ratio"), _of(table, "month of peak")
    assert ratio["low"] < np.exp(1.8) < ratio["high"]
    assert peak["low"] < 10.5 < peak["high"]
    assert peak["words"].endswith("October")


def test_demo_only_the_rising_farm_rises(demo_ledger: Ledger) -> None:
    answer = trend(demo_ledger, Selection())
    by_farm = answer.extra["by_farm"].set_index("farm")
    for farm, row in by_farm.iterrows():
        if farm == truths.RISING_FARM:
            assert row["low"] > 1
            assert row["p_value"] < 0.05
        else:
            assert row["low"] < 1 < row["high"]
    assert any("rises on Osier End" in caution for caution in answer.cautions)
    # Since the rise began there are twelve months, over which months that wander hide it.
    alone = trend(demo_ledger, Selection(farms=(truths.RISING_FARM,), since=truths.RISING_FROM))
    slope = _of(alone.table, "odds ratio a year")
    assert slope["low"] < 1 < slope["estimate"] < slope["high"]


def test_demo_seasons(demo_ledger: Ledger) -> None:
    dd = season(demo_ledger, Selection(lesions=("DD",))).table
    ratio, peak = _of(dd, "peak-to-trough odds ratio"), _of(dd, "month of peak")
    assert ratio["low"] < np.exp(2 * truths.DD_WINTER) < ratio["high"]
    # The peak was put in the middle of January; the interval runs across New Year.
    assert peak["low"] > 11 or peak["low"] < 1.5 < peak["high"]
    assert peak["words"] == "mid-January"
    lame = season(demo_ledger, Selection())
    by_farm = lame.extra["by_farm"].set_index("farm")
    assert by_farm.loc[truths.AUTUMN_FARM, "low"] < np.exp(2 * truths.LAME_AUTUMN)
    assert by_farm.loc[truths.AUTUMN_FARM, "peak_low"] < 9.6 < by_farm.loc[truths.AUTUMN_FARM, "peak_high"]
    assert by_farm.drop(index=truths.AUTUMN_FARM)["peak_month"].isna().all()
