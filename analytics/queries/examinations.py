"""How often cows were looked at in each group."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.denominators import looked_at
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import grouped, trims
from evenfoot.analytics.queries.selection import Selection


def looks(ledger: Ledger, selection: Selection, by: tuple[str, ...]) -> pd.DataFrame:
    """Cows and trims of each group.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Properties of the trim.

    Returns
    -------
    pandas.DataFrame
        The ``by`` columns, cows and trims.
    """
    return fetch(ledger, _question(selection, by))


def _question(selection: Selection, by: tuple[str, ...]) -> str:
    """A question: the groupings, cows and trims, in the order of the groupings."""
    values = sql.listed({name: grouped(name, selection) for name in by})
    seen = looked_at(selection, by, (), "cow", of_farms=True)
    of_cows = sql.commas(sql.names(by), f"{sql.total('n')} AS cows")
    of_trims = sql.commas(sql.names(by), "COUNT(*) AS trims")
    each = f"SELECT {values} FROM ({trims(selection)}) AS t"
    return f"""
        WITH cows_of AS (SELECT {of_cows} FROM ({seen}) AS seen{sql.group_by(by)}),
            trims_of AS (SELECT {of_trims} FROM ({each}) AS each_trim{sql.group_by(by)})
        SELECT {sql.commas(sql.names(by, of="c"), "c.cows, t.trims")}
        FROM cows_of AS c INNER JOIN trims_of AS t ON {sql.matched(by, "c", "t")}
        ORDER BY {sql.names(by, of="c")}"""
