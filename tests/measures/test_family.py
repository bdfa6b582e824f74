"""Daughters of sires: counted by hand, drawn towards the mean, and the sires put into the demonstration."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.family import MIN_DAUGHTERS, family
from evenfoot.analytics.queries.selection import Selection
from evenfoot.sample_data.truths import SIRES
from tests.sheets import checked, ledger_of


def daughter(
    cow: int, sire: str | None, lesion: str | None, farm: str = "Ash", day: str = "2025-03-01"
) -> dict[str, Any]:
    row = {"farm": farm, "cow": str(cow), "sire": sire, "visit_date": day, "visit_kind": "whole-herd"}
    return row | {"lesion": lesion, "foot": "RH" if lesion else None}


def herd(sires: dict[str, tuple[int, int]], farm: str = "Ash", start: int = 0) -> list[dict[str, Any]]:
    """Sire -> (daughters, cases)."""
    rows = []
    for sire, (n, cases) in sires.items():
        rows += [daughter(start + len(rows) + i, sire, "SU" if i < cases else None, farm) for i in range(n)]
    return rows


MADE = {"A": (40, 4), "B": (40, 20), "C": (40, 10), "D": (40, 12), "E": (12, 6), "F": (9, 9)}


def test_counted_and_drawn_towards_the_mean(tmp_path: Path) -> None:
    rows = [*herd(MADE), daughter(900, None, "SU"), daughter(0, "A", None, day="2025-09-01")]
    answer = family(ledger_of(tmp_path / "l.duckdb", checked("trims", rows)), Selection())
    table = answer.table.set_index("sire")
    assert table[["daughters", "cases"]].T.to_dict("list") == {k: list(v) for k, v in MADE.items() if k != "F"}
    assert table["rate"].to_dict() == {"A": 0.1, "B": 0.5, "C": 0.25, "D": 0.3, "E": 0.5}
    assert ((table["low"] < table["shrunken"]) & (table["shrunken"] < table["high"])).all()
    mean = 52 / 172
    assert 0.1 < table.loc["A", "shrunken"] < mean < table.loc["B", "shrunken"] < 0.5
    assert table.loc["E", "shrunken"] < table.loc["B", "shrunken"], "fewer daughters are drawn further"
    notes = " ".join(answer.basis.notes)
    assert "1 sires with fewer than 10 daughters here (9 cows) were left out." in notes
    assert "1 cows without a recorded sire were left out." in notes
    assert pd.isna(answer.extra["heritability"]["h2"].iloc[0])
    assert "that needs 10 sires" in " ".join(answer.cautions)


def test_heritability_on_the_liability_scale(tmp_path: Path) -> None:
    cases = (5, 8, 12, 6, 9, 18, 7, 3, 11, 8, 10, 15)
    sires = {name: (40, n) for name, n in zip("ABCDEFGHIJKL", cases, strict=True)}
    answer = family(ledger_of(tmp_path / "l.duckdb", checked("trims", herd(sires))), Selection())
    row = answer.extra["heritability"].iloc[0]
    assert row["h2"] == pytest.approx(4 * row["sire_sd"] ** 2 / (row["sire_sd"] ** 2 + np.pi**2 / 3))
    assert 0 <= row["low"] < row["h2"] < row["high"] <= 1
    assert (row["sires"], row["daughters"]) == (12, 480)
    assert "not a breeding value" in " ".join(answer.basis.notes)


def test_a_bad_farm_is_not_held_against_a_sire(tmp_path: Path) -> None:
    """Sires A and B are alike on each farm, but A's daughters mostly stand on the worse one."""
    rows = herd({"A": (60, 30), "B": (20, 10), "C": (30, 12), "D": (30, 18)}, "Bad")
    rows += herd({"A": (20, 2), "B": (60, 6), "C": (30, 1), "D": (30, 6)}, "Good", start=500)
    table = family(ledger_of(tmp_path / "l.duckdb", checked("trims", rows)), Selection()).table.set_index("sire")
    assert table.loc["A", "rate"] == pytest.approx(0.4) and table.loc["B", "rate"] == pytest.approx(0.2)
    assert abs(table.loc["A", "shrunken"] - table.loc["B", "shrunken"]) < 0.02
    assert table.loc["C", "shrunken"] < table.loc["A", "shrunken"] < table.loc["D", "shrunken"]


