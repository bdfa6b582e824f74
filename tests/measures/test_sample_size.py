"""How many cows: a published example, the herd's own likeness of feet, and the ends."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.measures.planning.sample_size import how_many
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of


def herd(n: int, cases: int, feet: tuple[str, ...] = ("RH",), day: str = "2025-03-01") -> list[dict[str, Any]]:
    rows = []
    for cow in range(n):
        row = {"farm": "Ash", "cow": str(cow), "visit_date": day, "visit_kind": "whole-herd"}
        rows += [row | {"lesion": "SU", "foot": foot} for foot in feet] if cow < cases else [row]
    return rows


def ledger(tmp_path: Path, rows: list[dict[str, Any]]) -> Ledger:
    return ledger_of(tmp_path / "l.duckdb", checked("trims", rows))


def test_a_published_example(tmp_path: Path) -> None:
    """[pub] The formula of Fleiss, Levin & Paik 2003, chapter 4, by hand for .50 against .30 at 80 % power:
    (1.95996 sqrt(2 * .4 * .6) + .84162 sqrt(.25 + .21))^2 / .2^2 = 92.998, so 93 in each group."""
    table = how_many(ledger(tmp_path, herd(100, 50)), Selection()).table.set_index(["points", "direction"])
    row = table.loc[(0.20, "fall")]
    assert (row["needed"], row["needed_independent"], row["design_effect"]) == (93, 93, 1)
    assert (row["prevalence"], row["at_hand"], row["enough"]) == (0.5, 100, True)
    assert not table.loc[(0.05, "fall"), "enough"]
    # One half is symmetric: a rise needs as many as a fall.
    for points in (0.05, 0.10, 0.15, 0.20):
        assert table.loc[(points, "fall"), "needed"] == table.loc[(points, "rise"), "needed"]
    assert row["detectable_fall"] == pytest.approx(row["detectable_rise"])
    assert 0.19 < row["detectable_fall"] < 0.20


def test_feet_of_one_cow_that_are_all_alike_count_once(tmp_path: Path) -> None:
    """Each cow has all four feet affected or none: four feet tell what one cow does."""
    made = ledger(tmp_path, herd(200, 60, ("LF", "RF", "LH", "RH")))
    foot = how_many(made, Selection(), per="foot").table.iloc[0]
    cow = how_many(made, Selection()).table.iloc[0]
    assert foot["design_effect"] == pytest.approx(4, rel=0.02)
    assert foot["needed"] == pytest.approx(4 * cow["needed"], rel=0.02)
    assert foot["detectable_fall"] == pytest.approx(cow["detectable_fall"], rel=0.02)


def test_now_is_the_last_twelve_months(tmp_path: Path) -> None:
    rows = herd(50, 50, day="2023-03-01") + herd(50, 10)
    answer = how_many(ledger(tmp_path, rows), Selection())
    assert answer.table["prevalence"].iloc[0] == pytest.approx(0.2)
    assert "since 2024-04-01" in " ".join(answer.basis.notes)


def test_a_change_that_is_not_possible_is_missing(tmp_path: Path) -> None:
    table = how_many(ledger(tmp_path, herd(100, 8)), Selection()).table.set_index(["points", "direction"])
    assert pd.isna(table.loc[(0.10, "fall"), "needed"]) and not table.loc[(0.10, "fall"), "enough"]
    assert table.loc[(0.10, "rise"), "needed"] > 0
    assert pd.isna(table.loc[(0.05, "rise"), "detectable_fall"]) or table.loc[(0.05, "rise"), "detectable_fall"] < 0.08


@pytest.mark.parametrize(("n", "cases"), [(0, 0), (1, 0), (1, 1), (30, 0), (30, 30)])
def test_too_little_is_an_answer(tmp_path: Path, n: int, cases: int) -> None:
    answer = how_many(ledger(tmp_path, herd(n, cases)), Selection())
    assert answer.empty and "Not enough to say" in " ".join(answer.cautions)


def test_more_power_and_certainty_need_more(tmp_path: Path) -> None:
    made = ledger(tmp_path, herd(100, 30))
    plain = how_many(made, Selection()).table["needed"]
    assert (how_many(made, Selection(), power=0.9).table["needed"] > plain).all()
    assert (how_many(made, Selection(), level=0.99).table["needed"] > plain).all()
    with pytest.raises(UserError):
        how_many(made, Selection(), power=80)
    assert how_many(made, Selection(allowed=())).empty


def test_the_demonstration_herds(demo_ledger: Ledger) -> None:
    """The herd's own prevalence is where it starts; feet of one cow are alike there (a second site on the cow
    was put in), cows of one farm are alike, and one farm's cows each stand alone."""
    one = Selection(farms=("Larkmoor",), lesions=("DD",))
    table = how_many(demo_ledger, one).table
    newest = prevalence(demo_ledger, one.with_(since=pd.Timestamp("2025-11-01").date()), by=()).table
    assert table["prevalence"].iloc[0] == pytest.approx(newest["prevalence"].iloc[0])
    assert (table["design_effect"] == 1).all()
    assert (how_many(demo_ledger, one, per="foot").table["design_effect"] > 1.1).all()
    assert (how_many(demo_ledger, Selection(lesions=("DD",))).table["design_effect"] > 5).all()
    falls = table[table["direction"] == "fall"]
    assert np.all(np.diff(falls["needed"].to_numpy(dtype=float)) < 0)
