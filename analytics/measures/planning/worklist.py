"""Who is due when, and for whom: the veterinarian first, then the trimmer, then cows to watch."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import pandas as pd

from evenfoot.analytics.clock import today, today_is_set
from evenfoot.analytics.domain.horn_limits import HornLimits
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.limits import horn_limits
from evenfoot.analytics.measures.answer import Answer, Basis, messages
from evenfoot.analytics.measures.basis import basis_of
from evenfoot.analytics.measures.cache import memoize, remembered, store_of
from evenfoot.analytics.measures.farm_sample import refuse_many_farms
from evenfoot.analytics.measures.horn.toe_forecast import COLUMNS as TOE
from evenfoot.analytics.measures.horn.toe_forecast import Pace, pace_of, toes_carried_on
from evenfoot.analytics.measures.planning.due_reasons import (
    REASONS,
    URGENT,
    in_order,
    listed_by,
    no_reasons,
    place_words,
    reasons_of,
)
from evenfoot.analytics.messages import N_, Message, say
from evenfoot.analytics.queries.cow_status import RECENT_DAYS, SCORE_DAYS, known_on, record_days, visit_days
from evenfoot.analytics.queries.selection import Selection

AHEAD_DAYS = 28
"""Cows that come due within four weeks are on the list. [common practice, no source]"""

MOST_YEARS_OFF = 3
"""A day further than this from every record says nothing of the cows, and following them so far takes memory.
[common practice, no source]"""

COLUMNS = (
    "rank",
    "farm",
    "cow",
    "due_on",
    "since",
    "reason",
    "who",
    "kinds",
    "foot",
    "claw",
    "lesion",
    "action",
    "recheck_on",
    "found_on",
    "also",
    "score",
    "scale",
    "scored_on",
    "group",
    "days_in_milk",
    "looked_on",
    "toe_foot",
    "toe_claw",
    *TOE[4:],
)
ABOUT = ("foot", "claw", "lesion", "action", "recheck_on", "found_on", "also")

DEFER: Message = say(
    "The list says what was recorded and what comes due; it diagnoses nothing. Where it says so, ask your "
    "veterinarian, whose word goes before this list."
)
EXPECTED: Message = say(
    "Expected toe lengths carry on what was last read, or what a trim leaves as a rule, at the growth of the housing "
    "and season she stood in, and will stand in if the year goes as the last. They say when to look; what comes off "
    "is decided at the foot."
)


@dataclass(frozen=True)
class Due:
    """Every reason of every cow in the herd, one row a cow and reason, in the order of all lists; and what is known
    of the cows.
    """

    reasons: pd.DataFrame
    herd: pd.DataFrame
    toes: pd.DataFrame
    pace: Pace | None


@dataclass(frozen=True)
class ListDay:
    """The day of a list and how old the newest record is by then.

    Attributes
    ----------
    on : datetime.date
    newest : datetime.date, optional
        The newest trim or score of the farms by that day.
    asked : bool
        Whether somebody asked for the day; else it is today.
    """

    on: dt.date
    newest: dt.date | None
    asked: bool

    @property
    def days_old(self) -> int | None:
        """How many days old the newest record is."""
        return None if self.newest is None else (self.on - self.newest).days

    @property
    def near(self) -> bool:
        """Whether there is a record no longer than MOST_YEARS_OFF before."""
        return self.newest is not None and (self.on - self.newest).days <= 366 * MOST_YEARS_OFF

    def frame(self) -> pd.DataFrame:
        """The same as a table of one row, for an answer to carry: on, newest, days_old, asked."""
        return pd.DataFrame(
            {
                "on": pd.to_datetime([self.on]),
                "newest": pd.to_datetime(pd.Series([self.newest], dtype=object)),
                "days_old": pd.array([self.days_old], dtype="Int64"),
                "asked": [self.asked],
            }
        )


def list_day(ledger: Ledger, selection: Selection, on: dt.date | None) -> ListDay:
    """The day a list is of: the one asked for, else today.

    Raises
    ------
    UserError
        The day asked for lies years from every record.
    """
    day = on or today()
    farms = selection.with_(cows=())
    first, newest = record_days(ledger, farms)
    away = 366 * MOST_YEARS_OFF
    if on and first and newest and max((first - on).days, (on - newest).days) > away:
        raise UserError(
            say(
                "{day} lies more than {years} years from every record; choose a day nearer to {first} to {newest}.",
                day=f"{on:%Y-%m-%d}",
                years=MOST_YEARS_OFF,
                first=f"{first:%Y-%m-%d}",
                newest=f"{newest:%Y-%m-%d}",
            )
        )
    if newest and newest > day:
        newest = record_days(ledger, farms, day)[1]
    return ListDay(day, newest, on is not None)


def worklist(
    ledger: Ledger,
    selection: Selection,
    *,
    on: dt.date | None = None,
    level: float = 0.95,
    ahead_days: int = AHEAD_DAYS,
    limits: HornLimits | None = None,
) -> Answer:
    """Cows in the herd that someone should see, most pressing first.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Farms, groups, breeds, housing and cows narrow the list; every kind of visit counts.
    on : datetime.date, optional
        The day of the list; today by default.
    level : float
        Confidence level of expected toe lengths.
    ahead_days : int
        What comes due within so many days is on the list.
    limits : HornLimits, optional
        Where a toe is long, a sole thin and a break deep.

    Returns
    -------
    Answer
        ``table``: rank, farm, cow, due_on, since (open since, or due on), reason (all her reasons, the one that ranks
        her first), who (veterinarian, trimmer or watch), kinds (the reasons as codes, comma between); foot, claw,
        lesion, action, recheck_on and found_on of the record her first such reason rests on, also (further places, in
        words); score, scale, scored_on (newest scoring), group, days_in_milk, looked_on; and the claw expected to be
        long first: toe_foot, toe_claw, toe_from (measured or assumed), left_on, left_mm, expected_mm, expected_low,
        expected_high, limit_mm, passes_on, passes_from, passes_to. One row a cow, in the order of
        :func:`evenfoot.analytics.measures.planning.due_reasons.in_order`.
        ``extra["reasons"]``: farm, cow, kind, due_on, words, who and where, one row a reason, the soonest first.
        ``extra["day"]``: on, newest (record by then), days_old, asked.

    Raises
    ------
    UserError
        The selection holds very many farms, or *on* lies years from every record.
    """
    day = list_day(ledger, selection, on)
    return _listed(ledger, selection, day=day, level=level, ahead_days=ahead_days, limits=limits, now=False)


def needing_someone(ledger: Ledger, selection: Selection, *, on: dt.date | None = None, ahead_days: int = 0) -> Answer:
    """The beginning of the list of :func:`worklist`: cows with a reason that is open and cannot wait for the round.

    These are always its first cows, in the same order: such a reason goes before every other. Toes are not carried on
    for it, which is most of the work of the whole list. With *ahead_days* such reasons that come due by then follow.

    Returns
    -------
    Answer
        As :func:`worklist`, with the reasons that cannot wait alone.
    """
    day = list_day(ledger, selection, on)
    return _listed(ledger, selection, day=day, level=0.95, ahead_days=ahead_days, limits=None, now=True)


@memoize
def _listed(
    ledger: Ledger,
    selection: Selection,
    *,
    day: ListDay,
    level: float,
    ahead_days: int,
    limits: HornLimits | None,
    now: bool,
) -> Answer:
    if not day.near:
        return _nobody(day, level)
    due = everybody_due(ledger, selection, day.on, level=level, limits=limits, urgent=now)
    horizon = pd.Timestamp(day.on) + pd.Timedelta(days=ahead_days)
    kept = in_order(due.reasons[due.reasons["due_on"] <= horizon].drop(columns="place"), due.herd, day.on)
    table = _one_row_a_cow(kept, due, day.on)
    notes = [
        as_of(day),
        say("Cows in the herd on that day: {n}; a cow that has left it is not listed.", n=len(due.herd)),
        say(
            "A locomotion score counts for {days} days; an older one makes no cow lame now.",
            days=SCORE_DAYS,
        ),
        say(
            "A finding for the veterinarian counts for {days} days; toe necrosis until the cow is looked at again, for "
            "a year at most.",
            days=RECENT_DAYS,
        ),
        say(
            "Order: those for the veterinarian; what is open today, by how severe the reason is, the locomotion score "
            "and how long it has waited; then what comes due, the soonest first. Cows alike in all that stand by their "
            "newest record, then in a fixed order that has nothing to do with their numbers."
        ),
    ]
    if not now:
        notes.insert(1, say("What comes due by {day} is on the list.", day=f"{horizon:%Y-%m-%d}"))
    basis = basis_on(ledger, selection, day.on, level, tuple(notes))
    extra = {"reasons": _each(kept), "day": day.frame()}
    return Answer("worklist", table, basis, _cautions(due, table), (), extra)


def as_of(day: ListDay) -> Message:
    """The day of a list and how old its newest record is."""
    if day.days_old is None:
        return say("As of {day}; nothing was recorded by then.", day=f"{day.on:%Y-%m-%d}")
    template = (
        N_("As of {day}, which is taken as today here; newest record {age} old.")
        if not day.asked and today_is_set()
        else N_("As of {day}; newest record {age} old.")
    )
    age = say("{n} day" if day.days_old == 1 else "{n} days", n=day.days_old)
    return say(template, day=f"{day.on:%Y-%m-%d}", age=age)


def day_of(answer: Answer) -> ListDay:
    """The day of a list or plan."""
    row = answer.extra["day"].iloc[0]
    newest = None if pd.isna(row["newest"]) else pd.Timestamp(row["newest"]).date()
    return ListDay(pd.Timestamp(row["on"]).date(), newest, bool(row["asked"]))


def basis_on(ledger: Ledger, selection: Selection, today: dt.date, level: float, notes: tuple[Message, ...]) -> Basis:
    """What is known by a day: every visit of the farms up to it."""
    known = Selection(
        farms=selection.farms, cows=selection.cows, allowed=selection.allowed, until=today, visits=("all",)
    )
    method = say("expected toe length from measured growth")
    basis, _ = basis_of(ledger, known, unit="cow", level=level, method=method)
    return dataclasses.replace(basis, notes=notes)


def everybody_due(
    ledger: Ledger,
    selection: Selection,
    on: dt.date,
    *,
    level: float = 0.95,
    limits: HornLimits | None = None,
    urgent: bool = False,
) -> Due:
    """Every reason why a cow in the herd should be seen, however far ahead; what every list and the plan rest on.

    *urgent* leaves out the reasons that can wait for the round, for which alone toes are carried on. What is given is
    kept for who asks next, so nobody may change it.

    Raises
    ------
    UserError
        The selection holds very many farms.
    """
    key = (selection, on, level, limits, urgent)
    return remembered(_kept, ledger, key, lambda: _everybody_due(ledger, selection, on, level, limits, urgent))


_kept = store_of(Due)


def _everybody_due(
    ledger: Ledger, selection: Selection, on: dt.date, level: float, limits: HornLimits | None, urgent: bool
) -> Due:
    refuse_many_farms(ledger, selection)
    limits = limits or horn_limits(ledger)
    known = known_on(ledger, selection, on)
    herd = known.cows
    if herd.empty:
        return Due(no_reasons().assign(place=0), herd, herd.iloc[:0][["farm", "cow"]], None)
    pace = None if urgent else pace_of(ledger, selection, on)
    carried = (
        toes_carried_on(ledger, selection, herd, on, pace, limits, level) if pace else pd.DataFrame(columns=list(TOE))
    )
    kinds = URGENT if urgent else tuple(REASONS)
    reasons = reasons_of(known, carried, on, limits, kinds)
    if not urgent:
        # On a farm without any trim on record nobody knows who was never looked at.
        trimmed = set(visit_days(ledger, selection.with_(cows=()), on)["farm"])
        reasons = reasons[(reasons["kind"] != "never") | reasons["farm"].isin(trimmed)]
    return Due(in_order(reasons, herd, on), herd, carried, pace)


def _each(reasons: pd.DataFrame) -> pd.DataFrame:
    """Every reason of every cow with whom it is for, the soonest first, those of a day as the list has them."""
    out = reasons.assign(who=[REASONS[kind].who for kind in reasons["kind"]])
    out = out.sort_values("due_on", kind="stable", ignore_index=True)
    return out[["farm", "cow", "kind", "due_on", "words", "who", *ABOUT]]


def _one_row_a_cow(reasons: pd.DataFrame, due: Due, on: dt.date) -> pd.DataFrame:
    cows = reasons.groupby("place", as_index=False, sort=True).agg(
        farm=("farm", "first"),
        cow=("cow", "first"),
        due_on=("due_on", "first"),
        since=("since", "first"),
        kinds=("kind", ",".join),
        first_kind=("kind", "first"),
    )
    cows = cows.join(listed_by(reasons, ["place"], "words").rename("reason"), on="place")
    cows = cows.merge(records_of(reasons, "place"), on="place", how="left")
    known = ["farm", "cow", "group", "calved_on", "looked_on", "score", "scale", "scored_on"]
    cows = cows.merge(due.herd[known], on=["farm", "cow"], how="left")
    if len(due.toes):
        toes = due.toes.rename(columns={"foot": "toe_foot", "claw": "toe_claw"})
        cows = cows.merge(toes, on=["farm", "cow"], how="left")
    cows = cows.assign(
        rank=range(1, len(cows) + 1),
        who=[REASONS[kind].who for kind in cows["first_kind"]],
        days_in_milk=(pd.Timestamp(on) - cows["calved_on"]).dt.days.astype("Int64"),
    )
    return cows.reindex(columns=list(COLUMNS))


def records_of(reasons: pd.DataFrame, key: str) -> pd.DataFrame:
    """The record behind the first of several reasons that rests on one, and in ``also`` those behind the others.

    The claw of a toe that is expected to be long is told only where that is the first reason.

    Parameters
    ----------
    reasons : pandas.DataFrame
        Reasons in their order.
    key : str
        The column whose rows belong together.

    Returns
    -------
    pandas.DataFrame
        *key*, foot, claw, lesion, action, recheck_on, found_on, also; one row a key that has such a record.
    """
    kept = reasons["found_on"].notna() & ((reasons["kind"] != "long-toe") | ~reasons.duplicated(key))
    rows = reasons[kept].drop_duplicates([key, "foot", "claw", "lesion"])
    first = rows.drop_duplicates(key)[[key, *ABOUT]].set_index(key)
    further = rows[rows.duplicated(key)]
    if len(further):
        told = further.assign(words=messages((place_words(row) for row in further.to_dict("records")), further.index))
        both = pd.concat([first["also"].rename("words").reset_index(), told[[key, "words"]]])
        both = both[both["words"].notna() & (both["words"] != "")].drop_duplicates([key, "words"])
        first["also"] = listed_by(both, [key], "words")
    return first.reset_index()


def _cautions(due: Due, table: pd.DataFrame) -> tuple[Message, ...]:
    if due.herd.empty:
        return (say("Not enough to say: no cow is known to be in the herd on that day."),)
    out = [DEFER, EXPECTED] if due.pace is not None else [DEFER]
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


def _nobody(day: ListDay, level: float) -> Answer:
    return Answer(
        "worklist",
        pd.DataFrame(columns=list(COLUMNS)),
        Basis(level=level),
        (nothing_near(day),),
        (),
        {
            "reasons": pd.DataFrame(columns=["farm", "cow", "kind", "due_on", "words", "who", *ABOUT]),
            "day": day.frame(),
        },
    )


def nothing_near(day: ListDay) -> Message:
    """Why there is no list: nothing recorded, or nothing for years."""
    if day.newest is None:
        return say("Nothing was recorded for this choice of farms, dates and groups.")
    return say(
        "Not enough to say: the newest record of these farms is of {newest}, more than {years} years before {day}.",
        newest=f"{day.newest:%Y-%m-%d}",
        years=MOST_YEARS_OFF,
        day=f"{day.on:%Y-%m-%d}",
    )
