from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from evenfoot.analytics.stats.cluster_logistic import compare_counts, gee_logistic
from evenfoot.analytics.stats.design import build_design
from evenfoot.analytics.stats.random_herd import random_herd_logit


def herds(seed: int, k: int = 30, sd: float = 0.8, effect: float = 0.7) -> pd.DataFrame:
    """Cows of *k* herds on hard or soft floors, with parity, and a herd effect on the logit scale."""
    rng = np.random.default_rng(seed)
    rows = []
    for herd in range(k):
        n = int(rng.integers(20, 60))
        floor = rng.random(n) < 0.5
        parity = rng.integers(1, 5, n)
        eta = -1.5 + effect * floor + 0.2 * (parity - 2) + sd * rng.standard_normal()
        lame = rng.random(n) < 1 / (1 + np.exp(-eta))
        rows.append(
            pd.DataFrame({"herd": herd, "floor": np.where(floor, "hard", "soft"), "parity": parity, "lame": lame})
        )
    return pd.concat(rows, ignore_index=True)


@pytest.mark.parametrize("seed", [1, 2])
def test_gee_agrees_with_statsmodels(seed: int) -> None:
    frame = herds(seed)
    ours = gee_logistic(frame, "lame", "floor", "soft", ["parity"], "herd", small_sample=False)
    x = np.column_stack([np.ones(len(frame)), frame["floor"] == "hard", frame["parity"]]).astype(float)
    theirs = sm.GEE(
        frame["lame"].astype(float),
        x,
        groups=frame["herd"],
        family=sm.families.Binomial(),
        cov_struct=sm.cov_struct.Independence(),
    ).fit(maxiter=200)
    assert ours.coefficients["estimate"].to_numpy() == pytest.approx(theirs.params, abs=1e-5)
    assert ours.coefficients["se"].to_numpy() == pytest.approx(theirs.bse, rel=1e-4)


def test_strata_are_as_good_as_dummies() -> None:
    """Statsmodels with a column for every herd: the same slopes and errors."""
    frame = herds(1)
    ours = gee_logistic(frame, "lame", "floor", "soft", ["parity"], "herd", strata="herd", small_sample=False)
    x = np.column_stack([frame["floor"] == "hard", frame["parity"], pd.get_dummies(frame["herd"])]).astype(float)
    theirs = sm.GEE(
        frame["lame"].astype(float),
        x,
        groups=frame["herd"],
        family=sm.families.Binomial(),
        cov_struct=sm.cov_struct.Independence(),
    ).fit(maxiter=200)
    assert ours.coefficients["estimate"].to_numpy() == pytest.approx(np.asarray(theirs.params)[:2], abs=1e-6)
    assert ours.coefficients["se"].to_numpy() == pytest.approx(np.asarray(theirs.bse)[:2], abs=1e-6)


def test_herds_in_which_nobody_is_a_case_tell_nothing() -> None:
    """They change no odds ratio; the standardised risks count them as what they are."""
    frame = herds(1)
    more = frame[frame["herd"] == 0].assign(herd=99, lame=False)
    with_it = gee_logistic(pd.concat([frame, more]), "lame", "floor", "soft", [], "herd", strata="herd").table
    without = gee_logistic(frame, "lame", "floor", "soft", [], "herd", strata="herd").table
    ratios = ["odds_ratio", "odds_ratio_low", "odds_ratio_high", "ratio", "p_value"]
    assert with_it.loc[1, ratios].tolist() == pytest.approx(without.loc[1, ratios].tolist())
    share = len(frame) / (len(frame) + len(more))
    assert with_it["risk"].tolist() == pytest.approx((without["risk"] * share).tolist())


def test_arrays_and_frame_give_the_same() -> None:
    frame = herds(2)
    group = (frame["floor"] == "hard").to_numpy().astype(int)
    one = np.ones(len(frame))
    arrays = compare_counts(frame["lame"], one, group, ["soft", "hard"], frame["herd"], frame["herd"]).table
    whole = gee_logistic(frame, "lame", "floor", "soft", [], "herd", strata="herd").table
    pd.testing.assert_frame_equal(arrays, whole)


def test_a_group_that_rests_on_one_cluster_has_no_limits() -> None:
    frame = herds(3)
    frame = frame[(frame["floor"] == "soft") | (frame["herd"] == 0)]
    found = gee_logistic(frame, "lame", "floor", "soft", [], "herd", strata="herd")
    assert not found.converged and "One cluster alone" in found.reason


def test_counts_and_rows_give_the_same() -> None:
    frame = herds(3)
    counts = frame.groupby(["herd", "floor", "parity"], as_index=False).agg(lame=("lame", "sum"), cows=("lame", "size"))
    a = gee_logistic(frame, "lame", "floor", "soft", ["parity"], "herd")
    b = gee_logistic(counts, "lame", "floor", "soft", ["parity"], "herd", n="cows")
    pd.testing.assert_frame_equal(a.table, b.table)


