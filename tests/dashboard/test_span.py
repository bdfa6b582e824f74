"""A stretch of time chosen on a chart: written, read back, followed by the other panels, and taken away again."""

from __future__ import annotations

import datetime as dt

import hypothesis.strategies as st
import pandas as pd
import pytest
from hypothesis import given

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.pages import PANELS
from evenfoot.dashboard.ui.panel import Drawn
from evenfoot.dashboard.ui.period_filter import choosing, days_of, following, mark_chosen, span_of
from evenfoot.dashboard.ui.shell import chips
from evenfoot.dashboard.ui.view import View


@given(st.dates(dt.date(1990, 1, 1), dt.date(2100, 12, 31)), st.sampled_from(["month", "quarter", "year"]))
def test_what_is_written_is_read_back(day: dt.date, column: str) -> None:
    value = day.year if column == "year" else pd.Timestamp(day)
    first, last = days_of(span_of(column, value))
    assert first <= day <= last
    assert first.day == 1 and (last + dt.timedelta(days=1)).day == 1
    assert (last - first).days in {"month": (27, 28, 29, 30), "quarter": (89, 90, 91), "year": (364, 365)}[column]


@pytest.mark.parametrize("text", ["2026-13", "2026-Q5", "26-03", "0000", "soon", "2026-03-01", "-2026", "2026-Q1x"])
def test_anything_else_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(UserError, match="cannot be read; write it as"):
        days_of(text)


def test_following_narrows_the_records_and_not_the_address() -> None:
    view = View.read("/lesions", "?farms=Larkmoor&since=2024-01-01&until=2026-12-31&theme=night&span=2025-Q2")
    seen = following(view)
    assert (seen.selection.since, seen.selection.until) == (dt.date(2025, 4, 1), dt.date(2025, 6, 30))
    assert seen.href == view.href
    assert seen.changed(lesions=("SU",)).selection.since == dt.date(2024, 1, 1)
    assert "since=2024-01-01" in seen.to("/horn") and "span" not in seen.to("/horn")
    # Leaving for another page takes the narrowed records along, and the colours of the page.
    assert "since=2025-04-01" in seen.open("/horn") and "theme=night" in seen.open("/horn")
    assert following(View.read("/lesions", "?farms=Larkmoor")).whole is None


def test_choosing_twice_takes_it_away() -> None:
    view = View.read("/lesions", "")
    once = choosing(view, "month", pd.Timestamp("2025-11-01"))
    assert once == "/lesions?span=2025-11"
    again = View.read("/lesions", once.partition("?")[2])
    assert choosing(again, "month", pd.Timestamp("2025-11-01")) == "/lesions"
    assert "Nov 2025" in str(chips(again))


def test_the_month_alone_is_counted_and_shown(demo_ledger: Ledger) -> None:
    view = View.read("/lesions", "?farms=Larkmoor&span=2025-11")
    months = PANELS["lesion-months"].draw(demo_ledger, view)
    alone = PANELS["lesion-cows"].draw(demo_ledger, following(view))
    assert isinstance(months, Drawn) and len(months.answer.table) > 5
    november = months.answer.table[months.answer.table["month"] == "2025-11-01"].iloc[0]
    assert f"{november['cases']} of {november['at_risk']} cows" in str(alone)
    assert months.figure is not None
    before = len(months.figure.layout.shapes or ())
    mark_chosen(view, months)
    assert len(months.figure.layout.shapes or ()) == before + 1
