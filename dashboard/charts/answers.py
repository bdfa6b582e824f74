"""The answers of one herd, a verdict and a sentence each: Today and the report's first page say the same words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.summary import SELECTIVE
from evenfoot.analytics.measures.lesions.change_impact import VERDICTS as IMPACT
from evenfoot.analytics.messages import Message
from evenfoot.dashboard.charts.labels import VERDICTS
from evenfoot.dashboard.charts.theme import capital
from evenfoot.dashboard.i18n.templates import Own
from evenfoot.dashboard.i18n.translation import Words

NAMED_COWS = 4
"""Cows named in the answer itself."""

NOT_LESIONS = ("lame", "severe", "any")
"""Rows of the summary that are of no single lesion."""


@dataclass(frozen=True)
class Said:
    """A sentence, and one of the four words for a change; no word where nothing is compared.

    The word for lameness comes first. After that a word alone would seem to be about lameness too, so the others stand
    behind what they are about.
    """

    sentence: str
    verdict: str = ""
    word_first: bool = False

    def word(self, words: Words) -> str:
        """The word with its full stop."""
        return f"{words.said(VERDICTS[self.verdict])}." if self.verdict else ""

    def line(self, words: Words) -> str:
        """Both in one line."""
        parts = (self.word(words), self.sentence)
        return " ".join(parts if self.word_first else reversed(parts)).strip()


def lameness(rows: list[dict[str, Any]], words: Words) -> Said:
    """How many cows are lame now, from the rows of the measure ``summary``."""
    row = next((row for row in rows if row["what"] == "lame"), None)
    if row is None:
        return Said(words("No gait is scored here, so nothing can be said of lameness."))
    sentence = words("Lame: {share} of 100 cows ({cases} of {n} scored).", **_counts(row))
    year = row["last_year"]
    if pd.notna(year):
        sentence += " " + words("A year ago {share}.", share=round(100 * year))
    return Said(sentence + _looked_at(row, words), row["verdict"], word_first=True)


def biggest_lesion(rows: list[dict[str, Any]]) -> dict[str, Any] | None:
    """The lesion that most cows have at the newest visit: one that is worse before one that is not."""
    lesions = [row for row in rows if row["what"] not in NOT_LESIONS and row["now_cases"]]
    worse = [row for row in lesions if row["verdict"] == "worse"]
    return max(worse or lesions, key=lambda row: row["now_cases"] / row["now_at_risk"], default=None)


def lesion(rows: list[dict[str, Any]], words: Words) -> Said:
    """The biggest lesion and how many cows have it."""
    row = biggest_lesion(rows)
    if row is None:
        return Said(words("No lesion was found at the newest visit."))
    sentence = words(
        "Biggest problem: {lesion}, {share} of 100 cows ({cases} of {n} trimmed).",
        lesion=words.lesion(str(row["what"]), inside=True),
        **_counts(row),
    )
    return Said(sentence + _looked_at(row, words), row["verdict"])


def verdict_of_change(answer: Answer) -> Message | None:
    """The sentence of ``change-impact`` that holds its verdict."""
    lines = (*answer.basis.notes, *answer.cautions)
    return next((line for line in lines if getattr(line, "template", "") in IMPACT.values()), None)


def change(what: str, day: Any, verdict: Message | None, words: Words) -> Said:
    """What came after a change on the farm.

    Parameters
    ----------
    what : str
        The change, as it was written down.
    day : date
    verdict : Message, optional
        What :func:`verdict_of_change` gives.
    words : Words
    """
    name = next((name for name, template in IMPACT.items() if verdict and verdict.template == template), "too-few")
    dated = Own(words("{what}, {day}", what=Own(what or words("the change")), day=day))
    if verdict is None or name == "too-few":
        return Said(words("After: {what}.", what=dated), "too-few")
    values = verdict.values
    sentence = words(
        "After: {what}. {lesions}: {seen:.0f} of 100 cows, {expected:.0f} had it gone on as before.",
        what=dated,
        lesions=capital(words.said(values["lesions"])),
        seen=float(values["seen"]),
        expected=float(values["expected"]),
    )
    return Said(sentence, name)


def cows(table: pd.DataFrame, words: Words) -> Said:
    """How many cows cannot wait, and the first of them, from the rows of ``needing_someone``."""
    if table.empty:
        return Said(words("No cow needs someone before the next round."))
    vet = int((table["who"] == "veterinarian").sum())
    named = ", ".join(str(cow) for cow in table["cow"].head(NAMED_COWS))
    sentence = words.number_of("{n} cow to see", "{n} cows to see", len(table))
    if vet:
        sentence += words.number_of(", {n} for the veterinarian", ", {n} for the veterinarian", vet)
    return Said(words("{sentence}: {cows} first.", sentence=Own(sentence), cows=Own(named)))


def _looked_at(row: dict[str, Any], words: Words) -> str:
    """What is said of visits that may not stand for the herd."""
    said = SELECTIVE.get(row["kind"])
    return f" {words.said(said)}" if said else ""


def _counts(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "share": round(100 * row["now_cases"] / row["now_at_risk"]),
        "cases": int(row["now_cases"]),
        "n": int(row["now_at_risk"]),
    }
