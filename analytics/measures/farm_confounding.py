"""Whether groups can be told from the farms they were met on."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from evenfoot.analytics.measures.limits import FEW_CLUSTERS
from evenfoot.analytics.messages import Message, say

LEAST_COWS = 10
"""Cows of a group below which a farm tells nothing of it: a few may be slips of the pen. [common practice, no
source]"""

LEAST_FARMS = 2
"""Farms with both groups below which a group cannot be told from its farm. [common practice, no source]"""


@dataclass(frozen=True)
class SharedFarms:
    """Which groups can be compared with the reference, and how.

    Attributes
    ----------
    within : dict of group to tuple of str
        Groups met beside the reference on farms enough (or on the one farm there is), and those farms.
    between : tuple
        Groups met apart from it, both on ten farms or more: farms are compared with farms.
    refused : tuple
        Groups that cannot be told from their farms.
    one_farm : bool
        There is one farm alone.
    """

    within: dict[Any, tuple[str, ...]]
    between: tuple[Any, ...]
    refused: tuple[Any, ...]
    one_farm: bool


def shared_farms(met: pd.DataFrame, reference: Hashable) -> SharedFarms:
    """Decide from the cows met in each group on each farm whether groups can be compared with the *reference*.

    A group and the reference are compared within farms where at least ``LEAST_FARMS`` farms (or the one farm there is)
    had ``LEAST_COWS`` cows of both; between farms where each was met on ``FEW_CLUSTERS`` farms; else not at all.

    Parameters
    ----------
    met : pandas.DataFrame
        farm, group, cows.
    reference : hashable

    Returns
    -------
    SharedFarms

    Examples
    --------
    Housing is the farm, but for one cow mistyped:

    >>> met = pd.DataFrame({"farm": ["A", "B", "B"], "group": ["freestall", "pasture", "freestall"],
    ...                     "cows": [80, 60, 1]})
    >>> shared_farms(met, "freestall").refused
    ('pasture',)
    """
    table = met.pivot_table(index="farm", columns="group", values="cows", aggfunc="sum", fill_value=0, observed=True)
    one_farm = len(table) <= 1
    within, between, refused = {}, [], []
    for group in table.columns:
        if group == reference or reference not in table.columns:
            continue
        useful = table.index[(table[group] >= LEAST_COWS) & (table[reference] >= LEAST_COWS)]
        farms = tuple(str(farm) for farm in useful)
        if len(farms) >= (1 if one_farm else LEAST_FARMS):
            within[group] = farms
        elif min((table[group] > 0).sum(), (table[reference] > 0).sum()) >= FEW_CLUSTERS:
            between.append(group)
        else:
            refused.append(group)
    return SharedFarms(within, tuple(between), tuple(refused), one_farm)


def refusal(groups: list[str], reference: str, what: str, one_farm: bool, *, of_cases: bool = False) -> Message:
    """Why *groups* are not compared with the *reference*, in one sentence.

    Parameters
    ----------
    groups, reference : str
        As they are shown.
    what : str
        What they are groups of, as it stands in a sentence.
    one_farm : bool
        There is one farm alone.
    of_cases : bool
        Cows with a case that was followed are compared, not all cows.
    """
    if of_cases:
        return say(
            "No two farms here have {least} cows or more with a case that was followed in {reference} and as many in "
            "{groups}: how soon cases are back cannot be compared between them. The figures stand as descriptions of "
            "those farms.",
            least=LEAST_COWS,
            reference=reference,
            groups=say(" or in ").join(groups),
        )
    if one_farm:
        return say(
            "Fewer than {least} cows were met in {groups} or in {reference}: too few to compare them.",
            least=LEAST_COWS,
            groups=", ".join(groups),
            reference=reference,
        )
    return say(
        "No two farms here have {least} cows or more in {reference} and as many in {groups}: what {what} does cannot "
        "be told from what the farms do, so they are not compared. The figures stand as descriptions of those farms.",
        least=LEAST_COWS,
        reference=reference,
        groups=say(" or in ").join(groups),
        what=what,
    )
