"""Cows that need someone: severely lame, an open recheck, a finding for the veterinarian, a returning case."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch, fetch_many, question_of, table
from analytics.tally.late import ibis
from analytics.tally.narrow import of_farm_and_period
from analytics.tally.scoring import one_scoring_a_day
from analytics.tally.selection import Selection
from analytics.words import say

if TYPE_CHECKING:
    import ibis.expr.types as ir

RECENT_DAYS = 60
"""A finding or score older than this no longer says what a cow needs now. [common practice, no source]"""

RETURNING_DAYS = 365
RETURNING_TIMES = 3
"""The same lesion on the same foot on this many days within a year is a case that keeps coming back.
[common practice, no source]"""

FOR_THE_VETERINARIAN = ("IP", "TN")
"""Interdigital phlegmon and toe necrosis: deep or spreading infection. [common practice, no source]"""

REASONS = {
    "severe": say("Severely lame when last scored") + ": ask your veterinarian",
    "deep": say("Deep or spreading infection recorded") + ": ask your veterinarian",
    "returning": say("Same lesion on the same foot keeps coming back") + ": ask your veterinarian",
    "recheck": say("Recheck is due and she has not been seen since"),
}


def cows_in_need(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """Cows that need someone, as of the newest record of the selection, most pressing first.

    Every visit counts here, whatever kind the selection asks for: a lame-cow call is exactly where such
    cows are seen. Cows that have left are not listed.

    Returns
    -------
    pandas.DataFrame
        cow, farm, reason (in words), since (date of the record that says so). ``attrs["as_of"]`` is the
        date of the newest record.
    """
    selection = selection.with_(visits=("all",), lesions=(), families=(), feet=(), claws=(), zones=(), severity=())
    newest = fetch(ledger, _newest(selection))["day"].iloc[0]
    if pd.isna(newest):
        out = pd.DataFrame({name: pd.Series(dtype="str") for name in ("cow", "farm", "reason")})
        return out.assign(since=pd.Series(dtype="datetime64[us]"))
    as_of = pd.Timestamp(newest)
    frames = fetch_many(ledger, _questions(selection, as_of.date()))
    parts = []
    for name in REASONS:
        frame = frames[name]
        frame = frame.assign(since=pd.to_datetime(frame["since"]), reason=REASONS[name])
        if name == "recheck":
            frame = frame[frame["since"] <= as_of]
        parts.append(frame.sort_values(["since", "farm", "cow"], ascending=[False, True, True]))
    out = pd.concat(parts, ignore_index=True)
    left = frames["left"]
    out = out.merge(left, on=["farm", "cow"], how="left")
    out = out[out["left_on"].isna() | (pd.to_datetime(out["left_on"]) > as_of)]
    out = out.groupby(["farm", "cow"], sort=False, as_index=False).agg(
        reason=("reason", lambda s: "; ".join(dict.fromkeys(s))), since=("since", "max")
    )
    out = out[["cow", "farm", "reason", "since"]].reset_index(drop=True)
    out.attrs["as_of"] = as_of
    return out


@built_once
def _newest(selection: Selection) -> Question:
    seen, rows = of_farm_and_period("trims", selection), of_farm_and_period("scores", selection)
    days = ibis.union(seen.agg(day=seen.visit_date.max()), rows.agg(day=rows.visit_date.max()))
    return question_of(days.agg(day=days.day.max()))


@built_once
def _questions(selection: Selection, as_of: dt.date) -> dict[str, Question]:
    """Records too old to say what a cow needs now never leave the engine, nor are they looked at."""
    recent, lately = as_of - dt.timedelta(days=RECENT_DAYS), as_of - dt.timedelta(days=RETURNING_DAYS)
    found = of_farm_and_period("findings", selection)
    seen = of_farm_and_period("trims", selection)
    last_seen = seen.group_by(["farm", "cow"]).agg(seen_on=seen.visit_date.max())
    day = one_scoring_a_day(_since(selection, recent))
    window = ibis.window(group_by=["farm", "cow"], order_by=ibis.desc("visit_date"))
    newest = day.mutate(place=ibis.row_number().over(window)).filter(lambda t: t.place == 0)
    deep = found.filter(found.lesion.isin(FOR_THE_VETERINARIAN), found.visit_date >= recent)
    cows = table("cows")
    asked = {
        "severe": newest.filter(newest.severe == 1).select("farm", "cow", since=newest.visit_date),
        "deep": deep.group_by(["farm", "cow"]).agg(since=deep.visit_date.max()),
        "returning": _returning(found.filter(found.foot.notnull(), found.visit_date > lately)),
        "recheck": open_rechecks(found, last_seen),
        "left": cows.filter(cows.left_on.notnull()).select("farm", "cow", "left_on"),
    }
    return {name: question_of(each) for name, each in asked.items()}


def _since(selection: Selection, day: dt.date) -> Selection:
    return selection.with_(since=max(day, selection.since) if selection.since else day)


def _returning(found: ir.Table) -> ir.Table:
    """Cows with the same lesion on the same foot on at least RETURNING_TIMES of the days given: farm, cow, since."""
    days = found.select("farm", "cow", "foot", "lesion", "visit_date").distinct()
    cases = days.group_by(["farm", "cow", "foot", "lesion"]).agg(times=days.count(), since=days.visit_date.max())
    cases = cases.filter(cases.times >= RETURNING_TIMES)
    return cases.group_by(["farm", "cow"]).agg(since=cases.since.max())


def open_rechecks(found: ibis.Table, last_seen: ibis.Table) -> ibis.Table:
    """Cows asked back and not seen since: farm, cow, since (the day asked for).

    *found* has farm, cow, visit_date and recheck_on; *last_seen* farm, cow and seen_on.
    """
    asked = found.filter(found.recheck_on.notnull())
    per_cow = asked.group_by(["farm", "cow"]).agg(since=asked.recheck_on.max(), asked_on=asked.visit_date.max())
    both = per_cow.join(last_seen, ["farm", "cow"])
    return both.filter(both.seen_on <= both.asked_on).select("farm", "cow", "since")


def returning_cases(days: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """Cows with the same lesion on the same foot on at least RETURNING_TIMES days of the last year."""
    if days.empty:
        return pd.DataFrame(columns=["farm", "cow", "since"])
    long = days.explode("days").assign(days=lambda f: pd.to_datetime(f["days"]))
    long = long[long["days"] > as_of - pd.Timedelta(days=RETURNING_DAYS)]
    counted = long.groupby(["farm", "cow", "foot", "lesion"])["days"].agg(["size", "max"]).reset_index()
    counted = counted[counted["size"] >= RETURNING_TIMES]
    return counted.groupby(["farm", "cow"], as_index=False).agg(since=("max", "max"))
