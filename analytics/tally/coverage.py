"""Which records a selection rests on, and which it leaves out."""

from __future__ import annotations

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch, fetch_many, question_of
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
        One row a kind and known (how the kind is known), with asked (whether the selection asks for it), visits and
        trims (rows); farms_all, visits_all, first and last are not split and repeat what the kinds asked for, or those
        left out, hold together; cows_all is of the kinds asked for.
    """
    frames = fetch_many(ledger, _covered_questions(selection, source))
    return frames["visits"].assign(cows_all=int(frames["cows"]["cows"].iloc[0]))


@built_once
def _covered_questions(selection: Selection, source: str) -> dict[str, Question]:
    base = of_farm_and_period(source, selection)
    # By the columns as they are: the words for what is missing are put in afterwards, on few rows.
    days = base.group_by(["farm", "visit_date", "visit_kind", "kind_from"]).agg(trims=base.count())
    days = days.mutate(kind=days.visit_kind.fill_null("unknown"), known=days.kind_from.fill_null("unknown"))
    if selection.all_visits:
        asked = days.kind != ""
    else:
        asked = days.kind.isin([*selection.visits, *(["scoring"] if "whole-herd" in selection.visits else [])])
    days = days.mutate(asked=asked)
    # A day may stand twice, once as of unknown kind and once without any.
    days = days.group_by(["asked", "kind", "known", "farm", "visit_date"]).agg(trims=days.trims.sum())
    split = ["asked", "kind", "known"]
    out = days.group_by(split).agg(visits=days.count(), trims=days.trims.sum().cast("int64"))
    once = days.group_by(["asked", "farm", "visit_date"]).agg(kinds=days.count())
    whole = once.group_by("asked").agg(
        farms_all=once.farm.nunique(),
        visits_all=once.count(),
        first=once.visit_date.min(),
        last=once.visit_date.max(),
    )
    animals = of_visits(base, selection).select("farm", "cow").distinct()
    return {
        "visits": question_of(out.join(whole, "asked")),
        "cows": question_of(animals.agg(cows=animals.count())),
    }


def months_with_records(ledger: Ledger, selection: Selection, source: str = "trims") -> list[pd.Timestamp]:
    """First days of the months in which the selection has records, in order."""
    frame = fetch(ledger, _months_question(selection, source))
    return sorted(pd.Timestamp(value) for value in frame["month"])


@built_once
def _months_question(selection: Selection, source: str) -> Question:
    base = of_visits(of_farm_and_period(source, selection), selection)
    return question_of(base.select(base.visit_date.truncate("M").name("month")).distinct())
