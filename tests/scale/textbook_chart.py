"""The textbook p-chart, beside which our own chart is measured (``python -m tests.scale.worlds_warn``)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.stats.intervals import as_counts

SIGMAS = 3.0  # width of the limits [pub: NIST/SEMATECH e-Handbook 6.3.1]


@dataclass(frozen=True)
class ControlChart:
    """A chart of proportions with limits.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a point in the order given: ``cases``, ``n``, ``value``, ``centre``, ``low``, ``high`` (limits, 0 to
        1), ``outside`` (1 above, -1 below, 0 neither). nan where n is 0.
    centre : float
        Centre line.
    """

    table: pd.DataFrame
    centre: float


def p_chart(cases: npt.ArrayLike, n: npt.ArrayLike, *, baseline: int | None = None) -> ControlChart:
    """Shewhart chart of a proportion, for points that differ by chance alone.

    Limits ``c -/+ 3 sqrt(c (1 - c) / n)``, c = sum(cases)/sum(n). Months of a herd differ by more than chance, have
    a season and go together: use `baseline_chart` for them.

    Parameters
    ----------
    cases, n : array_like, shape (points,)
        Affected and looked at, in order of time.
    baseline : int, optional
        Number of first points the centre rests on; all if not given.

    Returns
    -------
    ControlChart

    Raises
    ------
    ValueError
        If counts are impossible.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2.

    Examples
    --------
    >>> chart = p_chart([4, 6, 5, 3, 7, 15], [50] * 6, baseline=5)
    >>> print(f"{chart.centre:.2f}", chart.table.outside.tolist())
    0.10 [0, 0, 0, 0, 0, 1]
    """
    c, total = (np.atleast_1d(x) for x in as_counts(cases, n))
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    seen = float(total[:baseline].sum())
    centre = float(c[:baseline].sum()) / seen if seen else float("nan")
    with np.errstate(divide="ignore", invalid="ignore"):
        value = c / total
        half = SIGMAS * np.sqrt(centre * (1 - centre) / total)
        low = np.where(total > 0, np.maximum(centre - half, 0.0), np.nan)
        high = np.where(total > 0, np.minimum(centre + half, 1.0), np.nan)
    outside = np.where(value > high, 1, np.where(value < low, -1, 0))
    table = pd.DataFrame({"cases": c, "n": total, "value": value, "centre": centre, "low": low, "high": high})
    return ControlChart(table.assign(outside=outside), centre)
