"""Proposed visits over the coming months: whole-herd days, days for cows that come due, and rechecks."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pandas as pd

from evenfoot.analytics.domain.horn_limits import HornLimits
from evenfoot.analytics.domain.visits import WHOLE_HERD_SHARE
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.planning.due_reasons import REASONS, URGENT, listed_by
from evenfoot.analytics.measures.planning.visit_days import Calendar, Visit, WorkingDays, batches
from evenfoot.analytics.measures.planning.worklist import (
    DEFER,
    Due,
    ListDay,
    as_of,
    basis_on,
    everybody_due,
    list_day,
    nothing_near,
    records_of,
)
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.cow_status import COW, PLACE, visit_days
from evenfoot.analytics.queries.selection import Selection

COWS_A_DAY = 50
"""Cows one trimmer does in a day [common practice, no source]"""

AHEAD_DAYS = 183
"""Visits are proposed for the next six months."""

ROUTINE = tuple(kind for kind, reason in REASONS.items() if reason.can_wait)
"""Reasons that can wait for a day of the round."""

SOON = {"forgotten-block": 3, "lame": 3, "recheck": 6, "block": 6, "repeat": 14}
"""Reasons that need a day of their own, with how many days they may wait: a block comes off within its sixth week.
[common practice, no source]"""

ROUTINE_SLACK, ROUTINE_EARLY = 14, 14
"""Days a cow that comes due may be seen after or before. [common practice, no source]"""

BROUGHT_ANYWAY = 28
"""A cow that is brought is done as well for what falls due so many days after it, so that she is not booked twice
within the month. [common practice, no source]"""

RECHECK_EARLY = 7
"""A recheck may be so many days early where the whole herd is done then. [common practice, no source]"""

AT_ONCE = 3
"""Who cannot wait longer than this goes on the calendar before the whole herds do, unless her own herd is about to be
done within a week. [common practice, no source]"""

WITHIN_A_WEEK = dt.timedelta(days=6)

BEFORE_WHOLE_HERD = 28
"""A cow due no longer than this before the whole-herd visit waits for it. [common practice, no source]"""

AFTER_WHOLE_HERD = 60
"""A cow due sooner than this after the whole-herd visit is done with it. [common practice, no source]"""

COLUMNS = ("date", "farm", "kind", "cows", "cow_list", "number")
LISTED = ("date", "farm", "kind", "cow", "group", "reason", *PLACE, "also")

RECORDED_AS = {"whole-herd": ("whole-herd",), "due": ("part-herd", "unknown"), "recheck": ("recheck", "lame-cow")}
"""The kinds of visit that a proposed one is recorded as once it has been made. [common practice, no source]"""


def plan(
    ledger: Ledger,
    selection: Selection,
    *,
    on: dt.date | None = None,
    cows_a_day: int = COWS_A_DAY,
    weekends: bool = False,
    day_off: tuple[dt.date, ...] = (),
    level: float = 0.95,
    ahead_days: int = AHEAD_DAYS,
    limits: HornLimits | None = None,
) -> Answer:
    """Spread the cows that come due over working days of the coming months.

    Where 80 % of a herd come due within the time, the whole herd is proposed for the middle of their due days, over
    as many days as it takes; cows due more than four weeks earlier, and those that come due again well after, get days
    in between. Rechecks, blocks and lame cows are seen in time, at another visit to the farm where one falls in their
    days. Visits lie on working days, Monday to Friday by default; no day holds more than *cows_a_day* cows or two
    farms. The cows of a visit stand in the order of :func:`evenfoot.analytics.measures.planning.worklist.worklist`,
    whole herds group by group after those that cannot wait.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Farms, groups, breeds, housing and cows narrow the plan.
    on : datetime.date, optional
        The day the plan is made; today by default. The first visit is on the day after.
    cows_a_day : int
        What a day holds.
    weekends : bool
        Whether Saturdays and Sundays are worked.
    day_off : tuple of datetime.date
        Days that are not worked.
    level : float
        Confidence level of expected toe lengths.
    ahead_days : int
        How far ahead is planned.
    limits : HornLimits, optional
        Where a toe is long.

    Returns
    -------
    Answer
        ``table``: date, farm, kind (whole-herd, due or recheck), cows (how many), cow_list (comma between), number
        (which visit of this kind it is to the farm, counted on from those recorded; it stays when the day moves).
        ``extra["cows"]``: one row a cow and visit: date, farm, kind, cow, group, reason; foot, claw, lesion, action,
        recheck_on of the record the first such reason rests on. ``extra["day"]``: as of the list.

    Raises
    ------
    UserError
        Fewer than one cow a day, very many farms, or *on* lies years from every record.
    """
    if cows_a_day < 1:
        raise UserError(
            say("{cows_a_day} cows a day make no plan; give 1 or more with --cows-a-day.", cows_a_day=cows_a_day)
        )
    day = list_day(ledger, selection, on)
    working = WorkingDays(weekends, tuple(sorted(set(day_off))))
    return _planned(
        ledger,
        selection,
        day=day,
        cows_a_day=cows_a_day,
        working=working,
        level=level,
        ahead_days=ahead_days,
        limits=limits,
    )


@memoize
def _planned(
    ledger: Ledger,
    selection: Selection,
    *,
    day: ListDay,
    cows_a_day: int,
    working: WorkingDays,
    level: float,
    ahead_days: int,
    limits: HornLimits | None,
) -> Answer:
    if not day.near:
        return _nobody(day, level)
    due = everybody_due(ledger, selection, day.on, level=level, limits=limits)
    calendar = Calendar(day.on + dt.timedelta(days=1), cows_a_day, working)
    horizon = day.on + dt.timedelta(days=ahead_days)
    _fill(calendar, due, horizon)
    cows = zip(due.reasons["farm"], due.reasons["cow"], strict=True)
    order = dict(zip(cows, due.reasons["place"], strict=True))
    visits = [_in_list_order(visit, order) for visit in _sorted(calendar)]
    listed = _listed(visits, due)
    table = pd.DataFrame(
        [(visit.day, visit.farm, visit.kind, len(visit.cows), ", ".join(visit.cows)) for visit in visits],
        columns=list(COLUMNS[:-1]),
    )
    table["date"] = pd.to_datetime(table["date"])
    table["number"] = _numbers(table, visit_days(ledger, selection.with_(cows=()), day.on))
    notes = (
        as_of(day),
        say(
            "Visits are proposed up to {until}, {cows} cows a day, {days}.",
            until=f"{horizon:%Y-%m-%d}",
            cows=cows_a_day,
            days=say("on every day of the week") if working.weekends else say("Monday to Friday"),
        ),
        *(
            (say("Days off: {days}.", days=", ".join(f"{off:%Y-%m-%d}" for off in working.days_off)),)
            if working.days_off
            else ()
        ),
    )
    basis = basis_on(ledger, selection, day.on, level, notes)
    return Answer("plan", table, basis, _cautions(due, table), (), {"cows": listed, "day": day.frame()})


def _in_list_order(visit: Visit, order: dict[tuple[str, str], int]) -> Visit:
    """The cows of a visit as the list of who is due has them; a whole herd keeps its groups together."""
    if visit.kind == "whole-herd":
        return visit
    cows = sorted(visit.cows, key=lambda cow: order.get((visit.farm, cow), len(order)))
    return Visit(visit.day, visit.farm, visit.kind, tuple(cows))


def _numbers(table: pd.DataFrame, recorded: pd.DataFrame) -> list[int]:
    """Which visit of its kind each is to its farm, counted on from the days recorded of such visits.

    A visit that was made and recorded leaves the plan and raises what is recorded, so that the next keeps its number.
    """
    had = {(str(row["farm"]), kind): 0 for row in recorded.to_dict("records") for kind in RECORDED_AS}
    for row in recorded.to_dict("records"):
        for kind, kinds in RECORDED_AS.items():
            if row["visit_kind"] in kinds or (pd.isna(row["visit_kind"]) and "unknown" in kinds):
                had[str(row["farm"]), kind] += int(row["days"])
    out = []
    for farm, kind in zip(table["farm"], table["kind"], strict=True):
        had[farm, kind] = had.get((farm, kind), 0) + 1
        out.append(had[farm, kind])
    return out


Asked = tuple[dt.date, str, str]
"""The day a cow comes due, her number, and why."""


def _fill(calendar: Calendar, due: Due, horizon: dt.date) -> None:
    """Whole-herd visits first, as they take the most room; then cows that come due; then those that cannot wait."""
    cows = due.herd["farm"].value_counts()
    farms = sorted(cows.index)
    routine: dict[str, list[Asked]] = {farm: [] for farm in farms}
    soon: dict[str, list[Asked]] = {farm: [] for farm in farms}
    reasons = due.reasons[due.reasons["due_on"] <= pd.Timestamp(horizon)]
    for farm, cow, kind, day in zip(
        reasons["farm"], reasons["cow"], reasons["kind"], reasons["due_on"].dt.date, strict=True
    ):
        if kind in ROUTINE:
            routine[farm].append((day, cow, kind))
        elif kind in SOON:
            soon[farm].append((day, cow, kind))
    whole: dict[str, list[Visit]] = {}
    targets = []
    herds = _herds_in_order(due)
    for farm in farms:
        first = _first_days(routine[farm])
        if len(first) >= WHOLE_HERD_SHARE * cows[farm] and first:
            middle = sorted(first.values())[(len(first) - 1) // 2]
            targets.append((middle, farm, herds[farm]))
    done_soon = {farm for target, farm, _ in targets if target <= calendar.first + WITHIN_A_WEEK}
    for farm in (name for name in farms if name not in done_soon):
        urgent = [each for each in soon[farm] if SOON[each[2]] <= AT_ONCE and each[0] <= calendar.first]
        _put_soon(calendar, urgent, farm)
    for target, farm, herd in sorted(targets):
        whole[farm] = calendar.put(target, farm, "whole-herd", herd)
    for farm in farms:
        for target, batch in batches(
            _not_seen(_between(routine[farm], whole.get(farm, [])), calendar, farm),
            ROUTINE_SLACK,
            ROUTINE_EARLY,
            calendar.first,
        ):
            calendar.put(target, farm, "due", batch)
    for farm in farms:
        _put_soon(calendar, soon[farm], farm)
    calendar.visits = list(_without_those_brought(calendar.visits))


def _without_those_brought(visits: list[Visit]) -> Iterator[Visit]:
    """The visits without the cows that another visit of the weeks before does: of due cows those brought for a recheck,
    of the whole herd those that came due.
    """
    for visit in visits:
        before = [
            other
            for other in visits
            if other.farm == visit.farm
            and other.kind == {"due": "recheck", "whole-herd": "due"}.get(visit.kind)
            and 0 <= (visit.day - other.day).days <= BROUGHT_ANYWAY
        ]
        brought = {cow for other in before for cow in other.cows}
        cows = tuple(cow for cow in visit.cows if cow not in brought)
        if cows:
            yield Visit(visit.day, visit.farm, visit.kind, cows)


def _herds_in_order(due: Due) -> dict[str, tuple[str, ...]]:
    """Each herd as it is brought: those that cannot wait, then group by group, each as the list has them."""
    first = due.reasons.drop_duplicates(COW)[[*COW, "place"]]
    urgent = due.reasons.loc[due.reasons["kind"].isin(URGENT), COW].drop_duplicates().assign(urgent=True)
    order = due.herd[[*COW, "group"]].merge(first, on=COW, how="left").merge(urgent, on=COW, how="left")
    waits = order["urgent"].isna()
    order = order.assign(waits=waits, pen=order["group"].fillna("").where(waits, ""))
    order = order.sort_values(["farm", "waits", "pen", "place"], kind="stable")
    return {str(farm): tuple(cows) for farm, cows in order.groupby("farm")["cow"]}


def _first_days(asked: list[Asked]) -> dict[str, dt.date]:
    """The first day on which each cow comes due."""
    return {cow: day for day, cow, _ in sorted(asked, reverse=True)}


def _between(routine: list[Asked], whole: list[Visit]) -> list[tuple[dt.date, str]]:
    """Cows whose due day lies clear of the whole-herd visit, each with the first such day."""
    if whole:
        begins = whole[0].day - dt.timedelta(days=BEFORE_WHOLE_HERD)
        ends = whole[-1].day + dt.timedelta(days=AFTER_WHOLE_HERD)
        # Only what her days in milk bring round comes due again after a trim; toes start anew.
        routine = [
            (day, cow, kind)
            for day, cow, kind in routine
            if day < begins or (day > ends and kind in ("early", "dry-off"))
        ]
    return [(day, cow) for cow, day in _first_days(routine).items()]


def _not_seen(due: list[tuple[dt.date, str]], calendar: Calendar, farm: str) -> list[tuple[dt.date, str]]:
    """Without the cows that a visit already planned sees about when they come due."""
    early, slack = dt.timedelta(days=BROUGHT_ANYWAY), dt.timedelta(days=ROUTINE_SLACK)
    seen = [(visit.day, cow) for visit in calendar.visits if visit.farm == farm for cow in visit.cows]
    days: dict[str, list[dt.date]] = {}
    for day, cow in seen:
        days.setdefault(cow, []).append(day)
    return [
        (when, cow) for when, cow in due if not any(when - early <= day <= when + slack for day in days.get(cow, []))
    ]


def _put_soon(calendar: Calendar, soon: list[Asked], farm: str) -> None:
    """Cows that cannot wait: at a visit to the farm that falls in their days, else on days of their own."""
    left: list[tuple[dt.date, int, str]] = []
    firsts = {cow: (day, slack) for day, slack, cow in sorted(((d, SOON[k], c) for d, c, k in soon), reverse=True)}
    for cow, (day, slack) in sorted(firsts.items(), key=lambda one: (*one[1], one[0])):
        latest = day + dt.timedelta(days=slack)
        visits = [v for v in calendar.visits if v.farm == farm]
        here = [v for v in visits if day <= v.day <= max(latest, calendar.first)]
        # A day of rechecks sees her for all that is due by then, however late a full calendar has made it.
        hers = [v for v in visits if cow in v.cows]
        held = any((v.kind == "recheck" and v.day >= day) or v in here for v in hers)
        early, late = day - dt.timedelta(days=RECHECK_EARLY), max(latest, calendar.first + WITHIN_A_WEEK)
        held = held or any(v.kind == "whole-herd" and early <= v.day <= late for v in hers)
        if held or any(calendar.join(visit, cow) for visit in here):
            continue
        left.append((day, slack, cow))
    for slack in sorted({each[1] for each in left}):
        part = [(day, cow) for day, own, cow in left if own == slack]
        for target, cows in batches(part, slack, 0, calendar.first):
            free = [cow for cow in cows if not _joined(calendar, farm, target, cow)]
            if free:
                calendar.put(target, farm, "recheck", tuple(free))


def _joined(calendar: Calendar, farm: str, target: dt.date, cow: str) -> bool:
    return any(calendar.join(visit, cow) for visit in calendar.visits if visit.farm == farm and visit.day == target)


def _sorted(calendar: Calendar) -> list[Visit]:
    return sorted(calendar.visits, key=lambda visit: (visit.day, visit.farm, visit.kind))


def _listed(visits: list[Visit], due: Due) -> pd.DataFrame:
    """One row a cow and visit, with what is known to be due by then."""
    rows = [(visit.day, visit.farm, visit.kind, cow) for visit in visits for cow in visit.cows]
    listed = pd.DataFrame(rows, columns=["date", "farm", "kind", "cow"]).reset_index(names="place")
    listed["date"] = pd.to_datetime(listed["date"])
    if due.herd.empty:
        return listed.reindex(columns=[*LISTED]).assign(reason="")
    listed = listed.merge(due.herd[["farm", "cow", "group"]], on=["farm", "cow"], how="left")
    # After a visit a cow starts anew: only what falls due later brings her again, and her toes only where that visit
    # was of rechecks.
    before = listed.sort_values(["date", "place"]).groupby(["farm", "cow"])[["date", "kind"]].shift()
    listed["before"] = before["date"].fillna(pd.Timestamp("1900-01-01"))
    listed["trimmed"] = before["kind"].isin(["whole-herd", "due"])
    told = due.reasons.drop(columns="place").rename(columns={"kind": "why"})
    told = told.assign(order=range(len(told)))
    met = listed.merge(told, on=["farm", "cow"], how="inner")
    early = met["kind"].map({"recheck": BROUGHT_ANYWAY}).fillna(ROUTINE_EARLY)
    by_then = met["date"] + pd.to_timedelta(early, unit="D")
    starts_anew = met["trimmed"] & met["why"].isin(["long-toe", "half-year"])
    starts_anew |= (met["before"] > pd.Timestamp("1900-01-01")) & (met["why"] == "never")
    met = met[(met["due_on"] > met["before"]) & ~starts_anew].assign(by_then=by_then)
    due_by_then = met["due_on"] <= met["by_then"]
    # Days that are not worked may have brought a visit forward: then what falls due next is why it is made.
    soonest = met["due_on"] == met.groupby("place")["due_on"].transform("min")
    moved = ~met["place"].isin(met.loc[due_by_then, "place"]) & (met["kind"] != "whole-herd")
    met = met[due_by_then | (moved & soonest)]
    met = met.sort_values(["place", "order"])
    words = listed_by(met, ["place"], "words").rename("reason")
    listed = listed.join(words, on="place")
    listed = listed.assign(reason=listed["reason"].where(listed["reason"].notna(), ""))
    listed = listed.merge(
        records_of(met.drop(columns="kind").rename(columns={"why": "kind"}), "place"), on="place", how="left"
    )
    order_of_day = listed.sort_values(["date", "farm", "kind", "place"], kind="stable")
    return order_of_day[list(LISTED)].reset_index(drop=True)


def _cautions(due: Due, table: pd.DataFrame) -> tuple[Message, ...]:
    if due.herd.empty:
        return (say("Not enough to say: no cow is known to be in the herd on that day."),)
    out = [
        say(
            "These days are proposals from what is recorded now: cows calve, leave and go lame, and the list is to be "
            "worked out anew before each visit."
        ),
        DEFER,
    ]
    # Of no reasons the map is no mask.
    vet = due.reasons[due.reasons["kind"].map(lambda kind: REASONS[kind].who == "veterinarian").astype(bool)]
    cows = len(vet[["farm", "cow"]].drop_duplicates())
    if cows:
        out.append(
            say(
                "{n} cows are for the veterinarian first and must not wait for a day of this plan; see the list.",
                n=cows,
            )
        )
    if table.empty:
        out.append(say("No cow comes due within the time planned."))
    return tuple(out)


def _nobody(day: ListDay, level: float) -> Answer:
    table, cows = (pd.DataFrame(columns=list(names)) for names in (COLUMNS, LISTED))
    extra = {"cows": cows, "day": day.frame()}
    return Answer("plan", table, Basis(level=level), (nothing_near(day),), (), extra)
