"""Cows for the veterinarian, cows to recheck, cows never trimmed: under each reason, as many as page two holds."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import pandas as pd

from evenfoot.analytics.measures.planning.due_reasons import place_words
from evenfoot.analytics.messages import say
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.markup import Cell, Section, paragraph, table

MOST_LETTERS, MOST_NUMBERS = 330, 250
"""Room for the cows under one reason with their places, and for further ones by number; the others are counted, and
named in the spreadsheet. [common practice, no source]"""

REASONS: dict[str, tuple[str, str]] = {
    "severe": ("veterinarian", say("Severely lame when last scored")),
    "deep": ("veterinarian", say("Deep or spreading infection recorded")),
    "exposed": ("veterinarian", say("Toe broken off far beyond the line, and lame")),
    "thin-lame": ("veterinarian", say("Thin sole, and lame")),
    "referred": ("veterinarian", say("Referred to the veterinarian at a visit")),
    "returning": ("veterinarian", say("Same lesion on the same foot keeps coming back")),
    "recheck": ("recheck", say("Recheck asked for")),
    "forgotten-block": ("recheck", say("Block on for too long: forgotten?")),
    "block": ("recheck", say("Block due off")),
    "lame": ("recheck", say("Lame when last scored, not looked at since")),
    "repeat": ("recheck", say("Same lesion twice or more on a foot within a year")),
    "never": ("never", say("Never trimmed")),
    "long-toe": ("trim", say("Toe expected to be long")),
    "early": ("trim", say("60 to 150 days in milk, no routine trim since calving")),
    "dry-off": ("trim", say("Usual time to look: drying off")),
    "half-year": ("trim", say("Half a year since her last routine trim")),
    "leave": ("watch", say("Leave her: complete natural shedding, not lame")),
}
"""Kind of reason -> the list it belongs to, and how the report says it. Lists ``trim`` and ``watch`` are in the
workbook only."""

LISTS = {
    "veterinarian": say("For the veterinarian"),
    "recheck": say("To recheck"),
    "never": say("Never trimmed"),
}


def by_reason(worklist: pd.DataFrame) -> pd.DataFrame:
    """The work list with a row for each reason of each cow, in its order: list, kind, cow, due_on."""
    rows = worklist.assign(kind=worklist["kinds"].str.split(",")).explode("kind")
    rows = rows[rows["kind"].isin([kind for kind, (name, _) in REASONS.items() if name in LISTS])]
    return rows.assign(list=rows["kind"].map(lambda kind: REASONS[kind][0]))[["list", "kind", "cow", "due_on"]]


def more_cows_section(
    contents: Contents, words: Words, shown: Collection[str] = (), found: Collection[str] = ()
) -> Section | None:
    """The cows that the first page has not named, under their reasons, the most pressing list first.

    Parameters
    ----------
    contents : Contents
    words : Words
    shown : collection of str
        Cows of the first page.
    found : collection of str
        Cows with a finding at the newest visit, and nothing else open, that are not on it.
    """
    answer, whole = contents.get("cows"), contents.get("worklist")
    every = by_reason(answer.table) if answer is not None else pd.DataFrame(columns=["list", "kind", "cow"])
    rows = every[~every["cow"].isin(list(shown))]
    other = 0 if whole is None else len(set(whole.table["cow"]) - set(every["cow"]))
    if rows.empty and not other and not found:
        return None
    reasons = [] if answer is None else answer.extra["reasons"].to_dict("records")
    places = {(str(row["cow"]), str(row["kind"])): row for row in reasons}
    body: list[list[Cell]] = []
    for name, said in LISTS.items():
        mine = rows[rows["list"] == name]
        for place, (kind, (_, reason)) in enumerate(
            (k, v) for k, v in REASONS.items() if v[0] == name and _has(mine, k)
        ):
            cows = [str(cow) for cow in mine.loc[mine["kind"] == kind, "cow"]]
            where = [_places(places.get((cow, kind)), words) for cow in cows]
            head = words("{list}: {n}", list=words(said), n=int(mine["cow"].nunique())) if place == 0 else ""
            reason_said = words("{reason}, {n}", reason=words(reason), n=len(cows)) if name != "never" else ""
            body.append([head, reason_said, named_cows(cows, where, words)])
    if found:
        at_visit = contents.found[contents.found["cow"].isin(list(found))].to_dict("records")
        where = [_places(row, words) for row in at_visit]
        head = words("{list}: {n}", list=words("Found at the newest visit, nothing else open"), n=len(at_visit))
        body.append([head, "", named_cows([str(row["cow"]) for row in at_visit], where, words)])
    listed = table([words("For whom"), words("Why"), words("Cows")], body, css="cows") if body else ""
    under = [words("The most pressing come first. A cow may stand under several reasons.")] if body else []
    if other > 0:
        under.append(words("Other cows that are due for a trim or fall due within four weeks: {n}.", n=other))
    return Section("more", words("More cows that need someone"), listed + paragraph(" ".join(under), "small"))


def reason_words(kinds: str, reason: str, words: Words) -> str:
    """All reasons of a cow; a kind there are no words for is told as the work list tells it."""
    codes = str(kinds).split(",")
    if not all(code in REASONS for code in codes):
        return reason
    return "; ".join(words(REASONS[code][1]) for code in codes)


def _has(rows: pd.DataFrame, kind: str) -> bool:
    return bool((rows["kind"] == kind).any())


def _places(row: dict[Any, Any] | None, words: Words) -> str:
    """Where, what, what was done and when to look again, as far as that is recorded of a cow."""
    if row is None:
        return ""
    also = words.said(row["also"]).split("; ") if isinstance(row["also"], str) else ()
    return " / ".join(part for part in (words.said(place_words(row)), *also) if part)


def named_cows(cows: list[str], places: list[str], words: Words) -> str:
    """Cows with their places, as many as there is room for; then cows by number alone; then how many more.

    Examples
    --------
    >>> named_cows(["7", "4"], ["LH, sole ulcer", ""], Words())
    '7 (LH, sole ulcer); 4'
    """
    shown: list[str] = []
    told = 0
    for cow, place in zip(cows, places, strict=True):
        with_place = words("{cow} ({places})", cow=cow, places=place) if place else cow
        if len("; ".join([*shown, with_place])) > MOST_LETTERS:
            break
        shown.append(with_place)
        told += 1
    numbers: list[str] = []
    for cow in cows[told:]:
        if len(", ".join([*numbers, cow])) > MOST_NUMBERS:
            break
        numbers.append(cow)
    left = len(cows) - told - len(numbers)
    named = ("; " if told < len(cows) or any(places) else ", ").join(shown)
    if numbers:
        named = words("{named}; and {others}", named=named, others=", ".join(numbers))
    return words("{named} and {n} more, all in the spreadsheet", named=named, n=left) if left else named
