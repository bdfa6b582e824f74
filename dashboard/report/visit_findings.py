"""What was found at the newest visit, one row a cow: what was done and when to look again."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.planning.due_reasons import place_words
from evenfoot.analytics.messages import listed
from evenfoot.analytics.queries.cows import findings_each
from evenfoot.analytics.queries.selection import Selection

VISIT_DAYS = 3
"""A visit may take so many days. [common practice, no source]"""

STAYS_ON = ("refer", "block", "wrap")
"""What was done that somebody must look at again."""

COLUMNS = ("cow", "foot", "claw", "lesion", "action", "recheck_on", "also")


def found_at_visit(ledger: Ledger, farm: Selection, day: dt.date) -> pd.DataFrame:
    """The cows with a finding in the days up to *day*, those with something on the foot or a recheck first.

    Returns
    -------
    pandas.DataFrame
        ``COLUMNS``, one row a cow: her finding that most needs looking at again, and in ``also`` the others in words.
    """
    since = day - dt.timedelta(days=VISIT_DAYS - 1)
    rows = findings_each(ledger, farm.with_(since=since, until=day, visits=("all",)))
    rows = rows.drop_duplicates(["cow", "foot", "claw", "lesion", "action"])
    rows = rows.assign(more=rows["recheck_on"].notna() | rows["action"].isin(STAYS_ON))
    order = ["more", "severity", "cow", "foot", "claw", "lesion"]
    rows = rows.sort_values(order, ascending=[False, False, True, True, True, True], kind="stable")
    first = rows.drop_duplicates("cow")
    further = rows[rows.duplicated("cow")]
    also = {
        cow: listed([place_words(row) for row in each.to_dict("records")], ";") for cow, each in further.groupby("cow")
    }
    said = pd.Series([also.get(cow) for cow in first["cow"]], index=first.index, dtype=object)
    return first.assign(also=said)[list(COLUMNS)].reset_index(drop=True)
