"""In which cows lameness has changed: pairs of one cow, allowance for many groups, a planted group found alone."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.drivers import drivers
from evenfoot.analytics.measures.past_year import now_and_past, spans_of
from evenfoot.analytics.queries.cow_lameness import lame_by_cow
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.multiple_testing import benjamini_hochberg
from evenfoot.analytics.stats.paired_proportions import paired_difference
from evenfoot.dashboard.charts import drivers as drawn
from tests.sheets import checked, ledger_of

MONTHS = [*(f"2025-{month:02d}-10" for month in range(1, 13)), "2026-01-10"]


def _herd(path: Path, jump: int) -> Ledger:
    """Two groups of 60 cows, every tenth lame; in the newest month *jump* more of the high group are."""
    rows = [
        {
            "farm": "Ash", "visit_kind": "whole-herd", "visit_date": day, "cow": f"{group}{cow}", "group": group,
            "parity": 1 + cow % 2, "locomotion_scale": "1-5",
            "locomotion_score": 3 if cow < 6 + (jump if group == "high" and day == MONTHS[-1] else 0) else 1,
        }
        for day in MONTHS
        for group in ("high", "low")
        for cow in range(60)
    ]  # fmt: skip
    return ledger_of(path / "herd.duckdb", checked("trims", rows))


def test_the_group_that_rose_is_called_and_no_other(tmp_path: Path) -> None:
    answer = drivers(_herd(tmp_path, jump=24), Selection())
    table = answer.table.set_index(["grouping", "which"])
    assert table.loc[("group", "high"), "direction"] == "up"
    assert table.loc[("group", "low"), "direction"] == "unclear"
    row = table.loc[("group", "high")]
    assert (row["cases"], row["at_risk"], row["past_cases"], row["past_at_risk"]) == (30, 60, 72, 720)
    expected = paired_difference(
        [int(cow < 30) for cow in range(60)], [1] * 60, [12 * (cow < 6) for cow in range(60)], [12] * 60
    )
    assert (row["difference"], row["low"], row["high"]) == pytest.approx(
        (expected.difference, expected.low, expected.high)
    )
    assert drawn.sentences(answer)[0].startswith("Lameness is clearly up in: Group: high +40.0 points")


def test_no_group_is_called_where_the_herd_has_not_changed(tmp_path: Path) -> None:
    """Seven more lame cows in the group would be called alone, but the herd as a whole shows no clear change."""
    answer = drivers(_herd(tmp_path, jump=7), Selection())
    assert answer.table.set_index(["grouping", "which"]).loc[("group", "high"), "q_value"] < 0.05
    assert set(answer.table["direction"]) == {"unclear"}


def test_a_herd_that_did_not_change_calls_nothing(tmp_path: Path) -> None:
    answer = drivers(_herd(tmp_path, jump=0), Selection())
    assert set(answer.table["direction"]) == {"unclear"}
    assert drawn.sentences(answer) == ["No one group of cows clearly stands out against the herd's own past."]


def test_as_counted_cow_by_cow_on_the_demo(demo_ledger: Ledger) -> None:
    selection = Selection(farms=("Larkmoor",))
    table = drivers(demo_ledger, selection).table
    assert set(table["grouping"]) == {"group", "parity", "housing"}
    spans = spans_of([pd.Timestamp("2026-10-01")])
    assert spans is not None
    rows = demo_ledger.frame(
        'SELECT cow, visit_date, max("group") AS grp, avg(lame) >= 0.5 AS lame FROM scores '
        "WHERE farm = 'Larkmoor' AND visit_kind IN ('whole-herd', 'scoring') GROUP BY cow, visit_date"
    )
    for which in ("high", "low", "dry"):
        own = rows[rows["grp"] == which]
        now = own[own["visit_date"] >= pd.Timestamp(spans[0])]
        past = own[(own["visit_date"] >= pd.Timestamp(spans[2])) & (own["visit_date"] <= pd.Timestamp(spans[3]))]
        row = table[(table["grouping"] == "group") & (table["which"] == which)].iloc[0]
        assert (row["cases"], row["at_risk"]) == (now["lame"].sum(), len(now))
        assert (row["past_cases"], row["past_at_risk"]) == (past["lame"].sum(), len(past))
    adjusted, _ = benjamini_hochberg(table["p_value"])
    assert table["q_value"].to_numpy() == pytest.approx(adjusted, nan_ok=True)
    cows = lame_by_cow(demo_ledger, now_and_past(selection, spans)[0], "group")
    assert cows.groupby("level")["at_risk"].sum()["high"] == len(
        rows[(rows["grp"] == "high") & (rows["visit_date"] >= pd.Timestamp(spans[0]))]
    )


def test_several_farms_few_cows_and_nothing_are_said(demo_ledger: Ledger, tmp_path: Path) -> None:
    pooled = drivers(demo_ledger, Selection())
    assert pooled.empty and any("choose one farm" in caution for caution in pooled.cautions)
    assert "choose one farm" in drawn.describe(pooled)
    few = _herd(tmp_path, jump=0)
    answer = drivers(few, Selection(cows=tuple(f"{g}{n}" for g in ("high", "low") for n in range(8))))
    assert set(answer.table["direction"]) == {"too few"}
    assert drawn.sentences(answer)[0].startswith("Too few cows")
    assert drivers(few, Selection(farms=("Nowhere",))).empty


@pytest.mark.parametrize("narrow", [False, True])
def test_drawn_with_intervals_and_a_sign_beside_colour(tmp_path: Path, narrow: bool) -> None:
    answer = drivers(_herd(tmp_path, jump=24), Selection())
    figure = drawn.drivers(answer, narrow=narrow, drill=lambda row: {"to": str(row["which"])})
    [marks] = [trace for trace in figure.data if trace.customdata is not None]
    assert "triangle-up" in marks.marker.symbol and "circle-open" in marks.marker.symbol
    assert len(marks.error_x.array) == len(answer.table)
