"""How many cows were met in each month or quarter, from one number a cow whose bits say in which she was.

A row for every cow and period takes twice the work: of the numbers there are few different ones.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfoot.analytics.queries.engine import together
from evenfoot.analytics.queries.large.bitmask import IN_A_NUMBER, numbers_of_bits
from evenfoot.analytics.queries.lazy_import import ibis

if TYPE_CHECKING:
    import ibis.expr.types as ir

IN_A_YEAR = {"month": 12, "quarter": 4}
"""Periods that are laid out as bits, and how many make a year. Years are too few to gain by it."""


def number_of(day: ir.DateValue, period: str) -> ir.IntegerValue:
    """The number of a day's month or quarter, counted from one before all days."""
    return day.year() * IN_A_YEAR[period] + (day.month() if period == "month" else day.quarter())


def period_of(number: ir.IntegerValue, period: str) -> ir.DateValue:
    """What :func:`evenfoot.analytics.queries.filters.grouped` says of the period with that number: its first day."""
    in_year = IN_A_YEAR[period]
    before = number - 1
    month = (before % in_year) * (12 // in_year) + 1
    day: ir.DateValue = ibis.date((before // in_year).cast("int32"), month.cast("int32"), ibis.literal(1, "int32"))
    return day


def cows_by_period(rows: ir.Table, keys: list[str], period: str) -> ir.Table:
    """Cows by the keys and period, each once.

    Parameters
    ----------
    rows : ibis.Table
        The *keys*, cow and visit_date, among any others.
    keys : list of str
        The farm, and further groupings.
    period : str
        Any of ``IN_A_YEAR``.

    Returns
    -------
    ibis.Table
        The keys, ``at`` (the number of the period, :func:`number_of`) and n (cows).
    """
    day = number_of(rows.visit_date, period)
    rows = rows.select(*keys, "cow", stretch=(day // IN_A_NUMBER).cast("int32"), place=day % IN_A_NUMBER)
    cows = rows.group_by([*keys, "cow", "stretch"]).agg(bits=together(rows.place))
    alike = cows.group_by([*keys, "stretch", "bits"]).agg(cows=cows.count())
    met = numbers_of_bits(alike, IN_A_NUMBER)
    met = met.mutate(at=met.stretch * IN_A_NUMBER + met.at)
    return met.group_by([*keys, "at"]).agg(n=met.cows.sum().cast("int64"))
