"""Comparisons: like with like, farms told from groups, and the planted differences of the demo herds."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.comparison import COLUMNS, comparison
from evenfoot.analytics.measures.lesions.foot_map import foot_map
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.queries.selection import Selection
from evenfoot.sample_data import truths
from tests.measures.herds import herd, trim


def _cows(cases: int, of: int, tag: str, lesion: str = "SU", **more: Any) -> list[dict[str, Any]]:
    return [trim(f"{tag}{i}", lesion if i < cases else None, "LH" if i < cases else None, **more) for i in range(of)]


def _rows(table: pd.DataFrame) -> pd.DataFrame:
    return table.set_index("group")


def test_one_trim_a_cow_by_hand(tmp_path: Path) -> None:
    rows = _cows(45, 90, "a", housing="freestall") + _cows(30, 90, "b", housing="pasture")
    answer = comparison(herd(tmp_path, rows), Selection(lesions=("SU",)), reference="pasture")
    assert tuple(answer.table.columns[: len(COLUMNS)]) == COLUMNS
    assert answer.table["group"].tolist() == ["pasture", "freestall"]
    row = _rows(answer.table).loc["freestall"]
    # 45 of 90 against 30 of 90: odds 1 and 1/2.
    assert row["odds_ratio"] == pytest.approx(2.0)
    # Each cow is a cluster of one: Woolf's variance 1/45 + 1/45 + 1/30 + 1/60, each cell a 90th or so wider for the
    # leverage of its cows (1 in 90), and t on 178 degrees of freedom.
    half = stats.t.ppf(0.975, 178) * math.sqrt((2 / 45 + 1 / 30 + 1 / 60) * 90 / 89)
    assert (row["or_low"], row["or_high"]) == pytest.approx((2 * math.exp(-half), 2 * math.exp(half)), rel=1e-6)
    assert row[["risk_ratio", "crude_risk_ratio"]].tolist() == pytest.approx([1.5, 1.5])
    assert row["difference"] == pytest.approx(1 / 6)
    assert row["diff_low"] == pytest.approx(1 / 6 - stats.t.ppf(0.975, 178) * math.sqrt((0.25 + 2 / 9) / 89), abs=1e-9)
    se = half / stats.t.ppf(0.975, 178)
    assert row["q_value"] == row["p_value"] == pytest.approx(2 * stats.t.sf(math.log(2) / se, 178), rel=1e-6)
    assert math.isnan(row["adj_odds_ratio"])
    assert "by_lesion" not in answer.extra


def test_what_only_looks_different_is_evened_out(tmp_path: Path) -> None:
    """Risk 20 % in heifers and 60 % in old cows on either floor; the floors hold them in unlike shares."""
    rows = [
        *_cows(20, 100, "a", floor="concrete", parity=1),
        *_cows(180, 300, "b", floor="concrete", parity=4),
        *_cows(60, 300, "c", floor="rubber", parity=1),
        *_cows(60, 100, "d", floor="rubber", parity=4),
    ]
    ledger = herd(tmp_path, rows)
    answer = comparison(
        ledger,
        Selection(lesions=("SU",)),
        by=("floor",),
        reference="rubber",
        adjust=("parity",),
        stratify="parity",
    )
    row = _rows(answer.table).loc["concrete"]
    assert row["odds_ratio"] == pytest.approx((200 / 200) / (120 / 280))
    assert row["adj_odds_ratio"] == pytest.approx(1.0, abs=1e-9)
    assert row["mh_odds_ratio"] == pytest.approx(1.0)
    assert row["homogeneity_p"] == pytest.approx(1.0)
    # All 800 cows hold as many heifers as old cows: 40 % whichever the floor.
    assert answer.table["std_risk"].tolist() == pytest.approx([0.4, 0.4])
    assert (answer.table["std_low"] < 0.4).all()
    assert (answer.table["std_high"] > 0.4).all()
    assert any("hold lactation alike" in note for note in answer.basis.notes)


def test_strata_that_disagree_are_said(tmp_path: Path) -> None:
    rows = [
        *_cows(60, 100, "a", floor="concrete", parity=1),
        *_cows(20, 100, "b", floor="rubber", parity=1),
        *_cows(20, 100, "c", floor="concrete", parity=4),
        *_cows(60, 100, "d", floor="rubber", parity=4),
    ]
    answer = comparison(herd(tmp_path, rows), Selection(lesions=("SU",)), by=("floor",), stratify="parity")
    assert answer.table["homogeneity_p"].min() < 0.001
    assert any("strata of lactation disagree" in caution for caution in answer.cautions)


def test_strata_of_what_is_not_compared_are_counts_and_it_is_said(tmp_path: Path) -> None:
    rows = [
        {**row, "parity": 1 + int(row["cow"][-1]) % 2}
        for farm, housing, cases in (("A", "freestall", 20), ("C", "tie-stall", 8))
        for row in _cows(cases, 50, farm, farm=farm, housing=housing)
    ]
    answer = comparison(herd(tmp_path, rows), Selection(), by=("housing",), stratify="parity")
    strata = answer.extra["strata"]
    assert strata.groupby("stratum")["at_risk"].sum().tolist() == [50, 50]
    assert strata["odds_ratio"].isna().all() and strata["low"].notna().all()
    assert "Within each lactation counts are shown alone, for the same reason." in answer.cautions


def test_group_and_farm_the_same_thing_is_refused(tmp_path: Path) -> None:
    rows = [
        row
        for farm, housing, cases in (("A", "freestall", 20), ("B", "freestall", 15), ("C", "tie-stall", 8))
        for row in _cows(cases, 50, farm, farm=farm, housing=housing)
    ]
    answer = comparison(herd(tmp_path, rows), Selection(), adjust=("parity",), stratify="farm", each_lesion=True)
    table = _rows(answer.table)
    assert table.loc["freestall", "risk_ratio"] == 1
    refused = table.loc["tie-stall"]
    assert refused["prevalence"] == 0.16
    assert refused["low"] < 0.16 < refused["high"]
    ratios = [
        "risk_ratio",
        "rr_low",
        "odds_ratio",
        "or_high",
        "p_value",
        "q_value",
        "adj_odds_ratio",
        "mh_odds_ratio",
    ]
    assert refused[ratios].isna().all()
    assert any("No farm here has enough cows of both tie-stall and freestall" in caution for caution in answer.cautions)
    assert answer.extra["by_lesion"].empty


def test_farms_differ_but_every_farm_has_both_seasons(tmp_path: Path) -> None:
    rows = [
        row
        for farm, base in (("A", 5), ("B", 20))
        for day, more in (("2025-01-10", 0), ("2025-07-10", 8))
        for row in _cows(base + more, 50, farm, farm=farm, on=day)
    ]
    answer = comparison(
        herd(tmp_path, rows),
        Selection(lesions=("SU",)),
        by=("season",),
        reference="winter",
        adjust=("farm",),
        stratify="farm",
    )
    row = _rows(answer.table).loc["summer"]
    assert row["risk_ratio"] > 1
    assert row["mh_odds_ratio"] > row["odds_ratio"]
    assert row["adj_odds_ratio"] == pytest.approx(row["mh_odds_ratio"], rel=0.05)


def test_many_farms_of_each_kind_are_compared_with_farms_as_units(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    rows = []
    for i in range(24):
        housing, centre = ("freestall", 0.4) if i % 2 else ("pasture", 0.2)
        rows += _cows(
            int(rng.binomial(30, rng.beta(10 * centre, 10 * (1 - centre)))),
            30,
            f"{i}-",
            farm=f"F{i}",
            housing=housing,
        )
    answer = comparison(
        herd(tmp_path, rows),
        Selection(lesions=("SU",)),
        by=("housing",),
        reference="pasture",
        adjust=("parity",),
    )
    row = _rows(answer.table).loc["freestall"]
    assert 1 < row["risk_ratio"] < 4
    assert row["rr_low"] < row["risk_ratio"] < row["rr_high"]
    assert row["or_low"] < row["odds_ratio"] < row["or_high"]
    # Farms are unlike: the doubt is wider than 720 independent cows would have it.
    counts = _rows(answer.table)[["cases", "at_risk"]]
    woolf = (1 / counts["cases"] + 1 / (counts["at_risk"] - counts["cases"])).sum()
    assert math.log(row["or_high"] / row["or_low"]) > 1.2 * 2 * 1.96 * math.sqrt(woolf)
    assert any("Farms are the units of evidence" in note for note in answer.basis.notes)
    assert any("24 farms as clusters" in note for note in answer.basis.notes)
    terms = answer.extra["herd_model"].set_index("term")
    assert terms.loc["group=freestall", "estimate"] > 1
    assert terms.loc["spread of farms", "low"] > 0


def test_lesion_by_lesion_counts_how_many_were_asked(tmp_path: Path) -> None:
    rows = []
    for housing, cases in (
        ("freestall", {"DD": 30, "SU": 9, "WL": 10}),
        ("pasture", {"DD": 10, "SU": 9, "WL": 9}),
    ):
        for i in range(100):
            found = [code for code, number in cases.items() if i < number]
            rows += [trim(f"{housing}{i}", code, "LH", housing=housing) for code in found] or [
                trim(f"{housing}{i}", housing=housing)
            ]
    table = (
        comparison(herd(tmp_path, rows), Selection(), reference="pasture", each_lesion=True)
        .extra["by_lesion"]
        .set_index("lesion")
    )
    p = table["p_value"].sort_values()
    # Benjamini-Hochberg by hand for three: the smallest times 3, and never above the next.
    assert table.loc[p.index[0], "q_value"] == pytest.approx(min(3 * p.iloc[0], 1.5 * p.iloc[1]))
    assert table.loc["DD", "q_value"] < 0.01
    assert table.loc["SU", "q_value"] == pytest.approx(1)


@pytest.mark.parametrize("adjust", [(), ("parity",)])
def test_edges_answer_in_words(tmp_path: Path, adjust: tuple[str, ...]) -> None:
    nobody = herd(tmp_path / "1", _cows(0, 30, "a", housing="freestall") + _cows(0, 30, "b", housing="pasture"))
    answer = comparison(nobody, Selection(lesions=("SU",)), adjust=adjust)
    assert answer.table["prevalence"].tolist() == [0, 0]
    assert any("Not enough to adjust" in caution for caution in answer.cautions) == bool(adjust)
    everybody = herd(tmp_path / "2", _cows(30, 30, "a", housing="freestall") + _cows(30, 30, "b", housing="pasture"))
    assert comparison(everybody, Selection(), adjust=adjust, stratify="season").table["prevalence"].tolist() == [1, 1]
    one_group = herd(tmp_path / "3", _cows(3, 5, "a", housing="freestall"))
    answer = comparison(one_group, Selection(), adjust=adjust)
    assert any("only one group" in caution for caution in answer.cautions)
    one_cow = comparison(herd(tmp_path / "4", _cows(1, 1, "a", housing="pasture")), Selection(), adjust=adjust)
    assert len(one_cow.table) == 1
    nothing = comparison(one_group, Selection(farms=("Nowhere",)), adjust=adjust, stratify="farm")
    assert nothing.empty
    assert nothing.cautions


def test_bad_requests_are_refused(tmp_path: Path) -> None:
    ledger = herd(tmp_path, _cows(3, 30, "a", housing="freestall"))
    with pytest.raises(UserError, match="one grouping"):
        comparison(ledger, Selection(), by=("housing", "floor"))
    with pytest.raises(UserError, match="not among the groups"):
        comparison(ledger, Selection(), reference="pasture")
    with pytest.raises(UserError, match="adjusted for or stratified by 'zone'"):
        comparison(ledger, Selection(), adjust=("zone",))
    with pytest.raises(UserError, match="stratified by 'housing'"):
        comparison(ledger, Selection(), stratify="housing")


def test_demo_concrete_under_one_roof(demo_ledger: Ledger) -> None:
    """Osier End has rubber and concrete; the planted odds ratios are what the model finds."""
    selection = Selection(farms=("Osier End",), housing=("freestall",), lesions=("SU", "WL", "SH"))
    answer = comparison(
        demo_ledger,
        selection,
        by=("floor",),
        reference="rubber",
        per="trim",
        adjust=("parity", "season"),
        each_lesion=True,
    )
    lesions = answer.extra["by_lesion"].set_index("lesion")
    for code, planted in truths.CONCRETE_ODDS.items():
        assert lesions.loc[code, "adj_or_low"] < planted < lesions.loc[code, "adj_or_high"]
    row = _rows(answer.table).loc["concrete"]
    assert row["adj_or_low"] > 1
    assert row["adj_or_low"] < 1.55 < row["adj_or_high"]


def test_demo_trimmer_sees_more_of_two_lesions(demo_ledger: Ledger) -> None:
    """Trimmer TB was given 2.6 times the odds of noting SH and HHE in a cow. A population-averaged odds ratio
    is nearer to 1, by the root of 1 + 0.346 times the variance between cows (Zeger, Liang & Albert 1988,
    Biometrics 44:1049), so it must lie between 1 and the planted one."""
    answer = comparison(
        demo_ledger,
        Selection(farms=("Larkmoor",)),
        by=("trimmer",),
        reference="KV",
        per="trim",
        adjust=("parity", "month"),
        each_lesion=True,
    )
    lesions = answer.extra["by_lesion"].set_index("lesion")
    for code, planted in truths.TRIMMER_ODDS["TB"].items():
        row = lesions.loc[code]
        spread = truths.COW_SPREAD[truths.LESIONS[code].family]
        averaged = math.exp(math.log(planted) / math.sqrt(1 + 0.346 * spread**2))
        assert 1.3 < row["adj_or_low"] < averaged
        assert row["adj_odds_ratio"] == pytest.approx(averaged, rel=0.3)
        assert row["q_value"] < 0.01
    for code in ("SU", "DD", "ID", "IH"):
        row = lesions.loc[code]
        assert row["adj_or_low"] < 1 < row["adj_or_high"]
        assert row["q_value"] > 0.2


def test_demo_farm_and_month_overlap_and_are_still_held_alike(demo_ledger: Ledger) -> None:
    """Larkmoor is trimmed in months of its own, so its months say which farm it is."""
    selection = Selection(farms=("Larkmoor", "Withy Flat", "Long Heath"), lesions=("SH",))
    answer = comparison(
        demo_ledger,
        selection,
        by=("trimmer",),
        reference="TB",
        per="trim",
        adjust=("parity", "month"),
        stratify="farm",
    )
    others = _rows(answer.table).loc[["KV", "MO"]]
    assert (others["adj_or_high"] < 1).all()
    assert others["adj_odds_ratio"].to_numpy() == pytest.approx(others["mh_odds_ratio"].to_numpy(), rel=0.1)
    assert not any("Not enough to adjust" in caution for caution in answer.cautions)


def test_demo_housings_of_different_farms_are_not_compared(demo_ledger: Ledger) -> None:
    answer = comparison(demo_ledger, Selection(), reference="freestall", per="trim", stratify="farm")
    table = _rows(answer.table)
    assert table.loc[["tie-stall", "pasture"], "odds_ratio"].isna().all()
    # On the two farms that have both, the dry cows' bedded pack against the freestall.
    assert table.loc["bedded-pack", "mh_high"] < 1


def test_merging_and_renaming_groups(tmp_path: Path) -> None:
    """A group split in two adds up, and other names give the same ratios."""

    def rows(names: tuple[str, str]) -> list[dict[str, Any]]:
        return _cows(12, 60, "a", group=names[0]) + _cows(20, 50, "b", group=names[1])

    first = comparison(herd(tmp_path / "1", rows(("x", "y"))), Selection(), by=("group",), reference="x").table
    second = comparison(herd(tmp_path / "2", rows(("q", "a"))), Selection(), by=("group",), reference="q").table
    pd.testing.assert_frame_equal(first.drop(columns="group"), second.drop(columns="group"))
    split = comparison(
        herd(
            tmp_path / "3",
            rows(("x", "y"))[:60] + _cows(8, 20, "c", group="y1") + _cows(12, 30, "d", group="y2"),
        ),
        Selection(),
        by=("group",),
        reference="x",
    ).table
    merged = _rows(split).loc[["y1", "y2"], ["cases", "at_risk"]].sum()
    assert merged.tolist() == _rows(first).loc["y", ["cases", "at_risk"]].tolist()


def _two_housings(farms: dict[str, tuple[tuple[str, int, int], ...]]) -> list[dict[str, Any]]:
    """Cows by farm, housing, cases and cows."""
    return [
        row
        for farm, groups in farms.items()
        for housing, cases, of in groups
        for row in _cows(cases, of, f"{farm}-{housing}", farm=farm, housing=housing)
    ]


def test_one_slip_of_the_pen_does_not_make_farms_comparable(tmp_path: Path) -> None:
    rows = _two_housings(
        {"A": (("freestall", 30, 60),), "B": (("freestall", 25, 60),), "C": (("tie-stall", 8, 60), ("freestall", 1, 1))}
    )
    answer = comparison(herd(tmp_path, rows), Selection(), each_lesion=True)
    refused = _rows(answer.table).loc["tie-stall"]
    assert refused[["risk_ratio", "odds_ratio", "p_value", "q_value", "difference"]].isna().all()
    assert refused["crude_odds_ratio"] < 0.3
    assert sum("No farm here has enough cows of both tie-stall and freestall" in each for each in answer.cautions) == 1
    assert answer.extra["by_lesion"].empty


def test_several_farms_are_compared_within_themselves(tmp_path: Path) -> None:
    """On either farm both housings are alike; the farm with more lesions has more of its cows in the freestall."""
    farms = {
        "A": (("freestall", 60, 120), ("pasture", 20, 40)),
        "B": (("freestall", 4, 40), ("pasture", 12, 120)),
        "C": (("freestall", 90, 100),),
    }
    answer = comparison(herd(tmp_path, _two_housings(farms)), Selection(), reference="pasture")
    row = _rows(answer.table).loc["freestall"]
    assert row["odds_ratio"] == pytest.approx(1, abs=1e-6) and row["p_value"] > 0.9
    assert row["risk_ratio"] == pytest.approx(1, abs=1e-6) and row["difference"] == pytest.approx(0, abs=1e-6)
    # What the farms mixed would have said: 154 of 260 against 32 of 160.
    assert row["crude_odds_ratio"] == pytest.approx((154 / 106) / (32 / 128))
    # Farm C has one housing only and tells nothing of them.
    both = {farm: groups for farm, groups in farms.items() if farm != "C"}
    alone = comparison(herd(tmp_path / "2", _two_housings(both)), Selection(), reference="pasture")
    columns = ["odds_ratio", "or_low", "or_high", "risk_ratio", "difference"]
    assert row[columns].tolist() == pytest.approx(_rows(alone.table).loc["freestall", columns].tolist())
    assert any("groups of one farm with each other" in note for note in answer.basis.notes)
    assert not any("crude" in caution.lower() for caution in answer.cautions)


def test_trims_of_one_cow_are_no_more_than_the_cow(tmp_path: Path) -> None:
    """Every cow found the same four times over says what she says once."""
    once = _cows(12, 40, "a", housing="freestall") + _cows(6, 40, "b", housing="pasture")
    days = ("2025-01-10", "2025-03-03", "2025-06-03", "2025-09-03")
    four = [{**row, "visit_date": day} for row in once for day in days]
    columns = ["odds_ratio", "or_low", "or_high", "rr_low", "rr_high", "diff_low", "diff_high", "p_value", "q_value"]
    found = [
        _rows(comparison(herd(tmp_path / name, rows), Selection(), per="trim", reference="pasture").table)
        .loc["freestall", columns]
        .tolist()
        for name, rows in (("1", once), ("4", four))
    ]
    assert found[1] == pytest.approx(found[0], rel=1e-6)


def test_few_cases_are_compared_exactly(tmp_path: Path) -> None:
    rows = _cows(0, 40, "a", housing="freestall") + _cows(6, 60, "b", housing="pasture")
    answer = comparison(herd(tmp_path, rows), Selection(), reference="pasture")
    row = _rows(answer.table).loc["freestall"]
    # No case among 40: the upper limit leaves half the chance of none at 2.5 %.
    none = stats.nchypergeom_fisher(100, 6, 40, row["or_high"]).pmf(0)
    assert none / 2 == pytest.approx(0.025, abs=1e-6)
    assert (row["odds_ratio"], row["or_low"], row["risk_ratio"]) == (0, 0, 0)
    assert row["difference"] == pytest.approx(-0.1)
    assert row["p_value"] == pytest.approx(stats.hypergeom(100, 6, 40).pmf(0), rel=1e-6)
    assert any("of freestall are exact" in note for note in answer.basis.notes)


def test_strata_have_a_row_each(tmp_path: Path) -> None:
    rows = [
        *_cows(20, 50, "a", floor="concrete", parity=1),
        *_cows(10, 50, "b", floor="rubber", parity=1),
        *_cows(30, 60, "c", floor="concrete", parity=4),
        *_cows(20, 60, "d", floor="rubber", parity=4),
    ]
    ledger = herd(tmp_path, rows)
    answer = comparison(ledger, Selection(), by=("floor",), reference="rubber", stratify="parity")
    strata = answer.extra["strata"].set_index(["stratum", "group"])
    assert strata.index.tolist() == [("1", "rubber"), ("1", "concrete"), ("3+", "rubber"), ("3+", "concrete")]
    assert strata["cases"].tolist() == [10, 20, 20, 30]
    for stratum, odds in (("1", (20 / 30) / (10 / 40)), ("3+", (30 / 30) / (20 / 40))):
        row = strata.loc[(stratum, "concrete")]
        assert row["odds_ratio"] == pytest.approx(odds)
        assert row["or_low"] < odds < row["or_high"]
        assert row["low"] < row["prevalence"] < row["high"]
        one = comparison(ledger, Selection(parity=(stratum,)), by=("floor",), reference="rubber").table.iloc[1]
        columns = ["or_low", "or_high", "rr_low", "rr_high", "p_value"]
        assert row[columns].tolist() == pytest.approx(one[columns].tolist())


def test_trims_are_counted_where_groups_were_looked_at_unequally(tmp_path: Path) -> None:
    """One trim in ten shows the lesion in either housing; cows of the freestall were trimmed six times as often."""
    rows = []
    for i in range(60):
        rows += [
            trim(f"f{i}", "SU" if (i + 6 * k) % 10 == 0 else None, "LH", on=f"2025-0{k + 1}-03", housing="freestall")
            for k in range(6)
        ]
        rows.append(trim(f"p{i}", "SU" if i % 10 == 0 else None, "LH", housing="pasture"))
    ledger = herd(tmp_path, rows)
    answer = comparison(ledger, Selection(visits=("all",)), reference="pasture")
    assert answer.basis.unit == "trim"
    assert _rows(answer.table)["at_risk"].tolist() == [60, 360]
    assert _rows(answer.table).loc["freestall", "risk_ratio"] == pytest.approx(1, abs=1e-6)
    assert sum("Trims are counted, not cows" in note for note in answer.basis.notes) == 1
    shares = prevalence(ledger, Selection(visits=("all",)), by=("housing",))
    assert shares.basis.unit == "trim"
    assert shares.table["prevalence"].tolist() == pytest.approx([0.1, 0.1])
    assert sum("Trims are counted, not cows" in note for note in shares.basis.notes) == 1
    by_cow = prevalence(ledger, Selection(visits=("all",)), by=("housing",), per="cow")
    assert by_cow.basis.unit == "cow" and by_cow.table["prevalence"].iloc[0] > 0.4
    assert any("Counting per trim is fairer" in caution for caution in by_cow.cautions)
    # Nothing is split, or what is split has no groups of cows: cows are counted.
    assert prevalence(ledger, Selection(visits=("all",)), by=("lesion",)).basis.unit == "cow"
    feet = foot_map(ledger, Selection(visits=("all",)), by=("housing",))
    assert feet.basis.unit == "trim"
