"""Shedding: hand-worked stages, weeks on grass, rows out of order, edges, and the demo herds."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.horn.shedding import shedding, standing
from evenfoot.analytics.queries.horn_shedding import stages_for_model
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

DAY = {"farm": "Ash", "visit_date": "2026-05-12", "visit_kind": "whole-herd"}


def foot(cow: str, stage: int, **more: Any) -> dict[str, Any]:
    return {**DAY, "foot": "RH", "claw": "lateral", "cow": cow, "shed_stage": stage, **more}


def ledger(path: Path, rows: list[dict[str, Any]], *periods: dict[str, Any]) -> Ledger:
    sheets = [checked("trims", rows)]
    if periods:
        sheets.append(checked("housing", list(periods)))
    return ledger_of(path / "shed.duckdb", *sheets)


def test_hand_worked_shares(tmp_path: Path) -> None:
    rows = [
        foot("1", 0, housing="tie-stall"),
        foot("2", 0, housing="tie-stall"),
        foot("3", 2, housing="pasture"),
        foot("3", 3, housing="pasture", claw="medial"),
        foot("3", 1, housing="pasture", foot="LH"),
        foot("4", 5, housing="pasture"),
    ]
    table = shedding(ledger(tmp_path, rows), Selection()).table.set_index(["housing", "shed_stage"])
    assert table.loc[("tie-stall", 0), ["feet", "share", "seen"]].tolist() == [2, 1.0, 2]
    # Two claws of one foot are one foot, at the further of their stages.
    assert table.loc["pasture"]["feet"].tolist() == [0, 1, 0, 1, 0, 1]
    assert table.loc[("pasture", 5), "share"] == pytest.approx(1 / 3)
    assert (table["low"] <= table["share"]).all() and (table["share"] <= table["high"]).all()
    assert table.groupby("housing")["share"].sum().to_numpy() == pytest.approx([1, 1])


def test_by_claw_counts_claws(tmp_path: Path) -> None:
    rows = [foot("1", 2), foot("1", 3, claw="medial"), foot("2", 3), foot("2", 3, claw="medial")]
    table = shedding(ledger(tmp_path, rows), Selection(), by=("claw",)).table.set_index(["claw", "shed_stage"])
    assert table.loc[("lateral", 2), "share"] == 0.5
    assert table.loc[("medial", 3), "share"] == 1.0


def test_weeks_since_turn_out_follow_the_group(tmp_path: Path) -> None:
    grass = {"farm": "Ash", "starts_on": "2026-04-14", "housing": "pasture", "pasture": True}
    barn = {"farm": "Ash", "group": "dry", "starts_on": "2025-10-01", "housing": "bedded-pack", "pasture": False}
    old = {**grass, "group": "milking", "starts_on": "2025-04-01", "ends_on": "2025-10-01"}
    rows = [foot("1", 2, group="milking"), foot("2", 0, group="dry")]
    frame = stages_for_model(ledger(tmp_path, rows, {**grass, "group": "milking"}, old, barn), Selection())
    weeks = frame.set_index("cow")["weeks"]
    assert weeks["1"] == 4.0 and pd.isna(weeks["2"])


def test_a_period_without_a_group_holds_for_all(tmp_path: Path) -> None:
    grass = {"farm": "Ash", "starts_on": "2026-05-05", "housing": "pasture", "pasture": True}
    frame = stages_for_model(ledger(tmp_path, [foot("1", 2), foot("2", 1, group="dry")], grass), Selection())
    assert frame["weeks"].tolist() == [1.0, 1.0]


def test_rows_out_of_order(tmp_path: Path) -> None:
    rows = [
        foot("1", 1, zone=4),  # the ulcer site goes first
        foot("2", 1, zone=7),  # the wall goes last
        foot("3", 3, zone=6),  # the heel is still left high
        foot("4", 4, zone=6),
        foot("5", 0, zone=4),  # nothing is said to be shed
        foot("6", 1, zone=7, lesion="HF"),  # the zone is the fissure's
        foot("7", 1, zone=10),  # skin is not shed
    ]
    answer = shedding(ledger(tmp_path, rows), Selection())
    assert answer.extra["out_of_order"]["cow"].tolist() == ["2", "3", "5"]
    assert any("3 rows name horn as shed" in text for text in answer.cautions)


def test_what_stands_shrinks_from_stage_to_stage() -> None:
    left = [set(text.split(", ")) - {""} for text in standing()["standing"]]
    assert all(after <= before for before, after in itertools.pairwise(left))
    assert len(left[0]) == 8 and not left[5]


def words(answer: Answer) -> str:
    return " ".join(answer.cautions)


def test_edges_answer_in_words(tmp_path: Path) -> None:
    nothing = shedding(ledger(tmp_path / "a", [foot("1", 0) | {"shed_stage": None}]), Selection())
    assert nothing.empty and "Not enough to say" in words(nothing)
    one = shedding(ledger(tmp_path / "b", [foot("1", 2)]), Selection())
    assert one.table["share"].tolist() == [0, 0, 1, 0, 0, 0] and one.table["low"].isna().all()
    assert "Not enough to say" in words(one)
    same = shedding(ledger(tmp_path / "c", [foot(str(n), 0) for n in range(40)]), Selection())
    assert "Not enough to say what shedding goes with" in words(same)
    row = same.table.iloc[0]
    assert row["share"] == row["high"] == 1 and row["low"] > 0.8
    assert "every foot is at stage 0" in same.extra["model"]["note"].tolist()


@pytest.fixture(scope="module")
def demo(demo_ledger: Ledger) -> Answer:
    return shedding(demo_ledger, Selection(), by=("wetness",))


def test_merging_groups_adds_feet(demo: Answer, demo_ledger: Ledger) -> None:
    whole = shedding(demo_ledger, Selection(), by=()).table.set_index("shed_stage")["feet"]
    assert (demo.table.groupby("shed_stage")["feet"].sum() == whole).all()


def test_demo_wet_and_dry_keep_their_horn_and_cycles_shed_it(demo: Answer) -> None:
    expected = demo.extra["expected"].set_index("wetness")
    assert (expected.loc[["always-wet", "always-dry"], "share_stage_0"] == 1).all()
    assert (expected.loc[["mixed", "wet-dry-cycles"], "high"] < 0.2).all()
    # Part-shed feet on partly dry ground are uneven, those that go through the cycle are not.
    assert expected.loc["mixed", "shed_difference_low"] > expected.loc["wet-dry-cycles", "shed_difference_high"]


def test_demo_model_finds_grass_and_the_weeks_on_it(demo: Answer) -> None:
    model = demo.extra["model"].set_index("term")
    assert model.loc["housing=pasture", "low"] > 1
    assert model.loc["weeks on grass", "low"] > 1
    assert model.loc["housing=bedded-pack", "high"] < 1
    assert "every foot is at stage 0" in model.loc["housing=tie-stall", "note"]
    assert "not a cause" in words(demo)


def test_terms_that_always_go_together_are_told_and_the_rest_is_fitted(demo_ledger: Ledger) -> None:
    """At Long Heath the whole herd is seen indoors in winter only, so winter and bedded pack are one."""
    answer = shedding(demo_ledger, Selection(farms=("Long Heath",)), by=())
    model = answer.extra["model"].set_index("term")
    told = model["note"].str.contains("cannot be told")
    assert told.sum() == 1
    assert model.loc[~told, "odds_ratio"].notna().all()
    assert model.loc["weeks on grass", "low"] > 1
    assert "nearly go together" in words(answer)
