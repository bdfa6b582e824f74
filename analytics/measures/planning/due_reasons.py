"""Why a cow should be seen: each reason with whom it is for, when it falls due, and its words."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.feet import CLAW_NAMES
from evenfoot.analytics.domain.horn import BLOCK_WEEKS, TRIMS_PER_YEAR
from evenfoot.analytics.domain.horn_limits import HornLimits
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.domain.locomotion import SCALES
from evenfoot.analytics.domain.visits import ACTIONS
from evenfoot.analytics.measures.answer import messages
from evenfoot.analytics.messages import N_, Length, Message, listed, say
from evenfoot.analytics.queries.cow_status import COW, PLACE, RECENT_DAYS, SCORE_DAYS, KnownHerd

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
    """A reason: for whom (veterinarian, trimmer, watch), what it says, and whether it can wait for a day of the round.

    ``about`` is the kind of the records it rests on (:class:`evenfoot.analytics.queries.cow_status.KnownHerd`).
    """

    who: str
    words: str
    about: str = ""
    can_wait: bool = False


TO_ASK = N_("{reason}: ask your veterinarian")

REASONS: dict[str, Reason] = {
    "severe": Reason("veterinarian", say(TO_ASK, reason=say("Severely lame when last scored")), "newest"),
    "deep": Reason("veterinarian", say(TO_ASK, reason=say("Deep or spreading infection recorded")), "deep"),
    "exposed": Reason("veterinarian", say(TO_ASK, reason=say("Toe broken off far beyond the line and lame")), "break"),
    "thin-lame": Reason("veterinarian", say(TO_ASK, reason=say("Thin sole and lame")), "thin"),
    "referred": Reason("veterinarian", say(TO_ASK, reason=say("Referred to the veterinarian at a visit")), "refer"),
    "returning": Reason(
        "veterinarian", say(TO_ASK, reason=say("Same lesion on the same foot keeps coming back")), "returning"
    ),
    "forgotten-block": Reason("trimmer", N_("Block on since {day}, longer than {weeks} weeks: forgotten?"), "block"),
    "recheck": Reason("trimmer", N_("Recheck asked for {day}"), "recheck"),
    "lame": Reason("trimmer", N_("Lame when scored on {day}, not looked at since"), "newest"),
    "block": Reason("trimmer", N_("Block put on {day} is due off"), "block"),
    "repeat": Reason("trimmer", N_("{lesion} twice or more on the same foot within a year, last on {day}"), "repeat"),
    "never": Reason("trimmer", say("Never looked at"), can_wait=True),
    "long-toe": Reason(
        "trimmer",
        N_("Toe expected to pass {limit} about {day} (between {first} and {last})"),
        "toe",
        can_wait=True,
    ),
    "early": Reason("trimmer", say("60 to 150 days in milk and no routine trim since calving"), can_wait=True),
    "dry-off": Reason("trimmer", say("Usual time to look: drying off"), can_wait=True),
    "half-year": Reason("trimmer", N_("Half a year since her last routine trim on {day}"), can_wait=True),
    "leave": Reason("watch", N_("Leave her: complete natural shedding on {day}, not lame")),
}
"""Every reason, the most severe first. [common practice, no source]"""

WHO = ("veterinarian", "trimmer", "watch")
URGENT = tuple(kind for kind, reason in REASONS.items() if reason.who != "watch" and not reason.can_wait)
"""Reasons that cannot wait for a day of the round."""

COLUMNS = ("farm", "cow", "kind", "since", "due_on", "words", *PLACE, "found_on", "also")


def reasons_of(
    known: KnownHerd, toes: pd.DataFrame, on: dt.date, limits: HornLimits, kinds: Collection[str] = tuple(REASONS)
) -> pd.DataFrame:
    """Every reason to see a cow: the one place that decides what is open or falls due for whom.

    Parameters
    ----------
    known : KnownHerd
        As :func:`evenfoot.analytics.queries.cow_status.known_on` gives it.
    toes : pandas.DataFrame
        As :func:`evenfoot.analytics.measures.horn.toe_forecast.toes_carried_on` gives it; without rows no toe is
        expected to be long.
    on : datetime.date
        Today: no reason falls due before it.
    limits : HornLimits
    kinds : collection of str
        The reasons asked for; whether one is open never depends on the others asked for.

    Returns
    -------
    pandas.DataFrame
        One row a cow and reason: farm, cow, kind (a key of ``REASONS``), since (the day it is open since, or falls
        due), due_on (the same, today at the soonest: what is due today is open), words; foot, claw, lesion, action,
        recheck_on, found_on of the record it rests on, where there is one; also (further places, in words).
    """
    today, herd = pd.Timestamp(on), known.cows
    cows = herd.merge(toes, on=COW, how="left") if len(toes) else herd.reindex(columns=[*herd.columns, *_TOE])
    cows = cows.assign(long_from=_horn_due(cows), is_lame=lame_lately(cows, today), today=today)
    cows = _own_limits(cows, limits)
    parts = []
    for kind in (each for each in REASONS if each in kinds):
        who, since = _FINDERS[kind](cows, today)
        if not who.any():
            continue
        part = cows.loc[who, COW].assign(kind=kind, since=pd.to_datetime(since[who]))
        part["due_on"] = part["since"].where(part["since"] > today, today)
        part["words"] = messages(_words(kind, cows[who]), part.index)
        parts.append(part)
    if not parts:
        return no_reasons()
    out = pd.concat(parts, ignore_index=True)
    out["about"] = out["kind"].map({kind: reason.about for kind, reason in REASONS.items()})
    places = pd.concat([known.places, _of_horn(cows)], ignore_index=True).rename(columns={"kind": "about"})
    places = _one_place(places.merge(out[[*COW, "about"]].drop_duplicates()))
    return out.merge(places, on=[*COW, "about"], how="left")[list(COLUMNS)]


def no_reasons() -> pd.DataFrame:
    """No reason of no cow."""
    days = ("since", "due_on", "recheck_on", "found_on")
    return pd.DataFrame({name: pd.Series(dtype="datetime64[us]" if name in days else "str") for name in COLUMNS})


def in_order(reasons: pd.DataFrame, herd: pd.DataFrame, on: dt.date) -> pd.DataFrame:
    """Reasons in the order of every list: cow after cow, the most pressing first, and so the reasons of each cow.

    First those for the veterinarian, then the trimmer's, then those to watch; what is open today before what falls due
    later, of which the soonest comes first; then the severity of the reason (its place in ``REASONS``), the locomotion
    score, the lame first, and how long it has waited. What is still alike: the newest record first, then a digest of
    farm and cow, which is the same every day and says nothing of her number.

    Parameters
    ----------
    reasons : pandas.DataFrame
        As :func:`reasons_of` gives them, all or some.
    herd : pandas.DataFrame
        ``cows`` of :class:`evenfoot.analytics.queries.cow_status.KnownHerd`.
    on : datetime.date

    Returns
    -------
    pandas.DataFrame
        The rows given with ``place``: 0 for all reasons of the first cow, 1 for the next.
    """
    today = pd.Timestamp(on)
    severity = {kind: (WHO.index(reason.who), place) for place, (kind, reason) in enumerate(REASONS.items())}
    rows = reasons.assign(
        for_whom=[severity[kind][0] for kind in reasons["kind"]],
        due=reasons["due_on"].where(reasons["due_on"] > today, today),
        severity=[severity[kind][1] for kind in reasons["kind"]],
    )
    rows = rows.sort_values([*COW, "for_whom", "due", "severity", "since"], kind="stable")
    firsts = rows.drop_duplicates(COW).merge(_standing_of(herd, today), on=COW, how="left")
    firsts = firsts.assign(digest=[_digest(*cow) for cow in firsts[COW].itertuples(index=False)])
    by = {"for_whom": True, "due": True, "severity": True, "lameness": False, "since": True, "newest": False}
    order = [*by, "digest"]
    firsts = firsts.sort_values(order, ascending=[*by.values(), True], kind="stable", ignore_index=True)
    placed = firsts[COW].assign(place=range(len(firsts)))
    rows = rows.merge(placed, on=COW).sort_values(["place", "for_whom", "due", "severity"], kind="stable")
    return rows.drop(columns=["for_whom", "due", "severity"]).reset_index(drop=True)


def lame_lately(cows: pd.DataFrame, today: pd.Timestamp) -> pd.Series:
    """Who was lame when last scored, no longer than SCORE_DAYS ago."""
    return (cows["lame"] == 1).fillna(False) & _since(cows, "scored_on", today, SCORE_DAYS)


def _standing_of(cows: pd.DataFrame, today: pd.Timestamp) -> pd.DataFrame:
    """How lame each cow was when scored of late, as one number to sort by, and the day of her newest record.

    Sound, lame and severely lame, each on her own scale, come first; then the score as a share of its scale.
    """
    lately = _since(cows, "scored_on", today, SCORE_DAYS)
    grade = cows["lame"].fillna(0).astype(float) + cows["severe"].fillna(0).astype(float)
    tops = cows["scale"].map({name: scale.highest for name, scale in SCALES.items()}).astype(float)
    within = (cows["score"].astype(float) / tops).fillna(0.0)
    # No score at all stands with the soundest.
    lameness = (grade + within / 2).where(lately, 0.0)
    return cows[COW].assign(lameness=lameness, newest=cows[["looked_on", "scored_on"]].max(axis=1))


def _digest(farm: str, cow: str) -> str:
    return hashlib.blake2b(f"{farm}|{cow}".encode(), digest_size=8).hexdigest()


def _of_horn(cows: pd.DataFrame) -> pd.DataFrame:
    """The claws that reasons of horn rest on: the toe broken off, the thin sole, the toe expected to be long."""
    parts = []
    for about, columns, day in (
        ("break", ("break_foot", "break_claw"), "horn_on"),
        ("thin", ("sole_foot", "sole_claw"), "horn_on"),
        ("toe", ("foot", "claw"), "left_on"),
    ):
        part = cows[cows[columns[0]].notna()]
        part = part[[*COW, *columns, day]].rename(columns={columns[0]: "foot", columns[1]: "claw", day: "found_on"})
        parts.append(part.assign(kind=about))
    return pd.concat(parts, ignore_index=True).reindex(columns=[*COW, "kind", "found_on", *PLACE])


def _one_place(places: pd.DataFrame) -> pd.DataFrame:
    """One row a cow and kind of record: its first place in columns of their own, further ones in words in ``also``."""
    key = [*COW, "about"]
    rows = places.assign(
        recheck_on=pd.to_datetime(places["recheck_on"]),
        sited=places["foot"].notna(),
        more=places["recheck_on"].notna() | places["action"].isin(["refer", "block", "wrap"]),
    )
    rows = rows.sort_values(
        [*key, "sited", "more", "found_on", "foot", "claw", "lesion", "recheck_on", "action"],
        ascending=[*[True] * len(key), False, False, False, True, True, True, True, True],
        kind="stable",
    )
    rows = rows.drop_duplicates([*key, "foot", "claw", "lesion"])
    first = rows.drop_duplicates(key)[[*key, *PLACE, "found_on"]]
    further = rows[rows.duplicated(key)]
    if further.empty:
        return first.assign(also=None)
    words = messages((place_words(row) for row in further.to_dict("records")), further.index)
    also = listed_by(further.assign(also=words), key, "also")
    return first.merge(also.reset_index(), on=key, how="left")


def listed_by(rows: pd.DataFrame, key: list[str], column: str) -> pd.Series:
    """The sentences of rows that belong together, one after another.

    Parameters
    ----------
    rows : pandas.DataFrame
    key : list of str
        Columns whose rows belong together.
    column : str
        Sentences, of dtype object.

    Returns
    -------
    pandas.Series
        *column*, by *key*; of dtype object.
    """
    together: dict[Any, tuple[Message, ...]] = {}
    places = rows[key[0]] if len(key) == 1 else zip(*(rows[name] for name in key), strict=True)
    for place, said in zip(places, rows[column], strict=True):
        together[place] = (*together.get(place, ()), said)
    # A thousand lists stand for twenty thousand rows.
    lists = {parts: listed(parts, ";") for parts in set(together.values())}
    ordered = sorted(together)
    index = pd.Index(ordered, name=key[0]) if len(key) == 1 else pd.MultiIndex.from_tuples(ordered, names=key)
    return messages((lists[together[place]] for place in ordered), index).rename(column)


def place_words(row: Mapping[Any, Any]) -> str:
    """Where, what, what was done and when to look again, as far as it is known: empty where nothing is.

    Examples
    --------
    >>> place_words({"foot": "LH", "claw": "lateral", "lesion": "SU", "action": "block", "recheck_on": None})
    'LH, outer claw, sole ulcer, block put on'
    """
    parts: list[str] = []
    if _told(row, "foot"):
        parts.append(str(row["foot"]))
    if _told(row, "claw"):
        parts.append(f"{CLAW_NAMES[row['claw']]} claw" if row["claw"] in CLAW_NAMES else str(row["claw"]))
    if _told(row, "lesion"):
        lesion = LESIONS.get(str(row["lesion"]))
        parts.append(lesion.name if lesion else str(row["lesion"]))
    if _told(row, "action"):
        parts.append(ACTIONS.get(str(row["action"]), str(row["action"])))
    if _told(row, "recheck_on"):
        parts.append(say("look again on {day}", day=_day(row["recheck_on"])))
    return listed(parts) if parts else ""


def _told(row: Mapping[Any, Any], name: str) -> bool:
    value = row.get(name)
    return value is not None and not pd.isna(value)


_TOE = ("passes_on", "passes_from", "passes_to", "limit_mm", "foot", "claw", "left_on")

Found = tuple[pd.Series, pd.Series]


def _days(number: float) -> pd.Timedelta:
    return pd.Timedelta(days=number)


def _since(cows: pd.DataFrame, name: str, today: pd.Timestamp, days: float) -> pd.Series:
    return (cows[name] >= today - _days(days)).fillna(False)


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
    return lame_lately(cows, today) & (cows["severe"] == 1).fillna(False), cows["scored_on"]


def _deep(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return cows["deep_on"].notna(), cows["deep_on"]


def _exposed(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    far = (cows["break_mm"] > cows["break_limit"]).fillna(False) & _since(cows, "horn_on", today, RECENT_DAYS)
    return far & (cows["is_lame"] | (cows["horn_lame"] == 1).fillna(False)), cows["horn_on"]


def _thin_lame(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    thin = (cows["sole_mm"] < cows["thin_limit"]).fillna(False) & _since(cows, "horn_on", today, RECENT_DAYS)
    since = cows["horn_on"].where(thin, cows["thin_on"])
    return (thin | cows["thin_on"].notna()) & cows["is_lame"], since


def _referred(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return cows["refer_on"].notna(), cows["refer_on"]


def _returning(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    """While it is fresh, or nobody has looked since: a clean look afterwards ends it."""
    open_still = (cows["looked_on"] <= cows["returning_on"]).fillna(False)
    fresh = _since(cows, "returning_on", today, RECENT_DAYS)
    return cows["returning_on"].notna() & (open_still | fresh), cows["returning_on"]


def _forgotten_block(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    forgotten = cows["block_on"].notna() & ~_since(cows, "block_on", today, BLOCK_WEEKS[1] * 7)
    return forgotten, cows["block_on"] + _days(BLOCK_WEEKS[1] * 7)


def _block(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    """Not where a recheck was asked for: that is the day it comes off."""
    fresh = cows["block_on"].notna() & _since(cows, "block_on", today, BLOCK_WEEKS[1] * 7)
    return fresh & cows["recheck_on"].isna(), cows["block_on"] + _days(BLOCK_WEEKS[0] * 7)


def _recheck(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    return cows["recheck_on"].notna(), cows["recheck_on"]


def _lame(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    unseen = cows["looked_on"].isna() | (cows["looked_on"] < cows["scored_on"])
    return cows["is_lame"] & unseen & ~(cows["severe"] == 1).fillna(False), cows["scored_on"]


def _repeat(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    """Not looked at since it was last found; a case that returns oftener is the veterinarian's already."""
    unseen = (cows["looked_on"] <= cows["repeat_on"]).fillna(False)
    return cows["repeat_on"].notna() & unseen & ~_returning(cows, today)[0], cows["repeat_on"] + _days(REPEAT_DAYS)


