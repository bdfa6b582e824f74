"""The verdicts of the summary in sentences: pages, reports and mail say the same words."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.messages import N_
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import VERDICTS
from evenfoot.dashboard.i18n.translation import Words

CALLED = ("worse", "better")
_GAIT = {
    "lame": N_("Lame: {cases} of {n} cows scored, {when}."),
    "severe": N_("Severely lame: {cases} of {n} cows scored, {when}."),
}
_LESION = N_("{lesion}: {cases} of {n} cows trimmed, {when}.")
_ALWAYS = ("lame", "any")
"""What is said of a farm whatever the verdict."""


def verdict_sentence(row: dict[str, Any], words: Words) -> str:
    """How many cows, the verdict and the reason, for one row of the summary."""
    values = {
        "cases": words.number(row["now_cases"]),
        "n": words.number(row["now_at_risk"]),
        "when": words.dates(row["first"], row["last"]),
    }
    what = str(row["what"])
    template = _GAIT.get(what, _LESION)
    observed = words(template, lesion=words.lesion(what), **values)
    return words(
        "{observed} {verdict}. {reason}",
        observed=observed,
        verdict=words.said(VERDICTS[row["verdict"]]),
        reason=words.said(row["reason"]),
    )


def called_first(table: pd.DataFrame) -> pd.DataFrame:
    """The rows that are worse, then those that are better."""
    called = table[table["verdict"].isin(CALLED)]
    return called.sort_values("verdict", ascending=False, kind="stable")


def verdict_sentences(table: pd.DataFrame, words: Words) -> list[str]:
    """The summary of one farm in sentences: what is called, then lameness and any lesion where they are not."""
    called = called_first(table)
    others = table[table["what"].isin(_ALWAYS) & ~table["verdict"].isin(CALLED)]
    return [verdict_sentence(row, words) for row in records(pd.concat([called, others]))]


def verdicts_of_farms(table: pd.DataFrame, words: Words) -> list[str]:
    """The summary of several farms in sentences: only what is called, farm by farm."""
    called = called_first(table)
    if called.empty:
        return [
            words(
                "On none of the {n} farms is anything clearly better or worse than before.", n=table["farm"].nunique()
            )
        ]
    return [words("{farm}. {said}", farm=row["farm"], said=verdict_sentence(row, words)) for row in records(called)]
