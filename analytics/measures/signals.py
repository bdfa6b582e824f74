"""On which farms is a month unlike the months before: the control charts of all farms, read at once."""

from __future__ import annotations

import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.control_chart import BASELINE_MONTHS, BY_CHANCE, charted
from analytics.measures.kept import keep
from analytics.measures.outcome import months_of, outcome_named, series_basis
from analytics.tally.selection import Selection
from analytics.words import Said, say

LATELY_MONTHS = 3
"""A signal this many months before the newest record, or fewer, is told as one of now. [common practice, no source]"""

COLUMNS = (
    "farm", "month", "cases", "at_risk", "prevalence", "centre", "lower", "upper", "signal", "signal_month",
    "signals_a_year", "lately",
)  # fmt: skip


@keep
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
        Written into the basis only: limits lie three standard errors away.

    Returns
    -------
    Answer
        ``table``, one row a farm, those with a signal of late first: farm, month (its newest with records), cases,
        at_risk, prevalence, centre, lower, upper; signal (the newest one in words, empty without one in twelve
        months) and signal_month; signals_a_year (months of the last twelve with a signal); lately (whether the newest
        is no more than three months before the farm's newest month). ``extra["months"]``: farm, month, prevalence,
        cases, at_risk, centre, signal, of the last twelve months; ``extra["without"]``: farm and reason of those whose
        records do not reach for limits.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 and 6.3.3.2. Laney DB (2002) Qual Eng 14:531-537.
    """
    what = outcome_named(selection, outcome)
    asked = selection.with_(since=None)
    rows = months_of(ledger, asked, what)
    found, months, without = [], [], []
    for farm, part in rows.groupby("farm", sort=True):
        chart, table = charted(part)
        if chart.reason or table["baseline"].all():
            without.append((farm, chart.reason or str(_ALL_BASELINE)))
            continue
        year = table[table["month"] > table["month"].iloc[-1] - pd.DateOffset(months=12)]
        months.append(year.assign(farm=farm))
        found.append(_farm(str(farm), year))
    table = pd.DataFrame(found, columns=list(COLUMNS))
    table = table.sort_values(["lately", "signals_a_year", "farm"], ascending=[False, False, True], ignore_index=True)
    basis, cautions = series_basis(ledger, asked, what, level, say("Control chart of each farm, limits of its own"))
    if len(table):
        cautions += (_chance(len(table)) if len(table) > 1 else BY_CHANCE,)
    elif basis.cows:
        cautions += (say("Not enough to say: no farm has more than {n} months with records.", n=BASELINE_MONTHS),)
    columns = ["farm", "month", "prevalence", "cases", "at_risk", "centre", "signal"]
    extra = {
        "months": pd.concat(months, ignore_index=True)[columns] if months else pd.DataFrame(columns=columns),
        "without": pd.DataFrame(without, columns=["farm", "reason"]),
    }
    return Answer("signals", table, basis, cautions, ("farm",), extra)


def _farm(farm: str, year: pd.DataFrame) -> tuple[object, ...]:
    newest = year.iloc[-1]
    told = year[year["signal"] != ""]
    last = told.iloc[-1] if len(told) else None
    lately = last is not None and last["month"] > newest["month"] - pd.DateOffset(months=LATELY_MONTHS)
    return (
        farm,
        *(newest[name] for name in ("month", "cases", "at_risk", "prevalence", "centre", "lower", "upper")),
        "" if last is None else last["signal"],
        pd.NaT if last is None else last["month"],
        len(told),
        bool(lately),
    )


_ALL_BASELINE: Said = say("All months are in the baseline; none is left to hold against it.")


def _chance(farms: int) -> Said:
    return say(
        "Many farms are looked at: of {n} on which nothing changes, about one in ten gives a signal in two years, and "
        "a yearly season gives more. A signal says where to look first, not what is wrong.",
        n=farms,
    )
