"""Records before and after a day: the changes farms wrote down, and the cases on either side of one."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from evenfoot.analytics.domain.changes import in_order, lesions_aimed_at
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch, fetch_many, question_of, table
from evenfoot.analytics.queries.monthly_series import case_days
from evenfoot.analytics.queries.selection import Selection


def changes(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """What farms of the selection changed: farm, date, what, note, lesions, aimed; newest first.

    ``lesions`` are the codes of what a change aims at, with blanks between: those written down, else those that changes
    of its kind usually aim at. ``aimed`` says which: stated, usual, or "" where neither is known. A change written down
    again with other lesions is one change with all of them.
    """
    frame = fetch(ledger, _changes(Selection(farms=selection.farms, allowed=selection.allowed)))
    frame["date"] = pd.to_datetime(frame["date"])
    keys = ["farm", "date", "what", "note"]
    frame = frame.groupby(keys, dropna=False).agg({"lesions": _together}).reset_index()
    usual = [" ".join(lesions_aimed_at(str(what))) for what in frame["what"]]
    stated = frame["lesions"] != ""
    aimed = pd.Series(["usual" if codes else "" for codes in usual], index=frame.index, dtype="str")
    frame = frame.assign(lesions=frame["lesions"].where(stated, usual), aimed=aimed.mask(stated, "stated"))
    return frame.sort_values(["date", "farm", "what"], ascending=[False, True, True]).reset_index(drop=True)


def _together(lesions: pd.Series) -> str:
    found = [code for codes in lesions.dropna() for code in str(codes).split()]
    return " ".join(in_order([code for code in found if code in LESIONS]))


@built_once
def _changes(selection: Selection) -> Question:
    rows = table("change_rows")
    if selection.allowed is not None:
        rows = rows.filter(rows.farm.isin(selection.allowed))
    if selection.farms:
        rows = rows.filter(rows.farm.isin(selection.farms))
    return question_of(rows.select("farm", "date", "what", "note", "lesions").distinct())


def before_after(
    ledger: Ledger, selection: Selection, change: dt.date, outcome: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Units and cases before a day and from it on.

    Parameters
    ----------
    change : date
        First day of "after".
    outcome : {"lameness", "lesion"}

    Returns
    -------
    months : pandas.DataFrame
        farm, month (its first day), kind (of visit), after (boolean), cases, at_risk. The month of the change
        may be there twice.
    cows : pandas.DataFrame
        farm, cow, after, cases, at_risk.
    """
    frames = fetch_many(ledger, _questions(selection, change, outcome))
    months, cows = frames["months"], frames["cows"]
    months["month"] = pd.to_datetime(months["month"])
    for frame in (months, cows):
        for name in ("cases", "at_risk"):
            frame[name] = frame[name].astype("int64")
    months = months.sort_values(["month", "after", "farm", "kind"]).reset_index(drop=True)
    return months, cows.sort_values(["farm", "cow", "after"]).reset_index(drop=True)


@built_once
def _questions(selection: Selection, change: dt.date, outcome: str) -> dict[str, Question]:
    rows = case_days(selection, outcome)
    rows = rows.mutate(month=rows.visit_date.truncate("M"), after=rows.visit_date >= change)
    sums = {"cases": rows.case.sum(), "at_risk": rows.count()}
    return {
        "months": question_of(rows.group_by(["farm", "month", "kind", "after"]).agg(**sums)),
        "cows": question_of(rows.group_by(["farm", "cow", "after"]).agg(**sums)),
    }
