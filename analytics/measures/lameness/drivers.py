"""In which cows is the newest month unlike the herd's own past: lameness by group, lactation and housing."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.measures.past_year import now_and_past, spans_of
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.coverage import months_with_records
from evenfoot.analytics.queries.cow_lameness import each_lame_by_cow
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.multiple_testing import benjamini_hochberg
from evenfoot.analytics.stats.paired_proportions import paired_difference

GROUPINGS = ("group", "parity", "housing")
"""Cows are told apart by these; what a farmer can look at or change. [common practice, no source]"""

COLUMNS = (
    "grouping", "which", "cases", "at_risk", "prevalence", "past_cases", "past_at_risk", "past_prevalence",
    "difference", "low", "high", "p_value", "q_value", "direction",
)  # fmt: skip


@memoize
def drivers(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """Lameness in the newest month less that of the twelve months before, group by group.

    Cows are paired with themselves, so the interval allows for a cow being scored many times. Many groups are looked
    at, so a difference is called only when it stays after allowing for that (Benjamini and Hochberg).

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        One farm. ``until`` says what "now" is; the newest records by default.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: grouping (group, parity or housing) and which of it; cases and at_risk (scorings in the newest month)
        and prevalence; past_cases, past_at_risk, past_prevalence; difference with low and high (proportions); p_value,
        q_value (allowing for many); direction: ``up`` or ``down`` when the summary calls lameness worse or better and
        q_value is at most 1 - level, ``unclear`` when not, ``too few`` below 20 scorings in either. The clearest first.
        Empty where several farms are together.

    References
    ----------
    Cochran WG (1977) Sampling Techniques, 3rd ed., section 6.19 (difference of two ratios).
    Benjamini Y, Hochberg Y (1995) J R Stat Soc B 57:289-300.
    """
    spans = spans_of(months_with_records(ledger, selection, "scores"))
    asked = selection
    if spans is not None:
        now, past = now_and_past(selection, spans)
        asked = selection.with_(since=past.since, until=now.until)
    basis, cautions = basis_of(
        ledger, asked, unit="scoring", level=level, method=say("difference of two ratios, cows paired"), source="scores"
    )
    if basis.farms > 1:
        return Answer(
            "drivers", pd.DataFrame(columns=list(COLUMNS)), basis, (*cautions, _POOLED), ("grouping", "which")
        )
    rows: list[dict[str, Any]] = []
    if spans is not None:
        both = {"now": now, "past": past}
        cows = each_lame_by_cow(ledger, {f"{by} {when}": (both[when], by) for by in GROUPINGS for when in both})
        for by in GROUPINGS:
            rows += _levels(by, cows[f"{by} now"], cows[f"{by} past"], level)
    table = pd.DataFrame(rows, columns=[name for name in COLUMNS if name not in ("q_value", "direction")])
    adjusted, called = benjamini_hochberg(table["p_value"].to_numpy(dtype=float), 1 - level)
    few = table[["at_risk", "past_at_risk"]].min(axis=1) < FEW_COWS
    up = table["difference"] > 0
    verdict = _verdict(ledger, selection) if len(table) else ""
    direction = np.select(
        [few | table["p_value"].isna(), called & up & (verdict == "worse"), called & ~up & (verdict == "better")],
        ["too few", "up", "down"],
        "unclear",
    )
    table = table.assign(q_value=adjusted, direction=direction)
    table = table.sort_values(["p_value", "grouping", "which"], na_position="last", ignore_index=True)
    if len(table):
        cautions += (_MANY,)
    return Answer("drivers", table[list(COLUMNS)], basis, cautions, ("grouping", "which"))


def _verdict(ledger: Ledger, selection: Selection) -> str:
    """What the summary says of lameness on the farm: groups are looked at only where the herd has changed."""
    table = summary(ledger, selection).table
    lame = table.loc[table["what"] == "lame", "verdict"]
    return str(lame.iloc[0]) if len(lame) else ""


def _levels(by: str, now: pd.DataFrame, past: pd.DataFrame, level: float) -> list[dict[str, Any]]:
    """One row a level met now; a grouping with one level only says no more than the herd as a whole."""
    names = [name for name in sorted(set(now["level"])) if name != NOT_RECORDED]
    if len(set(now["level"]) | set(past["level"])) < 2:
        return []
    both = now.merge(past, on=["level", "farm", "cow"], how="outer", suffixes=("", "_past"))
    both = both.fillna(dict.fromkeys(COUNTS, 0))
    return [_row(by, name, both[both["level"] == name], level) for name in names]


COUNTS = ("cases", "at_risk", "cases_past", "at_risk_past")


def _row(by: str, name: str, both: pd.DataFrame, level: float) -> dict[str, Any]:
    sums = {each: int(both[each].sum()) for each in COUNTS}
    enough = min(sums["at_risk"], sums["at_risk_past"]) >= FEW_COWS
    found = (
        paired_difference(both["cases"], both["at_risk"], both["cases_past"], both["at_risk_past"], level)
        if enough
        else None
    )
    return {
        "grouping": by,
        "which": name,
        "cases": sums["cases"],
        "at_risk": sums["at_risk"],
        "prevalence": sums["cases"] / sums["at_risk"],
        "past_cases": sums["cases_past"],
        "past_at_risk": sums["at_risk_past"],
        "past_prevalence": sums["cases_past"] / sums["at_risk_past"] if sums["at_risk_past"] else np.nan,
        "difference": found.difference if found else np.nan,
        "low": found.low if found else np.nan,
        "high": found.high if found else np.nan,
        "p_value": found.p_value if found else np.nan,
    }


_POOLED: Message = say(
    "Several farms are together here; choose one farm to see in which of its cows something has changed."
)

_MANY: Message = say(
    "Groups overlap and several are looked at: a difference is called only where it stays after allowing for that, and "
    "it says in which cows to look, not why."
)
