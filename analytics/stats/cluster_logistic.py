"""Comparison of groups whose units come in clusters: logistic regression with cluster-robust errors, on counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.design import Design, build_design
from evenfoot.analytics.stats.intervals import LEVEL, normal_quantile

Array = npt.NDArray[np.float64]

_STEPS = 100
_SETTLED = 1e-9
_SEPARATED = 12.0  # a log odds ratio past this is a group without cases or non-cases, not an estimate
_HEAVY = 0.01  # leverage from which on a cluster's scores are corrected; below it they change by half a percent at most
_ALONE = 1.0 - 1e-6  # leverage at which a coefficient rests on one cluster, which shows no spread

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
        ``term``, ``estimate`` (log odds), ``se`` (robust), ``p_value``. The intercept is listed where there is one.
    influence : pandas.DataFrame
        What each cluster (index) adds to the log odds ratio of each level but the reference (columns); the
        squares add up to the variance.
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
    influence: pd.DataFrame
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
    strata: str | None = None,
    n: str | None = None,
    level: float = LEVEL,
    small_sample: bool = True,
) -> AdjustedComparison:
    """Logistic regression with cluster-robust standard errors (GEE, independent working correlation).

    The working correlation is independent because the groups and covariates may change within a cluster, where
    others can be biased (Pepe & Anderson 1994); without covariates the odds ratio is then that of the plain
    counts. Each stratum has an intercept of its own, which is eliminated, so that thousands cost no more than
    one; strata in which no unit, or every unit, is a case tell nothing of the groups. The work is on covariate
    patterns within clusters.

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
    strata : str, optional
        Column of the stratum (herd). A cluster lies in one stratum.
    n : str, optional
        Column of the units looked at.
    level : float, default 0.95
        Confidence level.
    small_sample : bool, default True
        Correct each cluster's residuals for its leverage (Kauermann & Carroll) and use t on as many degrees of
        freedom as there are clusters less coefficients (less intercepts too, where a stratum holds several
        clusters), because the sandwich is too small with few clusters. False gives the plain sandwich of
        other packages.

    Returns
    -------
    AdjustedComparison
        ``converged`` False with a ``reason`` when there are too few clusters, a group without cases or
        non-cases, or factors that cannot be told apart.

    Raises
    ------
    ValueError
        If a column or the reference level is missing, a cluster lies in two strata, or counts are impossible.

    References
    ----------
    Liang KY, Zeger SL (1986). Longitudinal data analysis using generalized linear models. Biometrika
    73:13-22. Pepe MS, Anderson GL (1994). Commun Stat Simul 23:939-951 (working correlation). Kauermann G,
    Carroll RJ (2001). J Am Stat Assoc 96:1387-1396; Li P, Redden DT (2015). Stat Med 34:281-296 (few clusters).
    Localio AR, Margolis DJ, Berlin JA (2007). Relative risks and confidence intervals were easily computed
    indirectly from multivariable logistic regression. J Clin Epidemiol 60:874-882.

    Examples
    --------
    >>> frame = pd.DataFrame({"herd": list("aabbccddee"), "floor": ["hard", "soft"] * 5,
    ...                       "lame": [12, 6, 9, 5, 15, 9, 8, 7, 11, 4], "cows": [40] * 10})
    >>> found = gee_logistic(frame, "lame", "floor", "soft", clusters="herd", strata="herd", n="cows")
    >>> row = found.table.iloc[1]
    >>> print(f"{row['level']}: {row.odds_ratio:.2f} ({row.odds_ratio_low:.2f}-{row.odds_ratio_high:.2f})")
    hard: 2.09 (1.35-3.22)
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
    return _fit(design, _strata(frame, clusters, strata, design), exposure, strata is None, level, small_sample)


