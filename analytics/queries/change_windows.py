"""Records before and after a day: the changes farms wrote down, and the cases on either side of one."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from evenfoot.analytics.domain.changes import in_order, lesions_aimed_at
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch, fetch_many
from evenfoot.analytics.queries.monthly_series import case_days, with_month
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


def _changes(selection: Selection) -> str:
    seen = "" if selection.allowed is None else sql.among("farm", selection.allowed)
    asked = sql.among("farm", selection.farms) if selection.farms else ""
    columns = sql.names(["farm", "date", "what", "note", "lesions"])
    return f"SELECT DISTINCT {columns} FROM change_rows AS c{sql.where(seen, asked)}"


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


def _questions(selection: Selection, change: dt.date, outcome: str) -> dict[str, str]:
    days = f"""
        SELECT *, visit_date >= {sql.literal(change)} AS after
        FROM ({with_month(case_days(selection, outcome))}) AS d"""
    sums = f"{sql.total('is_case')} AS cases, COUNT(*) AS at_risk"
    return {
        "months": f"""
            SELECT farm, month, kind, after, {sums}
            FROM ({days}) AS days
            GROUP BY farm, month, kind, after""",
        "cows": f"SELECT farm, cow, after, {sums} FROM ({days}) AS days GROUP BY farm, cow, after",
    }
