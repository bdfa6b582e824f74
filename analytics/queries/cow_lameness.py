"""Lame scorings of each cow in each group she was in: what pairing a cow with herself needs."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch_many
from evenfoot.analytics.queries.filters import grouped
from evenfoot.analytics.queries.locomotion_scores import one_scoring_a_day
from evenfoot.analytics.queries.selection import Selection


def lame_by_cow(ledger: Ledger, selection: Selection, by: str) -> pd.DataFrame:
    """farm, cow, level (of the grouping *by*), cases (lame scorings) and at_risk (scorings)."""
    return each_lame_by_cow(ledger, {"only": (selection, by)})["only"]


def each_lame_by_cow(ledger: Ledger, asked: Mapping[str, tuple[Selection, str]]) -> dict[str, pd.DataFrame]:
    """:func:`lame_by_cow` for several selections and groupings, asked beside each other."""
    frames = fetch_many(ledger, {name: _question(selection, by) for name, (selection, by) in asked.items()})
    return {
        name: frame.astype({"cases": "int64", "at_risk": "int64"})
        .sort_values(["level", "farm", "cow"])
        .reset_index(drop=True)
        for name, frame in frames.items()
    }


def _question(selection: Selection, by: str) -> str:
    """A question: the columns of :func:`lame_by_cow`, one row a cow and group."""
    return f"""
        SELECT farm, cow, level, {sql.total("lame")} AS cases, COUNT(*) AS at_risk
        FROM (
            SELECT farm, cow, lame, {grouped(by, selection)} AS level
            FROM ({one_scoring_a_day(selection)}) AS scorings
        ) AS levels
        GROUP BY farm, cow, level"""