def compare_counts(
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    group: npt.ArrayLike,
    levels: Sequence[object],
    clusters: npt.ArrayLike,
    strata: npt.ArrayLike,
    *,
    level: float = LEVEL,
) -> AdjustedComparison:
    """What :func:`gee_logistic` gives of groups in strata without further covariates, from arrays and sooner.

    Parameters
    ----------
    cases, n : array_like, shape (rows,)
        Affected and looked at.
    group : array_like of int, shape (rows,)
        Place of the row's group in *levels*, 0 for the reference.
    levels : sequence
        The groups, each met in at least one row.
    clusters, strata : array_like of int, shape (rows,)
        A cluster lies in one stratum.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    AdjustedComparison

    Examples
    --------
    >>> found = compare_counts([12, 6, 9, 5], [40] * 4, [1, 0, 1, 0], ["soft", "hard"], [0, 1, 2, 3], [0] * 4)
    >>> print(f"{found.table['odds_ratio'].iloc[1]:.2f}")
    2.23
    """
    at = np.asarray(group, dtype=np.intp)
    names, cluster = np.unique(np.asarray(clusters), return_inverse=True)
    _, stratum = np.unique(np.asarray(strata), return_inverse=True)
    x = np.zeros((len(at), len(levels)))
    x[:, 0] = 1.0
    x[at > 0, at[at > 0]] = 1.0
    design = Design(
        x=x,
        terms=("intercept", *(f"group={name}" for name in levels[1:])),
        cases=np.asarray(cases, dtype=np.float64),
        n=np.asarray(n, dtype=np.float64),
        cluster=cluster.astype(np.intp),
        cluster_names=tuple(names.tolist()),
        levels={"group": tuple(levels)},
        patterns=pd.DataFrame({"group": np.array([*levels, None], dtype=object)[:-1][at]}),
    )
    return _fit(design, stratum.astype(np.intp), "group", len(set(stratum.tolist())) == 1, level, True)


def _fit(
    design: Design, stratum: npt.NDArray[np.intp], exposure: str, whole: bool, level: float, small_sample: bool
) -> AdjustedComparison:
    """The fit of a design whose rows lie in strata; ``whole`` where there is one."""
    k = len(design.cluster_names)
    reason = _too_little(design, stratum, exposure, k, whole)
    if reason:
        return _no_answer(design, exposure, k, reason)
    fit = _solve(design, stratum)
    if fit is None:
        return _no_answer(design, exposure, k, say("The fit did not settle: a group has no case, or only cases."))
    influence = _influence(design, fit, small_sample)
    if influence is None:
        return _no_answer(design, exposure, k, say("One cluster alone tells of a group, which shows no spread."))
    df = float("inf")
    if small_sample:
        held = np.bincount(fit.stratum_of_cluster[fit.stratum_of_cluster >= 0], minlength=len(fit.a))
        df = float((fit.stratum_of_cluster >= 0).sum() - len(fit.b) - (held > 1).sum())
        if df < 1:
            return _no_answer(design, exposure, k, _too_few(k, design.x.shape[1] - 1))
    return AdjustedComparison(
        table=_table(design, exposure, fit, influence, df, level),
        coefficients=_coefficients(design, fit, influence, df, whole),
        influence=pd.DataFrame(
            influence.slopes[:, : len(design.levels[exposure]) - 1],
            index=list(design.cluster_names),
            columns=list(design.levels[exposure][1:]),
        ),
        clusters=k,
        df=df,
        converged=True,
    )


def _strata(frame: pd.DataFrame, clusters: str, strata: str | None, design: Design) -> npt.NDArray[np.intp]:
    """The stratum of each row of the design, numbered from 0."""
    if strata is None:
        return np.zeros(len(design.n), dtype=np.intp)
    if strata == clusters:
        return design.cluster
    home = frame[[clusters, strata]].dropna().drop_duplicates()
    if home[clusters].duplicated().any():
        raise ValueError("a cluster must lie in one stratum")
    of_cluster = home.set_index(clusters)[strata].reindex(list(design.cluster_names))
    codes, _names = pd.factorize(of_cluster)
    return np.asarray(codes[design.cluster], dtype=np.intp)


def _too_few(k: int, factors: int) -> str:
    return say("{k} clusters are not enough to hold {value} factors alike.", k=k, value=factors)


def _too_little(design: Design, stratum: npt.NDArray[np.intp], exposure: str, k: int, whole: bool) -> str:
    width = design.x.shape[1]
    if len(design.levels[exposure]) < 2:
        return say("There is only one group to compare.")
    if k <= width - (not whole):
        return _too_few(k, width - 1)
    if not 0 < design.cases.sum() < design.n.sum():
        return say("No unit, or every unit, is a case.")
    rows = _telling(design, stratum)
    sums = _sums(stratum[rows], design.n[rows])
    x = design.x[rows, 1:]
    x = x - (_sums(stratum[rows], x * design.n[rows, None]) / np.maximum(sums, 1.0)[:, None])[stratum[rows]]
    if np.linalg.matrix_rank(x) < width - 1:
        return say("Two of the factors always go together, so they cannot be told apart.")
    return ""


def _telling(design: Design, stratum: npt.NDArray[np.intp]) -> npt.NDArray[np.bool_]:
    """Rows of strata in which some units are cases and some are not."""
    m, total = _sums(stratum, design.cases), _sums(stratum, design.n)
    return np.asarray(((m > 0) & (m < total))[stratum])


