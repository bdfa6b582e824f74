"""The state of horn: hand-worked herds, merging and relabelling, edges, and what is planted in the demo herds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.domain.horn_limits import HornException, HornLimits
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.horn.horn_state import COLUMNS, horn
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

DAY = {"farm": "Ash", "visit_date": "2026-03-03", "visit_kind": "whole-herd", "foot": "RH"}


def claw(cow: str, side: str | None, length: float | None = None, **more: Any) -> dict[str, Any]:
    return {**DAY, "cow": cow, "claw": side, "toe_length_mm": length, **more}


ROWS = [
    claw("1", "lateral", 80, toe_angle_deg=48, sole_thickness_mm=6, housing="freestall", parity=1),
    claw("1", "medial", 77, toe_angle_deg=52, sole_thickness_mm=4.5, housing="freestall", parity=1),
    claw("2", "lateral", 86, toe_angle_deg=51, sole_thickness_mm=6.2, housing="pasture", parity=3),
    claw("2", "medial", 85, toe_angle_deg=45, sole_thickness_mm=5.8, housing="pasture", parity=3),
    claw("3", "lateral", 78, sole_thickness_mm=7, housing="pasture", lesion="TS", breed="Jersey"),
]


@pytest.fixture
def small(tmp_path: Path) -> Ledger:
    return ledger_of(tmp_path / "a.duckdb", checked("trims", ROWS))


def figures(ledger: Ledger, by: tuple[str, ...] = (), **more: Any) -> pd.DataFrame:
    table = horn(ledger, Selection(), by=by, **more).table
    return table.set_index([*by, "measure"])


def test_hand_worked(small: Ledger) -> None:
    answer = horn(small, Selection(), by=())
    assert tuple(answer.table.columns) == COLUMNS
    table = answer.table.set_index("measure")
    toe = table.loc["toe_length_mm"]
    assert (toe["n"], toe["cows"], toe["unit"]) == (5, 3, "mm")
    assert toe["mean"] == pytest.approx((80 + 77 + 86 + 85 + 78) / 5)
    assert (toe["q1"], toe["median"], toe["q3"]) == (78, 80, 85)
    assert toe["low"] < toe["mean"] < toe["high"]
    assert table.loc["overgrown", "mean"] == pytest.approx(3 / 5)
    # Both read: 80/48 and 85/45 are long, 77/52 and 86/51 are not.
    assert (table.loc["long_toe", "n"], table.loc["long_toe", "mean"]) == (4, 0.5)
    # 4.5 mm is under the limit; cow 3 has a thin sole on record.
    assert table.loc["thin_soled", "mean"] == pytest.approx(2 / 5)
    assert (table.loc["toe_difference_mm", "n"], table.loc["toe_difference_mm", "mean"]) == (2, 2.0)
    assert table.loc["sole_difference_mm", "mean"] == pytest.approx((1.5 + 0.4) / 2)


def test_by_housing_and_claw(small: Ledger) -> None:
    table = figures(small, ("housing", "claw"))
    assert table.loc[("pasture", "lateral", "toe_length_mm"), "mean"] == 82
    assert "toe_difference_mm" not in table.index.get_level_values("measure")
    assert figures(small, ("breed",)).loc[("not recorded", "toe_length_mm"), "n"] == 4


def test_two_rows_of_one_claw_on_one_day_count_once(tmp_path: Path) -> None:
    rows = [claw("1", "lateral", 80), claw("1", "lateral", None, sole_thickness_mm=6, lesion="WL", zone=3)]
    table = figures(ledger_of(tmp_path / "a.duckdb", checked("trims", rows)))
    assert table.loc["toe_length_mm", "n"] == 1
    assert table.loc["sole_thickness_mm", "n"] == 1


def test_toe_breaks_and_lameness(tmp_path: Path) -> None:
    scored = {"locomotion_scale": "1-5"}
    rows = [
        claw("1", "lateral", 80, toe_break_mm=4, locomotion_score=1, **scored),
        claw("2", "lateral", 80, toe_break_mm=9.5, locomotion_score=3, **scored),
        claw("3", "lateral", 80, toe_break_mm=12, locomotion_score=4, **scored),
        claw("4", "lateral", 80, toe_break_mm=13),
        claw("5", "lateral", 80, locomotion_score=4, **scored),
    ]
    answer = horn(ledger_of(tmp_path / "a.duckdb", checked("trims", rows)), Selection(), by=())
    table = answer.table.set_index("measure")
    assert table.loc["toe_break_mm", "mean"] == pytest.approx((4 + 9.5 + 12 + 13) / 4)
    assert table.loc["toe_break", "mean"] == pytest.approx(4 / 5)
    assert table.loc["toe_break_far", "mean"] == pytest.approx(2 / 4)
    assert (table.loc["toe_break_lame", "n"], table.loc["toe_break_lame", "mean"]) == (3, pytest.approx(2 / 3))
    assert answer.extra["breaks_and_lameness"].to_numpy().tolist() == [
        ["within the limit", 2, 2, 1],
        ["beyond the limit", 2, 1, 1],
    ]
    assert answer.extra["toe_breaks"]["cow"].tolist() == ["1", "2", "3", "4"]


def test_limits_follow_breed_farm_and_lactation(small: Ledger) -> None:
    jerseys = HornLimits(exceptions=(HornException(breed="Jersey", long_toe_mm=78),))
    assert figures(small, limits=jerseys).loc["overgrown", "mean"] == pytest.approx(4 / 5)
    heifers = HornLimits(exceptions=(HornException(parity=(1, 1), long_toe_mm=77, thin_sole_mm=6.5),))
    table = figures(small, limits=heifers)
    assert table.loc["overgrown", "mean"] == pytest.approx(4 / 5)
    assert table.loc["thin_soled", "mean"] == pytest.approx(3 / 5)
    elsewhere = HornLimits(exceptions=(HornException(farm="Birch", long_toe_mm=60),))
    assert figures(small, limits=elsewhere).loc["overgrown", "mean"] == pytest.approx(3 / 5)


def test_feet_and_claws_narrow_what_is_read(small: Ledger) -> None:
    assert horn(small, Selection(claws=("medial",)), by=()).table.set_index("measure").loc["toe_length_mm", "n"] == 2
    assert horn(small, Selection(feet=("LF",)), by=()).empty


def test_merging_groups_adds_counts_and_weighs_means(demo_ledger: Ledger) -> None:
    whole = figures(demo_ledger)
    parts = horn(demo_ledger, Selection(), by=("housing",)).table
    parts = parts.assign(total=parts["n"] * parts["mean"]).groupby("measure")[["n", "total"]].sum()
    assert (parts["n"] == whole["n"].reindex(parts.index)).all()
    assert (parts["total"] / parts["n"]).to_numpy() == pytest.approx(whole["mean"].reindex(parts.index).to_numpy())


def test_relabelling_cows_changes_nothing(small: Ledger, tmp_path: Path) -> None:
    renamed = [{**row, "cow": f"Cow {9 - int(row['cow'])}"} for row in reversed(ROWS)]
    other = ledger_of(tmp_path / "b.duckdb", checked("trims", renamed))
    pd.testing.assert_frame_equal(figures(small, ("housing",)), figures(other, ("housing",)))


def test_one_cow_has_no_interval_and_says_that_it_is_not_enough(tmp_path: Path) -> None:
    answer = horn(ledger_of(tmp_path / "a.duckdb", checked("trims", ROWS[:2])), Selection(), by=("housing",))
    toe = answer.table.set_index("measure").loc["toe_length_mm"]
    assert toe["mean"] == 78.5 and pd.isna(toe["low"]) and pd.isna(toe["high"])
    assert any("Not enough to say about freestall" in text for text in answer.cautions)


def test_nothing_measured_is_an_answer_in_words(tmp_path: Path) -> None:
    rows = [{**DAY, "cow": "1", "claw": "lateral", "lesion": "SU", "zone": 4}]
    answer = horn(ledger_of(tmp_path / "a.duckdb", checked("trims", rows)), Selection())
    assert answer.empty and "Not enough to say" in answer.cautions[0]
    assert answer.table.columns[:2].tolist() == ["housing", "measure"]


def test_all_and_none_overgrown_have_intervals(tmp_path: Path) -> None:
    rows = [claw(str(n), "lateral", 90) for n in range(30)]
    row = figures(ledger_of(tmp_path / "a.duckdb", checked("trims", rows))).loc["overgrown"]
    assert row["mean"] == row["high"] == 1 and 0.8 < row["low"] < 1
    rows = [claw(str(n), "lateral", 70) for n in range(30)]
    row = figures(ledger_of(tmp_path / "b.duckdb", checked("trims", rows))).loc["overgrown"]
    assert row["mean"] == row["low"] == 0 and 0 < row["high"] < 0.2


def test_a_grouping_of_findings_is_refused(small: Ledger) -> None:
    with pytest.raises(UserError, match="cannot be grouped by 'lesion'"):
        horn(small, Selection(), by=("lesion",))


def test_what_a_viewer_may_not_see_is_not_counted(small: Ledger) -> None:
    assert horn(small, Selection(allowed=("Birch",))).empty
    assert horn(small, Selection(allowed=())).empty


def test_the_demo_herds(demo_ledger: Ledger) -> None:
    """Thin soles at grass and long toes in the tie stall are planted; so is no unevenness of the heel."""
    table = figures(demo_ledger, ("housing",))
    thin = table.xs("thin_soled", level="measure")
    assert thin.loc["pasture", "low"] > thin.drop(index="pasture")["high"].max()
    toes = table.xs("toe_length_mm", level="measure")
    assert toes.loc["tie-stall", "low"] > toes.loc["freestall", "high"]
    heel = table.xs("heel_difference_mm", level="measure")
    assert heel["low"].max() < heel["high"].min()
    shed = figures(demo_ledger, ("wetness",)).xs("shed_difference", level="measure")
    assert shed.loc["mixed", "low"] > shed.loc["always-wet", "high"]
