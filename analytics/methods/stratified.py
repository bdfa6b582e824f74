"""Two groups compared within strata (herds, seasons): Mantel-Haenszel, and whether the strata agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.methods.intervals import LEVEL, Floats, as_counts, normal_quantile


@dataclass(frozen=True)
class MantelHaenszel:
    """Pooled over strata.

    Attributes
    ----------
    odds_ratio, odds_ratio_low, odds_ratio_high : float
        Mantel-Haenszel odds ratio with Robins-Breslow-Greenland limits.
    risk_ratio, risk_ratio_low, risk_ratio_high : float
        Mantel-Haenszel risk ratio with Greenland-Robins limits.
    risk_difference, risk_difference_low, risk_difference_high : float
        Mantel-Haenszel risk difference with Sato's limits.
    z2, p_value : float
        Cochran-Mantel-Haenszel chi-square (1 df, no continuity correction) and its p-value.
    homogeneity, homogeneity_p : float
        Breslow-Day chi-square with Tarone's adjustment and its p-value: a small p says that the odds ratio
        differs between strata, so that one pooled figure hides something.
    homogeneity_df : int
        Its degrees of freedom, informative strata minus 1.
    strata : int
        Strata in which both groups have units and there is at least one case and one non-case.
    """

    odds_ratio: float
    odds_ratio_low: float
    odds_ratio_high: float
    risk_ratio: float
    risk_ratio_low: float
    risk_ratio_high: float
    risk_difference: float
    risk_difference_low: float
    risk_difference_high: float
    z2: float
    p_value: float
    homogeneity: float
    homogeneity_p: float
    homogeneity_df: int
    strata: int


def mantel_haenszel(
    cases1: npt.ArrayLike,
    n1: npt.ArrayLike,
    cases0: npt.ArrayLike,
    n0: npt.ArrayLike,
    level: float = LEVEL,
) -> MantelHaenszel:
    """Odds ratio, risk ratio and risk difference of two groups, pooled over strata.

    ``OR = sum(a d / N) / sum(b c / N)``, ``RR = sum(a n0 / N) / sum(c n1 / N)``,
    ``RD = sum((a n0 - c n1) / N) / sum(n1 n0 / N)``, a and c cases, b and d non-cases, N units of a stratum.

    Parameters
    ----------
    cases1, n1 : array_like, shape (strata,)
        Affected and looked at in the group of interest.
    cases0, n0 : array_like, shape (strata,)
        Affected and looked at in the reference group.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    MantelHaenszel
        Figures that the counts do not give (no case in a group, no stratum with both groups) are nan.

    Raises
    ------
    ValueError
        If a count is negative, cases exceed n, or *level* is not between 0 and 1.

    References
    ----------
    Mantel N, Haenszel W (1959). J Natl Cancer Inst 22:719-748.
    Robins J, Breslow N, Greenland S (1986). Biometrics 42:311-323.
    Greenland S, Robins JM (1985). Biometrics 41:55-68. Sato T (1989). Biometrics 45:1323-1324.
    Tarone RE (1985). Biometrika 72:91-95.

    Examples
    --------
    >>> found = mantel_haenszel([10, 20], [50, 60], [5, 12], [50, 60])
    >>> print(f"{found.odds_ratio:.2f} ({found.odds_ratio_low:.2f}-{found.odds_ratio_high:.2f})")
    2.08 (1.06-4.09)
    """
    a, m1, c, m0 = (np.atleast_1d(x) for x in as_counts(cases1, n1, cases0, n0))
    if np.any(a > m1) or np.any(c > m0):
        raise ValueError("there cannot be more cases than units looked at")
    z = normal_quantile(level)
    both = (m1 > 0) & (m0 > 0)
    a, m1, c, m0 = a[both], m1[both], c[both], m0[both]
    b, d, total = m1 - a, m0 - c, m1 + m0
    informative = (a + c > 0) & (b + d > 0)
    strata = int(informative.sum())
    nan = float("nan")
    if not len(a):
        return MantelHaenszel(nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, 0, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        rd_weight = float((m1 * m0 / total).sum())
        rd = float(((a * m0 - c * m1) / total).sum()) / rd_weight
        p_term = ((m1**2 * c - m0**2 * a + m1 * m0 * (m0 - m1) / 2) / total**2).sum()
        q_term = ((a * d + c * b) / (2 * total)).sum()
        rd_se = float(np.sqrt(max(rd * p_term + q_term, 0.0))) / rd_weight
        top, bottom = float((a * m0 / total).sum()), float((c * m1 / total).sum())
        spread = float(((m1 * m0 * (a + c) - a * c * total) / total**2).sum())
        rr = float(np.divide(top, bottom))
        rr_se = float(np.sqrt(np.divide(spread, top * bottom)))
    odds, odds_low, odds_high, z2, p_value = nan, nan, nan, nan, nan
    homogeneity, homogeneity_p = nan, nan
    if strata:
        from statsmodels.stats.contingency_tables import StratifiedTable

        tables = np.stack([a, b, c, d])[:, informative].reshape(2, 2, strata)
        with np.errstate(divide="ignore", invalid="ignore"):
            table = StratifiedTable(tables)
            odds = float(table.oddsratio_pooled)
            se = float(table.logodds_pooled_se)
            null = table.test_null_odds(correction=False)
            z2, p_value = float(null.statistic), float(null.pvalue)
            if np.isfinite(odds) and odds > 0:
                odds_low, odds_high = float(odds * np.exp(-z * se)), float(odds * np.exp(z * se))
                if strata > 1:
                    homogeneity = _tarone(odds, *(x[informative] for x in (a, m1, c, m0)))
                    homogeneity_p = float(special.chdtrc(float(strata - 1), homogeneity))
    return MantelHaenszel(
        odds_ratio=odds,
        odds_ratio_low=odds_low,
        odds_ratio_high=odds_high,
        risk_ratio=rr,
        risk_ratio_low=float(rr * np.exp(-z * rr_se)) if 0 < rr < np.inf else nan,
        risk_ratio_high=float(rr * np.exp(z * rr_se)) if 0 < rr < np.inf else nan,
        risk_difference=rd,
        risk_difference_low=max(rd - z * rd_se, -1.0),
        risk_difference_high=min(rd + z * rd_se, 1.0),
        z2=z2,
        p_value=p_value,
        homogeneity=homogeneity,
        homogeneity_p=homogeneity_p,
        homogeneity_df=max(strata - 1, 0),
        strata=strata,
    )


def _tarone(odds: float, a: Floats, m1: Floats, c: Floats, m0: Floats) -> float:
    """Breslow-Day-Tarone chi-square; statsmodels' own divides by zero at a pooled odds ratio of exactly 1."""
    t = a + c
    b = m0 - t + odds * (m1 + t)
    expected = 2 * odds * m1 * t / (b + np.sqrt(np.maximum(b * b + 4 * (1 - odds) * odds * m1 * t, 0.0)))
    cells = np.stack([expected, m1 - expected, t - expected, m0 - t + expected])
    with np.errstate(divide="ignore"):
        variance = 1.0 / (1.0 / cells).sum(axis=0)
    gap = a - expected
    return float((gap**2 / variance).sum() - gap.sum() ** 2 / variance.sum())
