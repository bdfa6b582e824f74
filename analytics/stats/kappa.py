"""Agreement of two scorers who graded the same units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from evenfoot.analytics.stats.intervals import LEVEL, normal_quantile, wilson

LEAST_PAIRS = 2  # below this there is no agreement to speak of

CHANCE_PAIRS = 1.0
"""Pairs added to the table in the proportions of chance, so that no table leaves its limits without doubt. As the
pseudo- counts of Agresti and Coull do for a proportion. [pub: Agresti & Coull 1998, Am Stat 52:119-126, for the
idea]"""

UNSEEN_GRADES = 0.1
"""Added to how often each scorer gave each grade, so that a grade nobody gave is thought rare and not impossible.
Chosen by simulation, as the value whose limits cover 93 to 98 % at 30 pairs: ``python -m
tests.scale.worlds_rates``."""

Weights = Literal["none", "linear", "quadratic"]
Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Agreement:
    """Two scorers on the same units.

    Attributes
    ----------
    kappa, kappa_low, kappa_high, kappa_se : float
        Agreement beyond chance: 1 perfect, 0 no better than chance. nan when both scorers used one and the
        same grade throughout. ``kappa_se`` is the large-sample standard error.
    agreement, agreement_low, agreement_high : float
        Share of units given the same grade, 0 to 1, with Wilson limits.
    expected : float
        Share expected by chance.
    margins_p_value : float
        Whether the two use the grades equally often: McNemar's exact test for two grades, Stuart and Maxwell's
        test for more. nan where they never differ.
    symmetry_p_value : float
        Bowker's test whether a disagreement is as often one way round as the other, for every two grades. nan where
        they never differ.
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
    margins_p_value: float
    symmetry_p_value: float
    n: int
    table: pd.DataFrame


def kappa_of_table(
    table: npt.ArrayLike | pd.DataFrame,
    *,
    weights: Weights = "none",
    level: float = LEVEL,
) -> Agreement:
    """Cohen's kappa from a square table of counts, unweighted or weighted by distance.

    ``kappa = (agreement - expected) / (1 - expected)``, with weights 1 - d/(g - 1) (linear) or
    1 - (d/(g - 1))^2 (quadratic) for grades d steps apart of g. Limits: see `kappa_limits`.

    Parameters
    ----------
    table : array_like or pandas.DataFrame, shape (g, g)
        Counts, rows first scorer, columns second, grades in order.
    weights : {"none", "linear", "quadratic"}
        How near misses count. Use a weighted kappa for ordered grades such as locomotion scores.
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    Agreement

    Raises
    ------
    ValueError
        If the table is not square or holds a negative count, or *weights* is unknown.

    References
    ----------
    Cohen J (1960). Educ Psychol Meas 20:37-46; (1968) Psychol Bull 70:213-220.
    Fleiss JL, Cohen J, Everitt BS (1969). Psychol Bull 72:323-327 (standard errors).

    Examples
    --------
    Agresti's carcinoma table, two pathologists:

    >>> found = kappa_of_table([[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]])
    >>> print(f"{found.kappa:.3f} (se {found.kappa_se:.3f})")
    0.493 (se 0.057)
    """
    normal_quantile(level)
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
    kappa = se = kappa_low = kappa_high = nan
    if n >= LEAST_PAIRS and expected < 1.0:
        from statsmodels.stats.inter_rater import cohens_kappa

        with np.errstate(divide="ignore", invalid="ignore"):
            found = cohens_kappa(counts, wt=None if weights == "none" else weights)
        kappa, se = float(found.kappa), float(found.std_kappa)
        kappa_low, kappa_high = (float(each) for each in kappa_limits(counts, weights=weights, level=level))
    return Agreement(
        kappa=kappa,
        kappa_low=kappa_low,
        kappa_high=kappa_high,
        kappa_se=se,
        agreement=same / n if n else nan,
        agreement_low=float(low),
        agreement_high=float(high),
        expected=expected,
        margins_p_value=equal_margins(counts),
        symmetry_p_value=symmetry(counts),
        n=int(n),
        table=frame,
    )


