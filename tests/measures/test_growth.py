"""Growth between looks: hand-worked pairs, what breaks a pair, drawing toward the published rate, the demo herds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.horn.growth import growth
from evenfoot.analytics.queries.horn_growth import DAYS_A_MONTH, growth_pairs
from evenfoot.analytics.queries.selection import Selection
from evenfoot.sample_data import truths
from tests.sheets import checked, ledger_of


def look(day: str, found: float | None, left: float | None, cow: str = "1", **more: Any) -> dict[str, Any]:
    return {
        "farm": "Ash",
        "visit_date": day,
        "visit_kind": "whole-herd",
        "cow": cow,
        "foot": "RH",
        "claw": "lateral",
        "toe_length_mm": found,
        "toe_length_after_mm": left,
        **more,
    }


def ledger(path: Path, rows: list[dict[str, Any]], **sheets: list[dict[str, Any]]) -> Ledger:
    more = [checked(kind, content) for kind, content in sheets.items()]
    return ledger_of(path / "g.duckdb", checked("trims", rows), *more)


JANUARY_TO_JULY = [look("2026-01-10", 84, 75, housing="freestall"), look("2026-07-10", 87, 76, housing="pasture")]


def test_a_pair_by_hand(tmp_path: Path) -> None:
    made = ledger(tmp_path, JANUARY_TO_JULY)
    answer = growth(made, Selection(), by=())
    row = answer.table.iloc[0]
    months = 181 / DAYS_A_MONTH
    assert (row["pairs"], row["cows"]) == (1, 1)
    assert row["months"] == pytest.approx(months)
    assert row["raw_mean"] == pytest.approx((87 - 75) / months)
    # One pair says little: the figure lies between the record and the published 4 mm a month.
    assert row["raw_mean"] < row["mm_per_month"] < 4
    assert 0 < row["shrink_weight"] < 1 and row["low"] < row["mm_per_month"] < row["high"]
    assert any("Not enough to say how unlike cows are" in text for text in answer.cautions)


def test_time_is_shared_out_over_seasons_and_housings(tmp_path: Path) -> None:
    periods = [
        {"farm": "Ash", "starts_on": "2025-10-01", "ends_on": "2026-04-30", "housing": "tie-stall"},
        {"farm": "Ash", "starts_on": "2026-05-01", "housing": "pasture", "pasture": True},
    ]
    made = ledger(tmp_path, JANUARY_TO_JULY, housing=periods)
    table = growth(made, Selection(), by=("housing", "season")).table.set_index(["housing", "season"])
    days = table["months"] * DAYS_A_MONTH
    expected = {
        ("tie-stall", "winter"): 50,
        ("tie-stall", "spring"): 61,
        ("pasture", "spring"): 31,
        ("pasture", "summer"): 39,
    }
    assert set(days.index) == set(expected)
    assert all(abs(days[key] - count) <= 6 for key, count in expected.items())
    assert days.sum() == pytest.approx(181)


def test_without_housing_periods_the_nearer_visit_says(tmp_path: Path) -> None:
    table = growth(ledger(tmp_path, JANUARY_TO_JULY), Selection(), by=("housing",)).table.set_index("housing")
    assert table["months"].to_numpy() * DAYS_A_MONTH == pytest.approx([90.5, 90.5], abs=6)


def test_housing_follows_the_cow_from_group_to_group(tmp_path: Path) -> None:
    register = [{"farm": "Ash", "cow": "1", "group_moves": "2025-12-01 milking; 2026-04-11 dry"}]
    periods = [
        {"farm": "Ash", "group": "milking", "starts_on": "2025-01-01", "housing": "freestall"},
        {"farm": "Ash", "group": "dry", "starts_on": "2025-01-01", "housing": "bedded-pack"},
    ]
    made = ledger(tmp_path, JANUARY_TO_JULY, register=register, housing=periods)
    table = growth(made, Selection(), by=("housing",)).table.set_index("housing")
    assert table["months"].to_dict() == pytest.approx(
        {"freestall": 91 / DAYS_A_MONTH, "bedded-pack": 90 / DAYS_A_MONTH}, abs=0.2
    )


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ([look("2026-01-10", 84, 75), look("2026-07-10", 70, 70, toe_break_mm=8)], "broken"),
        ([look("2026-01-10", 84, 75), look("2026-01-20", 77, 75)], "time"),
        ([look("2024-01-10", 84, 75), look("2026-01-20", 90, 75)], "time"),
        ([look("2026-01-10", 84, 75), look("2026-03-10", 120, 75)], "impossible"),
        ([look("2026-01-10", 84, 75), look("2026-03-10", 65, 65)], "impossible"),
        (
            [
                look("2026-01-10", 84, 75),
                {"farm": "Ash", "visit_date": "2026-04-01", "visit_kind": "part-herd", "cow": "1", "lesion": None},
                look("2026-07-10", 84, 75),
            ],
            "trimmed",
        ),
    ],
)
def test_what_breaks_a_pair(tmp_path: Path, rows: list[dict[str, Any]], why: str) -> None:
    made = ledger(tmp_path, rows)
    assert growth_pairs(made, Selection(), ()).left_out == {why: 1}
    answer = growth(made, Selection())
    assert answer.empty and "The published rate is 4 mm a month" in answer.cautions[0]
    assert any("1 pairs were left out" in text for text in answer.basis.notes)


def test_a_lame_cow_call_in_between_breaks_nothing(tmp_path: Path) -> None:
    call = {
        "farm": "Ash",
        "visit_date": "2026-04-01",
        "visit_kind": "lame-cow",
        "cow": "1",
        "lesion": "SU",
        "foot": "LH",
    }
    assert len(growth_pairs(ledger(tmp_path, [*JANUARY_TO_JULY, call]), Selection(), ()).pairs) == 1


def test_the_second_look_decides_what_a_selection_holds(tmp_path: Path) -> None:
    made = ledger(tmp_path, JANUARY_TO_JULY)
    assert len(growth_pairs(made, Selection(housing=("pasture",)), ()).pairs) == 1
    assert len(growth_pairs(made, Selection(since=pd.Timestamp("2026-07-01").date()), ()).pairs) == 1
    assert growth_pairs(made, Selection(housing=("freestall",)), ()).pairs.empty
    assert growth_pairs(made, Selection(allowed=()), ()).pairs.empty


def test_other_claws_and_other_cows_make_no_pair(tmp_path: Path) -> None:
    rows = [look("2026-01-10", 84, 75), look("2026-07-10", 87, 76, claw="medial"), look("2026-07-10", 87, 76, cow="2")]
    assert growth_pairs(ledger(tmp_path, rows), Selection(), ()).pairs.empty


def herd(rng: np.random.Generator, cows: int, rate: float) -> list[dict[str, Any]]:
    rows = []
    for number in range(cows):
        own = rate + 0.3 * rng.normal()
        for day, months in (
            ("2025-01-10", 0.0),
            ("2025-05-10", 120 / DAYS_A_MONTH),
            ("2025-10-10", 153 / DAYS_A_MONTH),
        ):
            found = 76 + own * months + 1.0 * rng.normal()
            rows.append(look(day, round(found, 1), 76, cow=str(number)))
    return rows


def test_few_records_are_drawn_toward_the_published_rate_and_many_are_not(tmp_path: Path) -> None:
    few = growth(ledger(tmp_path / "a", herd(np.random.default_rng(1), 2, 1.5)), Selection(), by=()).table.iloc[0]
    many = growth(ledger(tmp_path / "b", herd(np.random.default_rng(1), 80, 1.5)), Selection(), by=()).table.iloc[0]
    assert few["shrink_weight"] < many["shrink_weight"]
    assert many["low"] < 1.5 < many["high"] and many["high"] - many["low"] < 0.3
    assert many["mm_per_month"] == pytest.approx(many["raw_mean"], abs=0.05)
    assert few["mm_per_month"] > few["raw_mean"]


def test_relabelling_cows_changes_nothing(tmp_path: Path) -> None:
    rows = herd(np.random.default_rng(2), 20, 2.0)
    one = growth(ledger(tmp_path / "a", rows), Selection(), by=("season",)).table
    renamed = [{**row, "cow": f"x{99 - int(row['cow'])}"} for row in reversed(rows)]
    two = growth(ledger(tmp_path / "b", renamed), Selection(), by=("season",)).table
    pd.testing.assert_frame_equal(one, two, rtol=1e-4)


def test_groupings_that_make_no_sense_are_refused(demo_ledger: Ledger) -> None:
    with pytest.raises(UserError, match="cannot be grouped by 'zone'"):
        growth(demo_ledger, Selection(), by=("zone",))
    with pytest.raises(UserError, match="leave out a grouping"):
        growth(demo_ledger, Selection(), by=("housing", "season", "claw", "sire"))


def test_nothing_measured_is_an_answer_in_words(tmp_path: Path) -> None:
    answer = growth(ledger(tmp_path, [look("2026-01-10", 84, 75)]), Selection())
    assert answer.empty and answer.table.columns[:4].tolist() == ["housing", "season", "claw", "pairs"]
    assert "Not enough to say" in answer.cautions[0]


def test_the_demo_herds_grow_as_was_put_in(demo_ledger: Ledger) -> None:
    """Every rate of the known table within 0.2 mm a month, and nine of ten of them inside their 95 % interval."""
    answer = growth(demo_ledger, Selection(), by=("housing", "floor", "season", "claw"))
    table = answer.table
    truth = np.array(
        [
            truths.net_growth(row["housing"], row["floor"], row["season"], row["claw"])
            for row in table.to_dict("records")
        ]
    )
    assert len(table) == 36
    assert np.abs(table["mm_per_month"] - truth).max() < 0.2
    assert ((table["low"] <= truth) & (truth <= table["high"])).mean() >= 0.9
    spread = answer.extra["spread"].iloc[0]
    assert spread["sd"] == pytest.approx(truths.MEASURING_ERROR, abs=0.1)
    assert spread["estimated"] and spread["sd_herd"] < 0.15
    assert (table["shrink_weight"] > 0.9).all()


def test_demo_lateral_claws_gain_less_everywhere(demo_ledger: Ledger) -> None:
    table = growth(demo_ledger, Selection(), by=("housing", "claw")).table.set_index(["housing", "claw"])[
        "mm_per_month"
    ]
    assert (table.xs("lateral", level="claw") < table.xs("medial", level="claw")).all()
