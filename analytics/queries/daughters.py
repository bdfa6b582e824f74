"""Daughters of sires: how many were trimmed, how often, and how many were a case."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch, question_of
from evenfoot.analytics.queries.filters import findings, trims
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

MOST_TIMES = 6
"""Cows trimmed this often or more are taken together."""

MOST_LACTATIONS = 4
"""Cows in this lactation or a later one are taken together. [common practice, no source]"""


def daughters(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """Cows of a selection by farm, sire, lactation and how often they were trimmed.

    Returns
    -------
    pandas.DataFrame
        farm, sire (missing where not recorded), times (trims, at most 6), parity (lactation at her last trim, at
        most 4; 0 where not recorded), daughters, cases.
    """
    return fetch(ledger, _question(selection))


@built_once
def _question(selection: Selection) -> Question:
    seen = trims(selection)
    cows = seen.group_by(["farm", "cow"]).agg(times=seen.count(), sire=seen.sire.max(), parity=seen.parity.max())
    found = findings(selection)
    cases = found.group_by(["farm", "cow"]).agg(rows=found.count())
    both = cows.join(cases, ["farm", "cow"], how="left").drop("farm_right", "cow_right")
    both = both.mutate(
        times=ibis.least(both.times, MOST_TIMES).cast("int64"),
        parity=ibis.least(both.parity.fill_null(0), MOST_LACTATIONS).cast("int64"),
        case=(both.rows.fill_null(0) > 0).cast("int64"),
    )
    out = both.group_by(["farm", "sire", "times", "parity"]).agg(
        daughters=both.count(), cases=both.case.sum().cast("int64")
    )
    return question_of(out.order_by("farm", "sire", "times", "parity"))
