"""Cows that need someone: severely lame, an open recheck, a finding for the veterinarian, a returning case."""

from __future__ import annotations

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch_many, question_of, table
from analytics.tally.late import ibis
from analytics.tally.narrow import of_farm_and_period
from analytics.tally.scoring import one_scoring_a_day
from analytics.tally.selection import Selection
from analytics.words import say

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
    frames = fetch_many(ledger, _questions(selection))
    as_of = pd.Timestamp(frames["as_of"]["day"].iloc[0])
    parts = []
    for name in REASONS:
        frame = returning_cases(frames["days"], as_of) if name == "returning" else frames[name]
        frame = frame.assign(since=pd.to_datetime(frame["since"]), reason=REASONS[name])
        if name in ("severe", "deep"):
            frame = frame[frame["since"] >= as_of - pd.Timedelta(days=RECENT_DAYS)]
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
def _questions(selection: Selection) -> dict[str, Question]:
    everything = selection.with_(visits=("all",), lesions=(), families=(), feet=(), claws=(), zones=(), severity=())
    found = of_farm_and_period("findings", everything)
    seen = of_farm_and_period("trims", everything)
    rows = of_farm_and_period("scores", everything)
    gone = ibis.union(seen.agg(day=seen.visit_date.max()), rows.agg(day=rows.visit_date.max()))
    last_seen = seen.group_by(["farm", "cow"]).agg(seen_on=seen.visit_date.max())
    day = one_scoring_a_day(everything)
    window = ibis.window(group_by=["farm", "cow"], order_by=ibis.desc("visit_date"))
    newest = day.mutate(place=ibis.row_number().over(window)).filter(lambda t: t.place == 0)
    returning = found.filter(found.foot.notnull()).group_by(["farm", "cow", "foot", "lesion"])
    cows = table("cows")
    asked = {
        "as_of": gone.agg(day=gone.day.max()),
        "severe": newest.filter(newest.severe == 1).select("farm", "cow", since=newest.visit_date),
        "deep": found.filter(found.lesion.isin(FOR_THE_VETERINARIAN))
        .group_by(["farm", "cow"])
        .agg(since=found.visit_date.max()),
        "days": returning.agg(days=found.visit_date.collect(distinct=True)),
        "recheck": open_rechecks(found, last_seen),
        "left": cows.filter(cows.left_on.notnull()).select("farm", "cow", "left_on"),
    }
    return {name: question_of(each) for name, each in asked.items()}


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
