"""Which records a selection rests on, and which it leaves out."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch, fetch_many
from evenfoot.analytics.queries.filters import of_farm_and_period, of_selection
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


def _covered_questions(selection: Selection, source: str) -> dict[str, str]:
    """The questions of what is covered.

    Returns
    -------
    dict of str to str
        ``cows``: cows. Of one farm ``days``: the columns ``_OF_A_DAY``; of several ``visits``: the columns ``_WHOLE``.
    """
    rows = of_farm_and_period(source, selection)
    animals = f"SELECT DISTINCT farm, cow FROM ({of_selection(source, selection)}) AS asked_for"
    cows = f"SELECT COUNT(*) AS cows FROM ({animals}) AS animals"
    # By the columns as they are: the words for what is missing are put in afterwards, on few rows.
    if len(selection.farms) == 1:
        days = f"""
            SELECT visit_date, visit_kind, kind_from, COUNT(*) AS trims
            FROM ({rows}) AS of_farm
            GROUP BY visit_date, visit_kind, kind_from"""
        return {"days": days, "cows": cows}
    asked = "TRUE" if selection.all_visits else sql.among("kind", _kinds_asked(selection))
    # A day may stand twice, once as of unknown kind and once without any.
    visits = f"""
        WITH as_recorded AS (
            SELECT farm, visit_date, visit_kind, kind_from, COUNT(*) AS n
            FROM ({rows}) AS of_farms
            GROUP BY farm, visit_date, visit_kind, kind_from
        ), named AS (
            SELECT farm, visit_date, COALESCE(visit_kind, 'unknown') AS kind, COALESCE(kind_from, 'unknown') AS known, n
            FROM as_recorded
        ), days AS (
            SELECT asked, kind, known, farm, visit_date, {sql.total("n")} AS n
            FROM (SELECT *, {asked} AS asked FROM named) AS told
            GROUP BY asked, kind, known, farm, visit_date
        ), split AS (
            SELECT asked, kind, known, COUNT(*) AS visits, {sql.total("n")} AS trims
            FROM days
            GROUP BY asked, kind, known
        ), whole AS (
            SELECT asked, COUNT(DISTINCT farm) AS farms_all, COUNT(*) AS visits_all,
                MIN(visit_date) AS "first", MAX(visit_date) AS "last"
            FROM (SELECT DISTINCT asked, farm, visit_date FROM days) AS once
            GROUP BY asked
        )
        SELECT s.asked, s.kind, s.known, s.visits, s.trims, w.farms_all, w.visits_all, w."first", w."last"
        FROM split AS s INNER JOIN whole AS w ON s.asked = w.asked"""
    return {"visits": visits, "cows": cows}


def months_with_records(ledger: Ledger, selection: Selection, source: str = "trims") -> list[pd.Timestamp]:
    """First days of the months in which the selection has records, in order."""
    frame = fetch(ledger, _months_question(selection, source))
    return sorted(pd.Timestamp(value) for value in frame["month"])


def _months_question(selection: Selection, source: str) -> str:
    """A question: ``month``, the first day of each month with records."""
    rows = of_selection(source, selection)
    return f'SELECT DISTINCT {sql.first_of("month", "visit_date")} AS "month" FROM ({rows}) AS met'
