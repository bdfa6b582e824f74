"""The herd now against its own past twelve months: what is up, what is down, what is unclear."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.basis import FEW_COWS, basis_of
from analytics.measures.kept import keep
from analytics.measures.past_year import PAST_MONTHS, now_and_past, spans_of
from analytics.methods.intervals import difference
from analytics.tally.counts import count
from analytics.tally.coverage import months_with_records
from analytics.tally.lame_counts import count_scorings
from analytics.tally.selection import Selection
from analytics.words import Said, say

COLUMNS = (
    "what",
    "month",
    "cases",
    "at_risk",
    "prevalence",
    "past_cases",
    "past_at_risk",
    "past_prevalence",
    "difference",
    "low",
    "high",
    "direction",
)


@keep
def herd_review(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """Compare the newest month with records with the twelve months before it.

    Lameness and lesions each have their own newest month, since a herd is scored more often than it is
    trimmed. Both are counted per scoring and per trim: counted per cow, a year would look worse than a
    month merely because a cow trimmed three times has three chances to be a case.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        One farm is the usual case. ``until`` says what "now" is; the newest records by default.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: what (``lame``, ``severe``, ``any`` or a lesion code), month (its first day), cases,
        at_risk (scorings or trims) and prevalence in it; past_cases, past_at_risk and past_prevalence in the twelve
        months before; difference with low and high (proportions); direction: ``up`` or ``down`` when the interval
        lies on one side of 0, ``unclear`` when it does not, ``too few`` below 20 looked at in either, and
        ``pooled`` when several farms are together, which gives no verdict.

    References
    ----------
    Newcombe RG (1998) Statistics in Medicine 17:873-890, method 10 (the interval of the difference).
    """
    until = selection.until
    rows = _lameness(ledger, selection) + _lesions(ledger, selection)
    if rows:
        first = min(row[1] for row in rows) - pd.DateOffset(months=PAST_MONTHS)
        selection = selection.with_(since=first.date(), until=until)
    table = pd.DataFrame(rows, columns=list(COLUMNS[:4]) + ["past_cases", "past_at_risk"])
    basis, cautions = basis_of(
        ledger, selection, unit="trim", level=level, method=say("Newcombe interval of a difference of proportions")
    )
    if table.empty:
        return Answer("herd-review", table.reindex(columns=list(COLUMNS)), basis, cautions, ("what",))
    gap, low, high = difference(
        table["cases"].to_numpy(),
        table["at_risk"].to_numpy(),
        table["past_cases"].to_numpy(),
        table["past_at_risk"].to_numpy(),
        level,
    )
    few = (table[["at_risk", "past_at_risk"]].min(axis=1) < FEW_COWS).to_numpy()
    direction = np.select([few, low > 0, high < 0], ["too few", "up", "down"], "unclear")
    if basis.farms > 1:
        direction = np.where(few, "too few", "pooled")
        cautions += (_POOLED,)
    table = table.assign(
        prevalence=table["cases"] / table["at_risk"],
        past_prevalence=table["past_cases"] / table["past_at_risk"].replace(0, np.nan),
        difference=gap,
        low=low,
        high=high,
        direction=direction,
    )
    return Answer("herd-review", table[list(COLUMNS)], basis, cautions + (_SAME_COWS,), ("what",))


_POOLED: Said = say(
    "Several farms are together here, and not the same farms were visited in both periods, so no rise or fall is "
    "called. Choose one farm to compare a herd with its own past."
)

_SAME_COWS: Said = say(
    "Many cows are in both periods and several things are compared at once; take one clear difference among many "
    "as a hint, not a proof."
)


def _lameness(ledger: Ledger, selection: Selection) -> list[tuple[Any, ...]]:
    spans = spans_of(months_with_records(ledger, selection, "scores"))
    if spans is None:
        return []
    now, past = (count_scorings(ledger, each, ()).table for each in now_and_past(selection, spans))
    out: list[tuple[Any, ...]] = []
    for name in ("lame", "severe"):
        then = (int(past[name].iloc[0]), int(past["scored"].iloc[0])) if len(past) else (0, 0)
        out.append((name, pd.Timestamp(spans[0]), int(now[name].iloc[0]), int(now["scored"].iloc[0]), *then))
    return out


def _lesions(ledger: Ledger, selection: Selection) -> list[tuple[Any, ...]]:
    spans = spans_of(months_with_records(ledger, selection, "trims"))
    if spans is None:
        return []
    now, past = now_and_past(selection, spans)
    out: list[tuple[Any, ...]] = []
    for by in ((), ("lesion",)):
        here, before = (count(ledger, each, by, "trim").table for each in (now, past))
        names = dict.fromkeys([*here["lesion"], *before["lesion"]]) if by else {"any": None}
        whole_here = count_at_risk(here, ledger, now)
        whole_before = count_at_risk(before, ledger, past)
        for name in names:
            of_now = here[here["lesion"] == name] if by else here
            of_past = before[before["lesion"] == name] if by else before
            out.append(
                (
                    name,
                    pd.Timestamp(spans[0]),
                    int(of_now["cases"].sum()),
                    whole_here,
                    int(of_past["cases"].sum()),
                    whole_before,
                )
            )
    return out


def count_at_risk(table: pd.DataFrame, ledger: Ledger, selection: Selection) -> int:
    """Trims looked at, whether or not anything was found."""
    if len(table):
        return int(table["at_risk"].iloc[0])
    whole = count(ledger, selection, (), "trim").table
    return int(whole["at_risk"].sum())
