"""Is this month unlike the months before: control chart of lameness or of a lesion."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.lameness.monthly_chart import BASELINE_MONTHS, METHOD, charted, lately, luck, sides
from evenfoot.analytics.measures.lameness.signals import signals_of
from evenfoot.analytics.measures.outcome import Outcome, months_of, outcome_of, series_basis
from evenfoot.analytics.messages import N_, Message, say
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.baseline_chart import BaselineChart

OF_LATE = (
    N_("{n} of the last {of} months with records lie above the limits."),
    N_("{n} of the last {of} months with records lies above the limits."),
    N_("{n} of the last {of} months with records lie below the limits."),
    N_("{n} of the last {of} months with records lies below the limits."),
)
"""The notes that count the signals of the newest half year."""


@memoize
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
        Written into the basis only: 996 of 1000 months lie within the limits when nothing changes.

    Returns
    -------
    Answer
        Of one farm, ``table``: month, cases, at_risk, prevalence, centre (usual for that time of the year), lower,
        upper, signal (in words, empty where there is none), baseline (whether the month is in it), cows. Months
        without records are left out. Of several farms there is no chart of their sum, which follows whose turn it
        was: ``table`` is that of :func:`evenfoot.analytics.measures.lameness.signals.signals`, the loudest farm first.

    Raises
    ------
    UserError
        A baseline that ends before it begins.

    References
    ----------
    :func:`evenfoot.analytics.stats.baseline_chart.baseline_chart`.
    """
    if baseline and baseline[0] > baseline[1]:
        raise UserError(
            say(
                "The baseline ends ({end}) before it begins ({start}); swap the two dates.",
                end=baseline[1],
                start=baseline[0],
            )
        )
    outcome = outcome_of(selection)
    rows = months_of(ledger, selection, outcome)
    if rows["farm"].nunique() > 1:
        return signals_of("control-chart", ledger, selection, outcome, rows, level, baseline)
    chart, table = charted(rows, baseline)
    notes = _notes(chart, table, outcome)
    basis, cautions = series_basis(ledger, selection, outcome, level, "" if chart.reason else METHOD, notes)
    cautions += _cautions(chart, table)
    return Answer("control-chart", table, basis, cautions, ("month",))


def _notes(chart: BaselineChart, table: pd.DataFrame, outcome: Outcome) -> tuple[Message, ...]:
    if chart.reason or not len(table):
        return ()
    usual = table[table["baseline"]]
    notes = [
        say(
            "The limits rest on {n} months from {first} to {last}, in which the {what} was {share:.0f} %.",
            n=chart.points,
            first=f"{usual['month'].iloc[0]:%Y-%m}",
            last=f"{usual['month'].iloc[-1]:%Y-%m}",
            what=outcome.words,
            share=100 * float(usual["cases"].sum() / usual["at_risk"].sum()),
        )
    ]
    signals = table[table["signal"] != ""]
    for row in signals.itertuples():
        notes.append(say("{month}: {rule}.", month=f"{row.month:%Y-%m}", rule=row.signal))
    if signals.empty:
        notes.append(say("No month is unlike the baseline."))
    newest = lately(table)
    above, below = (int((sides(newest) == side).sum()) for side in (1, -1))
    if above:
        notes.append(say(OF_LATE[0 if above > 1 else 1], n=above, of=len(newest)))
    if below:
        notes.append(say(OF_LATE[2 if below > 1 else 3], n=below, of=len(newest)))
    return tuple(notes)


def _cautions(chart: BaselineChart, table: pd.DataFrame) -> tuple[Message, ...]:
    if not len(table):
        return ()
    if chart.reason:
        return (say("Not enough to say: {reason}", reason=chart.reason),)
    out = luck(table)
    if chart.points < BASELINE_MONTHS:
        out += (
            say(
                "The baseline has {n} months; with less than a year of months the season is poorly known, and the "
                "limits are wide.",
                n=chart.points,
            ),
        )
    if table["baseline"].all():
        out += (say("All months are in the baseline; none is left to hold against it."),)
    return out
