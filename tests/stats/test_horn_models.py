"""Cluster means, proportional odds and the nested model against general libraries and worked cases."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.stats.cluster_mean import cluster_mean
from evenfoot.analytics.stats.nested_model import nested_model
from evenfoot.analytics.stats.ordinal_regression import proportional_odds


def sums(y: np.ndarray, cow: np.ndarray) -> tuple[float, ...]:
    frame = pd.DataFrame({"y": y, "cow": cow}).groupby("cow")["y"].agg(["sum", "size"])
    s, n = frame["sum"], frame["size"]
    return s.sum(), n.sum(), (s * s).sum(), (s * n).sum(), (n * n).sum(), len(frame)


def test_cluster_mean_is_the_sandwich_of_the_general_library() -> None:
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    cow = rng.integers(0, 25, 200)
    y = 80 + rng.normal(size=25)[cow] * 3 + rng.normal(size=200)
    found = cluster_mean(*sums(y, cow), adjust=False)
    fit = sm.OLS(y, np.ones(200)).fit(cov_type="cluster", cov_kwds={"groups": cow, "df_correction": True})
    assert found.mean == pytest.approx(y.mean())
    assert found.se == pytest.approx(fit.bse[0], rel=1e-9)
    assert found.df == 24


def test_cluster_mean_of_single_records_is_the_t_interval() -> None:
    from scipy import stats

    y = np.array([78.0, 81.0, 76.5, 84.0, 79.0])
    found = cluster_mean(*sums(y, np.arange(5)))
    low, high = stats.t.interval(0.95, 4, y.mean(), stats.sem(y))
    assert (found.low, found.high) == pytest.approx((low, high))


def test_one_cow_has_a_mean_and_no_interval() -> None:
    found = cluster_mean(*sums(np.array([78.0, 81.0]), np.array([1, 1])))
    assert found.mean == pytest.approx(79.5)
    assert np.isnan(found.low) and np.isnan(found.high)


def test_cluster_mean_covers_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(600):
        cow = np.repeat(np.arange(15), rng.integers(1, 5, 15))
        y = 80 + (2 * rng.normal(size=15))[cow] + rng.normal(size=len(cow))
        found = cluster_mean(*sums(y, cow))
        inside += found.low <= 80 <= found.high
    assert 0.92 <= inside / 600 <= 0.98


def herds(rng: np.random.Generator) -> pd.DataFrame:
    herd = np.repeat(np.arange(6), 40)
    cow = np.repeat(np.arange(60), 4)
    x = rng.normal(size=240)
    y = 2 + 0.5 * x + (0.8 * rng.normal(size=6))[herd] + (0.6 * rng.normal(size=60))[cow] + rng.normal(size=240)
    return pd.DataFrame({"y": y, "x": x, "herd": herd, "cow": cow})


def test_nested_model_is_the_general_mixed_model() -> None:
    import statsmodels.formula.api as smf

    d = herds(np.random.default_rng(5))
    ours = nested_model(d["y"], np.column_stack([np.ones(240), d["x"]]), d["cow"], d["herd"])
    theirs = smf.mixedlm("y ~ x", d, groups="herd", re_formula="1", vc_formula={"cow": "0 + C(cow)"}).fit(reml=True)
    assert ours.coefficients == pytest.approx(theirs.fe_params.to_numpy(), abs=2e-3)
    assert ours.se == pytest.approx(theirs.bse_fe.to_numpy(), rel=0.01)
    assert ours.sd**2 == pytest.approx(theirs.scale, rel=0.01)
    assert ours.sd_cow**2 == pytest.approx(theirs.vcomp[0], rel=0.03)


def test_nested_model_without_repeats_is_weighted_least_squares() -> None:
    import statsmodels.api as sm

    rng = np.random.default_rng(8)
    x, w = np.column_stack([np.ones(30), rng.normal(size=30)]), rng.uniform(0.5, 3, 30)
    y = x @ [1.0, 2.0] + rng.normal(size=30) / np.sqrt(w)
    ours = nested_model(y, x, np.arange(30), np.zeros(30), w)
    theirs = sm.WLS(y, x, weights=w).fit()
    assert ours.coefficients == pytest.approx(theirs.params)
    assert ours.se == pytest.approx(theirs.bse)
    assert ours.df == pytest.approx([28, 28])


def test_nested_model_says_what_cannot_be_told_apart() -> None:
    rng = np.random.default_rng(9)
    part = rng.uniform(size=40)
    x = np.column_stack([np.ones(40), part, 1 - part])
    fit = nested_model(rng.normal(size=40), x, np.repeat(np.arange(20), 2), np.repeat([0, 1], 20))
    assert np.isnan(fit.coefficients).all()
    assert np.isfinite(fit.information).all() and fit.sd > 0


def test_nested_model_needs_more_records_than_coefficients() -> None:
    with pytest.raises(ValueError, match="more records"):
        nested_model([1.0, 2.0], np.eye(2), [0, 1], [0, 0])


def test_proportional_odds_recovers_what_was_put_in_and_clusters_widen_it() -> None:
    rng = np.random.default_rng(2)
    cow = np.repeat(np.arange(400), 5)
    x = pd.DataFrame({"grass": np.repeat(rng.integers(0, 2, 400), 5).astype(float)})
    latent = 1.0 * x["grass"].to_numpy() + (1.2 * rng.normal(size=400))[cow] + rng.logistic(size=2000)
    stage = np.digitize(latent, [-1.0, 0.5, 2.0])
    plain, clustered = proportional_odds(stage, x), proportional_odds(stage, x, cow)
    row = clustered.coefficients.iloc[0]
    assert 0.5 < row["estimate"] < 1.1  # pulled toward 0 by the cow spread, as population averages are
    assert row["se"] > 1.3 * plain.coefficients["se"].iloc[0]
    assert clustered.coefficients["estimate"].iloc[0] == pytest.approx(plain.coefficients["estimate"].iloc[0])


def test_two_stages_are_logistic_regression() -> None:
    import statsmodels.api as sm

    rng = np.random.default_rng(4)
    x = pd.DataFrame({"weeks": rng.uniform(0, 20, 300)})
    stage = (rng.logistic(size=300) + 0.1 * x["weeks"] > 1).astype(int)
    ours = proportional_odds(stage, x)
    theirs = sm.Logit(stage, sm.add_constant(x)).fit(disp=0)
    assert ours.coefficients["estimate"].iloc[0] == pytest.approx(theirs.params["weeks"], abs=1e-4)
    assert ours.thresholds[0] == pytest.approx(-theirs.params["const"], abs=1e-3)


@pytest.mark.parametrize(
    ("stage", "columns", "words"),
    [
        ([1, 1, 1, 1], {"a": [0, 1, 0, 1]}, "same stage"),
        ([0, 1, 2, 1], {"a": [1, 1, 1, 1]}, "always go together"),
        ([0, 1, 2, 1] * 9, {"weeks": [106 / 7] * 36}, "always go together"),
        ([0, 1, 2, 1], {"a": [0, 1, 0, 1]}, "too few"),
        ([0] * 30 + [2] * 20 + [1] * 10, {"a": [0] * 30 + [1] * 30}, "one end"),
    ],
)
def test_no_fit_says_why(stage: list[int], columns: dict[str, list[int]], words: str) -> None:
    cow = np.arange(len(stage)) if words != "too few" else np.zeros(len(stage))
    fit = proportional_odds(stage, pd.DataFrame(columns), cow)
    assert not fit.converged
    assert words in fit.reason
    assert fit.coefficients["estimate"].isna().all()
