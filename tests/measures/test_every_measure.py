"""Every measure on the herds that break things: it answers, in words where there is not enough to say."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.catalogue import MEASURES, answer
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

START = dt.date(2025, 1, 6)


def trims(cows: int, lesion: Any, visits: int = 3, farm: str = "Ash", **more: Any) -> list[dict[str, Any]]:
    """Whole-herd visits of a herd; ``lesion`` says what a cow shows at a visit."""
    rows = []
    for visit in range(visits):
        for cow in range(cows):
            found = lesion(cow, visit)
            rows.append(
                {
                    "farm": farm,
                    "visit_date": START + dt.timedelta(days=120 * visit),
                    "visit_kind": "whole-herd",
                    "trimmer": "KV",
                    "cow": str(cow),
                    "housing": "freestall" if cow % 2 else "pasture",
                    "sire": f"S{cow % 3}",
                    "parity": cow % 4 + 1,
                    "foot": "RH",
                    "claw": "lateral",
                    "lesion": found,
                    "zone": 4 if found else None,
                    "toe_length_mm": 80.0 + cow % 5,
                    "toe_length_after_mm": 76.0,
                    "shed_stage": 0,
                    "locomotion_score": 3 if found else 1,
                    "locomotion_scale": "1-5",
                    **more,
                }
            )
    return rows


HERDS: dict[str, list[dict[str, Any]]] = {
    "nothing at all": [],
    "one cow once": trims(1, lambda c, v: "SU", visits=1),
    "one cow": trims(1, lambda c, v: "SU"),
    "all positive": trims(30, lambda c, v: "SU"),
    "none positive": trims(30, lambda c, v: None),
    "one group empty": trims(30, lambda c, v: "SU" if c % 2 else None),
    "two farms": trims(25, lambda c, v: "DD" if c % 3 == v else None)
    + trims(25, lambda c, v: "SU" if c % 4 == v else None, farm="Birch"),
    "nothing recorded but cows": [
        {"farm": "Ash", "visit_date": START, "visit_kind": "whole-herd", "cow": str(c)} for c in range(5)
    ],
}
OPTIONS: dict[str, dict[str, Any]] = {"change-impact": {"change": START + dt.timedelta(days=130)}}
FARM_ONLY = ("visit-review", "change-impact")


@pytest.fixture(scope="module")
def herds(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Ledger]:
    folder: Path = tmp_path_factory.mktemp("herds")
    return {
        name: ledger_of(folder / f"{place}.duckdb", checked("trims", rows))
        for place, (name, rows) in enumerate(HERDS.items())
    }


@pytest.mark.parametrize("herd", list(HERDS))
@pytest.mark.parametrize("name", list(MEASURES))
def test_it_answers_and_never_raises(herds: dict[str, Ledger], name: str, herd: str) -> None:
    farms = ("Ash",) if name in FARM_ONLY else ()
    result = answer(name, herds[herd], Selection(farms=farms, visits=("all",)), **OPTIONS.get(name, {}))
    assert isinstance(result, Answer)
    if name != "control-chart" or result.by == ("month",):  # Of several farms it is the table of signals.
        assert list(result.table.columns) == MEASURES[name].columns.split()
    if result.empty or herd in ("nothing at all", "one cow once", "one cow"):
        assert result.cautions, "silence is no answer"
    for low, high in (("low", "high"), ("lame_low", "lame_high"), ("adj_or_low", "adj_or_high")):
        if low in result.table and high in result.table:
            part = result.table[[low, high]].astype(float).dropna()
            assert (part[low] <= part[high] + 1e-12).all()
    if "prevalence" in result.table:
        shares = result.table["prevalence"].dropna().to_numpy(dtype=float)
        assert np.all((shares >= 0) & (shares <= 1))


@pytest.mark.parametrize("name", ["prevalence", "comparison", "locomotion", "benchmark", "recurrence", "incidence"])
def test_other_names_for_farms_and_cows_change_nothing(tmp_path: Path, name: str) -> None:
    rows = HERDS["two farms"]
    renamed = [{**row, "farm": row["farm"] + " Hill", "cow": f"x{row['cow']}"} for row in rows]
    first = answer(name, ledger_of(tmp_path / "a.duckdb", checked("trims", rows)), Selection())
    second = answer(name, ledger_of(tmp_path / "b.duckdb", checked("trims", renamed)), Selection())
    numbers = first.table.select_dtypes("number").columns
    np.testing.assert_allclose(
        first.table[numbers].to_numpy(float), second.table[numbers].to_numpy(float), rtol=1e-9, equal_nan=True
    )


def test_merged_groups_add_their_counts(tmp_path: Path) -> None:
    """Freestall and pasture called one housing: trims, and the cases among them, are the sum of both."""
    rows = HERDS["two farms"]
    merged = [{**row, "housing": "bedded-pack"} for row in rows]
    apart = ledger_of(tmp_path / "a.duckdb", checked("trims", rows))
    one = ledger_of(tmp_path / "b.duckdb", checked("trims", merged))
    options = {"by": ("housing",), "per": "trim"}
    split = answer("prevalence", apart, Selection(), **options).table[["cases", "at_risk"]].sum()
    whole = answer("prevalence", one, Selection(), **options).table[["cases", "at_risk"]].sum()
    assert split.tolist() == whole.tolist()
