"""Counts of visits whose cows were not told apart, as sheets gave them."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch, question_of, table
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

COLUMNS = ("farm", "visit_date", "lesion", "unit", "cases", "looked_at", "herd_size", "trimmer", "note")


def herd_counts(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """The counts of a selection's farms, period, trimmers and lesions: the columns of ``COLUMNS``, by farm and day.

    ``lesion`` is missing where any lesion was counted; ``unit`` is cows where the sheet does not say.
    """
    frame = fetch(
        ledger,
        _counts(
            Selection(
                farms=selection.farms, since=selection.since, until=selection.until, trimmers=selection.trimmers,
                lesions=selection.lesions, allowed=selection.allowed,
            )
        ),
    )  # fmt: skip
    frame["visit_date"] = pd.to_datetime(frame["visit_date"]).astype("datetime64[us]")
    for name in ("cases", "looked_at", "herd_size"):
        frame[name] = frame[name].astype("Int64")
    ordered = frame.sort_values(["farm", "visit_date", "lesion", "unit", "cases"], na_position="first")
    return ordered.reset_index(drop=True)[list(COLUMNS)]


@built_once
def _counts(selection: Selection) -> Question:
    rows = table("summary_rows")
    if selection.allowed is not None:
        rows = rows.filter(rows.farm.isin(selection.allowed) if selection.allowed else ibis.literal(False))
    if selection.farms:
        rows = rows.filter(rows.farm.isin(selection.farms))
    if selection.since:
        rows = rows.filter(rows.visit_date >= selection.since)
    if selection.until:
        rows = rows.filter(rows.visit_date <= selection.until)
    if selection.trimmers:
        rows = rows.filter(rows.trimmer.isin(selection.trimmers))
    if selection.lesions:
        rows = rows.filter(rows.lesion.isin(selection.lesions))
    return question_of(rows.mutate(unit=rows.unit.fill_null("cows")).select(*COLUMNS))
