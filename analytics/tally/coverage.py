"""Which records a selection rests on, and which it leaves out."""

from __future__ import annotations

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch, question_of
from analytics.tally.narrow import of_farm_and_period, of_visits
from analytics.tally.selection import Selection


def covered(ledger: Ledger, selection: Selection, source: str = "trims") -> pd.DataFrame:
    """What is in the farms and period of a selection, by kind of visit.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Its ``visits`` are not applied, so that what they leave out can be said.
    source : {"trims", "scores"}

    Returns
    -------
    pandas.DataFrame
        One row a visit_kind and kind_from: visits, cows, trims (rows), first, last; the columns farms,
        visits_all and cows_all are not split and repeat what the asked-for kinds hold together.
    """
    return fetch(ledger, _covered_question(selection, source))


@built_once
def _covered_question(selection: Selection, source: str) -> Question:
    base = of_farm_and_period(source, selection)
    base = base.mutate(
        kind=base.visit_kind.fill_null("unknown"),
        known=base.kind_from.fill_null("unknown"),
    )
    if selection.all_visits:
        wanted = base.mutate(asked=base.visit_kind.fill_null("unknown") != "")
    else:
        kinds = [*selection.visits, *(["scoring"] if "whole-herd" in selection.visits else [])]
        wanted = base.mutate(asked=base.kind.isin(kinds))
    # Each cow and each visit once, then counted: what follows goes through few rows however many there are.
    split = ["asked", "kind", "known"]
    cows = wanted.group_by([*split, "farm", "cow"]).agg(
        trims=wanted.count(), first=wanted.visit_date.min(), last=wanted.visit_date.max()
    )
    visits = wanted.select(*split, "farm", "visit_date").distinct()
    all_cows = cows.select("asked", "farm", "cow").distinct()
    all_visits = visits.select("asked", "farm", "visit_date").distinct()
    out = cows.group_by(split).agg(cows=cows.count(), trims=cows.trims.sum().cast("int64"))
    out = out.join(visits.group_by(split).agg(visits=visits.count()), split)
    for whole in (
        cows.group_by("asked").agg(farms_all=cows.farm.nunique(), first=cows["first"].min(), last=cows["last"].max()),
        all_cows.group_by("asked").agg(cows_all=all_cows.count()),
        all_visits.group_by("asked").agg(visits_all=all_visits.count()),
    ):
        out = out.join(whole, "asked")
    return question_of(out)


def months_with_records(ledger: Ledger, selection: Selection, source: str = "trims") -> list[pd.Timestamp]:
    """First days of the months in which the selection has records, in order."""
    frame = fetch(ledger, _months_question(selection, source))
    return sorted(pd.Timestamp(value) for value in frame["month"])


@built_once
def _months_question(selection: Selection, source: str) -> Question:
    base = of_visits(of_farm_and_period(source, selection), selection)
    return question_of(base.select(base.visit_date.truncate("M").name("month")).distinct())
