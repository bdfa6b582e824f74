"""Signals across farms: each farm as its own control chart has it, the planted rise first, few months left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.control_chart import control_chart
from evenfoot.analytics.measures.lameness.monthly_chart import LATELY_MONTHS
from evenfoot.analytics.measures.lameness.signals import signals
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts import signals as drawn
from tests.measures.herds import herd, scoring


def test_each_farm_is_its_own_control_chart(demo_ledger: Ledger) -> None:
    answer = signals(demo_ledger, Selection())
    assert len(answer.table) == 5
    for row in answer.table.itertuples():
        own = control_chart(demo_ledger, Selection(farms=(row.farm,))).table
        newest = own.iloc[-1]
        assert (row.month, row.cases, row.at_risk) == (newest["month"], newest["cases"], newest["at_risk"])
        assert (row.lower, row.upper) == pytest.approx((newest["lower"], newest["upper"]))
        year = own[own["month"] > newest["month"] - pd.DateOffset(months=12)]
        told = year[year["signal"] != ""]
        assert row.signals_a_year == len(told)
        assert row.signal == ("" if told.empty else told["signal"].iloc[-1])
        half = told[told["month"] > newest["month"] - pd.DateOffset(months=LATELY_MONTHS)]
        assert (row.signals_half_year, row.lately) == (len(half), len(half) > 0)
        shown = answer.extra["months"]
        assert shown.loc[shown["farm"] == row.farm, "month"].tolist() == year["month"].tolist()


def test_the_planted_rise_is_first_and_alone_of_late(demo_ledger: Ledger) -> None:
    table = signals(demo_ledger, Selection()).table
    assert table["farm"].iloc[0] == "Osier End"
    assert table["lately"].tolist() == [True, False, False, False, False]
    assert [line.split(",")[0] for line in drawn.sentences(signals(demo_ledger, Selection()))] == ["Osier End"]


def test_what_may_not_be_seen_or_does_not_reach_is_left_out(demo_ledger: Ledger) -> None:
    allowed = signals(demo_ledger, Selection(allowed=("Larkmoor",)))
    assert allowed.table["farm"].tolist() == ["Larkmoor"]
    seldom = signals(demo_ledger, Selection(lesions=("DD",)))
    assert seldom.empty and any("more than 12 months with records are needed" in caution for caution in seldom.cautions)
    assert len(seldom.extra["without"]) == 5
    assert signals(demo_ledger, Selection(farms=("Nowhere",))).empty


def test_farms_that_cannot_be_judged_are_named_and_the_loudest_has_its_own_odds(tmp_path: Path) -> None:
    """Two farms have enough months; on one of them lameness trebles for half a year. The third was scored once."""

    def scored(farm: str, month: int, lame: int) -> list[dict[str, object]]:
        on = f"{2024 + month // 12}-{1 + month % 12:02d}-10"
        return [scoring(cow, 3 if (cow + 7 * month) % 60 < lame else 1, on, farm) for cow in range(60)]

    rows = [row for month in range(20) for row in scored("Ash", month, 6 if month < 14 else 24)]
    rows += [row for month in range(20) for row in scored("Birch", month, 6)] + scored("Cedar", 19, 6)
    answer = signals(herd(tmp_path, scorings=rows), Selection())
    assert answer.table["farm"].tolist() == ["Ash", "Birch"]
    said = [str(caution) for caution in answer.cautions]
    assert "Not enough months with records to judge Cedar." in said
    assert any(line.startswith("Ash: ") and "same side of the limits" in line for line in said)


def test_the_chart_says_higher_and_lower_by_shape_and_word(demo_ledger: Ledger) -> None:
    answer = signals(demo_ledger, Selection())
    for narrow in (False, True):
        figure = drawn.signals(answer, narrow=narrow, drill=lambda row: {"to": row["farm"]})
        shapes = {trace.name: trace.marker.symbol for trace in figure.data}
        assert shapes == {
            "As usual": "circle", "Higher than usual": "triangle-up", "Lower than usual": "triangle-down"
        }  # fmt: skip
        assert sum(len(trace.x) for trace in figure.data) == len(answer.extra["months"])
    assert "Osier End, Oct 2026: above the upper limit." in drawn.describe(answer).replace("\xa0", " ")
    assert drawn.describe(signals(demo_ledger, Selection(farms=("Nowhere",)))).startswith("Nothing was recorded")


def test_months_without_one_sort_of_signal_are_drawn_all_the_same(demo_ledger: Ledger) -> None:
    answer = signals(demo_ledger, Selection())
    months = answer.extra["months"]
    quiet = replace(answer, extra={**answer.extra, "months": months.assign(signal="")})
    assert [len(trace.x) for trace in drawn.signals(quiet).data] == [len(months), 0, 0]
    loud = replace(answer, extra={**answer.extra, "months": months.assign(signal="above", centre=-1.0)})
    assert [len(trace.x) for trace in drawn.signals(loud).data] == [0, len(months), 0]


def test_of_many_farms_the_newest_are_told_and_how_many_there_are(demo_ledger: Ledger) -> None:
    answer = signals(demo_ledger, Selection())
    one = answer.table[answer.table["lately"]]
    assert len(one) == 1 and len(drawn.sentences(answer)) == 1
    many = pd.concat([one.assign(farm=f"Farm {number}") for number in range(60)], ignore_index=True)
    told = drawn.sentences(replace(answer, table=pd.concat([many, answer.table[1:]], ignore_index=True)))
    assert told[0] == "60 of 64 farms have had a month out of the ordinary in their newest half year; the loudest:"
    assert len(told) == 1 + drawn.MOST_FARMS


def test_the_loudest_farms_come_first(demo_ledger: Ledger) -> None:
    table = signals(demo_ledger, Selection()).table
    assert table["signals_half_year"].is_monotonic_decreasing
    quiet = table[~table["lately"]]
    assert quiet["limit_ratio"].isna().all() and quiet["signals_a_year"].is_monotonic_decreasing
