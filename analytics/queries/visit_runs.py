"""Visits as people speak of them: trim days of one farm and kind that follow each other closely are one visit."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.derive import VISIT_GAP_DAYS
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import trims
from evenfoot.analytics.queries.selection import Selection


def visit_runs(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """The visits of a selection, oldest first.

    Returns
    -------
    pandas.DataFrame
        farm, visit_kind, first, last (days), trims (cow records) and herd_size (the largest a sheet gives, or missing).
    """
    days = fetch(ledger, _days(selection)).sort_values(["farm", "visit_kind", "visit_date"])
    gap = days.groupby(["farm", "visit_kind"])["visit_date"].diff().dt.days
    days = days.assign(run=(~(gap <= VISIT_GAP_DAYS)).cumsum())
    runs = days.groupby(["farm", "visit_kind", "run"], as_index=False).agg(
        first=("visit_date", "min"),
        last=("visit_date", "max"),
        trims=("trims", "sum"),
        herd_size=("herd_size", "max"),
    )
    return runs.drop(columns="run").sort_values(["first", "farm", "visit_kind"]).reset_index(drop=True)


def _days(selection: Selection) -> str:
    """A question: farm, visit_kind, visit_date, trims and herd_size."""
    return f"""
        SELECT farm, visit_kind, visit_date, COUNT(*) AS trims, MAX(herd_size) AS herd_size
        FROM (
            SELECT farm, COALESCE(visit_kind, 'unknown') AS visit_kind, visit_date, herd_size
            FROM ({trims(selection)}) AS t
        ) AS named
        GROUP BY farm, visit_kind, visit_date"""
