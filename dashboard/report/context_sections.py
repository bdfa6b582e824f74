"""The herd beside others, what lesions cost, the trimmer's remarks, and the small print."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.published_figures import FIGURES, PublishedFigure
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS
from evenfoot.analytics.measures.lesions.benchmark import FEW_FARMS
from evenfoot.analytics.measures.lesions.change_impact import VERDICTS
from evenfoot.analytics.measures.planning.visit_review import THIS
from evenfoot.analytics.messages import Message, say
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.lesion_sections import share_cell
from evenfoot.dashboard.report.markup import Cell, Section, paragraph, table
from evenfoot.dashboard.report.request import NAMES

HOUSED = {"freestall": "freestall", "tie-stall": "tie stall"}


def benchmark_section(contents: Contents, words: Words) -> Section | None:
    """This visit beside published herds, and beside the other farms on record."""
    title = words("Beside other herds")
    review = contents.get("visit")
    body = ""
    if review is not None:
        now = review.table[review.table["visit"] == THIS].set_index("lesion")
        rows: list[list[Cell]] = []
        for lesion in dict.fromkeys(str(each.lesion) for each in FIGURES if each.measure == "prevalence"):
            if lesion not in now.index:
                continue
            others = [each for each in FIGURES if each.measure == "prevalence" and each.lesion == lesion]
            said = _published(others, words)
            rows.append([words.lesion(lesion), share_cell(now.loc[lesion].to_dict(), words), said])
        if rows:
            head = [words("Cows with"), _this_visit(now, words), words("Published, other people's herds")]
            body += table(head, rows, css="figures published first whole")
    body += _among_farms(contents, words)
    if not body:
        return Section("benchmark", title, paragraph(words("There is no whole-herd visit to hold beside other herds.")))
    under = words("Published figures and other farms are context, never a pass mark: herds, trimmers and years differ.")
    return Section("benchmark", title, body + paragraph(under, "small"))


def _this_visit(now: pd.DataFrame, words: Words) -> str:
    return words("This visit, of {n}", n=int(now["at_risk"].iloc[0]))


def _published(figures: list[PublishedFigure], words: Words) -> str:
    """Shares by source: 46.4% freestall, 25.7% tie stall (Cramer et al. 2008)."""
    by_source: dict[str, list[str]] = {}
    for each in figures:
        where = f" {words(HOUSED[each.housing])}" if each.housing in HOUSED else ""
        by_source.setdefault(each.source.name, []).append(words.percent(each.value or 0.0) + where)
    return "; ".join(f"{', '.join(shares)} ({source})" for source, shares in by_source.items())


def _among_farms(contents: Contents, words: Words) -> str:
    answer = contents.get("benchmark")
    farm = contents.request.farm
    if answer is None or len(answer.table) < 2 or farm not in set(answer.table["farm"]):
        return ""
    row = answer.table.set_index("farm").loc[farm].to_dict()
    trims = words("{n} of {of}", n=int(row["cases"]), of=int(row["at_risk"]))
    if not math.isfinite(float(row["rank"])):
        return paragraph(
            words(
                "Trims with any lesion in the period: {trims} here, {share}. Other farms on record: {n}, too few to "
                "compare with.",
                trims=trims,
                share=words.percent(row["prevalence"]),
                n=len(answer.table) - 1,
            )
        )
    said = words(
        "Among the {n} farms on record, trims with any lesion in the period: {trims} here, {share}; allowing for luck "
        "and size {shrunken} ({low}); place {rank} from the lowest, anywhere from {rank_low} to {rank_high}.",
        n=len(answer.table),
        trims=trims,
        share=words.percent(row["prevalence"]),
        shrunken=words.percent(row["shrunken"]),
        low=words.interval(row["shrunken_low"], row["shrunken_high"]),
        rank=int(row["rank"]),
        rank_low=int(row["rank_low"]),
        rank_high=int(row["rank_high"]),
    )
    return paragraph(said + " " + _how_it_stands(row, len(answer.table), words))


def _how_it_stands(row: dict[Any, Any], farms: int, words: Words) -> str:
    """Whether luck explains where the farm stands, with what most changes how that is read."""
    if row["at_risk"] < FEW_COWS:
        return words("With so few trims here hardly anything can be said.")
    if row["outside"] == "above":
        where = words("That is more than luck and the usual spread of farms explain.")
    elif row["outside"] == "below":
        where = words("That is less than luck and the usual spread of farms explain.")
    else:
        where = words("Luck and the usual spread of farms explain it.")
    if farms < FEW_FARMS:
        return where + " " + words("With so few farms their usual spread is poorly known.")
    return where + " " + words("Farms differ in housing, trimmer and months of visits: a place is no mark.")


def cost_section(contents: Contents, words: Words) -> Section | None:
    """What new cases cost, if prices hold here."""
    title = words("What lesions may cost")
    answer = contents.get("cost")
    total = None if answer is None else answer.extra.get("total")
    if answer is None or total is None or total.empty:
        return Section("cost", title, paragraph(words("No new case with a price was recorded in this period.")))
    rows = answer.table[answer.table["cost"].notna()]
    body: list[list[Cell]] = [
        [
            words.lesion(row["lesion"]),
            words.number(row["cases"]),
            words.number(row["cost_a_case"]),
            _money(row, words),
            words.number(row["saving_if_halved"]),
        ]
        for row in rows.to_dict("records")
    ]
    whole = total.iloc[0].to_dict()
    body.append([words("Together"), words.number(whole["cases"]), "", _money(whole, words), ""])
    head = [
        words("Lesion"),
        words("New cases"),
        words("Cost a case, {currency}", currency=str(whole["currency"])),
        words("Cost in the period"),
        words("Saved if halved"),
    ]
    under = words(
        "Prices are assumptions, of other people's herds unless given for this one. Cost is cases times price, with "
        "the doubt of both; it is not in this herd's books."
    )
    return Section("cost", title, table(list(head), body, css="figures whole") + paragraph(under, "small"))


def _money(row: dict[object, float], words: Words) -> str:
    return words(
        "{cost} ({low} to {high})",
        cost=words.number(round(row["cost"])),
        low=words.number(round(row["low"])),
        high=words.number(round(row["high"])),
    )


def remarks_section(contents: Contents, words: Words) -> Section | None:
    """The trimmer's own words, as they were written."""
    lines = [line.strip() for line in contents.request.remarks.splitlines() if line.strip()]
    if not lines:
        return None
    return Section("remarks", words("Remarks of the trimmer"), "".join(paragraph(line) for line in lines))


