"""Counts of visits whose cows were not told apart, as sheets gave them."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch
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


def _counts(selection: Selection) -> str:
    """A question: ``COLUMNS``."""
    keep: list[str] = []
    if selection.allowed is not None:
        keep.append(sql.among("farm", selection.allowed))
    if selection.farms:
        keep.append(sql.among("farm", selection.farms))
    if selection.since:
        keep.append(f"visit_date >= {sql.literal(selection.since)}")
    if selection.until:
        keep.append(f"visit_date <= {sql.literal(selection.until)}")
    if selection.trimmers:
        keep.append(sql.among("trimmer", selection.trimmers))
    if selection.lesions:
        keep.append(sql.among("lesion", selection.lesions))
    return f"""
        SELECT farm, visit_date, lesion, COALESCE(unit, 'cows') AS unit, cases, looked_at, herd_size, trimmer, note
        FROM summary_rows
        {sql.where(*keep)}"""