def kappa_limits(tables: npt.ArrayLike, *, weights: Weights = "none", level: float = LEVEL) -> tuple[Any, Any]:
    """Limits of Cohen's kappa that hold in small tables, as a score interval does for a proportion.

    The large-sample interval takes the variance at the kappa found. That is 0 where two people agree on every unit, and
    far too small with few units or a rare grade. Here a kappa is within the limits when the kappa found lies no
    further from it than ``t * sqrt(variance / n)``, with the variance that a table of *that* kappa has. The tables
    tried lie on a line: from fewer agreements than chance, through independence and the table found (with
    ``CHANCE_PAIRS`` added), to perfect agreement, all with the scorers' own use of the grades.

    Parameters
    ----------
    tables : array_like, shape (..., g, g)
        Counts, one table or a stack of them.
    weights : {"none", "linear", "quadratic"}
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    low, high : ndarray, shape (...)
        nan where both scorers used one and the same grade throughout. 1 to 1 never occurs.

    References
    ----------
    Wilson EB (1927). J Am Stat Assoc 22:209-212, and Donner A, Eliasziw M (1992). Stat Med 11:1511-1519, for judging a
    value by the variance it implies. Fleiss JL, Cohen J, Everitt BS (1969). Psychol Bull 72:323-327 (the variance).
    The line of tables is our own; ``python -m tests.scale.worlds_rates`` shows what it covers.

    Examples
    --------
    Thirty units, all graded alike, half of them lame:

    >>> low, high = kappa_limits([[15, 0], [0, 15]])
    >>> print(f"{low:.2f} to {high:.2f}")
    0.76 to 1.00
    """
    counts = np.asarray(tables, dtype=float)
    grades = counts.shape[-1]
    apart = np.abs(np.subtract.outer(np.arange(grades), np.arange(grades))) / max(grades - 1, 1)
    cost = (apart > 0).astype(float) if weights == "none" else apart if weights == "linear" else apart**2
    n = counts.sum((-1, -2))
    with np.errstate(divide="ignore", invalid="ignore"):
        kappa = _kappa(counts / n[..., None, None], cost)[0]
        reach = special.stdtrit(np.maximum(n - 1.0, 1.0), 0.5 + level / 2.0)
        line = _line(counts, n)

        def at(place: Array) -> tuple[Array, Array]:
            value, variance = _kappa(_on(line, place), cost)
            return value, np.abs(kappa - value) > reach * np.sqrt(np.maximum(variance, 0.0) / n)

        start, end = np.zeros(n.shape), np.full(n.shape, 3.0)
        found = _halve(lambda place: at(place)[0] < kappa, start, end)
        low = at(np.where(at(start)[1], _halve(lambda place: at(place)[1], start, found), start))[0]
        high = at(_halve(lambda place: np.logical_not(at(place)[1]), found, end))[0]
    # A kappa found that no table of the line has lies below all of them; the limits then begin with it.
    known = np.isfinite(kappa)
    return np.where(known, np.minimum(low, kappa), np.nan)[()], np.where(known, np.maximum(high, kappa), np.nan)[()]


def _kappa(shares: Array, cost: Array) -> tuple[Array, Array]:
    """Kappa of tables of shares, and its variance times the number of units (delta method)."""
    rows, columns = shares.sum(-1), shares.sum(-2)
    observed = (cost * shares).sum((-1, -2))
    by_row, by_column = columns @ cost.T, rows @ cost
    chance = (rows * by_row).sum(-1)
    pull = (cost - (observed / chance)[..., None, None] * (by_row[..., :, None] + by_column[..., None, :])) / chance[
        ..., None, None
    ]
    mean = (pull * shares).sum((-1, -2))
    return 1.0 - observed / chance, (pull**2 * shares).sum((-1, -2)) - mean**2


def _line(counts: Array, n: Array) -> tuple[Array, Array, Array, Array]:
    """Four tables of shares: fewest agreements, independence, the table found, perfect agreement."""
    grades = counts.shape[-1]
    total = n[..., None] + UNSEEN_GRADES * grades
    rows, columns = (counts.sum(-1) + UNSEEN_GRADES) / total, (counts.sum(-2) + UNSEEN_GRADES) / total
    chance = rows[..., :, None] * columns[..., None, :]
    alike = np.sqrt(rows * columns)
    alike = alike / alike.sum(-1, keepdims=True)
    perfect = alike[..., :, None] * np.eye(grades)
    same = rows * columns
    # As far beyond independence as leaves every share of agreements at 0 or above.
    furthest = np.min(same / np.maximum(alike - same, 1e-12), axis=-1)[..., None, None] * 0.999
    mixed = (counts + CHANCE_PAIRS * chance) / (n + CHANCE_PAIRS)[..., None, None]
    return chance - furthest * (perfect - chance), chance, mixed, perfect