BASIS_OF = {
    "visit": "This visit against earlier ones",
    "any": say("Lesions in the period"),
    "locomotion": "Locomotion",
    "horn": "Horn",
    "shedding": "Shedding",
    "worklist": "Cows that need someone",
    "control": "Signals",
    "change 0": "Changes",
    "benchmark": "Beside other herds",
    "cost": "Cost",
}


VISITS_MATTER = ("visit", "any", "locomotion")
"""Answers whose left-out visits are named; the others rest on the same visits, or on all."""

IN_SECTIONS = (
    "The change:",
    *VERDICTS.values(),
    "No month is unlike",
    "{month}: {rule}",
    "A signal says",
    "What went with the change",
    "Horn is measured on some cows",
    "The limits are starting points",
    "The list says what was recorded",
    "Cost a case, mean",
    "{lesion} costs most",
    "What comes due by",
    "Farms differ in housing",
    "Money here is an assumption",
)
"""Beginnings of sentences that a section says in its own words."""


def not_worked_out(trouble: str, words: Words) -> str:
    """That a section could not be worked out, and why."""
    return words("This could not be worked out: {reason}", reason=words.said(trouble))


def basis_lines(contents: Contents, words: Words) -> list[str]:
    """Method, records and cautions, each sentence once."""
    lines = [
        words(
            "This report says what was recorded and what it goes together with. It diagnoses nothing and names no "
            "treatment; association is not cause. Ask your veterinarian about a severely lame cow, an interdigital "
            "phlegmon or other deep infection, and a case that keeps coming back."
        )
    ]
    lines += [f"{words(NAMES[name])}: {not_worked_out(why, words)}" for name, why in contents.troubles.items()]
    told: set[str] = set()
    others = _other_farms(contents)
    for key, name in BASIS_OF.items():
        answer = contents.answers.get(key)
        if answer is None:
            continue
        said = [rests_on(answer, words)]
        said += [words.said(one) for one in _sentences(answer, key) if not _told_already(one, others)]
        fresh = [one for one in said if one and one not in told]
        told.update(fresh)
        if fresh:
            lines.append(f"{words(name)}: {' '.join(fresh)}")
    return lines


def _other_farms(contents: Contents) -> set[str]:
    """Farms that are in the ledger too: none of their business is any of this reader's."""
    answer = contents.answers.get("benchmark")
    return set() if answer is None else set(answer.table["farm"].astype(str)) - {contents.request.farm}


def _told_already(sentence: Message, farms: set[str]) -> bool:
    """Sentences that name another farm, or repeat what a section says in its own words."""
    return any(farm in sentence for farm in farms) or getattr(sentence, "template", "").startswith(IN_SECTIONS)


def _sentences(answer: Answer, key: str) -> Iterable[Message]:
    left_out = answer.basis.left_out if key in VISITS_MATTER else ()
    return (*left_out, *answer.basis.notes, *answer.cautions)


def _dates(answer: Answer, words: Words) -> str:
    return words.dates(answer.basis.first, answer.basis.last)


def rests_on(answer: Answer, words: Words) -> str:
    """Records and method in one sentence; nothing where there are no records."""
    basis = answer.basis
    if not basis.cows or basis.first is None:
        return ""
    method = words.said(basis.method)
    if not method:
        return words(
            "Visit days {visits}, cows {n}, {dates}.", visits=basis.visits, n=basis.cows, dates=_dates(answer, words)
        )
    if not basis.visits:
        return words("Cows {n}; {method}.", n=basis.cows, method=method)
    return words(
        "Visit days {visits}, cows {n}, {dates}; {level} intervals ({method}).",
        visits=basis.visits,
        n=basis.cows,
        dates=_dates(answer, words),
        level=words.percent(basis.level, 0),
        method=method,
    )
