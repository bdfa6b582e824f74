"""On which scale a farm's cows were scored so far."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import pandas as pd

from evenfoot.analytics.ledger.ledger import Ledger


def scales_used(ledger: Ledger) -> dict[str, str]:
    """The scale of each farm's newest scores; of several on that day the one with the most scores.

    Returns
    -------
    dict of str to str
        Farm -> scale, of farms that have scores.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    if not ledger.exists:
        return {}
    frame = ledger.frame(
        "SELECT farm, scale, MAX(visit_date) AS last, COUNT(*) AS n FROM scores "
        "WHERE scale IS NOT NULL GROUP BY farm, scale, visit_date"
    ).sort_values(["farm", "last", "n", "scale"])
    newest = frame.drop_duplicates("farm", keep="last")
    return dict(zip(newest["farm"], newest["scale"], strict=True))


def scales_on_days(ledger: Ledger, days: Mapping[str, Collection[object]]) -> dict[str, str]:
    """The scale of each farm's scores on some days, where they are all on one: a sheet sent again is read alike.

    Parameters
    ----------
    ledger : Ledger
    days : mapping of str to collection of Timestamp
        Farm -> days.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    if not ledger.exists or not days:
        return {}
    frame = ledger.frame(
        "SELECT farm, visit_date, scale FROM scores WHERE scale IS NOT NULL GROUP BY farm, visit_date, scale"
    )
    out = {}
    for farm, wanted in days.items():
        there = frame[(frame["farm"] == farm) & pd.to_datetime(frame["visit_date"]).isin(list(wanted))]
        if there["scale"].nunique() == 1:
            out[farm] = str(there["scale"].iloc[0])
    return out
