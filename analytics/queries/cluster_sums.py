"""Sums over cows and over farms, which the limits of a share need, from one chain of groupings.

Cows are added up into farms and farms into groups, so that the records are gone through once however many clusters
there are.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.queries import sql

Whole = npt.NDArray[np.int64]

SUMS = ("sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "clusters")


Carried = dict[str, str]
"""Columns carried along, and whether their ``sum``, ``min`` or ``max`` is taken."""


def of_farms(cows: str, keys: list[str], outcomes: tuple[str, ...], carried: Carried | None = None) -> str:
    """Cows added up into farms.

    Parameters
    ----------
    cows : str
        A question with one row a group, farm and cow: the *keys*, farm, n (units), a column of cases for each outcome,
        and those *carried*.
    keys : list of str
    outcomes : tuple of str
    carried : dict of str to str, optional

    Returns
    -------
    str
        A question: the keys, farm, n, the outcomes (cases), ``cow nn``, for every outcome ``cow mm OUTCOME`` and
        ``cow mn OUTCOME``, and cows; then the columns carried.
    """
    by = [*keys, "farm"]
    sums = {**_totals(("n", *outcomes)), **_squares(outcomes, "cow"), "cows": "COUNT(*)", **_taken(carried)}
    return f"SELECT {sql.names(by)}, {sql.listed(sums)} FROM ({cows}) AS cows_of_farms{sql.group_by(by)}"


def of_groups(farms: str, keys: list[str], outcomes: tuple[str, ...], carried: Carried | None = None) -> str:
    """Farms added up into groups.

    Parameters
    ----------
    farms : str
        As :func:`of_farms` gives them.

    Returns
    -------
    str
        A question with the same columns without farm, and with ``n_farms``, ``farm nn``, ``farm mm OUTCOME`` and
        ``farm mn OUTCOME``.
    """
    of_cows = ["cow nn", *(f"cow {what} {outcome}" for outcome in outcomes for what in ("mm", "mn"))]
    sums = {
        **_totals(("n", *outcomes, "cows", *of_cows)),
        **_squares(outcomes, "farm"),
        "n_farms": "COUNT(*)",
        **_taken(carried),
    }
    chosen = sql.commas(sql.names(keys), sql.listed(sums))
    return f"SELECT {chosen} FROM ({farms}) AS farms_of_groups{sql.group_by(keys)}"


def sums_in_clusters(cows: str, keys: list[str], outcomes: tuple[str, ...], carried: Carried | None = None) -> str:
    """Every group with the sums over its cows and over its farms: :func:`of_farms`, then :func:`of_groups`."""
    return of_groups(of_farms(cows, keys, outcomes, carried), keys, outcomes, carried)


def _taken(carried: Carried | None) -> dict[str, str]:
    return {name: f"{how.upper()}({sql.name(name)})" for name, how in (carried or {}).items()}


def _totals(columns: tuple[str, ...]) -> dict[str, str]:
    # The engine widens a sum; brought back at once, the products that follow stay quick.
    return {name: sql.total(sql.name(name)) for name in columns}


def _squares(outcomes: tuple[str, ...], cluster: str) -> dict[str, str]:
    n = "CAST(n AS BIGINT)"
    sums = {f"{cluster} nn": sql.total(f"{n} * {n}")}
    for outcome in outcomes:
        m = f"CAST({sql.name(outcome)} AS BIGINT)"
        sums |= {f"{cluster} mm {outcome}": sql.total(f"{m} * {m}"), f"{cluster} mn {outcome}": sql.total(f"{m} * {n}")}
    return sums


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