def _sums(at: npt.NDArray[np.intp], values: Array, size: int = 0) -> Array:
    size = max(size, int(at.max()) + 1 if len(at) else 0)
    if values.ndim == 1:
        return np.asarray(np.bincount(at, values, size), dtype=np.float64)
    return np.column_stack([_sums(at, values[:, j], size) for j in range(values.shape[1])])


@dataclass(frozen=True)
class _Fit:
    """A fit: intercepts ``a`` of the strata that tell something, slopes ``b``, and what the errors need.

    ``rows`` are the rows used; ``stratum`` and ``x`` (less its weighted mean in the stratum), ``w`` (information),
    ``residual`` and ``cluster`` are of those rows. ``means`` (strata, slopes) are the weighted means, ``bread`` the
    inverse information of the slopes. ``stratum_of_cluster`` is -1 for a cluster not used. ``fixed`` is the risk of
    each row not used (0 or 1), nan for the others; ``stratum_of_row`` is the stratum of each row, -1 if not used.
    """

    a: Array
    b: Array
    x: Array
    w: Array
    residual: Array
    stratum: npt.NDArray[np.intp]
    cluster: npt.NDArray[np.intp]
    means: Array
    bread: Array
    stratum_of_cluster: npt.NDArray[np.intp]
    stratum_of_row: npt.NDArray[np.intp]
    fixed: Array


def _solve(design: Design, strata: npt.NDArray[np.intp]) -> _Fit | None:
    """Newton's method with the intercepts eliminated; None where it does not settle."""
    rows = _telling(design, strata)
    _, stratum = np.unique(strata[rows], return_inverse=True)
    raw, cases, n = design.x[rows, 1:], design.cases[rows], design.n[rows]
    a = special.logit(_sums(stratum, cases) / _sums(stratum, n))
    b = np.zeros(raw.shape[1])
    for _ in range(_STEPS):
        mu = np.clip(special.expit(a[stratum] + raw @ b), 1e-12, 1 - 1e-12)
        w, residual = n * mu * (1 - mu), cases - n * mu
        total = _sums(stratum, w)
        means = _sums(stratum, raw * w[:, None]) / total[:, None]
        x = raw - means[stratum]
        information = x.T @ (x * w[:, None])
        step = np.linalg.lstsq(information, x.T @ residual, rcond=None)[0]
        shift = _sums(stratum, residual) / total - means @ step
        largest = max(float(np.abs(step).max()), float(np.abs(shift).max()))
        if largest < _SETTLED:
            break
        damped = min(1.0, 5.0 / largest)
        a, b = a + shift * damped, b + step * damped
        if np.abs(b).max() >= _SEPARATED * 2:
            return None
    else:
        return None
    if not (np.abs(b) < _SEPARATED).all():
        return None
    k = len(design.cluster_names)
    cluster = design.cluster[rows]
    home = np.full(k, -1, dtype=np.intp)
    home[cluster] = stratum
    of_row = np.full(len(rows), -1, dtype=np.intp)
    of_row[rows] = stratum
    fixed = np.where(rows, np.nan, _sums(strata, design.cases)[strata] > 0)
    bread = np.asarray(np.linalg.pinv(information))
    return _Fit(a, b, x, w, residual, stratum, cluster, means, bread, home, of_row, fixed)


@dataclass(frozen=True)
class _Influence:
    """What each cluster adds to the slopes, (clusters, slopes), and to its stratum's intercept at the mean of x."""

    slopes: Array
    intercept: Array


