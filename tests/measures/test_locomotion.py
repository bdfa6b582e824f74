"""Share lame by period: each interval by what repeats in it, and the demo herd whose share doubles."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.locomotion import locomotion
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.cluster import cluster_proportion, cluster_sums
from evenfoot.analytics.stats.intervals import wilson
from evenfoot.sample_data import truths
from tests.measures.herds import herd, scoring


def test_each_cow_once_is_wilson(tmp_path: Path) -> None:
    ledger = herd(tmp_path, scorings=[scoring(cow, 4 if cow < 7 else 3 if cow < 12 else 1) for cow in range(40)])
    answer = locomotion(ledger, Selection())
    row = answer.table.iloc[0]
    assert (row["scored"], row["lame"], row["severe"], row["clusters"]) == (40, 12, 7, 40)
    assert (row["lame_low"], row["lame_high"]) == pytest.approx(wilson(12, 40))
    assert (row["severe_low"], row["severe_high"]) == pytest.approx(wilson(7, 40))
    assert answer.basis.method == "Wilson score interval"


def test_cows_scored_often_are_clusters(tmp_path: Path) -> None:
    """Ten of thirty cows are lame at all four scorings of the quarter: no more is known than of thirty."""
    days = ("2025-01-05", "2025-01-25", "2025-02-20", "2025-03-15")
    ledger = herd(tmp_path, scorings=[scoring(c, 4 if c < 10 else 1, on=d) for c in range(30) for d in days])
    answer = locomotion(ledger, Selection(), by=("quarter",))
    row = answer.table.iloc[0]
    expected = cluster_proportion(*cluster_sums([4] * 10 + [0] * 20, [4] * 30))
    assert (row["lame_low"], row["lame_high"]) == pytest.approx((expected.low, expected.high))
    assert row["design_effect"] == pytest.approx(4 * 30 / 29)
    assert answer.basis.method == "Cluster-robust interval, cows as clusters"
    by_month = locomotion(ledger, Selection())
    assert by_month.table["clusters"].tolist() == [30, 30, 30]


def test_pooled_farms_are_clusters_and_named_farms_are_not(tmp_path: Path) -> None:
    rows = [scoring(c, 4 if c < 2 + 3 * f else 1, farm=f"F{f}") for f in range(4) for c in range(20)]
    ledger = herd(tmp_path, scorings=rows)
    pooled = locomotion(ledger, Selection())
    assert pooled.table["clusters"].tolist() == [4]
    assert any("only 4 farms" in caution for caution in pooled.cautions)
    each = locomotion(ledger, Selection(), by=("month", "farm"))
    assert each.table["clusters"].tolist() == [20] * 4
    assert each.cautions == ()


def test_two_scales_compare_lame_or_not(tmp_path: Path) -> None:
    rows = [scoring(c, 3 if c < 5 else 2) for c in range(20)]
    rows += [scoring(100 + c, 2 if c < 5 else 1, scale="0-3") for c in range(20)]
    answer = locomotion(herd(tmp_path, scorings=rows), Selection())
    row = answer.table.iloc[0]
    assert (row["lame"], row["scored"]) == (10, 40)
    assert answer.table["mean_score"].isna().all()
    assert any("mix" in caution for caution in answer.cautions)


@pytest.mark.parametrize(("score", "share"), [(1, 0.0), (5, 1.0)])
def test_none_or_all_lame_and_nothing(tmp_path: Path, score: int, share: float) -> None:
    rows = [scoring(c, score, on=d) for c in range(25) for d in ("2025-01-03", "2025-01-20")]
    ledger = herd(tmp_path, scorings=rows)
    # Where every cow scored is lame it is a list of lame cows, and no herd.
    row = locomotion(ledger, Selection(visits=("all",))).table.iloc[0]
    assert locomotion(ledger, Selection()).empty == (share == 1)
    assert row["lame_prevalence"] == share
    assert row["lame_low"] <= share <= row["lame_high"]
    # 25 cows and not 50 scorings: at least the exact limit of as many.
    assert row["lame_high"] - row["lame_low"] > 1 - 0.025 ** (1 / 50)
    empty = locomotion(ledger, Selection(farms=("Nowhere",)))
    assert empty.empty
    assert empty.cautions


def test_demo_osier_end_doubles(demo_ledger: Ledger) -> None:
    selection = Selection(farms=(truths.RISING_FARM,))
    table = locomotion(demo_ledger, selection, by=("year",)).table.set_index("period")
    first, last = table.loc[2024], table.loc[2026]
    assert last["lame_low"] > first["lame_high"]
    newest = locomotion(demo_ledger, selection).table.iloc[-2:]
    assert newest["lame"].sum() / newest["scored"].sum() > 1.6 * first["lame_prevalence"]
