"""Counts of visits whose cows were not told apart: listed with their shares, and in no other figure."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.herd_counts import herd_counts as counts_of
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.intervals import wilson

OF_COWS = (
    "families", "groups", "housing", "floor", "seasons", "parity", "breeds", "sires", "feet", "claws", "zones",
    "severity", "cows",
)  # fmt: skip
"""What a selection may narrow that a count without cows does not say."""


@memoize
def herd_counts(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """List the counts that sheets gave without cows.

    Such a count is of one visit: shares of several visits cannot be put together, since it is not known which cows
    were counted at both.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Farms, period, trimmers and lesions. Kinds of visit are not applied. Where it narrows by something that only
        cows have, nothing is listed.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: farm, visit_date, lesion (missing means any), unit (cows, feet or claws), cases, looked_at,
        herd_size, prevalence, low, high (missing where it is not known how many were looked at), trimmer, note.

    References
    ----------
    Wilson (1927). Probable inference, the law of succession, and statistical inference. Journal of the American
    Statistical Association 22, 209-212.
    """
    table = counts_of(ledger, selection)
    narrowed = any(getattr(selection, name) for name in OF_COWS)
    if narrowed:
        table = table[:0]
    known = (table["looked_at"] > 0).fillna(False).to_numpy(dtype=bool)
    shares = {name: np.full(len(table), np.nan) for name in ("prevalence", "low", "high")}
    if known.any():
        cases = table.loc[known, "cases"].to_numpy(dtype=float)
        looked_at = table.loc[known, "looked_at"].to_numpy(dtype=float)
        shares["prevalence"][known] = cases / looked_at
        shares["low"][known], shares["high"][known] = wilson(cases, looked_at, level)
    after = ["trimmer", "note"]
    table = pd.concat([table.drop(columns=after).assign(**shares), table[after]], axis=1)
    basis = Basis(
        farms=int(table["farm"].nunique()),
        visits=len(table[["farm", "visit_date"]].drop_duplicates()),
        first=_day(table["visit_date"].min()),
        last=_day(table["visit_date"].max()),
        level=level,
        method="Wilson" if known.any() else "",
    )
    return Answer("herd-counts", table, basis, _cautions(table, narrowed))


def _cautions(table: pd.DataFrame, narrowed: bool) -> tuple[Message, ...]:
    if narrowed:
        return (say("Counts without cows say nothing of single cows or of parts of the herd; choose the whole herd."),)
    if table.empty:
        return (say("No counts without cows are recorded here."),)
    return (say("Which cows were counted is not known, so these counts are in no other figure."),)


def _day(value: pd.Timestamp) -> dt.date | None:
    return None if pd.isna(value) else value.date()
