"""What was agreed, in sentences: page and report say the same words."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.planning.agreements import DONE, OVERDUE
from evenfoot.dashboard.charts.labels import VERDICTS
from evenfoot.dashboard.i18n.templates import Own
from evenfoot.dashboard.i18n.translation import Words


def agreed_said(row: dict[str, Any], words: Words) -> str:
    """What is to be done, by whom, by when and where, of one row of the measure ``agreed``."""
    about = [str(row["who"])] if _given(row["who"]) else []
    about += [words("by {day}", day=row["due_on"])] if _given(row["due_on"]) else []
    about += [words.lesion(str(row["lesion"]), inside=True)] if _given(row["lesion"]) else []
    about += [str(row["place"])] if _given(row["place"]) else []
    text = str(row["text"])
    return words("{text} ({about})", text=Own(text.rstrip(".")), about=Own("; ".join(about))) if about else text


def state_said(row: dict[str, Any], words: Words) -> str:
    """Whether it is open, overdue or done, and how it came out."""
    if row["state"] == OVERDUE:
        return words("Overdue since {day}.", day=row["due_on"])
    if row["state"] != DONE:
        return words("Open.")
    if not _given(row["outcome"]):
        return words("Done on {day}.", day=row["done_on"])
    return words("Done on {day}: {outcome}.", day=row["done_on"], outcome=Own(str(row["outcome"]).rstrip(".")))


def since_said(row: dict[str, Any], words: Words) -> str:
    """What became of its lesion; nothing where none was named."""
    if not _given(row["since"]):
        return ""
    said = words("{lesion}: {since}", lesion=words.lesion(str(row["lesion"])), since=row["since"])
    if not row["before_looks"] or not row["now_looks"]:
        return said
    verdict = words.said(VERDICTS[row["verdict"]])
    return words("{observed} Beside the herd's own past: {verdict}.", observed=Own(said), verdict=Own(verdict))


def _given(value: object) -> bool:
    return value is not None and bool(pd.notna(value))  # type: ignore[call-overload]
