"""Which records a selection rests on, and which it leaves out."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch, fetch_many, question_of
from evenfoot.analytics.queries.filters import of_farm_and_period, of_visits
from evenfoot.analytics.queries.selection import Selection


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
    if "days" in frames:
        frames["visits"] = _of_days(frames["days"], selection)
    return frames["visits"].assign(cows_all=int(frames["cows"]["cows"].iloc[0]))


def _of_days(days: pd.DataFrame, selection: Selection) -> pd.DataFrame:
    """What the engine says of many farms, added up from the days of one: to plan that takes it longer than to do it."""
    kinds: dict[tuple[bool, str, str], dict[dt.date, int]] = {}
    for day, kind, known, trims in zip(*(days[name].tolist() for name in _OF_A_DAY), strict=True):
        kind, known = (each if isinstance(each, str) else "unknown" for each in (kind, known))
        asked = selection.all_visits or kind in _kinds_asked(selection)
        met = kinds.setdefault((asked, kind, known), {})
        met[day] = met.get(day, 0) + trims
    whole = {
        asked: {day for (each, _, _), met in kinds.items() if each is asked for day in met} for asked in (True, False)
    }
    rows = [
        (asked, kind, known, len(met), sum(met.values()), 1, len(whole[asked]), min(whole[asked]), max(whole[asked]))
        for (asked, kind, known), met in kinds.items()
    ]
    table = pd.DataFrame(rows, columns=list(_WHOLE))
    return table.astype({"first": "datetime64[us]", "last": "datetime64[us]"} if rows else {"asked": "bool"})


_OF_A_DAY = ("visit_date", "visit_kind", "kind_from", "trims")
_WHOLE = ("asked", "kind", "known", "visits", "trims", "farms_all", "visits_all", "first", "last")


def _kinds_asked(selection: Selection) -> list[str]:
    return [*selection.visits, *(["scoring"] if "whole-herd" in selection.visits else [])]


@built_once
def _covered_questions(selection: Selection, source: str) -> dict[str, Question]:
    base = of_farm_and_period(source, selection)
    animals = of_visits(base, selection).select("farm", "cow").distinct()
    cows = question_of(animals.agg(cows=animals.count()))
    # By the columns as they are: the words for what is missing are put in afterwards, on few rows.
    if len(selection.farms) == 1:
        keys = ["visit_date", "visit_kind", "kind_from"]
        return {"days": question_of(base.group_by(keys).agg(trims=base.count())), "cows": cows}
    days = base.group_by(["farm", "visit_date", "visit_kind", "kind_from"]).agg(trims=base.count())
    days = days.mutate(kind=days.visit_kind.fill_null("unknown"), known=days.kind_from.fill_null("unknown"))
    asked = days.kind != "" if selection.all_visits else days.kind.isin(_kinds_asked(selection))
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
    return {"visits": question_of(out.join(whole, "asked")), "cows": cows}


def months_with_records(ledger: Ledger, selection: Selection, source: str = "trims") -> list[pd.Timestamp]:
    """First days of the months in which the selection has records, in order."""
    frame = fetch(ledger, _months_question(selection, source))
    return sorted(pd.Timestamp(value) for value in frame["month"])


@built_once
def _months_question(selection: Selection, source: str) -> Question:
    base = of_visits(of_farm_and_period(source, selection), selection)
    return question_of(base.select(base.visit_date.truncate("M").name("month")).distinct())
