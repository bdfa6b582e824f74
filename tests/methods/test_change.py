from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from analytics.methods.did import difference_in_differences
from analytics.methods.segmented import interrupted_series


def series(seed: int | None, jump: float = -0.6, slope: float = 0.0, rho: float = 0.0, points: int = 36):
    time = np.arange(points)
    after = (time >= 18).astype(float)
    eta = -1.0 + jump * after + slope * after * (time - 18) + 0.3 * np.cos(2 * np.pi * time / 12)
    n = np.full(points, 150)
    if seed is None:
        return time, n / (1 + np.exp(-eta)), n
    rng = np.random.default_rng(seed)
    noise = np.zeros(points)
    for i in range(1, points):
        noise[i] = rho * noise[i - 1] + (0.25 * rng.standard_normal() if rho else 0.0)
    return time, rng.binomial(n, 1 / (1 + np.exp(-eta - noise))), n


def test_series_without_noise_gives_back_what_was_put_in() -> None:
    time, cases, n = series(None, slope=0.03)
    found = interrupted_series(time, cases, n, 18)
    assert found.level_ratio == pytest.approx(np.exp(-0.6), rel=1e-6)
    assert found.slope_ratio == pytest.approx(np.exp(0.03), rel=1e-6)
    assert found.slope_before == pytest.approx(1, abs=1e-6)
    assert found.table["fitted"].to_numpy() == pytest.approx(cases / n, abs=1e-8)
    without = found.table["without"].to_numpy()
    expected = 1 / (1 + np.exp(1.0 - 0.3 * np.cos(2 * np.pi * time / 12)))
    assert without == pytest.approx(expected, abs=1e-6)
    assert found.end_difference == pytest.approx(cases[-1] / 150 - expected[-1], abs=1e-6)
    assert found.end_low < found.end_difference < found.end_high


def test_limits_cover_the_jump() -> None:
    held = 0
    for seed in range(150):
        found = interrupted_series(*series(seed), 18)
        held += found.level_low <= np.exp(-0.6) <= found.level_high
    assert 0.91 <= held / 150 <= 0.99


def test_hanging_together_widens_the_limits() -> None:
    wider = [
        (
            interrupted_series(*series(s, rho=0.7), 18),
            interrupted_series(*series(s, rho=0.7), 18, autocorrelated=False),
        )
        for s in range(12)
    ]
    assert all(a.level_high / a.level_low >= b.level_high / b.level_low - 1e-9 for a, b in wider)
    assert any(a.errors == "newey-west" for a, _ in wider)
    assert np.mean([b.dispersion for _, b in wider]) > 1.2


def test_newey_west_agrees_with_statsmodels() -> None:
    from analytics.methods.segmented import _design, _newey_west

    time, cases, n = series(3, rho=0.7)
    x = _design(time.astype(float), 18, True, 1, 12)
    fit = sm.GLM(np.column_stack([cases, n - cases]), x, family=sm.families.Binomial()).fit(
        cov_type="HAC", cov_kwds={"maxlags": 4, "use_correction": False}
    )
    ours = _newey_west(x, cases.astype(float), n.astype(float), fit.params, "binomial", 4)
    assert ours == pytest.approx(fit.cov_params(), rel=1e-4)


def test_order_and_gaps_do_not_matter() -> None:
    time, cases, n = series(4)
    mixed = np.random.default_rng(1).permutation(36)
    a = interrupted_series(time, cases, n, 18)
    b = interrupted_series(np.append(time[mixed], 40), np.append(cases[mixed], 0), np.append(n[mixed], 0), 18)
    assert b.level_ratio == pytest.approx(a.level_ratio) and b.points_after == 18


@pytest.mark.parametrize(
    ("time", "cases", "n", "change"),
    [
        ([], [], [], 3),
        (range(10), [3] * 10, [9] * 10, 2),
        (range(30), [0] * 30, [9] * 30, 15),
        (range(30), [9] * 30, [9] * 30, 15),
        ([*[1] * 10, *[2] * 10], [3] * 20, [9] * 20, 2),
        (range(30), [*[3] * 15, *[0] * 15], [9] * 30, 15),
    ],
)
def test_series_with_too_little_says_why(time, cases, n, change) -> None:
    found = interrupted_series(np.array(list(time)), cases, n, change)
    assert not found.converged and found.reason.endswith(".")
    assert np.isnan(found.level_ratio) and list(found.table.columns)[-1] == "without_high"


def herds(seed: int, effect: float, k: int = 14) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for herd in range(2 * k):
        changed, base = herd < k, 0.9 * rng.standard_normal() - 1.2
        for after in (False, True):
            eta = base - 0.3 * after + effect * (changed and after) + 0.15 * rng.standard_normal()
            n = int(rng.integers(40, 120))
            rows.append((herd, changed, after, rng.binomial(n, 1 / (1 + np.exp(-eta))), n))
    return pd.DataFrame(rows, columns=["herd", "changed", "after", "lame", "cows"])


def did(frame: pd.DataFrame):
    return difference_in_differences(frame, "lame", "cows", "changed", "after", "herd")


def test_did_agrees_with_clustered_regression() -> None:
    frame = herds(1, -0.5)
    found = did(frame)
    units = frame.loc[frame.index.repeat(2)].reset_index(drop=True)
    units["y"] = np.tile([1.0, 0.0], len(frame))
    units["w"] = np.where(units["y"] == 1, units["lame"], units["cows"] - units["lame"])
    x = np.column_stack(
        [np.ones(len(units)), units["changed"], units["after"], units["changed"] & units["after"]]
    ).astype(float)
    fit = sm.WLS(units["y"], x, weights=units["w"]).fit(
        cov_type="cluster", cov_kwds={"groups": units["herd"], "use_correction": False}
    )
    assert found.difference == pytest.approx(fit.params.iloc[3])
    half = (found.high - found.low) / 2
    from scipy import stats

    assert half / stats.t.ppf(0.975, found.df) == pytest.approx(fit.bse.iloc[3] * np.sqrt(14 / 13), rel=0.02)


def test_did_limits_cover_no_effect() -> None:
    held = sum(did(herds(s, 0.0)).odds_low <= 1.0 <= did(herds(s, 0.0)).odds_high for s in range(120))
    assert 0.89 <= held / 120 <= 0.995


def test_did_says_why_it_cannot() -> None:
    frame = herds(2, 0.0)
    few = did(frame[(frame["herd"] == 0) | ~frame["changed"]])
    assert few.reason and np.isnan(few.low) and np.isfinite(few.difference)
    gap = did(frame[~(frame["changed"] & frame["after"])])
    assert gap.reason and np.isnan(gap.difference)
    none = did(frame.assign(lame=0))
    assert none.difference == 0 and np.isnan(none.odds_ratio)
    with pytest.raises(ValueError, match="one group"):
        did(frame.assign(changed=frame["after"]))
    with pytest.raises(ValueError, match="between 0"):
        did(frame.assign(lame=999))
    with pytest.raises(ValueError, match="no column"):
        did(frame.drop(columns="after"))
