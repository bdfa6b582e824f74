"""Two people on the same cows: worked by hand, a published table, and the sharper pencil of the demonstration."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.quality.agreement import agreement
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of


def scoring(cow: str, day: str, score: int, scorer: str, scale: str = "1-5") -> dict[str, Any]:
    return {"farm": "Ash", "cow": cow, "date": day, "score": score, "scale": scale, "scorer": scorer}


def ledger(tmp_path: Path, *rows: dict[str, Any], kind: str = "locomotion", name: str = "l") -> Ledger:
    return ledger_of(tmp_path / f"{name}.duckdb", checked(kind, list(rows)))


def test_a_published_table(tmp_path: Path) -> None:
    """Agresti, Categorical Data Analysis, the carcinoma table of two pathologists: kappa .493, standard error
    .057 [pub]. Here as two scorers with four grades."""
    counts = [[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]]
    rows, cow = [], 0
    for i, line in enumerate(counts):
        for j, n in enumerate(line):
            for _ in range(n):
                cow += 1
                rows += [
                    scoring(str(cow), "2025-03-01", i, "Ann", "0-3"),
                    scoring(str(cow), "2025-03-01", j, "Bo", "0-3"),
                ]
    answer = agreement(ledger(tmp_path, *rows), Selection())
    table = answer.table.set_index(["what", "weights"])
    row = table.loc[("locomotion 0-3", "unweighted")]
    assert (row["a"], row["b"], row["pairs"], row["same_day"]) == ("Ann", "Bo", 118, 118)
    assert row["agreement"] == pytest.approx(75 / 118)
    assert round(row["kappa"], 3) == 0.493
    assert (row["high"] - row["low"]) / 2 / 1.96 == pytest.approx(0.057, abs=2e-3)
    lame = table.loc[("lame", "unweighted")]
    assert lame["agreement"] == pytest.approx((22 + 2 + 5 + 7 + 36 + 17 + 10) / 118)
    assert set(answer.table["weights"]) == {"unweighted", "linear", "quadratic"}
    swapped = [row | {"scorer": {"Ann": "Bo", "Bo": "Ann"}[row["scorer"]]} for row in rows]
    other = agreement(ledger(tmp_path, *swapped, name="m"), Selection()).table
    pd.testing.assert_frame_equal(other.drop(columns=["a", "b"]), answer.table.drop(columns=["a", "b"]))


def test_nearest_within_three_days_and_each_once(tmp_path: Path) -> None:
    rows = [
        scoring("1", "2025-03-01", 2, "Ann"),
        scoring("1", "2025-03-03", 3, "Ann"),
        scoring("1", "2025-03-04", 3, "Bo"),  # nearest to the 3rd; the 1st stays alone
        scoring("2", "2025-03-01", 1, "Ann"),
        scoring("2", "2025-03-05", 1, "Bo"),  # four days: no pair
        scoring("3", "2025-03-01", 1, "Ann"),
        scoring("3", "2025-03-01", 0, "Bo", "0-3"),  # another scale: no pair
    ]
    table = agreement(ledger(tmp_path, *rows), Selection()).table
    assert table["pairs"].tolist() == [1, 1, 1, 1]
    assert table["agreement"].tolist() == [1, 1, 1, 1]
    assert table["same_day"].tolist() == [0, 0, 0, 0]


def test_two_trimmers_at_the_same_feet(tmp_path: Path) -> None:
    def trim(cow: str, who: str, lesion: str | None, **more: Any) -> dict[str, Any]:
        row = {"farm": "Ash", "cow": cow, "visit_date": "2025-03-01", "visit_kind": "whole-herd", "trimmer": who}
        return row | {"lesion": lesion, "foot": "RH" if lesion else None} | more

    rows = [
        trim("1", "Ann", "DD"),
        trim("1", "Bo", "DD"),
        trim("2", "Ann", "DD", feet_seen="RH LH"),
        trim("2", "Bo", None),
        trim("3", "Ann", "DD", dd_stage="M0"),
        trim("3", "Bo", None),
    ]
    made = ledger(tmp_path, *rows, kind="trims")
    [row] = agreement(made, Selection()).table.to_dict("records")
    # Cows 1 and 3: four feet each, all alike; cow 2: two feet, RH differs. One foot DD for both, one for Ann only.
    assert (row["what"], row["pairs"]) == ("lesion on the foot", 10)
    assert row["agreement"] == pytest.approx(0.9)
    expected = (2 * 1 + 8 * 9) / 100
    assert row["kappa"] == pytest.approx((0.9 - expected) / (1 - expected))
    assert agreement(made, Selection(lesions=("SU",))).table["agreement"].tolist() == [1.0]


def test_too_little_is_an_answer(tmp_path: Path) -> None:
    nobody = agreement(ledger_of(tmp_path / "a.duckdb"), Selection())
    assert nobody.empty and "Not enough to say" in " ".join(nobody.cautions)
    alone = agreement(ledger(tmp_path, scoring("1", "2025-03-01", 2, "Ann"), name="b"), Selection())
    assert alone.empty and "by any two people" in " ".join(alone.cautions)
    assert alone.extra["trimmers"].empty and "cannot be told" in " ".join(alone.basis.notes)
    rows = [scoring(cow, "2025-03-01", 1, who) for cow in "123" for who in ("Ann", "Bo")]
    same = agreement(ledger(tmp_path, *rows, name="c"), Selection())
    assert same.table["kappa"].isna().all() and (same.table["agreement"] == 1).all()
    assert "no kappa" in " ".join(same.cautions) and "not enough to say" in " ".join(same.cautions)
    assert agreement(ledger(tmp_path, *rows, name="d"), Selection(allowed=())).empty


def test_between_two_people(tmp_path: Path) -> None:
    rows = [scoring(cow, "2025-03-01", 1 + (cow == "1"), who) for cow in "123" for who in ("Ann", "Bo", "Cy")]
    made = ledger(tmp_path, *rows)
    assert len(agreement(made, Selection()).table) == 12
    table = agreement(made, Selection(), between=("cy", "ANN")).table
    assert set(zip(table["a"], table["b"], strict=True)) == {("Ann", "Cy")}
    for wrong in (("Ann",), ("Ann", "Dee"), ("Ann", "Ann")):
        with pytest.raises(UserError, match="name two of: Ann, Bo, Cy"):
            agreement(made, Selection(), between=wrong)


def test_the_demonstration_herds(demo_ledger: Ledger) -> None:
    """One trimmer writes sole haemorrhage and heel horn erosion down at 2.6 times the odds of the others, and
    nothing else: exactly those two are told. Scorers err on neither side."""
    answer = agreement(demo_ledger, Selection())
    effect = answer.extra["trimmers"].set_index("lesion")
    called = effect[(effect["p_adjusted"] < 0.01) & (effect.index != "any")]
    assert set(called.index) == {"SH", "HHE"}
    assert (effect.loc[["SH", "HHE"], "low"] > 0).all()
    assert effect.loc["DD", "p_adjusted"] > 0.05
    assert sum("Trimmer effect, SH" in note for note in answer.basis.notes) == 1
    lame = answer.table[(answer.table["what"] == "lame") & (answer.table["pairs"] > 200)]
    assert len(lame) and (lame["low"] > 0).all() and (lame["margins_p_value"] > 0.05).all()
