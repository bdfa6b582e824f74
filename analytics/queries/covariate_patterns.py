"""Counts by pattern within clusters: what a model needs when groups are compared with other things held alike."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.counts import _cases
from evenfoot.analytics.queries.denominators import looked_at
from evenfoot.analytics.queries.engine import fetch_many
from evenfoot.analytics.queries.selection import Selection


def patterns(
    ledger: Ledger,
    selection: Selection,
    by: tuple[str, ...],
    per: str,
    cluster: str,
    *,
    lesions: bool = False,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Units looked at and cases, by a combination of properties of the trim, farm by farm or cow by cow.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Properties of the trim; ``farm`` is given anyway.
    per : {"cow", "trim", "foot", "claw"}
    cluster : {"cow", "farm"}
    lesions : bool
        Split the cases by lesion.

    Returns
    -------
    looked_at : pandas.DataFrame
        The ``by`` columns, of_farm, cluster and n; one row a pattern of a cluster. Without *lesions* also m.
    cases : pandas.DataFrame
        The ``by`` columns, of_farm, cluster, lesion and m; empty without *lesions*.
    """
    by = tuple(dict.fromkeys(by))
    frames = fetch_many(ledger, _questions(selection, by, per, cluster, lesions))
    looked, found = (_named(frames[name], cluster) for name in ("looked_at", "cases"))
    keys = [*by, "of_farm", "cluster"]
    if lesions:
        return looked, found
    both = looked.merge(found, on=keys, how="left")
    return both.assign(m=both["m"].fillna(0).astype("int64")), found.iloc[:0]


def _questions(selection: Selection, by: tuple[str, ...], per: str, cluster: str, lesions: bool) -> dict[str, str]:
    """The questions, in the order of the groupings and clusters.

    Returns
    -------
    dict of str to str
        ``looked_at``: the groupings, of_farm, of_cow where cows are the clusters, and n. ``cases``: the groupings, the
        lesion where asked for, of_farm, of_cow, and m.
    """
    key_of = {"of_farm": "farm_key"} if cluster == "farm" else {"of_farm": "farm_key", "of_cow": "cow_key"}
    clusters = sql.listed(key_of)
    split = ("lesion",) if lesions else ()
    looked = looked_at(selection, by, (), per)
    cases = _cases(selection, by, (), split, per)
    order = [*by, *key_of]
    return {
        "looked_at": f"""
            SELECT {sql.commas(sql.names(by), clusters, f"{sql.total('n')} AS n")}
            FROM ({looked}) AS looked
            {sql.group_by([*by, *key_of.values()])}
            ORDER BY {sql.names(order)}""",
        "cases": f"""
            SELECT {sql.commas(sql.names([*by, *split]), clusters, f"{sql.total('m')} AS m")}
            FROM ({cases}) AS cases
            {sql.group_by([*by, *split, *key_of.values()])}
            ORDER BY {sql.names(order)}""",
    }


def _named(frame: pd.DataFrame, cluster: str) -> pd.DataFrame:
    if cluster == "farm":
        return frame.assign(cluster=frame["of_farm"])
    return frame.assign(cluster=frame["of_farm"] + "|" + frame["of_cow"]).drop(columns="of_cow")
