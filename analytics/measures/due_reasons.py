"""Why a cow should be seen: each reason with whom it is for, when it falls due, and its words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analytics.tally.needs import REASONS as NEEDS
from analytics.tally.needs import RECENT_DAYS
from analytics.trade.horn import BLOCK_WEEKS, TRIMS_PER_YEAR
from analytics.trade.horn_limits import HornLimits
from analytics.trade.lesions import LESIONS
from analytics.words import Length, say, unfilled

EARLY_DAYS = (60, 150)
"""Days in milk between which feet are looked at as a rule, after the strain of calving [common practice, no source]"""

DRY_OFF_DAYS = 305
"""Days in milk at which cows are dried off and looked at as a rule [common practice, no source]"""

DRY_OFF_UNTIL_DAYS = 450
"""Beyond this a missing move to the dry cows says more of the register than of the cow. [common practice, no source]"""

LOOKED_BEFORE_DRY_DAYS = 60
"""A cow looked at so shortly before drying off need not be again. [common practice, no source]"""

LEAST_DAYS_BETWEEN = 120
"""For length alone a cow is not asked back sooner than this after a trim. [common practice, no source]"""

REPEAT_DAYS = 42
"""A lesion found twice on one foot is looked at again so many days after. [common practice, no source]"""

LEFT_ALONE_DAYS = 60
"""How long a foot that had shed its horn completely is taken to need nothing. [common practice, no source]"""

NEVER_AFTER_DAYS = 60
"""A cow never looked at is due so many days after she entered the herd. [common practice, no source]"""


@dataclass(frozen=True)
class Reason:
    """A reason: for whom (veterinarian, trimmer, watch) and what it says."""

    who: str
    words: str


TO_ASK = unfilled("{reason}: ask your veterinarian")
VETERINARIAN = TO_ASK.removeprefix("{reason}")

REASONS: dict[str, Reason] = {
    "severe": Reason("veterinarian", NEEDS["severe"]),
    "deep": Reason("veterinarian", NEEDS["deep"]),
    "exposed": Reason("veterinarian", say("Toe broken off far beyond the line and lame") + VETERINARIAN),
    "thin-lame": Reason("veterinarian", say("Thin sole and lame") + VETERINARIAN),
    "referred": Reason("veterinarian", say("Referred to the veterinarian at a visit") + VETERINARIAN),
    "returning": Reason("veterinarian", NEEDS["returning"]),
    "forgotten-block": Reason("trimmer", unfilled("Block on since {day}, longer than {weeks} weeks: forgotten?")),
    "recheck": Reason("trimmer", unfilled("Recheck asked for {day}")),
    "lame": Reason("trimmer", unfilled("Lame when scored on {day}, not looked at since")),
    "block": Reason("trimmer", unfilled("Block put on {day} is due off")),
    "repeat": Reason("trimmer", unfilled("{lesion} twice or more on the same foot within a year, last on {day}")),
    "never": Reason("trimmer", say("Never looked at")),
    "long-toe": Reason("trimmer", unfilled("Toe expected to pass {limit} about {day} (between {first} and {last})")),
    "early": Reason("trimmer", say("60 to 150 days in milk and not looked at since calving")),
    "dry-off": Reason("trimmer", say("Usual time to look: drying off")),
    "half-year": Reason("trimmer", unfilled("Half a year since her last trim on {day}")),
    "leave": Reason("watch", unfilled("Leave her: complete natural shedding on {day}, not lame")),
}
"""Every reason, the most pressing first among those due on one day."""


def reasons_of(herd: pd.DataFrame, toes: pd.DataFrame, on: dt.date, limits: HornLimits) -> pd.DataFrame:
    """One row a cow and reason.

    Parameters
    ----------
    herd : pandas.DataFrame
        As :func:`analytics.tally.due.herd_on` gives it.
    toes : pandas.DataFrame
        As :func:`analytics.measures.toe_forecast.toes_carried_on` gives it.
    on : datetime.date
        Today: no reason falls due before it.
    limits : HornLimits

    Returns
    -------
    pandas.DataFrame
        farm, cow, kind (a key of ``REASONS``), due_on, words.
    """
    today = pd.Timestamp(on)
    cows = (
        herd.merge(toes, on=["farm", "cow"], how="left") if len(toes) else herd.reindex(columns=[*herd.columns, *_TOE])
    )
    cows = cows.assign(long_from=_horn_due(cows), is_lame=_lately_lame(cows, today), today=today)
    cows = _own_limits(cows, limits)
    parts = []
    for kind, found in _FINDERS.items():
        who, due = found(cows, today)
        if not who.any():
            continue
        part = cows.loc[who, ["farm", "cow"]].assign(kind=kind)
        part["due_on"] = due[who].where(due[who] > today, today)
        part["words"] = [_words(kind, row) for row in cows[who].to_dict("records")]
        parts.append(part)
    columns = ["farm", "cow", "kind", "due_on", "words"]
    if not parts:
        return pd.DataFrame({name: pd.Series(dtype="str") for name in columns}).assign(
            due_on=pd.Series(dtype="datetime64[us]")
        )
    return pd.concat(parts, ignore_index=True)[columns]


_TOE = ("passes_on", "passes_from", "passes_to", "limit_mm")

Found = tuple[pd.Series, pd.Series]


def _days(number: float) -> pd.Timedelta:
    return pd.Timedelta(days=number)


def _since(cows: pd.DataFrame, name: str, today: pd.Timestamp, days: float) -> pd.Series:
    return (cows[name] >= today - _days(days)).fillna(False)


def _lately_lame(cows: pd.DataFrame, today: pd.Timestamp) -> pd.Series:
    return (cows["lame"] == 1).fillna(False) & _since(cows, "scored_on", today, RECENT_DAYS)


def _horn_due(cows: pd.DataFrame) -> pd.Series:
    """The later of the day her toe passes the limit and the end of the rest after a trim."""
    rest = cows["trimmed_on"] + _days(LEAST_DAYS_BETWEEN)
    passes = pd.to_datetime(cows["passes_on"])
    return passes.where(passes.isna() | rest.isna() | (passes >= rest), rest)


def _own_limits(cows: pd.DataFrame, limits: HornLimits) -> pd.DataFrame:
    if not limits.exceptions:
        return cows.assign(thin_limit=limits.thin_sole_mm, break_limit=limits.toe_break_mm)
    own = [
        limits.of(
            row["farm"],
            None if pd.isna(row["breed"]) else row["breed"],
            None if pd.isna(row["parity"]) else int(row["parity"]),
        )
        for row in cows[["farm", "breed", "parity"]].to_dict("records")
    ]
    return cows.assign(thin_limit=[one.thin_sole_mm for one in own], break_limit=[one.toe_break_mm for one in own])


def _severe(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return (cows["severe"] == 1).fillna(False) & _since(cows, "scored_on", today, RECENT_DAYS), cows["today"]


def _deep(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return cows["deep_on"].notna(), cows["today"]


def _exposed(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    far = (cows["break_mm"] > cows["break_limit"]).fillna(False) & _since(cows, "horn_on", today, RECENT_DAYS)
    return far & (cows["is_lame"] | (cows["horn_lame"] == 1).fillna(False)), cows["today"]


def _thin_lame(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    thin = (cows["sole_mm"] < cows["thin_limit"]).fillna(False) & _since(cows, "horn_on", today, RECENT_DAYS)
    return (thin | cows["thin_on"].notna()) & cows["is_lame"], cows["today"]


def _referred(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return cows["refer_on"].notna(), cows["today"]


def _returning(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    """While it is fresh, or nobody has looked since: a clean look afterwards ends it."""
    open_still = (cows["looked_on"] <= cows["returning_on"]).fillna(False)
    return cows["returning_on"].notna() & (open_still | _since(cows, "returning_on", today, RECENT_DAYS)), cows["today"]


def _forgotten_block(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return cows["block_on"].notna() & ~_since(cows, "block_on", today, BLOCK_WEEKS[1] * 7), cows["today"]


def _block(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    """Not where a recheck was asked for: that is the day it comes off."""
    fresh = cows["block_on"].notna() & _since(cows, "block_on", today, BLOCK_WEEKS[1] * 7)
    return fresh & cows["recheck_on"].isna(), cows["block_on"] + _days(BLOCK_WEEKS[0] * 7)


def _recheck(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return cows["recheck_on"].notna(), cows["recheck_on"]


def _lame(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    unseen = cows["looked_on"].isna() | (cows["looked_on"] < cows["scored_on"])
    return cows["is_lame"] & unseen & ~(cows["severe"] == 1).fillna(False), cows["today"]


def _repeat(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    """Not looked at since it was last found; a case that returns oftener is the veterinarian's already."""
    unseen = (cows["looked_on"] <= cows["repeat_on"]).fillna(False)
    return cows["repeat_on"].notna() & unseen & ~_returning(cows, today)[0], cows["repeat_on"] + _days(REPEAT_DAYS)


