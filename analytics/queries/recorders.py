"""Who recorded on which farm, on which scale, and from when to when."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import scores, trims
from evenfoot.analytics.queries.selection import Selection


def recorders(ledger: Ledger, selection: Selection, source: str) -> pd.DataFrame:
    """The people and scales of a selection.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    source : {"trims", "scores"}

    Returns
    -------
    pandas.DataFrame
        farm, who, scale (missing for trims), first, last (days). One row a farm, person and scale; *who* or *scale* is
        missing where a sheet does not give it.
    """
    frame = fetch(ledger, _question(selection, source))
    return frame.assign(first=pd.to_datetime(frame["first"]), last=pd.to_datetime(frame["last"]))


def _question(selection: Selection, source: str) -> str:
    """A question: farm, who, scale, ``first`` and ``last``."""
    if source == "scores":
        return f"""
            SELECT farm, scorer AS who, scale, MIN(visit_date) AS "first", MAX(visit_date) AS "last"
            FROM ({scores(selection)}) AS s
            GROUP BY farm, scorer, scale"""
    return f"""
        SELECT farm, trimmer AS who, CAST(NULL AS VARCHAR) AS scale,
            MIN(visit_date) AS "first", MAX(visit_date) AS "last"
        FROM ({trims(selection)}) AS t
        GROUP BY farm, trimmer"""
