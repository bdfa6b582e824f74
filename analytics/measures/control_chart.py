"""Is this month unlike the months before: control chart of lameness or of a lesion."""

from __future__ import annotations

import datetime as dt
import math

import pandas as pd

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.kept import keep
from analytics.measures.outcome import Outcome, months_of, outcome_of, series_basis
from analytics.methods.baseline_chart import BaselineChart, baseline_chart
from analytics.methods.run_rules import RUN_LENGTH
from analytics.mistake import Mistake
from analytics.tally.selection import Selection
from analytics.words import Said, say

BASELINE_MONTHS = 12
"""First months with records that the limits rest on when no baseline is given: a year, so that every season
is in it once. [common practice, no source]"""

COLUMNS = (
    "month", "cases", "at_risk", "prevalence", "centre", "lower", "upper", "ewma", "signal", "ewma_lower",
    "ewma_upper", "baseline", "cows",
)  # fmt: skip

BY_CHANCE: Said = say(
    "A signal says that something is unlike before, not what. About one herd in ten gives one in two years though "
    "nothing changed; a yearly season gives more."
)

_METHOD = {
    "p": say("p-chart (3 standard errors), moving average with weight 0.2"),
    "laney": say("Laney p'-chart (months differ more than cows explain), moving average with weight 0.2"),
    "": "",
}


RULES = {
    ("outside", True): "above the upper limit",
    ("outside", False): "below the lower limit",
    ("run", True): f"{RUN_LENGTH} months in a row above the usual",
    ("run", False): f"{RUN_LENGTH} months in a row below the usual",
    ("drift", True): "moving average above its limit",
    ("drift", False): "moving average below its limit",
}
"""What a month broke, and whether upwards -> words for it."""


@keep
def control_chart(
    ledger: Ledger,
    selection: Selection,
    *,
    baseline: tuple[dt.date, dt.date] | None = None,
    level: float = 0.95,
) -> Answer:
    """Monthly share of cows lame, or with the lesions of the selection, against the limits of a baseline.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Without lesions (or families, zones, severities) the chart is of lameness.
    baseline : pair of date, optional
        First and last day of the months the limits rest on; the first twelve months with records by default.
    level : float
        Written into the basis only: limits lie three standard errors away, as control charts have them.

    Returns
    -------
    Answer
        ``table``: month, cases, at_risk, prevalence, centre, lower, upper, ewma (moving average), signal (in
        words, empty where there is none), ewma_lower, ewma_upper, baseline (whether the month is in it), cows.
        Months without records are left out. ``basis.method`` says whether the limits are those of a p-chart
        or Laney's.

    Raises
    ------
    Mistake
        A baseline that ends before it begins.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 and 6.3.3.2. Laney DB (2002) Qual Eng 14:531-537.
    """
    if baseline and baseline[0] > baseline[1]:
        raise Mistake(
            say(
                "The baseline ends ({end}) before it begins ({start}); swap the two dates.",
                end=baseline[1],
                start=baseline[0],
            )
        )
    outcome = outcome_of(selection)
    rows = months_of(ledger, selection, outcome)
    farms = int(rows["farm"].nunique())
    chart, table = charted(rows, baseline)
    notes = _notes(chart, table, outcome)
    basis, cautions = series_basis(ledger, selection, outcome, level, _METHOD[chart.method], notes)
    cautions += _cautions(chart, table, farms)
    return Answer("control-chart", table, basis, cautions, ("month",))


def charted(rows: pd.DataFrame, baseline: tuple[dt.date, dt.date] | None = None) -> tuple[BaselineChart, pd.DataFrame]:
    """The chart of months (month, cases, at_risk, cows) and its table, as :func:`control_chart` gives it."""
    series = rows.groupby("month", as_index=False)[["cases", "at_risk", "cows"]].sum()
    chart = baseline_chart(series["cases"], series["at_risk"], _inside(series["month"], baseline))
    return chart, _table(series, chart)


def _inside(month: pd.Series, baseline: tuple[dt.date, dt.date] | None) -> pd.Series:
    if baseline is None:
        return pd.Series(range(len(month)), index=month.index) < BASELINE_MONTHS
    first = pd.Timestamp(baseline[0]).replace(day=1)
    return (month >= first) & (month <= pd.Timestamp(baseline[1]))


def _table(series: pd.DataFrame, chart: BaselineChart) -> pd.DataFrame:
    limits = chart.table.rename(
        columns={"low": "lower", "high": "upper", "ewma_low": "ewma_lower", "ewma_high": "ewma_upper"}
    )
    kept = ["centre", "lower", "upper", "ewma", "ewma_lower", "ewma_upper", "baseline"]
    table = series.assign(
        prevalence=series["cases"] / series["at_risk"],
        signal=[signal_words(*each) for each in zip(limits["outside"], limits["run"], limits["drift"], strict=True)],
        **{name: limits[name] for name in kept},
    )
    return table[list(COLUMNS)]


def signal_words(outside: int, run: int, drift: int) -> Said | str:
    """The rules broken by one month, in words; empty where none is."""
    parts = []
    if outside:
        parts.append(RULES["outside", outside > 0])
    if run:
        parts.append(RULES["run", run > 0])
    if drift:
        parts.append(RULES["drift", drift > 0])
    return say("{rules}", rules="; ".join(parts)) if parts else ""


def _notes(chart: BaselineChart, table: pd.DataFrame, outcome: Outcome) -> tuple[Said, ...]:
    if chart.reason or not len(table):
        return ()
    usual = table[table["baseline"]]["month"]
    notes = [
        say(
            "The limits rest on {n} months from {first} to {last}, in which the {what} was {share:.0f} %.",
            n=chart.points,
            first=f"{usual.iloc[0]:%Y-%m}",
            last=f"{usual.iloc[-1]:%Y-%m}",
            what=outcome.words,
            share=100 * chart.centre,
        )
    ]
    signals = table[table["signal"] != ""]
    for row in signals.itertuples():
        notes.append(say("{month}: {rule}.", month=f"{row.month:%Y-%m}", rule=row.signal))
    if signals.empty:
        notes.append(say("No month is unlike the baseline."))
    return tuple(notes)


def _cautions(chart: BaselineChart, table: pd.DataFrame, farms: int) -> tuple[Said, ...]:
    if not len(table):
        return ()
    if chart.reason:
        return (say("Not enough to say: {reason}", reason=chart.reason),)
    out = []
    if chart.points < BASELINE_MONTHS:
        out.append(
            say(
                "The baseline has {n} months; with less than a year of months a season can look like a signal.",
                n=chart.points,
            )
        )
    if farms > 1:
        out.append(
            say(
                "Several farms are pooled; a month in which other farms were looked at can look like a signal. "
                "Chart one farm at a time."
            )
        )
    if (table["signal"] != "").any():
        out.append(BY_CHANCE)
    if table["baseline"].all() or math.isnan(table["upper"].max()):
        out.append(say("All months are in the baseline; none is left to hold against it."))
    return tuple(out)
