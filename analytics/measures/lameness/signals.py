"""On which farms is a month unlike the months before: the control chart of each farm, the loudest first."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.lameness.monthly_chart import (
    BASELINE_MONTHS,
    BY_CHANCE,
    METHOD,
    charted,
    lately,
    luck,
    size_in_limits,
)
from evenfoot.analytics.measures.outcome import Outcome, months_of, outcome_named, series_basis
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.selection import Selection

COLUMNS = (
    "farm", "month", "cases", "at_risk", "prevalence", "centre", "lower", "upper", "signal", "signal_month",
    "signals_half_year", "signals_a_year", "limit_ratio", "lately",
)  # fmt: skip

MONTH_COLUMNS = ("farm", "month", "prevalence", "cases", "at_risk", "centre", "signal")


@memoize
def signals(ledger: Ledger, selection: Selection, *, outcome: str | None = None, level: float = 0.95) -> Answer:
    """The newest month of every farm against that farm's own limits, and the signals of its last twelve months.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``until`` says what "newest" is; ``since`` is not applied, because what is usual on a farm is learnt from its
        first twelve months.
    outcome : {"lameness", "lesion"}, optional
        Lameness, unless the selection narrows the findings, without it.
    level : float
        Written into the basis only: 996 of 1000 months lie within the limits when nothing changes.

    Returns
    -------
    Answer
        ``table``, one row a farm, the loudest first: most signals in the half year up to its newest month, then the
        one furthest out, then most in the year. farm, month (its newest with records), cases, at_risk, prevalence,
        centre, lower, upper; signal (the newest one of the year in words, empty without one) and signal_month;
        signals_half_year and signals_a_year (months with a signal); limit_ratio (of the half year's signal furthest
        out: its distance from the usual share over that of the limit, missing without one); lately (whether the half
        year has a signal). ``extra["months"]``: farm, month, prevalence, cases, at_risk, centre, signal, of the last
        twelve months; ``extra["without"]``: farm and reason of those whose records do not reach for limits.

    References
    ----------
    :func:`evenfoot.analytics.stats.baseline_chart.baseline_chart`.
    """
    what = outcome_named(selection, outcome)
    asked = selection.with_(since=None)
    return signals_of("signals", ledger, asked, what, months_of(ledger, asked, what, cows=False), level)


def signals_of(
    name: str,
    ledger: Ledger,
    selection: Selection,
    outcome: Outcome,
    rows: pd.DataFrame,
    level: float,
    baseline: tuple[dt.date, dt.date] | None = None,
) -> Answer:
    """The answer of :func:`signals`, called *name*, from the months of farms (farm, month, cases, at_risk)."""
    told, years, without = [], [], []
    for farm, own in rows.sort_values(["farm", "month"]).groupby("farm", sort=True):
        chart, table = charted(own, baseline, months=12)
        reason = chart.reason or (_ALL_BASELINE if table["baseline"].all() else "")
        if reason:
            without.append((farm, str(reason)))
            continue
        year = table[table["month"] > table["month"].max() - pd.DateOffset(months=12)].assign(farm=farm)
        years.append(year)
        told.append(_farm(year))
    table = pd.DataFrame(told, columns=list(COLUMNS)).astype({"lately": bool})
    order = ["signals_half_year", "limit_ratio", "signals_a_year", "farm"]
    table = table.sort_values(order, ascending=[False, False, False, True], na_position="last", ignore_index=True)
    basis, cautions = series_basis(ledger, selection, outcome, level, METHOD, _notes(table))
    if len(table) > 1:
        loudest = luck(next(year for year in years if year["farm"].iloc[0] == table["farm"].iloc[0]))
        if loudest and loudest != (BY_CHANCE,):
            cautions += (say("{farm}: {said}", farm=table["farm"].iloc[0], said=loudest[0]),)
        cautions += (_chance(len(table)),)
    elif len(table):
        cautions += luck(years[0])
    elif basis.cows:
        cautions += (
            say("Not enough to say: more than {n} months with records are needed on a farm.", n=BASELINE_MONTHS),
        )
    if len(table):
        cautions += _unjudged([str(farm) for farm, _ in without])
    months = pd.concat(years, ignore_index=True) if years else pd.DataFrame()
    extra = {
        "months": months.reindex(columns=list(MONTH_COLUMNS)),
        "without": pd.DataFrame(without, columns=["farm", "reason"]),
    }
    return Answer(name, table, basis, cautions, ("farm",), extra)


COPIED = ("farm", "month", "cases", "at_risk", "prevalence", "centre", "lower", "upper")
"""What a farm's row takes over from its newest month."""


def _farm(year: pd.DataFrame) -> dict[str, object]:
    """The row of a farm from its last twelve months."""
    newest, signal, half = year.iloc[-1], year[year["signal"] != ""], lately(year)
    half = half[half["signal"] != ""]
    return {
        **{name: newest[name] for name in COPIED},
        "signal": signal["signal"].iloc[-1] if len(signal) else "",
        "signal_month": signal["month"].iloc[-1] if len(signal) else pd.NaT,
        "signals_half_year": len(half),
        "signals_a_year": len(signal),
        "limit_ratio": float(size_in_limits(half).max()) if len(half) else np.nan,
        "lately": len(half) > 0,
    }


def _notes(table: pd.DataFrame) -> tuple[Message, ...]:
    if table.empty:
        return ()
    return (
        say(
            "The loudest farm comes first: most months outside its limits in its newest half year, then the month "
            "furthest out."
        ),
    )


_ALL_BASELINE: Message = say("All months are in the baseline; none is left to hold against it.")


def _chance(farms: int) -> Message:
    return say(
        "Many farms are looked at: of {n} on which nothing changes, at most about one in ten gives a signal in two "
        "years. A signal says where to look first, not what is wrong.",
        n=farms,
    )


MOST_NAMED = 3
"""Farms that a sentence names."""


def _unjudged(farms: list[str]) -> tuple[Message, ...]:
    if not farms:
        return ()
    if len(farms) <= MOST_NAMED:
        return (say("Not enough months with records to judge {farms}.", farms=", ".join(farms)),)
    return (
        say(
            "Not enough months with records to judge {n} farms, such as {farms}.",
            n=len(farms),
            farms=", ".join(farms[:MOST_NAMED]),
        ),
    )
