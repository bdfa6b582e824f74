"""How did the last so many months together go: a window that moves on month by month."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.limits import LIMITS, SUMS, limits_of
from evenfoot.analytics.measures.outcome import cluster_months, outcome_named, series_basis
from evenfoot.analytics.measures.recording_changes import other_farms
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.selection import Selection

MONTHS = 12
"""A window of a year holds every season once. [common practice, no source]"""

MOST_MONTHS = 60

COLUMNS = ("month", "from_month", "cases", "at_risk", "prevalence", "low", "high", "clusters", "design_effect")


@memoize
def rolling(
    ledger: Ledger,
    selection: Selection,
    *,
    months: int = MONTHS,
    outcome: str | None = None,
    level: float = 0.95,
) -> Answer:
    """Share of scorings that were lame, or of trims with the lesion, in windows of *months* months.

    A month with few cows counts for little, and with twelve months every season is in a window once, so that the
    line shows the drift of the herd without its season. Units of one cow are alike; the interval allows for it.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``since`` and ``until`` say which windows are shown; a window that ends in the period takes in the months
        before it.
    months : int
        Months of a window, 1 to 60.
    outcome : {"lameness", "lesion"}, optional
        Lameness, unless the selection narrows the findings, without it.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: month and from_month (first days of the last and first month of the window), cases, at_risk
        (scorings or trims), prevalence, low, high, clusters (cows, or farms where several are pooled) with units in
        the window, design_effect. A window counts from the first month that has *months* months of records behind
        it; one without a unit is left out. ``extra["months"]``: month, cases, at_risk, prevalence, by themselves.

    Raises
    ------
    UserError
        A window of no, or of too many, months; an outcome that does not exist.

    References
    ----------
    Rao JNK, Scott AJ (1992) Biometrics 48:577-585 (the interval, clusters).
    """
    if not 1 <= months <= MOST_MONTHS:
        raise UserError(
            say(
                "A window of {months} months cannot be drawn; choose 1 to {MOST_MONTHS}.",
                months=months,
                MOST_MONTHS=MOST_MONTHS,
            )
        )
    what = outcome_named(selection, outcome)
    asked = selection.with_(since=_reach(selection.since, months))
    rows, kind = cluster_months(ledger, asked, what)
    first_known, _ = cluster_months(ledger, selection.with_(since=None), what) if selection.since else (rows, kind)
    sums = _windows(rows, months, first_known["month"].min() if len(first_known) else None, selection.since)
    limits = limits_of(sums, kind, level)
    table = sums.assign(
        cases=sums["sum_m"],
        at_risk=sums["sum_n"],
        prevalence=sums["sum_m"] / sums["sum_n"],
        **{name: limits.table[name] for name in LIMITS},
    )
    basis, cautions = series_basis(ledger, asked, what, level, limits.method, (_note(months),) if len(table) else ())
    cautions += limits.cautions if len(table) else ()
    if len(table):
        cautions += (_SHARED,)
        cautions += other_farms(table["clusters"], basis.farms) if kind == "farm" else ()
    elif basis.cows:
        cautions += (say("Not enough to say: the records do not reach {n} months back in this period.", n=months),)
    alone = rows.groupby("month", as_index=False)[["cases", "at_risk"]].sum()
    alone = alone.assign(prevalence=alone["cases"] / alone["at_risk"])
    return Answer("rolling", table[list(COLUMNS)], basis, cautions, ("month",), {"months": alone})


def _reach(since: dt.date | None, months: int) -> dt.date | None:
    """The first day of the first window that ends in the period."""
    if since is None:
        return None
    return (pd.Timestamp(since).replace(day=1) - pd.DateOffset(months=months - 1)).date()


def _windows(rows: pd.DataFrame, months: int, first_known: pd.Timestamp | None, since: dt.date | None) -> pd.DataFrame:
    """Cluster sums of every full window: month, from_month and the sums."""
    names = ["month", "from_month", *SUMS]
    if rows.empty or first_known is None:
        return pd.DataFrame(columns=names).astype({"month": "datetime64[us]", "from_month": "datetime64[us]"})
    every = pd.date_range(rows["month"].min(), rows["month"].max(), freq="MS")
    cases, units = (
        rows.pivot_table(index="cluster", columns="month", values=name, aggfunc="sum", fill_value=0)
        .reindex(columns=every, fill_value=0)
        .to_numpy(dtype=float)
        for name in ("cases", "at_risk")
    )
    m, n = _rolled(cases, months), _rolled(units, months)
    out = pd.DataFrame(
        {
            "month": every,
            "from_month": every - pd.DateOffset(months=months - 1),
            "sum_m": m.sum(axis=0),
            "sum_n": n.sum(axis=0),
            "sum_mm": (m * m).sum(axis=0),
            "sum_mn": (m * n).sum(axis=0),
            "sum_nn": (n * n).sum(axis=0),
            "clusters": (n > 0).sum(axis=0),
        }
    )
    full = (out["from_month"] >= first_known) & (out["sum_n"] > 0)
    if since is not None:
        full &= out["month"] >= pd.Timestamp(since).replace(day=1)
    return out[full].astype(dict.fromkeys(SUMS, "int64")).reset_index(drop=True)


def _rolled(counts: np.ndarray, months: int) -> np.ndarray:
    """Sums over the last *months* columns; windows that reach before the first column hold what there is."""
    whole = np.cumsum(counts, axis=1)
    before = np.zeros_like(whole)
    before[:, months:] = whole[:, :-months]
    return np.asarray(whole - before)


def _note(months: int) -> Message:
    return say("Each point is of the {n} months up to and with its month.", n=months)


_SHARED: Message = say(
    "Neighbouring points share most of their records: a step that stays for as long as the window is one event, not "
    "many."
)
