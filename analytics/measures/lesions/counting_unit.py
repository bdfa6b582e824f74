"""What is counted where groups were looked at unequally often: cows or trims."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.periods import period_label
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.examinations import looks
from evenfoot.analytics.queries.filters import NOT_RECORDED, OF_TRIM
from evenfoot.analytics.queries.selection import Selection

UNEVEN_TRIMS = 1.25
"""Trims a cow in one group over those in another beyond which counting per cow is no longer fair: who is
looked at more often has more chances to be a case. [common practice, no source]"""

ENOUGH_COWS = 5
"""Cows below which a group says nothing: one or two may be slips of the pen. [common practice, no source]"""


def fair_unit(
    ledger: Ledger, selection: Selection, by: tuple[str, ...], per: str | None
) -> tuple[str, tuple[Message, ...], tuple[Message, ...]]:
    """The unit that gives every group the same chance to be a case.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Groupings; those that are properties of the trim make groups.
    per : {"cow", "trim", "foot", "claw"}, optional
        The unit asked for. Without it: cows, or trims where cows of one group were trimmed ``UNEVEN_TRIMS`` times as
        often as those of another.

    Returns
    -------
    per : str
    notes : tuple of Message
        Why trims are counted.
    cautions : tuple of Message
        That cows were asked for although it is not fair.
    """
    groups = tuple(name for name in by if name in OF_TRIM)
    if not groups or per not in (None, "cow"):
        return per or "cow", (), ()
    most, least = _extremes(looks(ledger, selection, groups), groups)
    if most is None or least is None:
        return "cow", (), ()
    facts: dict[str, str | float] = {"most": most[1], "often": most[0], "least": least[1], "seldom": least[0]}
    if per is None:
        return (
            "trim",
            (
                say(
                    "Trims are counted, not cows: cows were trimmed {most:.1f} times on average in {often} but "
                    "{least:.1f} times in {seldom}, and more looks find more lesions.",
                    **facts,
                ),
            ),
            (),
        )
    return "cow", (), (_unfair(facts),)


def _unfair(facts: dict[str, str | float]) -> Message:
    return say(
        "Cows were trimmed {most:.1f} times on average in {often} but {least:.1f} times in {seldom}; more "
        "looks find more lesions. Counting per trim is fairer here.",
        **facts,
    )


def _extremes(
    table: pd.DataFrame, groups: tuple[str, ...]
) -> tuple[tuple[str, float] | None, tuple[str, float] | None]:
    """Names and trims a cow of the groups looked at most and least often; None where they are looked at alike.

    Groups of fewer than ``ENOUGH_COWS`` cows say little and are left out.
    """
    named = (table[list(groups)] != NOT_RECORDED).all(axis=1)
    told = table[named & (table["cows"] >= ENOUGH_COWS)]
    if len(told) < 2:
        return None, None
    each = (told["trims"] / told["cows"]).sort_values(kind="stable")
    if each.iloc[-1] <= UNEVEN_TRIMS * each.iloc[0]:
        return None, None
    ends = []
    for place in (-1, 0):
        row = told.loc[each.index[place]]
        name = ", ".join(period_label(group, row[group]) for group in groups)
        ends.append((name, float(each.iloc[place])))
    return ends[0], ends[1]
