"""Adjusted comparison of groups when units come in clusters: GEE logistic regression on counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analytics.methods.design import Design, build_design
from analytics.methods.intervals import LEVEL, normal_quantile
from analytics.methods.random_herd import RandomHerd, random_herd_logit
from analytics.words import say

__all__ = ["AdjustedComparison", "RandomHerd", "gee_logistic", "random_herd_logit"]

Array = npt.NDArray[np.float64]

_STEPS = 100
_SETTLED = 1e-9
_SEPARATED = 12.0  # a log odds ratio past this is a group without cases or non-cases, not an estimate

TABLE = [
    "level", "n", "cases", "crude", "odds_ratio", "odds_ratio_low", "odds_ratio_high", "p_value", "risk",
    "risk_low", "risk_high", "difference", "difference_low", "difference_high", "ratio", "ratio_low",
    "ratio_high",
]  # fmt: skip


@dataclass(frozen=True)
class AdjustedComparison:
    """Groups compared with other factors held alike.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a level of the exposure, reference first. ``level``; ``n``, ``cases`` (counts); ``crude``
        (proportion); ``odds_ratio`` and limits against the reference (1 and nan limits for the reference);
        ``p_value``; ``risk`` and limits (marginal standardised: the proportion if all units had this level
        and kept their other factors); ``difference``, ``ratio`` of the standardised risks against the
        reference, with limits. nan where nothing was estimated.
    coefficients : pandas.DataFrame
        ``term``, ``estimate`` (log odds), ``se`` (robust), ``p_value``.
    covariance : ndarray, shape (terms, terms)
        Robust covariance of the estimates.
    correlation : float
        Exchangeable working correlation of two units of a cluster.
    clusters : int
        Number of clusters.
    df : float
        Degrees of freedom of the t quantile; inf when the normal quantile was used.
    converged : bool
        False when there is no answer to give.
    reason : str
        Why not; "" when converged.
    """

    table: pd.DataFrame
    coefficients: pd.DataFrame
    covariance: Array
    correlation: float
    clusters: int
    df: float
    converged: bool
    reason: str = ""


def gee_logistic(
    frame: pd.DataFrame,
    outcome: str,
    exposure: str,
    reference: object,
    covariates: Sequence[str] = (),
    clusters: str = "cluster",
    *,
    n: str | None = None,
    level: float = LEVEL,
    small_sample: bool = True,
) -> AdjustedComparison:
    """Logistic regression with exchangeable working correlation and cluster-robust standard errors.

    Solves ``sum_i D_i' V_i^-1 (y_i - mu_i) = 0``, V_i = A^1/2 R(a) A^1/2, R exchangeable, by Fisher scoring.
    The equations are summed over covariate patterns within clusters, which is exact for an exchangeable R, so
    a million cows cost no more than their patterns.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a unit, or one row a pattern with *n* naming the column of units looked at.
    outcome : str
        Column of the outcome (0/1) or the cases.
    exposure : str
        Column of the groups compared; always taken as a factor.
    reference : object
        The level the others are compared with.
    covariates : sequence of str
        Columns held alike. Text, categories and booleans are factors, numbers are numbers.
    clusters : str
        Column of the cluster (herd, or cow).
    n : str, optional
        Column of the units looked at.
    level : float, default 0.95
        Confidence level.
    small_sample : bool, default True
        Scale the robust covariance by k/(k - terms) and use t on k - terms degrees of freedom, because the
        sandwich is too small with few clusters. False gives the plain sandwich of other packages.

    Returns
    -------
    AdjustedComparison
        ``converged`` False with a ``reason`` when there are too few clusters, a group without cases or
        non-cases, or factors that cannot be told apart.

    Raises
    ------
    ValueError
        If a column or the reference level is missing, or counts are impossible.

    References
    ----------
    Liang KY, Zeger SL (1986). Longitudinal data analysis using generalized linear models. Biometrika
    73:13-22. Localio AR, Margolis DJ, Berlin JA (2007). Relative risks and confidence intervals were easily
    computed indirectly from multivariable logistic regression. J Clin Epidemiol 60:874-882.

    Examples
    --------
    >>> frame = pd.DataFrame({"herd": list("aabbccddee"), "floor": ["hard", "soft"] * 5,
    ...                       "lame": [12, 6, 9, 5, 15, 9, 8, 7, 11, 4], "cows": [40] * 10})
    >>> found = gee_logistic(frame, "lame", "floor", "soft", clusters="herd", n="cows")
    >>> row = found.table.iloc[1]
    >>> print(f"{row['level']}: {row.odds_ratio:.2f} ({row.odds_ratio_low:.2f}-{row.odds_ratio_high:.2f})")
    hard: 2.07 (1.17-3.66)
    """
    normal_quantile(level)
    design = build_design(
        frame,
        outcome,
        [exposure, *covariates],
        clusters,
        n=n,
        references={exposure: reference},
        factors=[exposure],
    )
    k, width = len(design.cluster_names), design.x.shape[1]
    reason = _too_little(design, exposure, k, width)
    if reason:
        return _no_answer(design, exposure, k, reason)
    beta, alpha, bread, settled = _solve(design)
    inside = np.abs(beta[1:]) < _SEPARATED
    if not settled or not inside.all():
        return _no_answer(design, exposure, k, say("The fit did not settle: a group has no case, or only cases."))
    scores = _scores(design, beta, alpha)
    covariance = bread @ (scores.T @ scores) @ bread
    df = float("inf")
    if small_sample:
        covariance = covariance * k / (k - width)
        df = float(k - width)
    return AdjustedComparison(
        table=_table(design, exposure, beta, covariance, df, level),
        coefficients=_coefficients(design, beta, covariance, df),
        covariance=covariance,
        correlation=alpha,
        clusters=k,
        df=df,
        converged=True,
    )


def _too_little(design: Design, exposure: str, k: int, width: int) -> str:
    if len(design.levels[exposure]) < 2:
        return say("There is only one group to compare.")
    if k <= width:
        return say("{k} clusters are not enough to hold {value} factors alike.", k=k, value=width - 1)
    if not 0 < design.cases.sum() < design.n.sum():
        return say("No unit, or every unit, is a case.")
    if np.linalg.matrix_rank(design.x) < width:
        return say("Two of the factors always go together, so they cannot be told apart.")
    return ""


def _sums(design: Design, values: Array) -> Array:
    k = len(design.cluster_names)
    if values.ndim == 1:
        return np.asarray(np.bincount(design.cluster, values, k), dtype=np.float64)
    return np.column_stack([_sums(design, values[:, j]) for j in range(values.shape[1])])


def _parts(design: Design, beta: Array) -> tuple[Array, Array, Array]:
    mu = np.clip(special.expit(design.x @ beta), 1e-12, 1 - 1e-12)
    root = np.sqrt(mu * (1 - mu))
    return mu, root, (design.cases - design.n * mu) / root


def _shrink(sizes: Array, alpha: float) -> Array:
    return alpha / (1.0 + (sizes - 1.0) * alpha)


def _scores(design: Design, beta: Array, alpha: float) -> Array:
    _, root, residual = _parts(design, beta)
    weighted = design.x * root[:, None]
    shared = _shrink(_sums(design, design.n), alpha)[:, None]
    within = _sums(design, weighted * residual[:, None])
    between = _sums(design, weighted * design.n[:, None]) * _sums(design, residual)[:, None]
    return np.asarray((within - shared * between) / (1.0 - alpha))


def _information(design: Design, beta: Array, alpha: float) -> Array:
    _, root, _ = _parts(design, beta)
    weighted = design.x * root[:, None]
    totals = _sums(design, weighted * design.n[:, None])
    shared = _shrink(_sums(design, design.n), alpha)[:, None]
    within = (weighted * design.n[:, None]).T @ weighted
    return np.asarray((within - (totals * shared).T @ totals) / (1.0 - alpha))


def _correlation(design: Design, beta: Array) -> float:
    mu, root, residual = _parts(design, beta)
    squares = (design.cases * (1 - mu) ** 2 + (design.n - design.cases) * mu**2) / root**2
    products = float((_sums(design, residual) ** 2 - _sums(design, squares)).sum()) / 2.0
    sizes = _sums(design, design.n)
    pairs = float((sizes * (sizes - 1.0)).sum()) / 2.0 - len(beta)
    if pairs <= 0:
        return 0.0
    # R must stay positive definite in the largest cluster.
    lowest = -0.9 / max(float(sizes.max()) - 1.0, 1.0)
    scale = float(squares.sum()) / max(float(design.n.sum()) - len(beta), 1.0)
    return float(np.clip(products / pairs / scale, lowest, 0.95))


def _solve(design: Design) -> tuple[Array, float, Array, bool]:
    beta = np.zeros(design.x.shape[1])
    beta[0] = special.logit(design.cases.sum() / design.n.sum())
    alpha, settled = 0.0, False
    for step in range(_STEPS):
        information = _information(design, beta, alpha)
        change = np.linalg.lstsq(information, _scores(design, beta, alpha).sum(axis=0), rcond=None)[0]
        largest = float(np.abs(change).max())
        beta = beta + change * min(1.0, 5.0 / max(largest, 1e-300))
        # The first steps stay independent: a correlation of residuals around zero coefficients means nothing.
        new = _correlation(design, beta) if step >= 3 else 0.0
        if largest < _SETTLED and abs(new - alpha) < _SETTLED:
            settled = True
            break
        alpha = new
    return beta, alpha, np.asarray(np.linalg.pinv(_information(design, beta, alpha))), settled


def _quantile(df: float, level: float) -> float:
    if np.isinf(df):
        return normal_quantile(level)
    return float(special.stdtrit(df, 0.5 + level / 2.0))


def _p(z: float, df: float) -> float:
    return float(2 * special.ndtr(-abs(z))) if np.isinf(df) else float(2 * special.stdtr(df, -abs(z)))


def _coefficients(design: Design, beta: Array, covariance: Array, df: float) -> pd.DataFrame:
    se = np.sqrt(np.diag(covariance))
    return pd.DataFrame(
        {
            "term": list(design.terms),
            "estimate": beta,
            "se": se,
            "p_value": [_p(b / s, df) if s > 0 else np.nan for b, s in zip(beta, se, strict=True)],
        }
    )


def _table(design: Design, exposure: str, beta: Array, covariance: Array, df: float, level: float) -> pd.DataFrame:
    t = _quantile(df, level)
    levels = design.levels[exposure]
    at = {lv: j for j, lv in enumerate(levels)}
    rows = _counts(design, exposure)
    weights = design.n / design.n.sum()
    risks, slopes = [], []
    for j in range(len(levels)):
        x = design.x.copy()
        x[:, 1 : len(levels)] = 0.0
        if j:
            x[:, j] = 1.0
        mu = special.expit(x @ beta)
        risks.append(float(weights @ mu))
        slopes.append((weights * mu * (1 - mu)) @ x)
    for row in rows:
        j = at[row["level"]]
        risk, slope = risks[j], slopes[j]
        half = t * float(np.sqrt(slope @ covariance @ slope)) / (risk * (1 - risk))
        row |= {
            "risk": risk,
            "risk_low": float(special.expit(special.logit(risk) - half)),
            "risk_high": float(special.expit(special.logit(risk) + half)),
        }
        if j == 0:
            row |= {"odds_ratio": 1.0, "difference": 0.0, "ratio": 1.0}
            continue
        se = float(np.sqrt(covariance[j, j]))
        gap = slope - slopes[0]
        gap_half = t * float(np.sqrt(gap @ covariance @ gap))
        share = slope / risk - slopes[0] / risks[0]
        share_half = t * float(np.sqrt(share @ covariance @ share))
        row |= {
            "odds_ratio": float(np.exp(beta[j])),
            "odds_ratio_low": float(np.exp(beta[j] - t * se)),
            "odds_ratio_high": float(np.exp(beta[j] + t * se)),
            "p_value": _p(beta[j] / se, df) if se > 0 else np.nan,
            "difference": risk - risks[0],
            "difference_low": risk - risks[0] - gap_half,
            "difference_high": risk - risks[0] + gap_half,
            "ratio": risk / risks[0],
            "ratio_low": risk / risks[0] * float(np.exp(-share_half)),
            "ratio_high": risk / risks[0] * float(np.exp(share_half)),
        }
    return pd.DataFrame(rows, columns=TABLE)


def _counts(design: Design, exposure: str) -> list[dict[str, object]]:
    column = design.patterns[exposure]
    rows: list[dict[str, object]] = []
    for lv in design.levels[exposure]:
        inside = (column == lv).to_numpy()
        n, cases = float(design.n[inside].sum()), float(design.cases[inside].sum())
        rows.append({"level": lv, "n": n, "cases": cases, "crude": cases / n if n else np.nan})
    return rows


def _no_answer(design: Design, exposure: str, k: int, reason: str) -> AdjustedComparison:
    table = pd.DataFrame(_counts(design, exposure), columns=TABLE)
    nothing = np.full(len(design.terms), np.nan)
    return AdjustedComparison(
        table=table,
        coefficients=pd.DataFrame({"term": list(design.terms), "estimate": nothing, "se": nothing, "p_value": nothing}),
        covariance=np.full((len(nothing), len(nothing)), np.nan),
        correlation=float("nan"),
        clusters=k,
        df=float("nan"),
        converged=False,
        reason=reason,
    )
