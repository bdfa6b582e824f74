"""Prevalence: counts by hand, the interval each row gets, and what is said beside it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.basis import met
from evenfoot.analytics.measures.lesions.prevalence import COLUMNS, prevalence
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.cluster import cluster_proportion, cluster_sums
from evenfoot.sample_data import truths
from tests.measures.herds import herd, trim


def test_one_farm_per_cow_is_wilson(tmp_path: Path) -> None:
    rows = [trim(cow, "SU" if cow < 15 else None, "LH" if cow < 15 else None) for cow in range(148)]
    answer = prevalence(herd(tmp_path, rows), Selection())
    assert list(answer.table.columns) == ["lesion", *COLUMNS]
    row = answer.table.iloc[0]
    assert (row["cases"], row["at_risk"], row["clusters"], row["design_effect"]) == (15, 148, 148, 1)
    # Newcombe 1998, Stat Med 17:857, table I: 15/148.
    assert (round(row["low"], 4), round(row["high"], 4)) == (0.0624, 0.1605)
    assert answer.basis.method == "Wilson score interval"
    assert answer.cautions == ()


def test_feet_are_clustered_in_cows(tmp_path: Path) -> None:
    """Every sick cow has all four feet sick: a foot tells what the cow tells."""
    rows = []
    for cow in range(60):
        rows += [trim(cow, "DD", foot) for foot in ("LF", "RF", "LH", "RH")] if cow < 20 else [trim(cow)]
    ledger = herd(tmp_path, rows)
    foot = prevalence(ledger, Selection(), by=("lesion",), per="foot").table.iloc[0]
    cow = prevalence(ledger, Selection(), by=("lesion",), per="cow").table.iloc[0]
    assert (foot["cases"], foot["at_risk"], foot["clusters"]) == (80, 240, 60)
    # Four feet that always agree: the variance is k/(k-1) times four times the binomial one.
    assert foot["design_effect"] == pytest.approx(4 * 60 / 59)
    direct = cluster_proportion(*cluster_sums([4] * 20 + [0] * 40, [4] * 60))
    assert (foot["low"], foot["high"]) == pytest.approx((direct.low, direct.high))
    assert foot["high"] - foot["low"] > 0.9 * (cow["high"] - cow["low"])


def test_pooled_farms_are_the_clusters(tmp_path: Path) -> None:
    rows = [
        trim(
            f"{farm}{cow}",
            "DD" if cow < 3 * farm else None,
            "LH" if cow < 3 * farm else None,
            farm=f"F{farm}",
        )
        for farm in range(12)
        for cow in range(40)
    ]
    ledger = herd(tmp_path, rows)
    pooled = prevalence(ledger, Selection())
    row = pooled.table.iloc[0]
    assert row["clusters"] == 12
    assert row["design_effect"] > 5
    assert pooled.basis.method == "Cluster-robust interval, farms as clusters"
    assert pooled.cautions == ()
    few = prevalence(ledger, Selection(farms=("F1", "F2", "F3")))
    assert any("only 3 farms" in caution for caution in few.cautions)
    each = prevalence(ledger, Selection(), by=("farm", "lesion"))
    assert each.basis.method == "Wilson score interval"
    assert (each.table["clusters"] == 40).all()


def test_group_of_one_farm_among_several_keeps_its_cows_as_clusters(tmp_path: Path) -> None:
    rows = [
        trim(
            f"{farm}{cow}",
            "SU" if cow < 5 else None,
            farm=farm,
            housing=housing,
            foot="LH" if cow < 5 else None,
        )
        for farm, housing in (("Ash", "tie-stall"), ("Birch", "pasture"), ("Cedar", "pasture"))
        for cow in range(30)
    ]
    answer = prevalence(herd(tmp_path, rows), Selection(), by=("housing",))
    table = answer.table.set_index("housing")
    assert table["clusters"].to_dict() == {"pasture": 2, "tie-stall": 30}
    assert any("one farm only" in caution for caution in answer.cautions)
    assert 0 < table.loc["tie-stall", "low"] < 5 / 30 < table.loc["tie-stall", "high"] < 0.4


@pytest.mark.parametrize(("lesion", "expected"), [(None, (0.0, "low")), ("SU", (1.0, "high"))])
def test_none_or_all_cases(tmp_path: Path, lesion: str | None, expected: tuple[float, str]) -> None:
    rows = [trim(cow, lesion, "LH" if lesion else None, farm=f) for f in ("Ash", "Birch") for cow in range(20)]
    for per in ("cow", "trim", "foot"):
        answer = prevalence(herd(tmp_path / per, rows), Selection(lesions=("SU",)), by=("lesion",), per=per)
        row = answer.table.iloc[0]
        if per != "foot":
            assert row["prevalence"] == expected[0] == row[expected[1]]
        assert 0 <= row["low"] <= row["prevalence"] <= row["high"] <= 1
        assert row["high"] - row["low"] > 0.05


def test_one_cow_and_nothing(tmp_path: Path) -> None:
    ledger = herd(
        tmp_path,
        [trim(1, "SU", "LH", on=day) for day in ("2025-01-03", "2025-04-03")] + [trim(1, on="2025-07-01")],
    )
    answer = prevalence(ledger, Selection(), per="trim")
    row = answer.table.iloc[0]
    assert (row["cases"], row["at_risk"], row["clusters"]) == (2, 3, 1)
    assert 0 <= row["low"] < 2 / 3 < row["high"] <= 1
    assert any("assumed" in caution for caution in answer.cautions)
    assert any("ot enough" in caution for caution in answer.cautions)
    nothing = prevalence(ledger, Selection(farms=("Nowhere",)))
    assert nothing.empty
    assert nothing.cautions == ("Nothing was recorded for this choice of farms, dates and groups.",)


def test_counts_add_up_over_groups(demo_ledger: Ledger) -> None:
    """Trims split by any property of the trim add to the whole, and naming the farms changes nothing."""
    whole = prevalence(demo_ledger, Selection(), by=("lesion",), per="trim").table.set_index("lesion")
    for group in ("farm", "housing", "season", "parity", "trimmer", "month"):
        parts = prevalence(demo_ledger, Selection(), by=(group, "lesion"), per="trim").table
        summed = parts.groupby("lesion")[["cases", "at_risk"]].sum()
        pd.testing.assert_frame_equal(summed, whole[["cases", "at_risk"]])
    named = prevalence(demo_ledger, Selection(farms=tuple(demo_ledger.farms())), per="trim").table
    pd.testing.assert_frame_equal(named.set_index("lesion"), whole)


def test_renaming_farms_changes_nothing_but_names(tmp_path: Path) -> None:
    def rows(names: dict[str, str]) -> list[dict[str, object]]:
        return [
            trim(
                cow,
                "WL" if cow % size == 0 else None,
                farm=names[farm],
                foot="RH" if cow % size == 0 else None,
            )
            for farm, size in (("a", 3), ("b", 4), ("c", 7))
            for cow in range(25)
        ]

    first = prevalence(herd(tmp_path / "1", rows({"a": "Ash", "b": "Birch", "c": "Cedar"})), Selection()).table
    second = prevalence(herd(tmp_path / "2", rows({"a": "Zelkova", "b": "Alder", "c": "Maple"})), Selection()).table
    pd.testing.assert_frame_equal(first, second)


def test_demo_prevalence_by_housing_stands_in_the_intervals(demo_ledger: Ledger) -> None:
    """Shares counted straight from the sheets (sample_data/README.md) lie where the measure says."""
    table = prevalence(demo_ledger, Selection(), by=("housing", "lesion"), per="trim").table
    table = table.set_index(["housing", "lesion"])
    counted = {
        ("freestall", "DD"): 0.227, ("freestall", "SU"): 0.082, ("tie-stall", "DD"): 0.085,
        ("tie-stall", "SH"): 0.073, ("bedded-pack", "DD"): 0.104, ("pasture", "WL"): 0.061,
    }  # fmt: skip
    for key, share in counted.items():
        row = table.loc[key]
        assert row["prevalence"] == pytest.approx(share, abs=0.0011)
        assert row["low"] < share < row["high"]


def test_demo_hind_outer_claws_come_first(demo_ledger: Ledger) -> None:
    table = prevalence(
        demo_ledger, Selection(lesions=("SU", "WL", "SH")), by=("limb", "claw"), per="claw"
    ).table.set_index(["limb", "claw"])["prevalence"]
    assert table.idxmax() == ("hind", "lateral")
    assert table["front"].idxmax() == "medial"


def test_demo_period_narrows(demo_ledger: Ledger) -> None:
    before = Selection(farms=("Larkmoor",), until=truths.CHANGES[0].on - dt.timedelta(days=1))
    answer = prevalence(demo_ledger, before)
    assert answer.basis.last is not None
    assert answer.basis.last < truths.CHANGES[0].on


@pytest.mark.parametrize(
    "selection", [Selection(), Selection(visits=("all",), feet=("LH",)), Selection(visits=("unknown", "recheck"))]
)
def test_farms_and_visits_known_from_the_basis_are_those_counted(demo_ledger: Ledger, selection: Selection) -> None:
    own = count(demo_ledger, selection, ("lesion",))
    known = count(demo_ledger, selection, ("lesion",), met=lambda: met(demo_ledger, selection))
    pd.testing.assert_frame_equal(known.table, own.table)
    assert known.cluster == own.cluster