def test_names_and_order_do_not_matter(tmp_path: Path) -> None:
    rows = herd(MADE)
    one = family(ledger_of(tmp_path / "a.duckdb", checked("trims", rows)), Selection()).table
    renamed = [row | {"sire": row["sire"].lower(), "cow": "Z" + row["cow"], "farm": "Oak"} for row in rows[::-1]]
    other = family(ledger_of(tmp_path / "b.duckdb", checked("trims", renamed)), Selection()).table
    pd.testing.assert_frame_equal(one.assign(sire=one["sire"].str.lower()), other, rtol=1e-4)


def test_a_heritability_above_one_is_capped_and_said(tmp_path: Path) -> None:
    wild = {name: (40, 2 if i % 2 else 38) for i, name in enumerate("ABCDEFGHIJ")}
    answer = family(ledger_of(tmp_path / "l.duckdb", checked("trims", herd(wild))), Selection())
    assert answer.extra["heritability"]["h2"].iloc[0] == 1.0
    assert "which cannot be" in " ".join(answer.cautions)


@pytest.mark.parametrize(
    ("sires", "rows"),
    [({}, 0), ({"A": (1, 1)}, 0), ({"A": (40, 5)}, 1), ({"A": (40, 0), "B": (40, 0)}, 2),
     ({"A": (40, 40), "B": (30, 30)}, 2), ({"A": (MIN_DAUGHTERS, 3), "B": (MIN_DAUGHTERS - 1, 3)}, 1)],
)  # fmt: skip
def test_too_little_is_an_answer(tmp_path: Path, sires: dict[str, tuple[int, int]], rows: int) -> None:
    answer = family(ledger_of(tmp_path / "l.duckdb", checked("trims", herd(sires))), Selection())
    assert len(answer.table) == rows
    assert "Not enough to say" in " ".join(answer.cautions)
    assert answer.table["shrunken"].isna().all()


def test_sires_that_differ_by_luck_only_are_said_to(tmp_path: Path) -> None:
    alike = {name: (50, 10) for name in "ABCDEF"}
    answer = family(ledger_of(tmp_path / "l.duckdb", checked("trims", herd(alike))), Selection())
    assert answer.table["shrunken"].to_numpy() == pytest.approx(np.full(6, 0.2), abs=1e-3)
    assert "no more than luck" in " ".join(answer.cautions)
    assert family(ledger_of(tmp_path / "m.duckdb", checked("trims", herd(alike))), Selection(allowed=())).empty


def test_the_demonstration_herds(demo_ledger: Ledger) -> None:
    """The sires' effects put in come out in order, horn and infectious each in its own; and a sire effect on
    one is not found in the other where none was put (S12: bad horn, good skin)."""
    for place, lesions in ((0, "horn"), (1, "infectious")):
        answer = family(demo_ledger, Selection(families=(lesions,), visits=("all",)))
        table = answer.table.set_index("sire")
        truth = pd.Series({sire: effects[place] for sire, effects in SIRES.items()})
        assert np.corrcoef(table["effect"].reindex(truth.index), truth)[0, 1] > 0.8
        h2 = answer.extra["heritability"].iloc[0]
        planted = 4 * truth.var() / (truth.var() + np.pi**2 / 3)
        assert h2["low"] < planted < h2["high"]
        assert (table.loc["S12", "effect"] > 0) == (lesions == "horn")


def test_old_daughters_are_not_held_against_their_sire(tmp_path: Path) -> None:
    """Cows in their fourth lactation have it six times as often as those in their first, whoever their sire; half of
    the sires have old daughters. Without the lactation the sires seem to differ (p < 0.001)."""
    rows = []
    for number in range(12):
        old = number % 2 == 0
        for parity, n, cases in ((4, 36 if old else 6, 18 if old else 3), (1, 6 if old else 36, 0 if old else 3)):
            start = len(rows)
            made = [daughter(start + i, f"S{number}", "SU" if i < cases else None) for i in range(n)]
            rows += [row | {"parity": parity} for row in made]
    answer = family(ledger_of(tmp_path / "l.duckdb", checked("trims", rows)), Selection())
    row = answer.extra["heritability"].iloc[0]
    assert row["with_parity"] and row["p_value"] > 0.2
    assert answer.table["rate"].max() == pytest.approx(3 * answer.table["rate"].min())
    assert answer.table["shrunken"].max() - answer.table["shrunken"].min() < 0.02
    assert "farm and lactation held alike" in " ".join(answer.basis.notes)
    unknown = [row | {"parity": None} for row in rows]
    bare = family(ledger_of(tmp_path / "m.duckdb", checked("trims", unknown)), Selection())
    found = bare.extra["heritability"].iloc[0]
    assert not found["with_parity"] and found["p_value"] < 0.001
    assert "of one age and one time" in " ".join(bare.cautions)