def _on(line: tuple[Array, Array, Array, Array], place: Array) -> Array:
    """The table at a place of the line, from 0 (the first) to 3 (the last)."""
    first, second, third, last = line
    s = place[..., None, None]
    low = first + (second - first) * np.minimum(s, 1.0)
    middle = second + (third - second) * (s - 1.0)
    high = third + (last - third) * (s - 2.0)
    return np.where(s < 1.0, low, np.where(s < 2.0, middle, high))


def _halve(before: Any, start: Array, end: Array) -> Array:
    """The place up to which *before* holds, by halving."""
    for _ in range(30):
        middle = (start + end) / 2.0
        yes = before(middle)
        start, end = np.where(yes, middle, start), np.where(yes, end, middle)
    return end


def symmetry(counts: npt.ArrayLike) -> float:
    """Bowker's test of symmetry: for every two grades, is a disagreement as often one way round as the other.

    ``sum over i < j of (n_ij - n_ji)^2 / (n_ij + n_ji)``, chi-square with as many degrees of freedom as there are pairs
    of grades that were mixed up at all. It is a test of *how* two people disagree, not of whether they do, nor of
    whether one grades higher.

    Returns
    -------
    float
        p-value; nan where no two grades were mixed up.

    References
    ----------
    Bowker AH (1948). J Am Stat Assoc 43:572-574.
    """
    table = np.asarray(counts, dtype=float)
    upper, lower = table[np.triu_indices_from(table, 1)], table.T[np.triu_indices_from(table, 1)]
    mixed_up = upper + lower > 0
    if not mixed_up.any():
        return float("nan")
    upper, lower = upper[mixed_up], lower[mixed_up]
    return float(special.chdtrc(float(mixed_up.sum()), float(((upper - lower) ** 2 / (upper + lower)).sum())))


def equal_margins(counts: npt.ArrayLike) -> float:
    """Whether two people use the grades equally often, the units being paired.

    For two grades McNemar's exact test. For more Stuart and Maxwell's ``d' V^-1 d``, d the differences of the margins
    and V their covariance under equal margins, chi-square on grades minus 1 (grades used by anybody, and mixed up with
    another, alone).

    Returns
    -------
    float
        p-value; nan where they never differ.

    References
    ----------
    McNemar Q (1947). Psychometrika 12:153-157. Stuart A (1955). Biometrika 42:412-416. Maxwell AE (1970). Br J
    Psychiatry 116:651-655.
    """
    table = np.asarray(counts, dtype=float)
    apart = table - np.diag(np.diag(table))
    used = (apart.sum(axis=1) + apart.sum(axis=0)) > 0
    if not used.any():
        return float("nan")
    from statsmodels.stats.contingency_tables import SquareTable, mcnemar

    apart = apart[np.ix_(used, used)]
    if used.sum() == 2:
        return float(mcnemar(apart, exact=True).pvalue)
    pieces = _pieces(apart)
    if len(pieces) == 1:
        return float(SquareTable(apart, shift_zeros=False).homogeneity().pvalue)
    # Grades that are never mixed up with those of another piece: the pieces are tested apart and added up.
    chi2 = [float(SquareTable(apart[np.ix_(p, p)], shift_zeros=False).homogeneity().statistic) for p in pieces]
    return float(special.chdtrc(float(sum(len(p) - 1 for p in pieces)), sum(chi2)))


def _pieces(apart: Array) -> list[list[int]]:
    """Grades that were mixed up with each other, directly or by others between them."""
    from scipy.sparse.csgraph import connected_components

    count, piece = connected_components(apart + apart.T > 0, directed=False)
    return [np.flatnonzero(piece == each).tolist() for each in range(count)]
