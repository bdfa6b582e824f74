"""What was agreed up to the report's day: done or not, and what became of the lesion since."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.planning.agreements import DONE, NOT_CAUSE
from evenfoot.dashboard.charts.agreed import agreed_said, since_said, state_said
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.i18n.templates import Own
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.markup import Section, bullets, paragraph


def agreed_section(contents: Contents, words: Words) -> Section | None:
    """What is open, overdue first, and what was done in the period; nothing where nothing was agreed."""
    rows = agreed_rows(contents)
    if not rows:
        return None
    under = paragraph(words.said(NOT_CAUSE), "small") if any(since_said(row, words) for row in rows) else ""
    return Section("agreed", words("What was agreed"), bullets(agreed_lines(contents, words)) + under)


def agreed_lines(contents: Contents, words: Words) -> list[str]:
    """A line for each that the report tells of."""
    return [_line(row, words) for row in agreed_rows(contents)]


def agreed_rows(contents: Contents) -> list[dict[str, Any]]:
    """Rows of the measure ``agreed`` that the report tells of: all that are open, and those done in its period."""
    answer = contents.get("agreed")
    if answer is None:
        return []
    begin = pd.Timestamp(contents.since)
    return [row for row in records(answer.table) if row["state"] != DONE or row["done_on"] >= begin]


def _line(row: dict[str, Any], words: Words) -> str:
    said = words(
        "{day}: {what}. {state}",
        day=row["agreed_on"],
        what=Own(agreed_said(row, words).rstrip(".")),
        state=Own(state_said(row, words)),
    )
    return " ".join(part for part in (said, since_said(row, words)) if part)