def _never(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    due = cows["entered_on"] + _days(NEVER_AFTER_DAYS)
    return cows["looked_on"].isna(), due.where(due.notna(), cows["today"])


def _leave(cows: pd.DataFrame, today: pd.Timestamp) -> Found:
    done = (cows["stage_low"] == 5).fillna(False) & _since(cows, "horn_on", today, LEFT_ALONE_DAYS)
    return done & ~cows["is_lame"] & ~(cows["horn_lame"] == 1).fillna(False), cows["horn_on"]


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


def _words(kind: str, rows: pd.DataFrame) -> list[str]:
    """What a reason says of each of its cows."""
    said = REASONS[kind].words
    if isinstance(said, Message):
        return [said] * len(rows)
    values: dict[str, Any] = {"day": _days_said(rows[_DAY_OF[kind]])}
    if kind == "long-toe":
        values |= {
            "limit": [Length(mm) for mm in rows["limit_mm"]],
            "first": _days_said(rows["passes_from"]),
            "last": _days_said(rows["passes_to"]),
        }
    if kind == "repeat":
        names = [LESIONS[code].name if code in LESIONS else "lesion" for code in rows["repeat_lesion"]]
        values["lesion"] = [name[:1].upper() + name[1:] for name in names]
    weeks = {"weeks": BLOCK_WEEKS[1]} if kind == "forgotten-block" else {}
    # Cows of one visit day share their sentence.
    rows_said = list(zip(*values.values(), strict=True))
    sentences = {each: say(said, **dict(zip(values, each, strict=True)), **weeks) for each in set(rows_said)}
    return [sentences[each] for each in rows_said]


def _days_said(days: pd.Series) -> list[dt.date | Message]:
    later = say("later")
    return [later if pd.isna(day) else day for day in pd.to_datetime(days).dt.date]


def _day(value: Any) -> dt.date | Message:
    return say("later") if value is None or pd.isna(value) else pd.Timestamp(value).date()
