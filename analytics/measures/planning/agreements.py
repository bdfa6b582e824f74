"""What was agreed, whether it was done, and what became of the lesion it was for."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pandas as pd

from evenfoot.analytics.clock import today
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.agreements import read
from evenfoot.analytics.ledger.derive import VISIT_GAP_DAYS
from evenfoot.analytics.measures.answer import Answer, messages
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.selection import Selection

OPEN, OVERDUE, DONE = "open", "overdue", "done"
STATES = (OVERDUE, OPEN, DONE)
"""In the order they are listed in."""

YEAR_DAYS = 365
"""Visits so many days up to the day something was agreed say how it was then: one round of the seasons.
[common practice, no source]"""

COLUMNS = (
    "number", "farm", "agreed_on", "text", "who", "due_on", "lesion", "place", "state", "done_on", "outcome",
    "before_cases", "before_looks", "before", "now_on", "now_cases", "now_looks", "now", "verdict", "since",
)  # fmt: skip

COUNTS = ("before_cases", "before_looks", "now_cases", "now_looks")

NOT_CAUSE = say("Other things change in the same months: this is what went together, not what caused it.")


def agreements(ledger: Ledger, selection: Selection, *, on: dt.date | None = None, level: float = 0.95) -> Answer:
    """Tell of everything agreed by a day whether it was done, and what became of its lesion.

    How common a lesion is rests on the whole-herd visits of
    :func:`evenfoot.analytics.measures.lameness.summary.summary`, whose verdict is told as it is: it holds the newest
    visits against the herd's own past, and not against the day something was agreed.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Its farms and ``until`` count, and its lesions if there are any.
    on : date, optional
        The day for which it is told what is open or overdue; today by default.
    level : float
        Confidence level, written into the basis.

    Returns
    -------
    Answer
        ``table``, overdue ones first, then open ones, then those done, the newest first: number, farm, agreed_on, text,
        who, due_on, lesion, place; state (``overdue``, ``open`` or ``done`` by that day), done_on, outcome;
        before_cases of before_looks, cows with the lesion at the whole-herd visits of the year up to the day it was
        agreed on, and before, their share; now_on, the last day of the newest whole-herd visit since, with now_cases,
        now_looks and now; verdict (``worse``, ``better``, ``no-clear-change`` or ``too-few``) and since, a sentence.
        Those from before_cases on are missing where no lesion was named.
    """
    day = on or today()
    rows = read(ledger, selection.farms, allowed=selection.allowed)
    rows = rows[rows["agreed_on"] <= pd.Timestamp(day)]
    if selection.lesions:
        rows = rows[rows["lesion"].isin(selection.lesions)]
    farms = tuple(sorted(set(rows["farm"]))) or selection.farms
    known = Selection(
        farms=farms, until=min(selection.until or day, day), allowed=selection.allowed, hemisphere=selection.hemisphere
    )
    basis, cautions = basis_of(
        ledger, known, level=level, method=say("shares of the cows looked at at whole-herd visits"), notes=(NOT_CAUSE,)
    )
    if rows.empty:
        none = say("Nothing that was agreed is written down.")
        return Answer("agreed", pd.DataFrame(columns=list(COLUMNS)), basis, (*cautions, none), ("farm",))
    seen = _Seen(summary(ledger, known)) if rows["lesion"].notna().any() else None
    told = [_row(row, day, seen) for row in rows.to_dict("records")]
    told.sort(key=_place)
    table = pd.DataFrame(told, columns=list(COLUMNS))
    days = {name: pd.to_datetime(table[name]) for name in ("agreed_on", "due_on", "done_on", "now_on")}
    counts = {name: table[name].astype("Int64") for name in COUNTS}
    shares = {name: table[name].astype(float) for name in ("before", "now")}
    table = table.assign(**days, **counts, **shares, since=messages(table["since"]))
    return Answer("agreed", table, basis, cautions, ("farm",))


class _Seen:
    """What the summary knows of lesions at whole-herd visits."""

    def __init__(self, answer: Answer) -> None:
        visits = answer.extra["visits"]
        kinds = {(row["farm"], row["what"]): row for row in answer.table.to_dict("records")}
        whole = {farm for (farm, what), row in kinds.items() if what == "any" and row["kind"] == "whole-herd"}
        self._visits = visits[visits["farm"].isin(whole)]
        self._rows = kinds

    def visits(self, farm: str, lesion: str) -> pd.DataFrame:
        """date, cases, at_risk of the whole-herd visits, the oldest first; a lesion never found has no cases."""
        mine = self._visits[self._visits["farm"] == farm]
        found = mine[mine["what"] == lesion]
        if found.empty:
            found = mine[mine["what"] == "any"].assign(cases=0)
        return found.sort_values("date")[["date", "cases", "at_risk"]]

    def verdict(self, farm: str, lesion: str) -> str:
        """The verdict on a lesion; one that was never found did not change."""
        row = self._rows.get((farm, lesion))
        return "no-clear-change" if row is None else str(row["verdict"])


def _row(row: dict[Any, Any], day: dt.date, seen: _Seen | None) -> dict[str, Any]:
    done = row["done_on"] if pd.notna(row["done_on"]) and row["done_on"] <= pd.Timestamp(day) else None
    late = pd.notna(row["due_on"]) and row["due_on"] < pd.Timestamp(day)
    kept = {name: row[name] for name in ("farm", "agreed_on", "text", "who", "due_on", "lesion", "place")}
    out = dict.fromkeys(COLUMNS) | kept | {"number": int(row["agreement_no"]), "done_on": done}
    out["state"] = DONE if done is not None else OVERDUE if late else OPEN
    out["outcome"] = row["outcome"] if done is not None else None
    if seen is not None and isinstance(row["lesion"], str):
        out |= _became(row, seen)
    return out


def _became(row: dict[Any, Any], seen: _Seen) -> dict[str, Any]:
    """How common the lesion was and is, with a verdict and a sentence."""
    visits = seen.visits(row["farm"], row["lesion"])
    # A visit of several days during which something was agreed was before it.
    last = row["agreed_on"] + pd.Timedelta(days=VISIT_GAP_DAYS)
    then = visits[(visits["date"] <= last) & (visits["date"] > row["agreed_on"] - pd.Timedelta(days=YEAR_DAYS))]
    since = visits[visits["date"] > last].tail(1)
    out: dict[str, Any] = {
        "before_cases": int(then["cases"].sum()),
        "before_looks": int(then["at_risk"].sum()),
        "now_cases": int(since["cases"].sum()),
        "now_looks": int(since["at_risk"].sum()),
        "now_on": since["date"].iloc[0] if len(since) else pd.NaT,
    }
    out["before"] = _share(out["before_cases"], out["before_looks"])
    out["now"] = _share(out["now_cases"], out["now_looks"])
    enough = min(out["before_looks"], out["now_looks"]) >= FEW_COWS
    out["verdict"] = seen.verdict(row["farm"], row["lesion"]) if enough else "too-few"
    return out | {"since": _said(out)}


def _share(cases: int, looks: int) -> float:
    return cases / looks if looks else math.nan


def _said(out: dict[str, Any]) -> Message:
    """What became of the lesion, in one sentence."""
    if not out["before_looks"] and not out["now_looks"]:
        return say("The whole herd was looked at neither in the year before nor since.")
    if not out["now_looks"]:
        return say(
            "In the year before {before} of 100 cows had it ({cases} of {n} looks at cows); the whole herd was not "
            "looked at since.",
            before=_hundred(out["before"]),
            cases=out["before_cases"],
            n=out["before_looks"],
        )
    newest = {
        "now": _hundred(out["now"]),
        "now_cases": out["now_cases"],
        "now_n": out["now_looks"],
        "day": out["now_on"].date(),
    }
    if not out["before_looks"]:
        return say(
            "At the newest visit on {day} {now} of 100 cows had it ({now_cases} of {now_n}); the whole herd was not "
            "looked at in the year before.",
            **newest,
        )
    return say(
        "In the year before {before} of 100 cows had it ({cases} of {n} looks at cows), at the newest visit on {day} "
        "{now} of 100 ({now_cases} of {now_n}).",
        before=_hundred(out["before"]),
        cases=out["before_cases"],
        n=out["before_looks"],
        **newest,
    )


def _hundred(share: float) -> str:
    return f"{100 * share:.0f}"


def _place(row: dict[str, Any]) -> tuple[int, float, int]:
    """Where a row stands: by state; open ones by when they are due, those done by when they were."""
    day = row["done_on"] if row["state"] == DONE else row["due_on"]
    moment = math.inf if pd.isna(day) else pd.Timestamp(day).timestamp()
    return STATES.index(row["state"]), -moment if row["state"] == DONE else moment, row["number"]
