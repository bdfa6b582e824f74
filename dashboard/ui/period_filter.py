"""A stretch of time chosen on a chart: the month, quarter or year that the other charts of the page then follow."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.queries.bounds import bounded_date
from evenfoot.dashboard.charts.labels import date_label
from evenfoot.dashboard.charts.periods import mark_stretch
from evenfoot.dashboard.ui.panel import Drawn
from evenfoot.dashboard.ui.view import View

_WRITTEN = re.compile(r"(\d{4})(?:-(0[1-9]|1[0-2])|-Q([1-4]))?")


def days_of(text: str) -> tuple[dt.date, dt.date]:
    """First and last day of a month, quarter or year.

    Raises
    ------
    UserError
        The text is none of them.

    Examples
    --------
    >>> days_of("2026-Q1")
    (datetime.date(2026, 1, 1), datetime.date(2026, 3, 31))
    """
    found = _WRITTEN.fullmatch(text)
    if found is None or not int(found[1]):
        raise UserError(
            f"The stretch of time '{text}' in the address cannot be read; write it as 2026, 2026-03 or 2026-Q1."
        )
    year, month, quarter = found[1], found[2], found[3]
    first = dt.date(int(year), int(month or 3 * int(quarter or 1) - 2), 1)
    months = 1 if month else 3 if quarter else 12
    last = (pd.Timestamp(first) + pd.DateOffset(months=months) - pd.Timedelta(days=1)).date()
    return first, last


def span_of(column: str, value: Any) -> str:
    """How a period of a table is written in an address.

    Examples
    --------
    >>> span_of("month", pd.Timestamp("2026-04-01")), span_of("quarter", pd.Timestamp("2026-04-01"))
    ('2026-04', '2026-Q2')
    """
    if column == "year" or not isinstance(value, (pd.Timestamp, dt.date)):
        return f"{int(value)}"
    day = pd.Timestamp(value)
    return f"{day:%Y}-Q{day.quarter}" if column == "quarter" else f"{day:%Y-%m}"


def span_words(text: str) -> str:
    """A stretch as a person reads it.

    Examples
    --------
    >>> span_words("2026-04"), span_words("2026-Q2"), span_words("2026")
    ('Apr 2026', 'Apr to Jun 2026', '2026')
    """
    first, _ = days_of(text)
    return str(first.year) if len(text) == 4 else date_label(first, "quarter" if "Q" in text else "month")


def choosing(view: View, column: str, value: Any) -> str:
    """The address in which the stretch is chosen; where it is chosen already, the one in which it is not."""
    text = span_of(column, value)
    return view.changed(span=None if view.options.get("span") == text else text).href


def choosing_by(view: View, column: str, kind: str = "") -> Callable[[dict[str, Any]], str]:
    """For rows of a table the address that chooses the period in *column*; *kind* where it has another name."""
    return lambda row: choosing(view, kind or column, row[column])


def following(view: View) -> View:
    """The view narrowed to the stretch chosen, for panels that follow it; the view itself where there is none.

    Addresses made from it keep the period that was chosen for the page.

    Raises
    ------
    UserError
        The stretch in the address cannot be read, or lies far from the records.
    """
    if "span" not in view.options:
        return view
    text = view.options["span"]
    if _WRITTEN.fullmatch(text) and int(text[:4]):
        bounded_date(dt.date(int(text[:4]), 1, 1), "span")
    first, last = days_of(text)
    return view.narrowed(since=first, until=last)


def mark_chosen(view: View, drawn: Drawn) -> None:
    """Show the stretch on the charts of the panel it is chosen on."""
    if "span" not in view.options:
        return
    first, last = days_of(view.options["span"])
    for figure in [each for each in (drawn.figure, *(figure for figure, _ in drawn.beside)) if each is not None]:
        mark_stretch(figure, pd.Timestamp(first), pd.Timestamp(last), view.theme)
