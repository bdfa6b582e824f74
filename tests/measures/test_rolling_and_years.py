"""Months taken together and year over year: against counts in plain Python, and against the truths of the demo."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.rolling_window import rolling
from evenfoot.analytics.measures.lameness.years import years
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.cluster import cluster_proportion, cluster_sums
from evenfoot.analytics.stats.paired_proportions import paired_difference
from tests.measures.herds import herd, scoring, trim


def _lame_days(ledger: Ledger, farm: str) -> list[tuple[str, pd.Timestamp, int]]:
    """Cow, day and lame or not by the majority of the day, of whole-herd scorings."""
    rows = ledger.frame(
        "SELECT cow, visit_date, lame FROM scores WHERE farm = ? AND visit_kind IN ('whole-herd', 'scoring')", [farm]
    )
    said: dict[tuple[str, pd.Timestamp], list[int]] = {}
    for row in rows.itertuples():
        said.setdefault((row.cow, row.visit_date), []).append(int(row.lame))
    return [(cow, day, int(sum(votes) / len(votes) >= 0.5)) for (cow, day), votes in said.items()]


@pytest.mark.parametrize("months", [1, 3, 12])
def test_windows_as_counted_scoring_by_scoring(demo_ledger: Ledger, months: int) -> None:
    days = _lame_days(demo_ledger, "Osier End")
    table = rolling(demo_ledger, Selection(farms=("Osier End",)), months=months).table
    assert len(table) > 12
    for row in table.iloc[[0, len(table) // 2, -1]].itertuples():
        end = row.month + pd.DateOffset(months=1)
        inside = [each for each in days if end - pd.DateOffset(months=months) <= each[1] < end]
        assert (row.cases, row.at_risk) == (sum(lame for _, _, lame in inside), len(inside))
        n = Counter(cow for cow, _, _ in inside)
        m = Counter(cow for cow, _, lame in inside if lame)
        limits = cluster_proportion(*cluster_sums([m[cow] for cow in n], list(n.values())))
        assert row.clusters == len(n)
        if months > 1:
            assert (row.low, row.high) == pytest.approx((float(limits.low), float(limits.high)))


def test_a_period_shows_its_windows_with_the_months_before_it(demo_ledger: Ledger) -> None:
    whole = rolling(demo_ledger, Selection(farms=("Larkmoor",)), months=6).table
    part = rolling(
        demo_ledger, Selection(farms=("Larkmoor",), since=dt.date(2025, 3, 10), until=dt.date(2025, 8, 31)), months=6
    ).table
    assert part["month"].tolist() == list(pd.date_range("2025-03-01", "2025-08-01", freq="MS"))
    same = whole[whole["month"].isin(part["month"])].reset_index(drop=True)
    pd.testing.assert_frame_equal(part, same)


def test_windows_without_records_or_not_full_are_left_out(tmp_path: Path) -> None:
    rows = [trim(cow, "DD", "LH", on=f"2025-{month:02d}-05") for month in (1, 2, 9) for cow in range(30)]
    table = rolling(herd(tmp_path, rows), Selection(), months=3, outcome="lesion").table
    assert [f"{month:%m}" for month in table["month"]] == ["03", "04", "09"]
    short = rolling(herd(tmp_path / "2", rows[:30]), Selection(), months=3, outcome="lesion")
    assert short.empty and any("do not reach 3 months back" in caution for caution in short.cautions)
    with pytest.raises(UserError, match="window of 0 months"):
        rolling(herd(tmp_path / "3", rows), Selection(), months=0)
    with pytest.raises(UserError, match="not an outcome"):
        rolling(herd(tmp_path / "4", rows), Selection(), outcome="milk")


def test_years_compare_like_months_and_pair_cows(tmp_path: Path) -> None:
    """Thirty cows scored in March and June of two years, and in December of the first only."""
    rows = []
    for year, lame in ((2024, 9), (2025, 15)):
        for month in ("03", "06"):
            rows += [scoring(cow, 3 if cow < lame else 1, on=f"{year}-{month}-10") for cow in range(30)]
    rows += [scoring(cow, 4 if cow else 1, on="2024-12-10") for cow in range(30)]
    answer = years(herd(tmp_path, (), rows), Selection())
    table = answer.table.set_index("year")
    assert table.index.tolist() == [2025, 2024]
    assert table[["cases", "at_risk"]].to_numpy().tolist() == [[30, 60], [18, 60]]
    assert set(table["to_month"]) == {6}
    m1, m2 = ([2 * (cow < k) for cow in range(30)] for k in (15, 9))
    expected = paired_difference(m1, [2] * 30, m2, [2] * 30)
    assert table.loc[2024, "difference"] == pytest.approx(0.2)
    # Cows alone are sure enough for up; months differ besides, and two of each year say little of how much.
    assert table.loc[2024, "diff_low"] < 0 < expected.low
    assert table.loc[2024, "diff_high"] > expected.high
    assert table.loc[2024, "direction"] == "unclear"
    assert answer.extra["months"]["cases"].tolist() == [9, 9, 29, 15, 15]


def test_years_say_when_there_is_not_enough(tmp_path: Path) -> None:
    few = [scoring(cow, 1 + 2 * (cow < 3), on=f"{year}-03-10") for year in (2024, 2025) for cow in range(8)]
    assert years(herd(tmp_path / "1", (), few), Selection()).table["direction"].tolist()[1:] == ["too few"]
    one = years(herd(tmp_path / "2", (), few[8:]), Selection())
    assert any("no year before this one" in caution for caution in one.cautions)
    two_farms = [
        scoring(cow, 3 if cow < 9 else 1, on=f"{y}-03-10", farm=f)
        for y in (2024, 2025)
        for f in "AB"
        for cow in range(30)
    ]
    pooled = years(herd(tmp_path / "3", (), two_farms), Selection())
    assert pooled.table["direction"].tolist()[1:] == ["pooled"]
    assert years(herd(tmp_path / "4", (), few), Selection(farms=("Nowhere",))).empty


def test_the_rise_planted_at_osier_end_is_seen_and_no_other(demo_ledger: Ledger) -> None:
    risen = years(demo_ledger, Selection(farms=("Osier End",))).table
    assert risen["direction"].tolist()[1:] == ["up"] * (len(risen) - 1)
    calm = years(demo_ledger, Selection(farms=("Larkmoor",))).table
    assert "up" not in calm["direction"].tolist()
