"""The report in a few sentences, each with how many it rests on and how sure it is."""

from __future__ import annotations

import pandas as pd

from analytics.measures.visit_review import THIS
from analytics.words import unfilled
from dashboard.language import Words
from dashboard.report.contents import Contents
from dashboard.report.cow_lists import LISTS, by_reason
from dashboard.report.herd_sections import signal_said
from dashboard.report.lesion_sections import clear_changes
from dashboard.report.markup import Section, bullets

COMMONEST = 3


def summary_section(contents: Contents, words: Words) -> Section:
    """What a farmer should know who reads nothing else."""
    return Section("summary", words("In short"), bullets(summary_lines(contents, words), "summary"))


def summary_lines(contents: Contents, words: Words) -> list[str]:
    """The sentences of the summary; never none."""
    return [*_visit(contents, words), *_lameness(contents, words), *_cows(contents, words), *_signals(contents, words)]


def _visit(contents: Contents, words: Words) -> list[str]:
    answer = contents.get("visit")
    if answer is None:
        return [words("There is no whole-herd visit on record: nothing can be said about how common lesions are.")]
    now = answer.table[answer.table["visit"] == THIS].set_index("lesion")
    row = now.loc[["any"]].iloc[0].to_dict()
    out = [
        words(
            "At the whole-herd visit of {dates}, {cases} of {n} cows had a lesion: {share}.",
            dates=words.dates(row["first"], row["last"]),
            cases=int(row["cases"]),
            n=int(row["at_risk"]),
            share=words.estimate(row["prevalence"], row["low"], row["high"]),
        )
    ]
    common = now[(now.index != "any") & (now["cases"] > 0)].sort_values("cases", ascending=False, kind="stable")
    if len(common):
        parts = [
            words("{lesion} ({n}, {share})", lesion=words.lesion(str(name), inside=True), n=int(each["cases"]),
                  share=words.percent(each["prevalence"]))
            for name, each in common.head(COMMONEST).iterrows()
        ]  # fmt: skip
        out.append(words("Most often found: {what}.", what=words.listed(parts)))
    return out + clear_changes(answer, words)


def _lameness(contents: Contents, words: Words) -> list[str]:
    answer = contents.get("review")
    if answer is None:
        return []
    rows = answer.table[answer.table["what"] == "lame"]
    if rows.empty or not rows["at_risk"].iloc[0]:
        return []
    row = rows.iloc[0]
    out = words(
        "In {month}, {lame} of {scored} scorings were lame: {share}.",
        month=words.month(row["month"]),
        lame=int(row["cases"]),
        scored=int(row["at_risk"]),
        share=_lame_share(contents, row, words),
    )
    if row["direction"] == "too few" or not row["past_at_risk"]:
        return [out + " " + words("Too few were scored to compare with the twelve months before.")]
    kinds = {
        "up": unfilled("That is clearly more than the {past} of the twelve months before"),
        "down": unfilled("That is clearly less than the {past} of the twelve months before"),
        "unclear": unfilled("That is not clearly different from the {past} of the twelve months before"),
    }
    compared = words(kinds[row["direction"]], past=words.percent(row["past_prevalence"]))
    interval = words(
        "({points} points, {low} to {high})",
        points=words.points(row["difference"]),
        low=words.points(row["low"]),
        high=words.points(row["high"]),
    )
    return [f"{out} {compared} {interval}."]


def _lame_share(contents: Contents, row: pd.Series, words: Words) -> str:
    answer = contents.get("locomotion")
    if answer is not None:
        same = answer.table[pd.to_datetime(answer.table["period"]) == row["month"]]
        if len(same) and int(same["scored"].iloc[0]) == int(row["at_risk"]):
            limits = same.iloc[0]
            return words.estimate(limits["lame_prevalence"], limits["lame_low"], limits["lame_high"])
    return words.percent(row["prevalence"])


def _cows(contents: Contents, words: Words) -> list[str]:
    answer = contents.get("worklist")
    if answer is None:
        return []
    rows = by_reason(answer.table)
    counts = {name: int(rows.loc[rows["list"] == name, "cow"].nunique()) for name in LISTS}
    return [
        words(
            "Cows for the veterinarian: {vet}; to recheck: {recheck}; in the herd and never trimmed: {never}.",
            vet=counts["veterinarian"],
            recheck=counts["recheck"],
            never=counts["never"],
        )
    ]


def _signals(contents: Contents, words: Words) -> list[str]:
    answer = contents.get("control")
    return [] if answer is None else [signal_said(answer, words("Lameness"), words)]
