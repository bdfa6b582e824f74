"""On which farms is a month unlike the months before: the control charts of all farms, read at once."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.control_chart import BASELINE_MONTHS, BY_CHANCE, signal_words
from analytics.measures.kept import keep
from analytics.measures.outcome import months_of, outcome_named, series_basis
from analytics.methods.many_charts import many_charts
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
        ``table``, one row a farm, those with the newest signals first: farm, month (its newest with records), cases,
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
    rows = months_of(ledger, asked, what, cows=False)
    year, without = _last_year(rows)
    table = _farms(year)
    basis, cautions = series_basis(ledger, asked, what, level, say("Control chart of each farm, limits of its own"))
    if len(table):
        cautions += (_chance(len(table)) if len(table) > 1 else BY_CHANCE,)
    elif basis.cows:
        cautions += (say("Not enough to say: no farm has more than {n} months with records.", n=BASELINE_MONTHS),)
    columns = ["farm", "month", "prevalence", "cases", "at_risk", "centre", "signal"]
    extra = {"months": year[columns].reset_index(drop=True), "without": without}
    return Answer("signals", table, basis, cautions, ("farm",), extra)


def _last_year(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The last twelve months of every farm with its limits and signals; and the farms without, with the reason."""
    if not len(rows):
        empty = rows.assign(prevalence=np.nan, centre=np.nan, lower=np.nan, upper=np.nan, signal="")
        return empty, pd.DataFrame(columns=["farm", "reason"])
    rows = rows.sort_values(["farm", "month"], ignore_index=True)
    farm, names = pd.factorize(rows["farm"], sort=True)
    place = rows.groupby("farm").cumcount().to_numpy()
    shape = (len(names), int(place.max()) + 1)
    cases, n = np.zeros(shape), np.zeros(shape)
    cases[farm, place], n[farm, place] = rows["cases"], rows["at_risk"]
    charts = many_charts(cases, n, BASELINE_MONTHS)
    months = (n > 0).sum(axis=1)
    reasons = [
        reason or ("" if count > BASELINE_MONTHS else _ALL_BASELINE)
        for reason, count in zip(charts.reasons, months, strict=True)
    ]
    told = np.array([reason == "" for reason in reasons], dtype=bool)
    newest = rows.groupby("farm")["month"].transform("max")
    lately = (rows["month"] > newest - pd.DateOffset(months=12)).to_numpy() & told[farm]
    year = rows[lately]
    at = farm[lately], place[lately]
    signs = zip(charts.outside[at], charts.run[at], charts.drift[at], strict=True)
    year = year.assign(
        prevalence=year["cases"] / year["at_risk"],
        centre=charts.centre[at[0]],
        lower=charts.low[at],
        upper=charts.high[at],
        signal=pd.Series([signal_words(*map(int, each)) for each in signs], index=year.index, dtype=object),
    )
    without = [(name, str(reason)) for name, reason in zip(names, reasons, strict=True) if reason]
    return year, pd.DataFrame(without, columns=["farm", "reason"])


def _farms(year: pd.DataFrame) -> pd.DataFrame:
    """One row a farm, those with the newest signals first."""
    if not len(year):
        return pd.DataFrame(columns=list(COLUMNS))
    newest = year.drop_duplicates("farm", keep="last")
    told = year[year["signal"] != ""]
    last = told.drop_duplicates("farm", keep="last").set_index("farm")
    table = newest[["farm", "month", "cases", "at_risk", "prevalence", "centre", "lower", "upper"]]
    table = table.assign(
        signal=last["signal"].reindex(table["farm"], fill_value="").to_numpy(),
        signal_month=last["month"].reindex(table["farm"]).to_numpy(),
        signals_a_year=table["farm"].map(told["farm"].value_counts()).fillna(0).astype("int64"),
    )
    table = table.assign(lately=table["signal_month"] > table["month"] - pd.DateOffset(months=LATELY_MONTHS))
    order = ["lately", "signal_month", "signals_a_year", "farm"]
    table = table.sort_values(order, ascending=[False, False, False, True], na_position="last", ignore_index=True)
    return table[list(COLUMNS)]


_ALL_BASELINE: Said = say("All months are in the baseline; none is left to hold against it.")


def _chance(farms: int) -> Said:
    return say(
        "Many farms are looked at: of {n} on which nothing changes, about one in ten gives a signal in two years, and "
        "a yearly season gives more. A signal says where to look first, not what is wrong.",
        n=farms,
    )
