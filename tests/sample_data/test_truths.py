"""What was built in can be counted in the sheets again."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from evenfoot.sample_data import truths


def _odds_ratio(one: pd.Series, other: pd.Series) -> float:
    return float(one.mean() / (1 - one.mean()) / (other.mean() / (1 - other.mean())))


@pytest.mark.parametrize(
    ("column", "freestall", "tie_stall"),
    [
        # Cramer et al. 2008, J Dairy Sci 91:3888, per cent of cows [pub].
        ("any_lesion", 46.4, 25.7),
        ("DD", 22.7, 9.3),
        ("SU", 9.2, 4.7),
        ("SH", 11.0, 7.7),
    ],
)
def test_prevalence_is_of_the_published_order(
    whole_herd: pd.DataFrame, column: str, freestall: float, tie_stall: float
) -> None:
    share = whole_herd.groupby("housed")[column].mean() * 100
    assert share["freestall"] == pytest.approx(freestall, rel=0.2)
    assert share["tie-stall"] == pytest.approx(tie_stall, rel=0.3)
    assert share["freestall"] > share["tie-stall"]


def test_white_line_disease_in_freestalls_is_4_to_10_per_cent(whole_herd: pd.DataFrame) -> None:
    # Solano et al. 2016, J Dairy Sci 99:6828: 4 % over all housings [pub].
    assert 0.04 < whole_herd[whole_herd["housed"] == "freestall"]["WL"].mean() < 0.10


def test_soft_ground_has_fewer_horn_lesions(whole_herd: pd.DataFrame) -> None:
    horn = whole_herd[["SU", "SH", "WL"]].any(axis=1).groupby(whole_herd["housed"]).mean()
    assert horn["bedded-pack"] < horn["freestall"] * 0.7
    assert horn["pasture"] < horn["freestall"] * 0.7


def test_concrete_raises_ulcers_and_white_line_disease_within_one_farm(whole_herd: pd.DataFrame) -> None:
    osier = whole_herd[(whole_herd["farm"] == "Osier End") & (whole_herd["housed"] == "freestall")]
    both = osier["SU"] | osier["WL"]
    assert _odds_ratio(both[osier["on_floor"] == "concrete"], both[osier["on_floor"] == "rubber"]) > 1.2


def test_horn_lesions_sit_on_hind_outer_claws_first_then_front_inner(trims: pd.DataFrame) -> None:
    horn = trims[trims["case"].isin(["SU", "WL", "SH"])]
    place = horn["foot"].str[1].map({"H": "hind", "F": "front"}) + " " + horn["claw"]
    share = place.value_counts(normalize=True)
    assert list(share.index[:2]) == ["hind lateral", "front medial"]
    assert share.iloc[0] > 0.6


@pytest.mark.parametrize(
    ("lesion", "zones"),
    [
        # Shearer and co-authors' extension articles, zone map [pub].
        ("SU", {4, 5}),
        ("BU", {6}),
        ("TU", {1, 5}),
        ("WL", {1, 2, 3}),
        ("DD", {0, 9, 10}),
        ("HF", {7, 8}),
        ("HHE", {6}),
        ("IH", {0}),
        ("ID", {0}),
    ],
)
def test_lesions_keep_to_their_zones(trims: pd.DataFrame, lesion: str, zones: set[int]) -> None:
    assert set(trims[trims["case"] == lesion]["zone"].dropna().astype(int)) == zones


def test_the_usual_site_is_the_commonest(trims: pd.DataFrame) -> None:
    for lesion, zone in (("SU", 4), ("WL", 3), ("DD", 10)):
        assert trims[trims["case"] == lesion]["zone"].mode()[0] == zone


def test_digital_dermatitis_falls_after_the_change_that_worked_and_not_after_the_one_that_did_nothing(
    whole_herd: pd.DataFrame,
) -> None:
    ratios = {}
    for change in truths.CHANGES:
        farm = whole_herd[whole_herd["farm"] == change.farm]
        after = farm["visit_date"] >= pd.Timestamp(change.on)
        ratios[change.farm] = _odds_ratio(farm[after]["DD"], farm[~after]["DD"])
    assert 0.4 < ratios["Larkmoor"] < 0.7
    assert 0.7 < ratios["Withy Flat"] < 1.4


@pytest.mark.parametrize("lesion", ["SH", "HHE"])
def test_one_trimmer_records_more_of_the_same_herd(whole_herd: pd.DataFrame, lesion: str) -> None:
    larkmoor = whole_herd[whole_herd["farm"] == "Larkmoor"]
    sharp = _odds_ratio(larkmoor[larkmoor["trimmer"] == "TB"][lesion], larkmoor[larkmoor["trimmer"] == "KV"][lesion])
    assert sharp > 1.5
    ulcers = _odds_ratio(larkmoor[larkmoor["trimmer"] == "TB"]["SU"], larkmoor[larkmoor["trimmer"] == "KV"]["SU"])
    assert 0.6 < ulcers < 1.6


def test_older_cows_have_more_horn_lesions(whole_herd: pd.DataFrame) -> None:
    horn = whole_herd["SU"] | whole_herd["WL"]
    old = whole_herd["parity"] >= 4
    assert _odds_ratio(horn[old], horn[whole_herd["parity"] == 1]) > 1.5


@pytest.mark.parametrize("lesion", ["DD", "SU"])
def test_what_a_cow_had_comes_back(whole_herd: pd.DataFrame, lesion: str) -> None:
    visits = whole_herd.sort_values("visit_date")
    before = visits.groupby(["farm", "cow"])[lesion].shift()
    had, had_not = visits[lesion][before.eq(True)], visits[lesion][before.eq(False)]
    assert _odds_ratio(had, had_not) > 2


def test_it_comes_back_on_the_same_claw(trims: pd.DataFrame) -> None:
    ulcers = trims[(trims["case"] == "SU") & trims["visit_kind"].eq("whole-herd")].sort_values("visit_date")
    first = ulcers.drop_duplicates(["farm", "cow", "visit_date"])
    site = first["foot"] + first["claw"]
    before = site.groupby([first["farm"], first["cow"]]).shift()
    again = site[before.notna()] == before[before.notna()]
    assert len(again) > 30
    by_chance = float((site.value_counts(normalize=True) ** 2).sum())
    assert again.mean() > by_chance + 0.15


def test_daughters_take_after_their_sire(whole_herd: pd.DataFrame, register: pd.DataFrame) -> None:
    cows = whole_herd.merge(register[["farm", "cow", "sire"]], on=["farm", "cow"])
    horn = cows[["SU", "WL", "SH"]].any(axis=1).groupby(cows["sire"]).mean()
    built_in = pd.Series({sire: effect[0] for sire, effect in truths.SIRES.items()})
    assert len(horn) == 12
    assert horn.corr(built_in, method="spearman") > 0.7


def test_cows_and_herds_differ_more_than_chance_allows(whole_herd: pd.DataFrame) -> None:
    cows = whole_herd[whole_herd["farm"] == "Larkmoor"].groupby("cow")["DD"].agg(["sum", "size"])
    cows = cows[cows["size"] >= 4]
    share = cows["sum"].sum() / cows["size"].sum()
    dispersion = (cows["sum"] - cows["size"] * share) ** 2 / (cows["size"] * share * (1 - share))
    assert dispersion.mean() > 1.5
    herds = whole_herd.groupby("farm")["DD"].mean()
    assert herds.max() > 3 * herds.min()


def _lame(scores: pd.DataFrame, farm: str, since: str, until: str) -> float:
    rows = scores[(scores["farm"] == farm) & scores["date"].between(since, until)]
    return float(rows["lame"].mean())


def test_lameness_doubles_on_one_farm_and_is_flat_elsewhere(scores: pd.DataFrame) -> None:
    before = _lame(scores, "Osier End", "2023-11-01", "2025-10-31")
    after = _lame(scores, "Osier End", "2026-08-01", "2026-10-31")
    assert 1.5 < after / before < 2.5
    for farm in ("Larkmoor", "Nether Ash", "Withy Flat", "Long Heath"):
        first = _lame(scores, farm, "2023-11-01", "2024-10-31")
        last = _lame(scores, farm, "2025-11-01", "2026-10-31")
        assert 0.75 < last / first < 1.33, farm


def test_lameness_peaks_in_late_summer_and_autumn_in_the_herd_at_grass(scores: pd.DataFrame) -> None:
    heath = scores[scores["farm"] == truths.AUTUMN_FARM]
    by_month = heath.groupby(heath["date"].dt.month)["lame"].mean()
    assert by_month[[8, 9, 10]].mean() > 1.5 * by_month[[2, 3, 4]].mean()


def test_cows_with_ulcers_are_lamer_on_the_day(trims: pd.DataFrame) -> None:
    scored = trims[(trims["locomotion_scale"] == "1-5")].copy()
    key = ["farm", "visit_date", "cow"]
    ulcer = trims[trims["case"] == "SU"][key].drop_duplicates().assign(ulcer=True)
    scored = scored.merge(ulcer, on=key, how="left")
    lame, has = scored["locomotion_score"] >= 3, scored["ulcer"].eq(True)
    assert _odds_ratio(lame[has], lame[~has]) > 2


def test_the_british_scale_is_used_on_one_farm(scores: pd.DataFrame) -> None:
    scales = scores.groupby("farm")["scale"].unique().map(list).to_dict()
    assert scales.pop("Long Heath") == ["0-3"]
    assert all(scale == ["1-5"] for scale in scales.values())
    assert set(np.unique(scores[scores["scale"] == "0-3"]["score"])) == {0, 1, 2, 3}
    assert set(np.unique(scores[scores["scale"] == "1-5"]["score"])) == {1, 2, 3, 4, 5}


def test_lame_cow_visits_show_more_lesions_than_the_herd_has(trims: pd.DataFrame) -> None:
    found = trims.groupby(["visit_kind", "farm", "visit_date", "cow"])["case"].count().gt(0)
    share = found.groupby("visit_kind").mean()
    assert share["lame-cow"] > share["part-herd"] > share["whole-herd"]


def test_digital_dermatitis_is_commoner_indoors_in_winter(whole_herd: pd.DataFrame) -> None:
    # Within one farm and one side of its change, so that neither can pass for a season.
    larkmoor = whole_herd[(whole_herd["farm"] == "Larkmoor")]
    month = larkmoor["visit_date"].dt.month
    for side in (larkmoor["visit_date"] < "2025-02-03", larkmoor["visit_date"] >= "2025-02-03"):
        cold, warm = larkmoor[side & month.isin([11, 3])]["DD"], larkmoor[side & (month == 7)]["DD"]
        assert _odds_ratio(cold, warm) > 1.2


def test_horn_lesions_peak_in_late_summer_in_the_herd_at_grass(whole_herd: pd.DataFrame) -> None:
    heath = whole_herd[whole_herd["farm"] == truths.AUTUMN_FARM]
    month = heath["visit_date"].dt.month
    horn = heath["SU"] | heath["WL"]
    assert _odds_ratio(horn[month.isin([8, 9])], horn[month.isin([2, 4, 5])]) > 1.3