def _influence(design: Design, fit: _Fit, correct: bool) -> _Influence | None:
    """Influence of each cluster; None where a coefficient rests on one cluster alone.

    The correction multiplies a cluster's residuals by ``(I - H)^(-1/2)``, H its block of the hat matrix. With
    ``L L' = B``, the inverse information, that is ``L (I - L' A L)^(-1/2) L'`` on its scores, A its information.
    """
    k, width = len(design.cluster_names), len(fit.b) + 1
    total = _sums(fit.stratum, fit.w)
    z = np.column_stack([np.ones(len(fit.w)), fit.x])
    scores = _sums(fit.cluster, z * fit.residual[:, None], k)
    home = fit.stratum_of_cluster
    used = home >= 0
    half = np.zeros((width, width))
    half[1:, 1:] = np.linalg.cholesky((fit.bread + fit.bread.T) / 2.0)
    # A stratum that is one cluster fits its intercept wholly; its residuals add up to nothing.
    several = np.bincount(home[used], minlength=len(total)) > 1
    first = np.zeros(k)
    first[used] = np.where(several[home[used]], 1.0 / np.sqrt(total[home[used]]), 0.0)
    turned = scores @ half
    turned[:, 0] = scores[:, 0] * first
    if correct:
        scaled = z @ half
        scaled[:, 0] = first[fit.cluster]
        leverage = _sums(fit.cluster, fit.w * (scaled**2).sum(axis=1), k)
        heavy = np.flatnonzero(leverage > _HEAVY)
        place = np.full(k, -1, dtype=np.intp)
        place[heavy] = np.arange(len(heavy))
        rows = np.flatnonzero(place[fit.cluster] >= 0)
        blocks = np.zeros((len(heavy), width, width))
        part = scaled[rows]
        np.add.at(blocks, place[fit.cluster[rows]], fit.w[rows, None, None] * part[:, :, None] * part[:, None, :])
        values, vectors = np.linalg.eigh(blocks)
        if len(values) and values.max() > _ALONE:
            return None
        spread = np.einsum("kij,ki->kj", vectors, turned[heavy]) / np.sqrt(1.0 - values)
        turned[heavy] = np.einsum("kij,kj->ki", vectors, spread)
    return _Influence(slopes=turned[:, 1:] @ half[1:, 1:].T, intercept=turned[:, 0] * first)


def _quantile(df: float, level: float) -> float:
    if np.isinf(df):
        return normal_quantile(level)
    return float(special.stdtrit(df, 0.5 + level / 2.0))


def _p(z: float, df: float) -> float:
    return float(2 * special.ndtr(-abs(z))) if np.isinf(df) else float(2 * special.stdtr(df, -abs(z)))


def _root(influence: Array) -> float:
    return float(np.sqrt((influence**2).sum()))


def _coefficients(design: Design, fit: _Fit, influence: _Influence, df: float, whole: bool) -> pd.DataFrame:
    errors = [_root(influence.slopes[:, j]) for j in range(len(fit.b))]
    rows = list(zip(design.terms[1:], fit.b, errors, strict=True))
    if whole:
        rows.insert(0, ("intercept", fit.a[0], _root(influence.intercept - influence.slopes @ fit.means[0])))
    table = pd.DataFrame(rows, columns=["term", "estimate", "se"])
    return table.assign(p_value=[_p(b / s, df) if s > 0 else np.nan for _term, b, s in rows])


def _table(design: Design, exposure: str, fit: _Fit, influence: _Influence, df: float, level: float) -> pd.DataFrame:
    t = _quantile(df, level)
    levels = design.levels[exposure]
    at = {lv: j for j, lv in enumerate(levels)}
    rows = _counts(design, exposure)
    weights = design.n / design.n.sum()
    used = fit.stratum_of_row >= 0
    stratum, weight = fit.stratum_of_row[used], weights[used]
    certain = float(weights[~used] @ fit.fixed[~used])
    home = np.maximum(fit.stratum_of_cluster, 0)
    risks, moves = [], []
    for j in range(len(levels)):
        x = design.x[used, 1:].copy()
        x[:, : len(levels) - 1] = 0.0
        if j:
            x[:, j - 1] = 1.0
        mu = special.expit(fit.a[stratum] + x @ fit.b)
        slope = weight * mu * (1 - mu)
        of_stratum = _sums(stratum, slope, len(fit.a))
        risks.append(certain + float(weight @ mu))
        moves.append(influence.slopes @ (slope @ x - of_stratum @ fit.means) + influence.intercept * of_stratum[home])
    for row in rows:
        j = at[row["level"]]
        risk, move = risks[j], moves[j]
        half = t * _root(move) / (risk * (1 - risk))
        row |= {
            "risk": risk,
            "risk_low": float(special.expit(special.logit(risk) - half)),
            "risk_high": float(special.expit(special.logit(risk) + half)),
        }
        if j == 0:
            row |= {"odds_ratio": 1.0, "difference": 0.0, "ratio": 1.0}
            continue
        b, se = float(fit.b[j - 1]), _root(influence.slopes[:, j - 1])
        gap_half = t * _root(move - moves[0])
        share_half = t * _root(move / risk - moves[0] / risks[0])
        row |= {
            "odds_ratio": float(np.exp(b)),
            "odds_ratio_low": float(np.exp(b - t * se)),
            "odds_ratio_high": float(np.exp(b + t * se)),
            "p_value": _p(b / se, df) if se > 0 else np.nan,
            "difference": risk - risks[0],
            "difference_low": max(risk - risks[0] - gap_half, -1.0),
            "difference_high": min(risk - risks[0] + gap_half, 1.0),
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
        influence=pd.DataFrame(),
        clusters=k,
        df=float("nan"),
        converged=False,
        reason=reason,
    )
