"""Farms among each other: luck is pulled in, the odd one out is named, and little is called little."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.benchmark import COLUMNS, benchmark
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.funnel import funnel
from evenfoot.analytics.stats.shrinkage import shrunken_rates
from tests.measures.herds import herd, trim


def _farms(counts: dict[str, tuple[int, int]]) -> list[dict[str, Any]]:
    return [
        trim(f"{farm}{i}", "DD" if i < cases else None, "LH" if i < cases else None, farm=farm)
        for farm, (cases, of) in counts.items()
        for i in range(of)
    ]


COUNTS = {f"F{i:02d}": (cases, 60) for i, cases in enumerate([11, 12, 13, 11, 14, 12, 10, 13, 12, 11, 12])}


def test_columns_and_agreement_with_the_methods(tmp_path: Path) -> None:
    counts = COUNTS | {"Small": (4, 8), "Zebra": (40, 60)}
    answer = benchmark(herd(tmp_path, _farms(counts)), Selection(lesions=("DD",)))
    assert tuple(answer.table.columns) == COLUMNS
    table = answer.table.set_index("farm")
    cases, of = np.array(list(counts.values())).T
    direct = shrunken_rates(cases, of).table
    assert table["shrunken"].tolist() == pytest.approx(direct["shrunken"].tolist())
    assert table["funnel_high"].tolist() == pytest.approx(funnel(cases, of).table["high_99.8"].tolist())
    assert table["outside"].to_dict() == dict.fromkeys(counts, "") | {"Zebra": "above"}
    assert table.loc["Zebra", ["rank", "rank_high"]].tolist() == [13, 13]
    assert table.loc["Zebra", "rank_low"] >= 12
    # Eight cows prove little: half of them sick is pulled towards the others more than forty of sixty are.
    assert table.loc["Small", "shrunken"] < 0.45
    assert table.loc["Small", "weight"] == table["weight"].min()
    assert any("Zebra: above" in note for note in answer.basis.notes)
    assert any("not a mark" in caution for caution in answer.cautions)
    assert any("to say much about Small" in caution for caution in answer.cautions)
    published = answer.extra["published"]
    assert 0.227 in published["value"].tolist()
    assert published["source"].str.contains("2008|2016").all()


def test_equal_farms_are_within_the_funnel(tmp_path: Path) -> None:
    table = benchmark(herd(tmp_path, _farms(COUNTS)), Selection()).table
    assert (table["outside"] == "").all()
    assert (table["rank_high"] - table["rank_low"] >= 5).all()
    spread = table["shrunken"].max() - table["shrunken"].min()
    assert spread < 0.5 * (table["prevalence"].max() - table["prevalence"].min())


def test_feet_of_a_cow_count_for_what_they_tell(tmp_path: Path) -> None:
    """All four feet of a sick cow are sick: counted per foot nothing is surer than counted per cow."""
    rows = [
        trim(f"{farm}{i}", "DD" if i < cases else None, foot, farm=farm)
        for farm, cases in (("A", 10), ("B", 12), ("C", 9), ("D", 22))
        for i in range(40)
        for foot in (("LF", "RF", "LH", "RH") if i < cases else (None,))
    ]
    ledger = herd(tmp_path, rows)
    per_cow, per_foot = (benchmark(ledger, Selection(), per=per).table.set_index("farm") for per in ("cow", "foot"))
    assert per_foot["at_risk"].tolist() == [160] * 4
    for farm in "ABCD":
        widths = [t.loc[farm, "shrunken_high"] - t.loc[farm, "shrunken_low"] for t in (per_cow, per_foot)]
        assert widths[1] == pytest.approx(widths[0], rel=0.1)


@pytest.mark.parametrize("cases", [0, 30])
def test_none_or_all(tmp_path: Path, cases: int) -> None:
    ledger = herd(tmp_path, _farms({farm: (cases, 30) for farm in "ABCD"}))
    table = benchmark(ledger, Selection(lesions=("DD",))).table
    assert (table["prevalence"] == cases / 30).all()
    assert ((table["shrunken_low"] >= 0) & (table["shrunken_high"] <= 1)).all()
    assert (table["outside"] == "").all()


def test_too_few_farms_and_bad_requests(tmp_path: Path) -> None:
    ledger = herd(tmp_path, _farms({"A": (3, 30), "B": (9, 30)}))
    answer = benchmark(ledger, Selection())
    assert answer.table["shrunken"].isna().all()
    assert answer.table["outside"].tolist() == ["", ""]
    assert answer.table["low"].notna().all()
    assert any("Other farms: 1. Too few" in caution for caution in answer.cautions)
    nothing = benchmark(ledger, Selection(farms=("Nowhere",)))
    assert nothing.empty
    assert nothing.cautions
    only_one = benchmark(ledger, Selection(allowed=("A",)))
    assert only_one.table["farm"].tolist() == ["A"]
    with pytest.raises(UserError, match="not a level of counting"):
        benchmark(ledger, Selection(), per="barn")


def test_demo_farms_in_order(demo_ledger: Ledger) -> None:
    dd = benchmark(demo_ledger, Selection(lesions=("DD",)), per="trim").table.set_index("farm")
    assert dd["shrunken"].idxmax() in ("Larkmoor", "Osier End")
    assert dd["shrunken"].idxmin() == "Long Heath"
    assert (dd["shrunken"] - dd["prevalence"]).abs().max() < 0.02
    assert dd["cases"].tolist() == benchmark(demo_ledger, Selection(lesions=("DD",))).table["cases"].tolist()
    per_cow = benchmark(demo_ledger, Selection(), per="cow")
    assert any("more looks find more lesions" in caution for caution in per_cow.cautions)
    assert not any("more looks" in caution for caution in benchmark(demo_ledger, Selection()).cautions)
