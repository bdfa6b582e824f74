"""Cases month by month: lame scorings, or trims that show a lesion."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import findings, trims
from evenfoot.analytics.queries.large.cow_periods import cows_by_period, period_number
from evenfoot.analytics.queries.large.lame_months import lame_months
from evenfoot.analytics.queries.large.size import is_large
from evenfoot.analytics.queries.locomotion_scores import one_scoring_a_day
from evenfoot.analytics.queries.selection import Selection


def narrows_lesions(selection: Selection) -> bool:
    """Whether a selection says which findings it is about; if it does not, a series is of lameness."""
    return bool(selection.lesions or selection.families or selection.severity or selection.zones)


def monthly(
    ledger: Ledger, selection: Selection, outcome: str, keys: tuple[str, ...] = ("farm",), *, cows: bool = True
) -> pd.DataFrame:
    """Units and cases by month and any of farm and cow.

    A unit is a scoring (a cow and day) for lameness and a trim (a cow and day) for lesions. Where the
    selection narrows the feet, only trims that looked at one of them count.

    Parameters
    ----------
    outcome : {"lameness", "lesion"}
    keys : tuple of str
        ``farm``, ``cow`` or both.
    cows : bool
        Whether the cows of a month are asked for. To tell them apart takes half the work over many farms; where they
        are not asked for, they may be missing.

    Returns
    -------
    pandas.DataFrame
        The keys, month (its first day), cases, at_risk, cows; in the order of keys and month.
    """
    frame = fetch(ledger, _question(selection, outcome, keys, cows, is_large(ledger)))
    whole = [name for name in ("cases", "at_risk", "cows") if name in frame]
    frame = frame.astype(dict.fromkeys(whole, "int64"))
    frame["month"] = pd.to_datetime(frame["month"])
    return frame.sort_values([*keys, "month"]).reset_index(drop=True)


def _question(selection: Selection, outcome: str, keys: tuple[str, ...], cows: bool = True, large: bool = True) -> str:
    if large and outcome == "lameness" and keys == ("farm",) and len(selection.farms) != 1:
        months = lame_months(selection)
        return f"SELECT farm, month, lame AS cases, n AS at_risk, cows FROM ({months}) AS months"
    if outcome == "lesion" and keys == ("farm",):
        return _lesion_months(selection, cows, large and len(selection.farms) != 1)
    by = [*keys, "month"]
    each_cow = f"""
        SELECT farm, cow, month, {sql.total("is_case")} AS cases, COUNT(*) AS at_risk
        FROM ({with_month(case_days(selection, outcome))}) AS d
        GROUP BY farm, cow, month"""
    return f"""
        SELECT {sql.names(by)}, {sql.total("cases")} AS cases, {sql.total("at_risk")} AS at_risk, COUNT(*) AS cows
        FROM ({each_cow}) AS each_cow
        {sql.group_by(by)}"""


def with_month(rows: str) -> str:
    """The rows with the first day of their month."""
    return f"SELECT *, {sql.first_of('month', 'visit_date')} AS month FROM ({rows}) AS rows_of_months"


def _lesion_months(selection: Selection, cows: bool, large: bool) -> str:
    """farm, month, at_risk, perhaps cows, cases: days with a case are counted by themselves.

    Every finding stands on a trim of the same cow, day and attributes, so that the two need not be matched.
    """
    seen = with_month(_looked_at(selection))
    if cows and not large:
        each_cow = f"SELECT farm, cow, month, COUNT(*) AS n FROM ({seen}) AS t GROUP BY farm, cow, month"
        farms = f"""
            SELECT farm, month, {sql.total("n")} AS at_risk, COUNT(*) AS cows
            FROM ({each_cow}) AS each_cow
            GROUP BY farm, month"""
    else:
        farms = f"SELECT farm, month, COUNT(*) AS at_risk FROM ({seen}) AS t GROUP BY farm, month"
    if cows and large:
        farms = f"""
            SELECT f.farm, f.month, f.at_risk, m.n AS cows
            FROM ({farms}) AS f
            JOIN ({cows_by_period(_looked_at(selection), ["farm"], "month")}) AS m
                ON f.farm = m.farm AND {period_number("f.month", "month")} = m.number"""
    ill = f"""
        SELECT farm, month, COUNT(*) AS cases
        FROM ({with_month(_days_of_cases(selection))}) AS d
        GROUP BY farm, month"""
    counted = sql.commas("f.farm", "f.month", "f.at_risk", "f.cows" if cows else "")
    return f"""
        SELECT {counted}, COALESCE(i.cases, 0) AS cases
        FROM ({farms}) AS f LEFT JOIN ({ill}) AS i ON f.farm = i.farm AND f.month = i.month"""


def _days_of_cases(selection: Selection) -> str:
    """farm, cow and visit_date of the findings, each once."""
    return f"SELECT DISTINCT farm, cow, visit_date FROM ({findings(selection)}) AS f"


def _looked_at(selection: Selection) -> str:
    """The trims at which one of the feet asked for was looked at."""
    seen = " OR ".join(f"{sql.name(f'seen_{foot.lower()}')} > 0" for foot in selection.feet)
    return f"SELECT * FROM ({trims(selection)}) AS t{sql.where(seen)}" if seen else trims(selection)


def case_days(selection: Selection, outcome: str) -> str:
    """farm, cow, visit_date, kind (of visit) and is_case (0 or 1), one row a cow and day."""
    if outcome == "lameness":
        days = one_scoring_a_day(selection)
        return f"SELECT farm, cow, visit_date, visit_kind AS kind, lame AS is_case FROM ({days}) AS d"
    return f"""
        SELECT t.farm, t.cow, t.visit_date, COALESCE(t.visit_kind, 'unknown') AS kind,
            CASE WHEN f.cow IS NULL THEN 0 ELSE 1 END AS is_case
        FROM ({_looked_at(selection)}) AS t
        LEFT JOIN ({_days_of_cases(selection)}) AS f
            ON t.farm = f.farm AND t.cow = f.cow AND t.visit_date = f.visit_date"""
