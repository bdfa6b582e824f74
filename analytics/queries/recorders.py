"""Who recorded on which farm, on which scale, and from when to when."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch, question_of
from evenfoot.analytics.queries.filters import scores, trims
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection


def recorders(ledger: Ledger, selection: Selection, source: str) -> pd.DataFrame:
    """The people and scales of a selection.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    source : {"trims", "scores"}

    Returns
    -------
    pandas.DataFrame
        farm, who, scale (missing for trims), first, last (days). One row a farm, person and scale; *who* or *scale* is
        missing where a sheet does not give it.
    """
    frame = fetch(ledger, _question(selection, source))
    return frame.assign(first=pd.to_datetime(frame["first"]), last=pd.to_datetime(frame["last"]))


@built_once
def _question(selection: Selection, source: str) -> Question:
    if source == "scores":
        rows = scores(selection)
        rows = rows.select("farm", "visit_date", who=rows.scorer, scale=rows.scale)
    else:
        rows = trims(selection)
        rows = rows.select("farm", "visit_date", who=rows.trimmer, scale=ibis.null("string"))
    each = rows.group_by(["farm", "who", "scale"])
    return question_of(each.agg(first=rows.visit_date.min(), last=rows.visit_date.max()))
