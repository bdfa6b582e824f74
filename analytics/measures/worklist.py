"""Who is due when, and for whom: the veterinarian first, then the trimmer, then cows to watch."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import pandas as pd

from analytics.ledger import Ledger
from analytics.ledger.limits import horn_limits
from analytics.measures.answer import Answer, Basis
from analytics.measures.basis import basis_of
from analytics.measures.due_reasons import REASONS, reasons_of
from analytics.measures.kept import keep
from analytics.measures.part_of_farms import refuse_many_farms
from analytics.measures.toe_forecast import COLUMNS as TOE
from analytics.measures.toe_forecast import Pace, pace_of, toes_carried_on
from analytics.tally.due import herd_on, newest_record
from analytics.tally.selection import Selection
from analytics.trade.horn_limits import HornLimits
from analytics.words import Said, say

WHO = ("veterinarian", "trimmer", "watch")
AHEAD_DAYS = 28
"""Cows that come due within four weeks are on the list. [common practice, no source]"""

COLUMNS = (
    "rank",
    "farm",
    "cow",
    "due_on",
    "reason",
    "who",
    "kinds",
    "group",
    "days_in_milk",
    "looked_on",
    *TOE[2:],
)

DEFER: Said = say(
    "The list says what was recorded and what comes due; it diagnoses nothing. Where it says so, ask your "
    "veterinarian, whose word goes before this list."
)
EXPECTED: Said = say(
    "Expected toe lengths carry on what was last read, or what a trim leaves as a rule, at the growth of the housing "
    "and season she stood in, and will stand in if the year goes as the last. They say when to look; what comes off "
    "is decided at the foot."
)


@dataclass(frozen=True)
class Due:
    """Every reason of every cow in the herd: one row a cow and reason, and what is known of the cows."""

    reasons: pd.DataFrame
    herd: pd.DataFrame
    toes: pd.DataFrame
    pace: Pace | None


@keep
def worklist(
    ledger: Ledger,
    selection: Selection,
    *,
    on: dt.date | None = None,
    level: float = 0.95,
    ahead_days: int = AHEAD_DAYS,
    limits: HornLimits | None = None,
) -> Answer:
    """Cows in the herd now that someone should see, most pressing first.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Farms, groups, breeds, housing and cows narrow the list; every kind of visit counts.
    on : datetime.date, optional
        Today; the day of the newest record by default.
    level : float
        Confidence level of expected toe lengths.
    ahead_days : int
        What comes due within so many days is on the list.
    limits : HornLimits, optional
        Where a toe is long, a sole thin and a break deep.

    Returns
    -------
    Answer
        ``table``: rank, farm, cow, due_on, reason (all her reasons, the one that ranks her first), who
        (veterinarian, trimmer or watch), kinds (the reasons as codes, comma between), group, days_in_milk,
        looked_on; and the claw expected to be long first: foot, claw, toe_from (measured or assumed), left_on, left_mm,
        expected_mm, expected_low, expected_high, limit_mm, passes_on, passes_from, passes_to. One row a cow.
        ``extra["reasons"]``: farm, cow, due_on, words, who, one row a reason, the soonest first.

    Raises
    ------
    Mistake
        The selection holds very many farms.
    """
    today = on or newest_record(ledger, selection)
    if today is None:
        return _nobody(selection, level)
    due = everybody_due(ledger, selection, today, level=level, limits=limits)
    horizon = pd.Timestamp(today) + pd.Timedelta(days=ahead_days)
    kept = due.reasons[due.reasons["due_on"] <= horizon]
    table = _one_row_a_cow(kept, due, pd.Timestamp(today))
    notes = (
        say("Today is taken to be {day}; {n} cows are in the herd.", day=f"{today:%Y-%m-%d}", n=len(due.herd)),
        say("What comes due by {day} is on the list.", day=f"{horizon:%Y-%m-%d}"),
    )
    basis = basis_on(ledger, selection, today, level, notes)
    return Answer("worklist", table, basis, _cautions(due, table), (), {"reasons": _each(kept)})


def basis_on(ledger: Ledger, selection: Selection, today: dt.date, level: float, notes: tuple[Said, ...]) -> Basis:
    """What is known by a day: every visit of the farms up to it."""
    known = Selection(
        farms=selection.farms, cows=selection.cows, allowed=selection.allowed, until=today, visits=("all",)
    )
    method = say("expected toe length from measured growth")
    basis, _ = basis_of(ledger, known, unit="cow", level=level, method=method)
    return dataclasses.replace(basis, notes=notes)


def everybody_due(
    ledger: Ledger, selection: Selection, on: dt.date, *, level: float = 0.95, limits: HornLimits | None = None
) -> Due:
    """Every reason why a cow in the herd should be seen, however far ahead; what the list and the plan rest on.

    Raises
    ------
    Mistake
        The selection holds very many farms.
    """
    refuse_many_farms(ledger, selection)
    limits = limits or horn_limits(ledger)
    herd = herd_on(ledger, selection, on)
    if herd.empty:
        return Due(pd.DataFrame(columns=["farm", "cow", "kind", "due_on", "words"]), herd, herd, None)
    pace = pace_of(ledger, selection, on)
    toes = toes_carried_on(ledger, selection, herd, on, pace, limits, level)
    return Due(reasons_of(herd, toes, on, limits), herd, toes, pace)


def _each(reasons: pd.DataFrame) -> pd.DataFrame:
    """Every reason of every cow with whom it is for, the soonest first, the most pressing of a day before the rest."""
    place = {code: n for n, code in enumerate(REASONS)}
    out = reasons.assign(who=[REASONS[kind].who for kind in reasons["kind"]], place=reasons["kind"].map(place))
    out = out.sort_values(["due_on", "place", "farm", "cow"], kind="stable", ignore_index=True)
    return out[["farm", "cow", "due_on", "words", "who"]]


def _one_row_a_cow(reasons: pd.DataFrame, due: Due, today: pd.Timestamp) -> pd.DataFrame:
    order = pd.DataFrame(
        [(code, WHO.index(reason.who), place) for place, (code, reason) in enumerate(REASONS.items())],
        columns=["kind", "who_place", "place"],
    )
    rows = reasons.merge(order, on="kind").sort_values(["farm", "cow", "who_place", "due_on", "place"])
    cows = rows.groupby(["farm", "cow"], as_index=False, sort=False).agg(
        due_on=("due_on", "first"),
        reason=("words", "; ".join),
        kinds=("kind", ",".join),
        who_place=("who_place", "first"),
        place=("place", "first"),
    )
    cows = cows.merge(due.herd[["farm", "cow", "group", "calved_on", "looked_on"]], on=["farm", "cow"], how="left")
    if len(due.toes):
        cows = cows.merge(due.toes, on=["farm", "cow"], how="left")
    # Cow 4 before cow 12: numbers are compared as numbers.
    cows = cows.assign(number=cows["cow"].str.zfill(12))
    cows = cows.sort_values(["who_place", "due_on", "place", "farm", "number"]).reset_index(drop=True)
    cows = cows.assign(
        rank=range(1, len(cows) + 1),
        who=[WHO[place] for place in cows["who_place"]],
        days_in_milk=(today - cows["calved_on"]).dt.days.astype("Int64"),
    )
    return cows.reindex(columns=list(COLUMNS))


def _cautions(due: Due, table: pd.DataFrame) -> tuple[Said, ...]:
    if due.herd.empty:
        return (say("Not enough to say: no cow is known to be in the herd on that day."),)
    out = [DEFER, EXPECTED]
    if due.pace is not None and due.pace.published:
        out.append(say("No claw was measured twice here, so toes are carried on at the published rate; doubt is wide."))
    assumed = int((table["toe_from"] == "assumed").sum()) if len(table) else 0
    if assumed:
        out.append(
            say(
                "{n} of these cows have no reading since their last trim; for them what a trim leaves as a rule "
                "is assumed.",
                n=assumed,
            )
        )
    if not due.herd["registered"].all():
        out.append(
            say(
                "{n} cows are not in a register; they are taken to be in the herd because they were seen within a year "
                "and a half.",
                n=int((~due.herd["registered"]).sum()),
            )
        )
    return tuple(out)


def _nobody(selection: Selection, level: float) -> Answer:
    caution = say("Nothing was recorded for this choice of farms, dates and groups.")
    return Answer("worklist", pd.DataFrame(columns=list(COLUMNS)), Basis(level=level), (caution,))
