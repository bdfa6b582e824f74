"""Limits of proportions from cluster sums: which method each row deserves, and the words for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.messages import Message, listed, say
from evenfoot.analytics.stats.cluster import UNSEEN_ICC, cluster_proportion
from evenfoot.analytics.stats.intervals import clopper_pearson, wilson

FEW_CLUSTERS = 10
"""Below this many clusters the limits rest on few independent pieces of evidence, and the answer says so.
[common practice, no source]"""

SUMS = ("sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "clusters")
LIMITS = ("low", "high", "clusters", "design_effect")


@dataclass(frozen=True)
class Limits:
    """Limits of the rows of a table.

    Attributes
    ----------
    table : pandas.DataFrame
        ``low``, ``high`` (0 to 1), ``clusters`` and ``design_effect`` (1 where every unit is a cluster of
        its own), on the index of the rows given.
    method : str
        How they were made, in words.
    cautions : tuple of Message
    """

    table: pd.DataFrame
    method: str
    cautions: tuple[Message, ...]


def limits_of(rows: pd.DataFrame, cluster: str | Sequence[str], level: float) -> Limits:
    """Limits that allow for the likeness of units of one cluster.

    Where every unit is a cluster of its own the limits are Wilson's. Otherwise they come from the spread
    between clusters. One cluster shows no spread: there the likeness is assumed, as it is where no unit, or
    every unit, is a case.

    Parameters
    ----------
    rows : pandas.DataFrame
        Columns ``SUMS``.
    cluster : {"cow", "farm"} or sequence of these
        What a cluster is, for all rows or for each.
    level : float
        Confidence level.

    Returns
    -------
    Limits

    References
    ----------
    Newcombe RG (1998) Statistics in Medicine 17:857-872 (Wilson's limits).
    Rao JNK, Scott AJ (1992) Biometrics 48:577-585; Cochran WG (1977) Sampling Techniques, page 66 (clusters).

    Examples
    --------
    >>> rows = pd.DataFrame({"sum_m": [15], "sum_n": [148], "sum_mm": [15], "sum_mn": [15], "sum_nn": [148],
    ...                      "clusters": [148]})
    >>> limits = limits_of(rows, "cow", 0.95)
    >>> limits.table.round(4).values.tolist(), limits.method
    ([[0.0624, 0.1605, 148.0, 1.0]], 'Wilson score interval')
    """
    m, n, mm, mn, nn, k = (rows[name].to_numpy(dtype=float) for name in SUMS)
    kinds = np.array([cluster] * len(rows) if isinstance(cluster, str) else list(cluster), dtype=object)
    alone = n == k
    robust = cluster_proportion(m, n, mm, mn, nn, k, level)
    low, high = (np.array(x, dtype=float) for x in wilson(m, n, level))
    deff = np.ones(len(rows))
    many = ~alone & (k >= 2)
    low[many], high[many], deff[many] = robust.low[many], robust.high[many], robust.deff[many]
    single = ~alone & (k == 1)
    deff[single] = 1.0 + (n[single] - 1.0) * UNSEEN_ICC
    low[single], high[single] = clopper_pearson(m[single] / deff[single], n[single] / deff[single], level)
    table = pd.DataFrame({"low": low, "high": high, "clusters": k.astype("int64"), "design_effect": deff}, rows.index)
    return Limits(table, _method(alone, kinds), _cautions(kinds, k, alone, single, n))


_CLUSTERED = {
    "cow": (say("Cluster-robust interval, cows as clusters"), say("cluster-robust interval, cows as clusters")),
    "farm": (say("Cluster-robust interval, farms as clusters"), say("cluster-robust interval, farms as clusters")),
}
"""What the clusters are -> the method, at the beginning and after another."""


def _method(alone: npt.NDArray[Any], kinds: npt.NDArray[Any]) -> Message:
    words = [say("Wilson score interval")] if alone.any() or not len(alone) else []
    for kind in ("farm", "cow"):
        if (~alone & (kinds == kind)).any():
            words.append(_CLUSTERED[kind][bool(words)])
    return listed(words, ";")


def _cautions(
    kinds: npt.NDArray[Any],
    k: npt.NDArray[Any],
    alone: npt.NDArray[Any],
    single: npt.NDArray[Any],
    n: npt.NDArray[Any],
) -> tuple[Message, ...]:
    out = []
    by_farm = ~alone & (kinds == "farm") & (n > 0)
    if (by_farm & (k < FEW_CLUSTERS)).any():
        out.append(
            say(
                "Cows of one farm are alike, and there are only {n} farms to judge their likeness by: these wide "
                "intervals speak of farms like these in general. One farm at a time is known better.",
                n=_span(k[by_farm & (k < FEW_CLUSTERS)]),
            )
        )
    by_cow = ~alone & ~single & (kinds == "cow") & (k < FEW_CLUSTERS) & (n > 0)
    if by_cow.any():
        out.append(
            say(
                "Some intervals rest on fewer than {n} cows looked at more than once; they are rough.",
                n=FEW_CLUSTERS,
            )
        )
    if single.any():
        out.append(
            say("Where there is one cow only, how alike her feet or trims are had to be assumed for the interval.")
        )
    return tuple(out)


def _span(values: npt.NDArray[Any]) -> str | Message:
    low, high = int(values.min()), int(values.max())
    return str(low) if low == high else say("{low} to {high}", low=low, high=high)
