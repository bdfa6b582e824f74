"""How often cows were looked at in each group."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.denominators import looked_at, with_keys
from evenfoot.analytics.queries.engine import Question, built_once, fetch, question_of
from evenfoot.analytics.queries.filters import trims
from evenfoot.analytics.queries.selection import Selection


def looks(ledger: Ledger, selection: Selection, by: tuple[str, ...]) -> pd.DataFrame:
    """Cows and trims of each group.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Properties of the trim.

    Returns
    -------
    pandas.DataFrame
        The ``by`` columns, cows and trims.
    """
    return fetch(ledger, _question(selection, by))


@built_once
def _question(selection: Selection, by: tuple[str, ...]) -> Question:
    base = with_keys(trims(selection), by, selection)
    each = base.group_by([f"by_{name}" for name in by]).agg(trims=base.count().cast("int64"))
    each = each.rename({name: f"by_{name}" for name in by})
    seen = looked_at(selection, by, (), "cow", of_farms=True)
    cows = seen.group_by(list(by)).agg(cows=seen.n.sum().cast("int64"))
    both = cows.join(each, list(by), how="inner")
    return question_of(both.select(*by, "cows", "trims").order_by(list(by)))