def _never(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    due = cows["entered_on"] + _days(NEVER_AFTER_DAYS)
    return cows["looked_on"].isna(), due.where(due.notna(), cows["today"])


def _leave(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    done = (cows["stage_low"] == 5).fillna(False) & _since(cows, "horn_on", today, LEFT_ALONE_DAYS)
    return done & ~cows["is_lame"] & ~(cows["horn_lame"] == 1).fillna(False), cows["today"]


def _long_toe(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return cows["long_from"].notna() & ~_leave(cows, today)[0], cows["long_from"]


def _early(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    first, last = (cows["calved_on"] + _days(days) for days in EARLY_DAYS)
    unseen = cows["trimmed_on"].isna() | (cows["trimmed_on"] < cows["calved_on"])
    return cows["calved_on"].notna() & (last >= today).fillna(False) & unseen & cows["looked_on"].notna(), first


def _dry_off(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    due = cows["calved_on"] + _days(DRY_OFF_DAYS)
    dry = cows["group"].fillna("").str.casefold().str.contains("dry")
    late = cows["calved_on"] < today - _days(DRY_OFF_UNTIL_DAYS)
    reckoned = due.where(due > today, today)
    looked = (cows["trimmed_on"] >= reckoned - _days(LOOKED_BEFORE_DRY_DAYS)).fillna(False)
    return due.notna() & ~dry & ~late & ~looked, due


def _half_year(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return cows["trimmed_on"].notna() & ~_leave(cows, today)[0], cows["trimmed_on"] + _days(round(365 / TRIMS_PER_YEAR))


_FINDERS: dict[str, Callable[[pd.DataFrame, pd.Timestamp], Found]] = {
    "severe": _severe,
    "deep": _deep,
    "exposed": _exposed,
    "thin-lame": _thin_lame,
    "referred": _referred,
    "returning": _returning,
    "forgotten-block": _forgotten_block,
    "recheck": _recheck,
    "lame": _lame,
    "block": _block,
    "repeat": _repeat,
    "never": _never,
    "long-toe": _long_toe,
    "early": _early,
    "dry-off": _dry_off,
    "half-year": _half_year,
    "leave": _leave,
}

_DAY_OF = {
    "forgotten-block": "block_on",
    "block": "block_on",
    "recheck": "recheck_on",
    "lame": "scored_on",
    "repeat": "repeat_on",
    "long-toe": "passes_on",
    "half-year": "trimmed_on",
    "leave": "horn_on",
}


def _words(kind: str, row: dict[Any, Any]) -> str:
    template = REASONS[kind].words
    if "{" not in template:
        return template
    lesion = LESIONS.get(str(row.get("repeat_lesion")))
    name = lesion.name if lesion else say("lesion")
    return template.format(
        day=_day(row[_DAY_OF[kind]]),
        weeks=BLOCK_WEEKS[1],
        lesion=name[:1].upper() + name[1:],
        limit=Length(row.get("limit_mm") or np.nan),
        first=_day(row.get("passes_from")),
        last=_day(row.get("passes_to")),
    )


def _day(value: Any) -> str:
    return say("later") if value is None or pd.isna(value) else f"{pd.Timestamp(value):%Y-%m-%d}"