def test_standardised_risk_is_the_average_over_the_other_factors() -> None:
    frame = herds(4)
    found = gee_logistic(frame, "lame", "floor", "soft", ["parity"], "herd")
    b = found.coefficients.set_index("term")["estimate"]
    at = b["intercept"] + b["floor=hard"] + b["parity"] * frame["parity"].to_numpy(dtype=float)
    row = found.table.set_index("level").loc["hard"]
    assert row["risk"] == pytest.approx((1 / (1 + np.exp(-at))).mean())
    assert row["risk_low"] < row["risk"] < row["risk_high"]
    assert row["difference_low"] < row["difference"] < row["difference_high"]
    assert row["odds_ratio_low"] < row["odds_ratio"] < row["odds_ratio_high"]
    plain = gee_logistic(frame, "lame", "floor", "soft", ["parity"], "herd", small_sample=False)
    assert plain.table["odds_ratio_high"].iloc[1] < row["odds_ratio_high"]


def test_gee_limits_cover_with_few_herds() -> None:
    held, repeats = 0, 200
    for seed in range(repeats):
        frame = herds(1000 + seed, k=12, effect=0.0)
        row = gee_logistic(frame, "lame", "floor", "soft", [], "herd").table.iloc[1]
        held += row["odds_ratio_low"] <= 1.0 <= row["odds_ratio_high"]
    assert 0.90 <= held / repeats <= 0.99


@pytest.mark.parametrize(
    "change",
    [
        lambda f: f[f["floor"] == "soft"],
        lambda f: f[f["herd"] < 2],
        lambda f: f.assign(lame=False),
        lambda f: f.assign(lame=f["floor"] == "hard"),
        lambda f: f.assign(lame=f["lame"] & (f["floor"] == "soft")),
        lambda f: f.assign(parity=np.where(f["floor"] == "hard", 2, 1)),
    ],
)
def test_gee_says_why_it_cannot(change) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = gee_logistic(change(herds(5, k=12)), "lame", "floor", "soft", ["parity"], "herd")
    assert not found.converged and found.reason.endswith(".")
    assert found.table["n"].sum() > 0 and found.table["odds_ratio"].isna().all()


def test_gee_numeric_exposure_is_a_factor() -> None:
    found = gee_logistic(herds(6), "lame", "parity", 2, [], "herd")
    assert found.table["level"].iloc[0] == 2 and len(found.table) == 4


def test_random_herd_finds_what_was_put_in() -> None:
    found = random_herd_logit(herds(7, k=150), "lame", ["floor", "parity"], "herd", references={"floor": "soft"})
    b = found.coefficients.set_index("term")
    assert b.loc["floor=hard", "low"] < 0.7 < b.loc["floor=hard", "high"]
    assert found.sd_low < 0.8 < found.sd_high and found.sd_p_value < 1e-6
    assert found.icc == pytest.approx(found.sd**2 / (found.sd**2 + np.pi**2 / 3))
    assert len(found.effects) == 150 and abs(found.effects["effect"].mean()) < 0.2


def test_random_herd_without_spread_is_the_ordinary_model() -> None:
    frame = pd.DataFrame({"herd": range(20), "cases": [5] * 20, "cows": [25] * 20})
    found = random_herd_logit(frame, "cases", [], "herd", n="cows")
    assert found.sd == 0 and found.sd_low == 0 and 0 < found.sd_high < 0.6
    assert found.sd_p_value == 1
    assert found.coefficients["estimate"][0] == pytest.approx(np.log(0.25), abs=1e-5)
    assert found.coefficients["se"][0] == pytest.approx(np.sqrt(1 / 100 + 1 / 400), rel=1e-3)


def test_quadrature_against_brute_force() -> None:
    """One herd at a time, the likelihood integrated by a plain fine sum."""
    frame = pd.DataFrame({"herd": list("abcd"), "cases": [0, 3, 9, 4], "cows": [10, 12, 14, 9]})
    found = random_herd_logit(frame, "cases", [], "herd", n="cows", nodes=25, profile=False)
    u = np.linspace(-9, 9, 20001)
    total = 0.0
    for c, n in zip(frame["cases"], frame["cows"], strict=True):
        eta = found.coefficients["estimate"][0] + found.sd * u
        density = np.exp(c * eta - n * np.logaddexp(0, eta) - u**2 / 2) / np.sqrt(2 * np.pi)
        total += np.log(np.trapezoid(density, u))
    assert found.log_likelihood == pytest.approx(total, abs=1e-6)


@pytest.mark.parametrize(("cases", "herd"), [([0, 0, 0], "abc"), ([5, 5, 5], "abc"), ([1, 2, 3], "aaa"), ([], "")])
def test_random_herd_says_why_it_cannot(cases, herd) -> None:
    frame = pd.DataFrame({"herd": list(herd), "cases": cases, "cows": [5] * len(cases)})
    found = random_herd_logit(frame, "cases", [], "herd", n="cows")
    assert not found.converged and found.reason and np.isnan(found.sd)


def test_design_refuses_what_is_not_there() -> None:
    frame = herds(8, k=3)
    with pytest.raises(ValueError, match="no column 'age'"):
        build_design(frame, "lame", ["age"], "herd")
    with pytest.raises(ValueError, match="does not occur"):
        gee_logistic(frame, "lame", "floor", "mud", [], "herd")
    with pytest.raises(ValueError, match="nodes"):
        random_herd_logit(frame, "lame", [], "herd", nodes=0)
    with pytest.raises(ValueError, match="between 0"):
        build_design(frame.assign(n=0.5), "lame", [], "herd", n="n")
