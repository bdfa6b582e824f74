"""Cases month by month: lame scorings, or trims that show a lesion."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch, most_of, question_of
from evenfoot.analytics.queries.filters import findings, trims
from evenfoot.analytics.queries.large.bitmask import LAYS_OUT_BITS
from evenfoot.analytics.queries.large.cow_periods import cows_by_period, number_of
from evenfoot.analytics.queries.large.lame_months import lame_months
from evenfoot.analytics.queries.locomotion_scores import one_scoring_a_day
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir


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
    frame = fetch(ledger, _question(selection, outcome, keys, cows, ledger.dialect in LAYS_OUT_BITS))
    whole = [name for name in ("cases", "at_risk", "cows") if name in frame]
    frame = frame.astype(dict.fromkeys(whole, "int64"))
    frame["month"] = pd.to_datetime(frame["month"])
    return frame.sort_values([*keys, "month"]).reset_index(drop=True)


@built_once
def _question(
    selection: Selection, outcome: str, keys: tuple[str, ...], cows: bool = True, use_bitmask: bool = True
) -> Question:
    if outcome == "lameness" and keys == ("farm",) and len(selection.farms) != 1:
        months = lame_months(selection, use_bitmask=use_bitmask)
        return question_of(months.select("farm", "month", cases=months.lame, at_risk=months.n, cows=months.cows))
    if outcome == "lesion" and keys == ("farm",):
        return question_of(_lesion_months(selection, cows, use_bitmask and len(selection.farms) != 1))
    rows = case_days(selection, outcome)
    rows = rows.mutate(month=rows.visit_date.truncate("M"))
    each_cow = rows.group_by(["farm", "cow", "month"]).agg(cases=rows.case.sum(), at_risk=rows.count())
    each = each_cow.group_by([*keys, "month"])
    return question_of(each.agg(cases=each_cow.cases.sum(), at_risk=each_cow.at_risk.sum(), cows=each_cow.count()))


def _lesion_months(selection: Selection, cows: bool, use_bitmask: bool) -> ir.Table:
    """farm, month, cases, at_risk, perhaps cows: days with a case are counted by themselves.

    Every finding stands on a trim of the same cow, day and attributes, so that the two need not be matched.
    """
    seen = _looked_at(selection)
    seen = seen.mutate(month=seen.visit_date.truncate("M"))
    if cows and not use_bitmask:
        each = seen.group_by(["farm", "cow", "month"]).agg(n=seen.count())
        farms = each.group_by(["farm", "month"]).agg(at_risk=each.n.sum(), cows=each.count())
    else:
        farms = seen.group_by(["farm", "month"]).agg(at_risk=seen.count())
    if cows and use_bitmask:
        farms = farms.mutate(at=number_of(farms.month, "month"))
        met = cows_by_period(seen, ["farm"], "month").rename(cows="n")
        farms = farms.inner_join(met, ["farm", "at"]).select("farm", "month", "at_risk", "cows")
    days = findings(selection).select("farm", "cow", "visit_date").distinct()
    ill = days.group_by(["farm", days.visit_date.truncate("M").name("month")]).agg(cases=days.count())
    both = farms.left_join(ill, ["farm", "month"])
    return both.select(*farms.columns, cases=both.cases.fill_null(0))


def _looked_at(selection: Selection) -> ir.Table:
    """The trims at which one of the feet asked for was looked at."""
    seen = trims(selection)
    if selection.feet:
        seen = seen.filter(most_of([seen[f"seen_{foot.lower()}"] for foot in selection.feet]) > 0)
    return seen


def case_days(selection: Selection, outcome: str) -> ir.Table:
    """farm, cow, visit_date, kind (of visit) and case (0 or 1), one row a cow and day."""
    if outcome == "lameness":
        day = one_scoring_a_day(selection)
        return day.select("farm", "cow", "visit_date", kind=day.visit_kind, case=day.lame)
    seen = _looked_at(selection)
    seen = seen.select("farm", "cow", "visit_date", kind=seen.visit_kind.fill_null("unknown"))
    found = findings(selection).select("farm", "cow", "visit_date").distinct().mutate(found=1)
    both = seen.left_join(found, ["farm", "cow", "visit_date"])
    return both.select("farm", "cow", "visit_date", "kind", case=both.found.fill_null(0))
