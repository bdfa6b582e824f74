"""Which records a selection rests on, and which it leaves out."""

from __future__ import annotations

import functools
import operator
from collections.abc import Iterable
from typing import TYPE_CHECKING

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch, fetch_many, question_of, together
from analytics.tally.narrow import of_farm_and_period, of_visits
from analytics.tally.selection import Selection
from analytics.trade.visits import VISIT_KINDS

if TYPE_CHECKING:
    import ibis.expr.types as ir


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
    frames = fetch_many(ledger, _covered_questions(selection, source))
    visits, cows = frames["visits"], frames["cows"]
    codes = visits["code"].astype("int64")
    return visits.drop(columns="code").assign(
        cows=[int(cows.loc[(cows["kinds"] & (1 << code)) > 0, "cows"].sum()) for code in codes],
        cows_all=[
            int(cows.loc[(cows["kinds"] & _together(codes[visits["asked"] == asked])) > 0, "cows"].sum())
            for asked in visits["asked"]
        ],
    )


_KINDS = (*VISIT_KINDS, "scoring", "unknown")
_KNOWN = ("stated", "derived", "unknown")


def _code(kind: ir.Value, known: ir.Value) -> ir.IntegerValue:
    """A small number for a kind of visit and the way it is known, so that all those of a cow fit into one number."""
    places = [
        value.cases(*((word, place) for place, word in enumerate(words)), else_=len(words))
        for value, words in ((kind, _KINDS), (known, _KNOWN))
    ]
    return (places[0] * (len(_KNOWN) + 1) + places[1]).cast("int32")


def _together(codes: Iterable[int]) -> int:
    return functools.reduce(operator.or_, (1 << int(code) for code in codes), 0)


@built_once
def _covered_questions(selection: Selection, source: str) -> dict[str, Question]:
    base = of_farm_and_period(source, selection)
    # By the columns as they are: the words for what is missing are put in afterwards, on few rows.
    days = base.group_by(["farm", "visit_date", "visit_kind", "kind_from"]).agg(trims=base.count())
    days = days.mutate(kind=days.visit_kind.fill_null("unknown"), known=days.kind_from.fill_null("unknown"))
    days = days.mutate(code=_code(days.kind, days.known))
    if selection.all_visits:
        asked = days.kind != ""
    else:
        asked = days.kind.isin([*selection.visits, *(["scoring"] if "whole-herd" in selection.visits else [])])
    days = days.mutate(asked=asked)
    # A day may stand twice, once as of unknown kind and once without any.
    days = days.group_by(["asked", "kind", "known", "code", "farm", "visit_date"]).agg(trims=days.trims.sum())
    split = ["asked", "kind", "known", "code"]
    out = days.group_by(split).agg(visits=days.count(), trims=days.trims.sum().cast("int64"))
    once = days.group_by(["asked", "farm", "visit_date"]).agg(kinds=days.count())
    whole = once.group_by("asked").agg(
        farms_all=once.farm.nunique(),
        visits_all=once.count(),
        first=once.visit_date.min(),
        last=once.visit_date.max(),
    )
    code = _code(base.visit_kind.fill_null("unknown"), base.kind_from.fill_null("unknown"))
    animals = base.group_by(["farm", "cow"]).agg(kinds=together(code))
    return {
        "visits": question_of(out.join(whole, "asked")),
        "cows": question_of(animals.group_by("kinds").agg(cows=animals.count())),
    }


def months_with_records(ledger: Ledger, selection: Selection, source: str = "trims") -> list[pd.Timestamp]:
    """First days of the months in which the selection has records, in order."""
    frame = fetch(ledger, _months_question(selection, source))
    return sorted(pd.Timestamp(value) for value in frame["month"])


@built_once
def _months_question(selection: Selection, source: str) -> Question:
    base = of_visits(of_farm_and_period(source, selection), selection)
    return question_of(base.select(base.visit_date.truncate("M").name("month")).distinct())
