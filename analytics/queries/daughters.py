"""Daughters of sires: how many were trimmed, how often, and how many were a case."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import findings, trims
from evenfoot.analytics.queries.selection import Selection

MOST_TIMES = 6
"""Cows trimmed this often or more are taken together."""

MOST_LACTATIONS = 4
"""Cows in this lactation or a later one are taken together. [common practice, no source]"""


def daughters(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """Cows of a selection by farm, sire, lactation and how often they were trimmed.

    Returns
    -------
    pandas.DataFrame
        farm, sire (missing where not recorded), times (trims, at most 6), parity (lactation at her last trim, at
        most 4; 0 where not recorded), daughters, cases.
    """
    return fetch(ledger, _question(selection))


def _question(selection: Selection) -> str:
    """A question: the columns of :func:`daughters`, in the order of the first four."""
    cows = f"""
        SELECT farm, cow, COUNT(*) AS times, MAX(sire) AS sire, MAX(parity) AS parity
        FROM ({trims(selection)}) AS trims_seen
        GROUP BY farm, cow"""
    cases = f"SELECT DISTINCT farm, cow FROM ({findings(selection)}) AS found"
    each = f"""
        SELECT c.farm, c.sire,
            LEAST(c.times, {MOST_TIMES}) AS times,
            CAST(LEAST(COALESCE(c.parity, 0), {MOST_LACTATIONS}) AS BIGINT) AS parity,
            CASE WHEN f.cow IS NULL THEN 0 ELSE 1 END AS is_case
        FROM ({cows}) AS c
        LEFT JOIN ({cases}) AS f ON c.farm = f.farm AND c.cow = f.cow"""
    return f"""
        SELECT farm, sire, times, parity, COUNT(*) AS daughters, {sql.total("is_case")} AS cases
        FROM ({each}) AS each_daughter
        GROUP BY farm, sire, times, parity
        ORDER BY farm, sire, times, parity"""
