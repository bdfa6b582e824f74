"""Who scored locomotion, on which scale and on which farms: whether two periods can be compared."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch, question_of
from analytics.tally.late import ibis
from analytics.tally.narrow import NOT_RECORDED, scores
from analytics.tally.selection import Selection

Period = tuple[dt.date, dt.date]
"""First and last day, both included."""

SAME_PEOPLE = 0.5
"""Below this share of scorings by people who scored in both periods, another scorer may be the difference: two people
seldom give the same scores. [common practice, no source]"""


@dataclass(frozen=True)
class ScoringChanges:
    """What :func:`scoring_changes` found.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a farm: farm; first, second (scorings in each period); first_scales, second_scales, first_scorers,
        second_scorers (comma between, empty where not recorded); scale_changed and scorer_changed.
    in_both : tuple of str
        Farms scored in both periods.
    only_first, only_second : tuple of str
        Farms scored in one of them.
    """

    table: pd.DataFrame
    in_both: tuple[str, ...]
    only_first: tuple[str, ...]
    only_second: tuple[str, ...]

    @property
    def comparable(self) -> tuple[str, ...]:
        """Farms scored in both periods on the same scale."""
        kept = self.table[self.table["farm"].isin(self.in_both) & ~self.table["scale_changed"]]
        return tuple(kept["farm"])


def scoring_changes(ledger: Ledger, selection: Selection, first: Period, second: Period) -> ScoringChanges:
    """Whether farms, scales and scorers of one period are those of another.

    A scale has changed where either period has a scale that the other has not: a cow that is lame on one scale need not
    be on the other. A scorer has changed where in either period less than half of the scorings are by people who scored
    in both; where no scorer is named in a period this is not known, and False.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Its period is not applied; its kinds of visit are.
    first, second : tuple of date
        First and last day of each, both included.

    Returns
    -------
    ScoringChanges
    """
    whole = selection.with_(since=min(first[0], second[0]), until=max(first[1], second[1]))
    frame = fetch(ledger, _question(whole, first, second))
    rows = [_of_farm(str(farm), part) for farm, part in frame.groupby("farm")]
    table = pd.DataFrame(rows, columns=list(_COLUMNS)).sort_values("farm", ignore_index=True)
    scored = {name: table[name] > 0 for name in ("first", "second")}
    return ScoringChanges(
        table,
        in_both=tuple(table.loc[scored["first"] & scored["second"], "farm"]),
        only_first=tuple(table.loc[~scored["second"], "farm"]),
        only_second=tuple(table.loc[~scored["first"], "farm"]),
    )


_COLUMNS = (
    "farm", "first", "second", "first_scales", "second_scales", "first_scorers", "second_scorers", "scale_changed",
    "scorer_changed",
)  # fmt: skip


@built_once
def _question(selection: Selection, first: Period, second: Period) -> Question:
    base = scores(selection)
    parts = []
    for name, (since, until) in (("first", first), ("second", second)):
        part = base.filter(base.visit_date >= since, base.visit_date <= until)
        by = part.group_by("farm", "scale", scorer=part.scorer.fill_null(NOT_RECORDED))
        parts.append(by.agg(n=part.count()).mutate(period=ibis.literal(name)))
    return question_of(ibis.union(*parts))


def _of_farm(farm: str, rows: pd.DataFrame) -> dict[str, object]:
    n = {name: rows[rows["period"] == name] for name in ("first", "second")}
    scales = {name: set(part["scale"].dropna()) for name, part in n.items()}
    people = {name: set(part["scorer"]) - {str(NOT_RECORDED)} for name, part in n.items()}
    both = bool(len(n["first"]) and len(n["second"]))
    shared = people["first"] & people["second"]

    def share(part: pd.DataFrame) -> float:
        named = part[part["scorer"] != str(NOT_RECORDED)]
        return float(named.loc[named["scorer"].isin(shared), "n"].sum() / named["n"].sum())

    changed = both and all(people.values()) and min(share(part) for part in n.values()) < SAME_PEOPLE
    return {
        "farm": farm,
        **{name: int(part["n"].sum()) for name, part in n.items()},
        **{f"{name}_scales": ", ".join(sorted(found)) for name, found in scales.items()},
        **{f"{name}_scorers": ", ".join(sorted(found)) for name, found in people.items()},
        "scale_changed": both and scales["first"] != scales["second"],
        "scorer_changed": bool(changed),
    }
