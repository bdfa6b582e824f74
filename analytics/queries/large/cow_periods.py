"""How many cows were met in each month or quarter, from one number a cow whose bits say in which she was.

A row for every cow and period takes twice the work: of the numbers there are few different ones.
"""

from __future__ import annotations

from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.large.bitmask import IN_A_NUMBER, numbers_of_bits

IN_A_YEAR = {"month": 12, "quarter": 4}
"""Periods that are laid out as bits, and how many make a year. Years are too few to gain by it."""


def period_number(day: str, period: str) -> str:
    """The number of a day's month or quarter, counted from one before all days."""
    return f"({sql.part_of('year', day)} * {IN_A_YEAR[period]} + {sql.part_of(period, day)})"


def period_of(number: str, period: str) -> str:
    """What :func:`evenfoot.analytics.queries.filters.grouped` says of the period with that number: its first day."""
    in_year = IN_A_YEAR[period]
    months = f"({number} - 1 - {1970 * in_year}) * {12 // in_year}"
    return sql.months_after("DATE '1970-01-01'", months)


def cows_by_period(rows: str, keys: list[str], period: str) -> str:
    """Cows by the keys and period, each once.

    Parameters
    ----------
    rows : str
        A question that gives the *keys*, cow and visit_date, among any others.
    keys : list of str
        The farm, and further groupings.
    period : str
        Any of ``IN_A_YEAR``.

    Returns
    -------
    str
        A question: the keys, ``number`` (of the period, :func:`period_number`) and n (cows).
    """
    number = period_number("visit_date", period)
    stretches = f"CAST({number} // {IN_A_NUMBER} AS INTEGER) AS stretch, {number} % {IN_A_NUMBER} AS place"
    of_cow = [*keys, "cow", "stretch"]
    bits = f"""
        SELECT {sql.names(of_cow)}, BIT_OR({sql.bit("place")}) AS bits
        FROM (SELECT {sql.names([*keys, "cow"])}, {stretches} FROM ({rows}) AS rows_of_period) AS days
        {sql.group_by(of_cow)}"""
    alike = [*keys, "stretch", "bits"]
    few = f"SELECT {sql.names(alike)}, COUNT(*) AS cows FROM ({bits}) AS of_cows{sql.group_by(alike)}"
    met = f"""
        SELECT {sql.names(keys)}, stretch * {IN_A_NUMBER} + place AS number, cows
        FROM ({numbers_of_bits(few, IN_A_NUMBER)}) AS met"""
    by = [*keys, "number"]
    return f"SELECT {sql.names(by)}, {sql.total('cows')} AS n FROM ({met}) AS met_at{sql.group_by(by)}"
