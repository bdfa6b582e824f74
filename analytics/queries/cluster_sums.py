"""Sums over cows and over farms, which the limits of a share need, from one chain of groupings.

Cows are added up into farms and farms into groups, so that the records are gone through once however many clusters
there are.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.queries.engine import aggregated

if TYPE_CHECKING:
    import ibis.expr.types as ir

Whole = npt.NDArray[np.int64]

SUMS = ("sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "clusters")


Carried = dict[str, str]
"""Columns carried along, and whether their ``sum``, ``min`` or ``max`` is taken."""


def of_farms(cows: ir.Table, keys: list[str], outcomes: tuple[str, ...], carried: Carried | None = None) -> ir.Table:
    """Cows added up into farms.

    Parameters
    ----------
    cows : ibis.Table
        One row a group, farm and cow: the *keys*, farm, n (units), a column of cases for each outcome, and those
        *carried*.
    keys : list of str
    outcomes : tuple of str
    carried : dict of str to str, optional

    Returns
    -------
    ibis.Table
        The keys, farm, n, cows, the outcomes (cases), ``cow nn``, and for every outcome ``cow mm OUTCOME`` and
        ``cow mn OUTCOME``; then the columns carried.
    """
    return cows.group_by([*keys, "farm"]).agg(
        **_totals(cows, outcomes), **_squares(cows, outcomes, "cow"), cows=cows.count(), **_taken(cows, carried)
    )


def of_groups(farms: ir.Table, keys: list[str], outcomes: tuple[str, ...], carried: Carried | None = None) -> ir.Table:
    """Farms added up into groups.

    Parameters
    ----------
    farms : ibis.Table
        As :func:`of_farms` gives them.

    Returns
    -------
    ibis.Table
        The same columns without farm, and with ``n_farms``, ``farm nn``, ``farm mm OUTCOME`` and ``farm mn OUTCOME``.
    """
    of_cows = ["cow nn", *(f"cow {what} {outcome}" for outcome in outcomes for what in ("mm", "mn"))]
    return aggregated(
        farms,
        keys,
        **_totals(farms, outcomes),
        **{name: farms[name].sum().cast("int64") for name in ("cows", *of_cows)},
        **_squares(farms, outcomes, "farm"),
        n_farms=farms.count(),
        **_taken(farms, carried),
    )


def sums_in_clusters(
    cows: ir.Table, keys: list[str], outcomes: tuple[str, ...], carried: Carried | None = None
) -> ir.Table:
    """Every group with the sums over its cows and over its farms: :func:`of_farms`, then :func:`of_groups`."""
    return of_groups(of_farms(cows, keys, outcomes, carried), keys, outcomes, carried)


def _taken(each: ir.Table, carried: Carried | None) -> dict[str, ir.Value]:
    return {name: getattr(each[name], how)() for name, how in (carried or {}).items()}


def _totals(each: ir.Table, outcomes: tuple[str, ...]) -> dict[str, ir.Value]:
    # The engine widens a sum; brought back at once, the products that follow stay quick.
    return {name: each[name].sum().cast("int64") for name in ("n", *outcomes)}


def _squares(each: ir.Table, outcomes: tuple[str, ...], cluster: str) -> dict[str, ir.Value]:
    n = each.n.cast("int64")
    sums = {f"{cluster} nn": (n * n).sum()}
    for outcome in outcomes:
        m = each[outcome].cast("int64")
        sums |= {f"{cluster} mm {outcome}": (m * m).sum(), f"{cluster} mn {outcome}": (m * n).sum()}
    return {name: total.cast("int64") for name, total in sums.items()}


def chosen_sums(
    frame: pd.DataFrame, keys: list[str], outcomes: tuple[str, ...]
) -> tuple[dict[str, pd.DataFrame], list[str]]:
    """Farm sums for the groups met on several farms, cow sums for the others.

    Returns
    -------
    sums : dict of str to pandas.DataFrame
        For each outcome: the keys, then ``SUMS``.
    kinds : list of str
        ``farm`` or ``cow``, one a row.
    """
    pooled = frame["n_farms"].to_numpy() > 1

    def whole(name: str) -> Whole:
        return frame[name].fillna(0).to_numpy("int64")

    def of_cluster(name: str) -> Whole:
        return np.where(pooled, whole(f"farm {name}"), whole(f"cow {name}"))

    out = {}
    for outcome in outcomes:
        sums = {
            "sum_m": whole(outcome),
            "sum_n": whole("n"),
            "sum_mm": of_cluster(f"mm {outcome}"),
            "sum_mn": of_cluster(f"mn {outcome}"),
            "sum_nn": of_cluster("nn"),
            "clusters": np.where(pooled, whole("n_farms"), whole("cows")),
        }
        out[outcome] = frame[keys].assign(**sums)
    return out, ["farm" if several else "cow" for several in pooled]
