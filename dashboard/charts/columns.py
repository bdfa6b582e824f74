"""Which columns of an answer a person is shown under a chart, and by what name.

Measures share short names: ``low`` is the low limit of whatever was estimated. Under a chart of rates or of
money it must not be read as a share, so it goes by a name of its own there.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from evenfoot.analytics.measures.answer import Answer

OF_RATE = {"low": "rate_low", "high": "rate_high"}
OF_COST = {"low": "cost_low", "high": "cost_high"}
OF_TERM = {"low": "estimate_low", "high": "estimate_high"}
OF_KAPPA = {"low": "kappa_low", "high": "kappa_high"}
OF_WEIGHT = {"low": "shrunken_low", "high": "shrunken_high"}

OF_SUMMARY = {"before": "share_before", "kind": "visit_kind", "last": "visited_on", "visits": "visits_judged"}


def shown(answer: Answer, names: Mapping[str, str], *, leave: tuple[str, ...] = ()) -> Answer:
    """The answer with some columns under other names and some left to ``evenfoot table``.

    Examples
    --------
    >>> import pandas as pd
    >>> from evenfoot.analytics.measures.answer import Basis
    >>> answer = Answer("incidence", pd.DataFrame({"low": [2.5], "cows": [3]}), Basis())
    >>> list(shown(answer, OF_RATE, leave=("cows",)).table)
    ['rate_low']
    """
    table = answer.table.drop(columns=[name for name in leave if name in answer.table])
    return dataclasses.replace(answer, table=table.rename(columns=dict(names)))
