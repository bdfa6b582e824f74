"""The report in a few sentences, each with how many it rests on and how sure it is."""

from __future__ import annotations

from evenfoot.analytics.measures.planning.visit_review import THIS
from evenfoot.dashboard.charts.verdicts import verdict_sentences
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.cow_lists import LISTS, by_reason
from evenfoot.dashboard.report.herd_sections import signal_said
from evenfoot.dashboard.report.markup import Section, bullets

COMMONEST = 3


def summary_section(contents: Contents, words: Words) -> Section:
    """What a farmer should know who reads nothing else."""
    return Section("summary", words("In short"), bullets(summary_lines(contents, words), "summary"))


def summary_lines(contents: Contents, words: Words) -> list[str]:
    """The sentences of the summary; never none."""
    return [*_verdicts(contents, words), *_visit(contents, words), *_cows(contents, words), *_signals(contents, words)]


def _visit(contents: Contents, words: Words) -> list[str]:
    answer = contents.get("visit")
    if answer is None:
        return [words("There is no whole-herd visit on record: nothing can be said about how common lesions are.")]
    now = answer.table[answer.table["visit"] == THIS].set_index("lesion")
    common = now[(now.index != "any") & (now["cases"] > 0)].sort_values("cases", ascending=False, kind="stable")
    if len(common):
        parts = [
            words("{lesion} ({n}, {share})", lesion=words.lesion(str(name), inside=True), n=int(each["cases"]),
                  share=words.percent(each["prevalence"]))
            for name, each in common.head(COMMONEST).iterrows()
        ]  # fmt: skip
        return [words("Most often found: {what}.", what=words.listed(parts))]
    return []


def _verdicts(contents: Contents, words: Words) -> list[str]:
    answer = contents.get("verdicts")
    return [] if answer is None else verdict_sentences(answer.table, words)


def _cows(contents: Contents, words: Words) -> list[str]:
    answer = contents.get("worklist")
    if answer is None:
        return []
    rows = by_reason(answer.table)
    counts = {name: int(rows.loc[rows["list"] == name, "cow"].nunique()) for name in LISTS}
    if not counts["never"]:
        return [
            words(
                "Cows for the veterinarian: {vet}; to recheck: {recheck}.",
                vet=counts["veterinarian"],
                recheck=counts["recheck"],
            )
        ]
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
