"""The newest month with records, and the twelve months before it: a herd's own past."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from evenfoot.analytics.queries.selection import Selection

PAST_MONTHS = 12
"""How far back a herd's own past goes: one round of the seasons. [common practice, no source]"""

Spans = tuple[dt.date, dt.date, dt.date, dt.date]


def spans_of(months: list[pd.Timestamp]) -> Spans | None:
    """First and last day of now, first and last day of the past, from the months with records.

    Examples
    --------
    >>> [str(day) for day in spans_of([pd.Timestamp("2026-02-01"), pd.Timestamp("2026-03-01")])]
    ['2026-03-01', '2026-03-31', '2025-03-01', '2026-02-28']
    """
    if not months:
        return None
    now = max(months)
    past = now - pd.DateOffset(months=PAST_MONTHS)
    day = pd.Timedelta(days=1)
    return now.date(), (now + pd.offsets.MonthEnd(0)).date(), past.date(), (now - day).date()


def now_and_past(selection: Selection, spans: Spans) -> tuple[Selection, Selection]:
    """The selection narrowed to now, and to the past."""
    start, end, past_start, past_end = spans
    if selection.until:
        end = min(end, selection.until)
    return selection.with_(since=start, until=end), selection.with_(since=past_start, until=past_end)
