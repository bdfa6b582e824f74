"""What was seen at the newest whole-herd visit, beside the visit before and the same season a year earlier."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.queries.visit_runs import visit_runs
from evenfoot.analytics.stats.intervals import wilson

A_YEAR = 365
SEASON_DAYS = 60
"""A visit this many days off a year earlier still speaks of the same season. [common practice, no source]"""

THIS, LAST, YEAR_AGO = "this visit", "last visit", "same season last year"

COLUMNS = (
    "lesion", "visit", "first", "last", "cases", "at_risk", "prevalence", "low", "high", "verdict", "reason",
)  # fmt: skip


@memoize
def visit_review(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """Lesions at the newest whole-herd visit of one farm against the visit before and the same season a year ago.

    Trim days no further apart than three days are one visit. A cow is a case once a visit, however many feet
    show the lesion.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        One farm. ``until`` says which visit is the newest; ``since`` is not applied, so that the visits before
        can be looked up.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: lesion (``any`` first), visit (``this visit``, ``last visit``, ``same season last year``), first and
        last day of it, cases, at_risk (cows), prevalence, low, high (proportions); verdict and reason, those of
        :func:`evenfoot.analytics.measures.lameness.summary.summary`, for this visit only.
        ``extra["visits"]``: visit, first, last, trims, herd_size.

    Raises
    ------
    UserError
        Not exactly one farm is selected.

    References
    ----------
    Newcombe RG (1998) Statistics in Medicine 17:857-872.
    """
    if len(selection.farms) != 1:
        raise UserError(say("visit-review looks at one farm's visits; name one farm."))
    past = selection.with_(since=None)
    chosen = chosen_visits(visit_runs(ledger, past))
    parts = []
    for name, visit in chosen.items():
        during = past.with_(since=visit["first"], until=visit["last"])
        parts.append(_seen(ledger, during, level).assign(visit=name, first=visit["first"], last=visit["last"]))
    span = [pd.Timestamp(visit[end]).date() for visit in chosen.values() for end in ("first", "last")]
    asked = past.with_(since=min(span), until=max(span)) if span else selection
    basis, cautions = basis_of(
        ledger,
        asked,
        level=level,
        method=say("Wilson score interval"),
        notes=_notes(chosen),
    )
    visits = pd.DataFrame(
        [{"visit": name, **visit} for name, visit in chosen.items()],
        columns=["visit", "first", "last", "trims", "herd_size"],
    )
    if not parts:
        return Answer("visit-review", pd.DataFrame(columns=list(COLUMNS)), basis, cautions, ("lesion", "visit"))
    table = _side_by_side(pd.concat(parts, ignore_index=True), list(chosen), level)
    verdicts = summary(ledger, past).table.set_index("what")[["verdict", "reason"]]
    mine = table[["visit", "lesion"]].apply(
        lambda row: row["visit"] == THIS and row["lesion"] in verdicts.index, axis=1
    )
    for name in ("verdict", "reason"):
        table[name] = table["lesion"].map(verdicts[name]).astype(object).where(mine, None)
    table = table[list(COLUMNS)]
    return Answer("visit-review", table, basis, cautions, ("lesion", "visit"), {"visits": visits})


def chosen_visits(runs: pd.DataFrame) -> dict[str, dict[str, Any]]:
    """This visit, the last one and that of the same season a year ago, as far as there are such visits.

    Examples
    --------
    >>> days = pd.to_datetime(["2025-03-03", "2025-10-01", "2026-03-10"])
    >>> runs = pd.DataFrame({"first": days, "last": days, "trims": 50, "herd_size": 55})
    >>> {name: str(visit["first"]) for name, visit in chosen_visits(runs).items()}
    {'this visit': '2026-03-10', 'last visit': '2025-10-01', 'same season last year': '2025-03-03'}
    """
    if runs.empty:
        return {}
    out = {THIS: _visit(runs.iloc[-1])}
    if len(runs) > 1:
        out[LAST] = _visit(runs.iloc[-2])
    off = (runs["first"] - (runs["first"].iloc[-1] - pd.Timedelta(days=A_YEAR))).abs().dt.days
    near = off[:-1][off[:-1] <= SEASON_DAYS]
    if len(near):
        out[YEAR_AGO] = _visit(runs.loc[near.idxmin()])
    return out


def _visit(row: pd.Series) -> dict[str, Any]:
    return {
        "first": row["first"].date(),
        "last": row["last"].date(),
        "trims": int(row["trims"]),
        "herd_size": None if pd.isna(row["herd_size"]) else int(row["herd_size"]),
    }


def _seen(ledger: Ledger, during: Selection, level: float) -> pd.DataFrame:
    whole = prevalence(ledger, during, by=(), level=level).table.assign(lesion="any")
    each = prevalence(ledger, during, by=("lesion",), level=level).table
    return pd.concat([part for part in (whole, each) if len(part)], ignore_index=True)


def _side_by_side(seen: pd.DataFrame, names: list[str], level: float) -> pd.DataFrame:
    """Every lesion at every visit, none found included."""
    whole = seen[seen["lesion"] == "any"].set_index("visit")
    order = seen[seen["visit"] == THIS].sort_values("cases", ascending=False, kind="stable")["lesion"].tolist()
    lesions = ["any", *(name for name in dict.fromkeys([*order, *seen["lesion"]]) if name != "any")]
    table = pd.MultiIndex.from_product([lesions, names], names=["lesion", "visit"]).to_frame(index=False)
    table = table.merge(seen[["lesion", "visit", "cases"]], on=["lesion", "visit"], how="left")
    table["cases"] = table["cases"].fillna(0).astype("int64")
    for name in ("first", "last", "at_risk"):
        table[name] = table["visit"].map(whole[name])
    for name in ("first", "last"):
        table[name] = pd.to_datetime(table[name])
    low, high = wilson(table["cases"].to_numpy(), table["at_risk"].to_numpy(), level)
    return table.assign(prevalence=table["cases"] / table["at_risk"], low=low, high=high)


def _notes(chosen: dict[str, dict[str, Any]]) -> tuple[Message, ...]:
    if not chosen:
        return ()
    if LAST not in chosen:
        return (say("There is no whole-herd visit before this one."),)
    if YEAR_AGO not in chosen:
        return (say("There is no whole-herd visit within {days} days of a year earlier.", days=SEASON_DAYS),)
    if chosen[YEAR_AGO] == chosen[LAST]:
        return (say("The last visit is also that of the same season last year."),)
    return ()
