"""Agreement of two scorers: kappa for grades, intraclass correlation for measurements."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analytics.methods.intervals import LEVEL, normal_quantile, wilson

LEAST_PAIRS = 2  # below this there is no agreement to speak of


@dataclass(frozen=True)
class Agreement:
    """Two scorers on the same units.

    Attributes
    ----------
    kappa, kappa_low, kappa_high, kappa_se : float
        Agreement beyond chance: 1 perfect, 0 no better than chance. nan when both scorers used one and the
        same grade throughout.
    agreement, agreement_low, agreement_high : float
        Share of units given the same grade, 0 to 1, with Wilson limits.
    expected : float
        Share expected by chance.
    bias_p_value : float
        Bowker's test that one scorer grades higher than the other (McNemar's for two grades).
    n : int
        Units scored by both.
    table : pandas.DataFrame
        Counts, rows first scorer, columns second.
    """

    kappa: float
    kappa_low: float
    kappa_high: float
    kappa_se: float
    agreement: float
    agreement_low: float
    agreement_high: float
    expected: float
    bias_p_value: float
    n: int
    table: pd.DataFrame


@dataclass(frozen=True)
class Icc:
    """Intraclass correlation of measurements.

    Attributes
    ----------
    icc, low, high : float
        Share of variance that lies between units, and its limits. The estimate can fall below 0.
    units, scorers : int
        Complete units and the scorers of each.
    """

    icc: float
    low: float
    high: float
    units: int
    scorers: int


def cohen_kappa(
    first: npt.ArrayLike,
    second: npt.ArrayLike,
    *,
    weights: Literal["none", "linear", "quadratic"] = "none",
    grades: list[object] | None = None,
    level: float = LEVEL,
) -> Agreement:
    """Cohen's kappa of two scorers, unweighted or weighted by distance.

    ``kappa = (agreement - expected) / (1 - expected)``, with weights 1 - d/(g - 1) (linear) or
    1 - (d/(g - 1))^2 (quadratic) for grades d steps apart of g.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Grades given to the same units. Pairs with a missing grade are left out.
    weights : {"none", "linear", "quadratic"}
        How near misses count. Use a weighted kappa for ordered grades such as locomotion scores.
    grades : list, optional
        All grades in order; those that occur, sorted, if not given.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    Agreement

    Raises
    ------
    ValueError
        If lengths differ, *weights* is unknown, or a grade is not among *grades*.

    References
    ----------
    Cohen J (1960). Educ Psychol Meas 20:37-46; (1968) Psychol Bull 70:213-220.
    Fleiss JL, Cohen J, Everitt BS (1969). Psychol Bull 72:323-327 (standard errors).

    Examples
    --------
    >>> found = cohen_kappa([1, 2, 3, 1, 2, 3, 1, 1], [1, 2, 3, 1, 3, 3, 2, 1], weights="linear")
    >>> print(f"kappa {found.kappa:.2f}, agreement {found.agreement:.0%}")
    kappa 0.73, agreement 75%
    """
    a, b = pd.Series(np.asarray(first)), pd.Series(np.asarray(second))
    if len(a) != len(b):
        raise ValueError("both scorers must have graded the same units")
    both = a.notna() & b.notna()
    a, b = a[both], b[both]
    order = sorted(set(a) | set(b)) if grades is None else list(grades)
    strange = [g for g in set(a) | set(b) if g not in order]
    if strange:
        raise ValueError(f"the grade {strange[0]!r} is not among the grades given")
    counts = pd.crosstab(pd.Categorical(a, categories=order), pd.Categorical(b, categories=order), dropna=False)
    return kappa_of_table(counts, weights=weights, level=level)


def kappa_of_table(
    table: npt.ArrayLike | pd.DataFrame,
    *,
    weights: Literal["none", "linear", "quadratic"] = "none",
    level: float = LEVEL,
) -> Agreement:
    """Cohen's kappa from a square table of counts; see `cohen_kappa`.

    Raises
    ------
    ValueError
        If the table is not square or holds a negative count, or *weights* is unknown.

    Examples
    --------
    Agresti's carcinoma table, two pathologists:

    >>> found = kappa_of_table([[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]])
    >>> print(f"{found.kappa:.3f} (se {found.kappa_se:.3f})")
    0.493 (se 0.057)
    """
    z = normal_quantile(level)
    if weights not in ("none", "linear", "quadratic"):
        raise ValueError(f'weights must be "none", "linear" or "quadratic", got {weights!r}')
    frame = table if isinstance(table, pd.DataFrame) else pd.DataFrame(np.asarray(table))
    counts = frame.to_numpy(dtype=float)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or (counts < 0).any():
        raise ValueError("agreement needs a square table of counts")
    n, nan = float(counts.sum()), float("nan")
    same = float(np.trace(counts))
    low, high = wilson(same, n, level)
    share = counts / n if n else counts
    expected = float(share.sum(axis=1) @ share.sum(axis=0)) if n else nan
    kappa = se = nan
    if n >= LEAST_PAIRS and expected < 1.0:
        from statsmodels.stats.inter_rater import cohens_kappa

        with np.errstate(divide="ignore", invalid="ignore"):
            found = cohens_kappa(counts, wt=None if weights == "none" else weights)
        kappa, se = float(found.kappa), float(found.std_kappa)
    upper, lower = counts[np.triu_indices_from(counts, 1)], counts.T[np.triu_indices_from(counts, 1)]
    discordant = upper + lower
    pairs = int((discordant > 0).sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        bowker = float(np.nansum((upper - lower) ** 2 / np.where(discordant > 0, discordant, np.nan)))
    return Agreement(
        kappa=kappa,
        kappa_low=max(kappa - z * se, -1.0) if np.isfinite(se) else nan,
        kappa_high=min(kappa + z * se, 1.0) if np.isfinite(se) else nan,
        kappa_se=se,
        agreement=same / n if n else nan,
        agreement_low=float(low),
        agreement_high=float(high),
        expected=expected,
        bias_p_value=float(special.chdtrc(float(pairs), bowker)) if pairs else nan,
        n=int(n),
        table=frame,
    )


def intraclass(
    values: npt.ArrayLike, *, kind: Literal["agreement", "consistency"] = "agreement", level: float = LEVEL
) -> Icc:
    """Intraclass correlation of measurements by the same scorers on the same units (one measurement each).

    Two-way analysis of variance. ``agreement`` (Shrout & Fleiss ICC(2,1)) counts a scorer who measures high
    against agreement; ``consistency`` (ICC(3,1)) does not.

    Parameters
    ----------
    values : array_like, shape (units, scorers)
        Measurements. Units with a missing one are left out.
    kind : {"agreement", "consistency"}
        What to count as disagreement.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    Icc
        nan with fewer than two units or two scorers, or when nothing varies.

    Raises
    ------
    ValueError
        If *values* is not a table or *kind* is unknown.

    References
    ----------
    Shrout PE, Fleiss JL (1979). Intraclass correlations. Psychol Bull 86:420-428.
    McGraw KO, Wong SP (1996). Psychol Methods 1:30-46.

    Examples
    --------
    >>> found = intraclass(
    ...     [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    ... )
    >>> print(f"{found.icc:.2f}")
    0.29
    """
    normal_quantile(level)
    if kind not in ("agreement", "consistency"):
        raise ValueError(f'kind must be "agreement" or "consistency", got {kind!r}')
    x = np.asarray(values, dtype=float)
    if x.ndim != 2:
        raise ValueError("values must be a table of units by scorers")
    x = x[~np.isnan(x).any(axis=1)]
    n, k = x.shape
    nan = float("nan")
    if n < 2 or k < 2:
        return Icc(nan, nan, nan, n, k)
    mean = x.mean()
    rows = k * float(((x.mean(axis=1) - mean) ** 2).sum()) / (n - 1)
    columns = n * float(((x.mean(axis=0) - mean) ** 2).sum()) / (k - 1)
    rest = x - x.mean(axis=1, keepdims=True) - x.mean(axis=0, keepdims=True) + mean
    df = float((n - 1) * (k - 1))
    error = float((rest**2).sum()) / df
    if rows + columns + error <= 0:
        return Icc(nan, nan, nan, n, k)
    tail = 0.5 - level / 2.0
    if rows + error <= 0:
        # Units do not differ at all; whatever varies is the scorers.
        return Icc(0.0 if kind == "agreement" else nan, nan, nan, n, k)
    if kind == "consistency":
        icc = (rows - error) / (rows + (k - 1) * error)
        if error <= 0:
            return Icc(icc, 1.0, 1.0, n, k)
        low = rows / error / special.fdtri(n - 1.0, df, 1 - tail)
        high = rows / error * special.fdtri(df, n - 1.0, 1 - tail)
        return Icc(icc, float((low - 1) / (low + k - 1)), float((high - 1) / (high + k - 1)), n, k)
    whole = rows + (k - 1) * error + k * (columns - error) / n
    if whole <= 0:
        return Icc(nan, nan, nan, n, k)
    icc = (rows - error) / whole
    if icc >= 1:
        return Icc(1.0, 1.0, 1.0, n, k)
    a, b = k * icc / (n * (1 - icc)), 1 + k * icc * (n - 1) / (n * (1 - icc))
    shared = k * columns + (k * n - k - n) * error
    with np.errstate(divide="ignore", invalid="ignore"):
        v = np.divide((a * columns + b * error) ** 2, (a * columns) ** 2 / (k - 1) + (b * error) ** 2 / df)
        f_low, f_high = special.fdtri(n - 1.0, v, 1 - tail), special.fdtri(v, n - 1.0, 1 - tail)
        low = np.divide(n * (rows - f_low * error), f_low * shared + n * rows)
        high = np.divide(n * (f_high * rows - error), shared + n * f_high * rows)
    return Icc(float(icc), float(low), float(high), n, k)
