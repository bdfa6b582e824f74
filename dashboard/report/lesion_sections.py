"""What was seen at this visit against others, and lesions of the period by type, claw and zone."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lesions.prevalence import UNPLACED
from evenfoot.analytics.measures.planning.visit_review import LAST, THIS, YEAR_AGO
from evenfoot.analytics.messages import N_, say
from evenfoot.dashboard.charts.verdicts import verdict_sentences
from evenfoot.dashboard.i18n.translation import NO_BREAK, Words
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.dots import Dot, axis_picture, key_picture, row_picture, scale_of
from evenfoot.dashboard.report.feet import feet_picture
from evenfoot.dashboard.report.markup import Cell, Drawn, Section, beside, bullets, figure, paragraph, table

VISIT_ROWS = 10
PERIOD_ROWS = 12
"""Lesions a table names; the rest are rare and in the spreadsheet."""

GAIT = ("lame", "severe")
"""What the summary says of locomotion; the rest is of lesions."""

VISIT_NAMES = {THIS: "This visit", LAST: "Last visit", YEAR_AGO: "Same season last year"}


def visit_section(contents: Contents, words: Words) -> Section | None:
    """This visit, the last, and the same season last year, lesion by lesion."""
    answer = contents.get("visit")
    title = words("This visit against earlier ones")
    if answer is None:
        said = words("There is no whole-herd visit up to {day}, so visits cannot be compared.", day=contents.until)
        return Section("visit", title, paragraph(said))
    rows = answer.table
    visits = list(dict.fromkeys(rows["visit"]))
    if YEAR_AGO in visits and LAST in visits and _same_days(rows, LAST, YEAR_AGO):
        visits.remove(YEAR_AGO)
    rows = rows[rows["visit"].isin(visits)]
    shown = list(dict.fromkeys(rows["lesion"]))[: VISIT_ROWS + 1]
    scale = scale_of(rows.loc[rows["lesion"].isin(shown), "high"].tolist())
    head: list[Cell] = [words("Cows with")]
    for visit in visits:
        day = rows[rows["visit"] == visit].iloc[0]
        named = f"{words(VISIT_NAMES[visit])}, {words.dates(day['first'], day['last'])}"
        head.append(f"{named}, {words('of {n}', n=int(day['at_risk']))}")
    body: list[list[Cell]] = []
    for lesion in shown:
        mine = rows[rows["lesion"] == lesion].set_index("visit").loc[visits]
        cells: list[Cell] = [words.lesion(lesion)]
        cells += [share_cell(row, words) for row in mine.to_dict("records")]
        cells.append(Drawn(row_picture(_dots(mine), scale)))
        body.append(cells)
    names = [words(VISIT_NAMES[visit]) for visit in visits]
    numbers = table([*head, Drawn(axis_picture(scale, words))], body, css="figures first")
    left = len(set(answer.table["lesion"])) - len(shown)
    under = [words("Dots are shares of cows, bars their {level} intervals.", level=_level(answer, words))]
    if left > 0:
        under.append(words("Rarer lesions, in the spreadsheet: {n}.", n=left))
    said = bullets(verdicts_of(contents, words), "said")
    key = f'<div class="lead">{key_picture(names)}</div>'
    return Section("visit", title, said + key + numbers + paragraph(" ".join(under), "small"))


def _same_days(rows: pd.DataFrame, one: str, other: str) -> bool:
    days = rows.drop_duplicates("visit").set_index("visit")["first"]
    return bool(days[one] == days[other])


def _dots(mine: pd.DataFrame) -> list[Dot]:
    return [Dot(row["prevalence"], row["low"], row["high"], place) for place, row in enumerate(mine.to_dict("records"))]


def verdicts_of(contents: Contents, words: Words, *, gait: bool = False) -> list[str]:
    """What the summary says of lesions, or of the gait, with its reasons."""
    answer = contents.get("verdicts")
    return [] if answer is None else verdict_sentences(answer.table[answer.table["what"].isin(GAIT) == gait], words)


def lesions_section(contents: Contents, words: Words) -> Section | None:
    """Types of lesion beside the drawn feet, and where on which claws."""
    title = words("Lesions from {since} to {until}", since=contents.since, until=contents.until)
    whole, each = contents.get("any"), contents.get("lesions")
    if whole is None or not whole.basis.cows:
        return Section("lesions", title, paragraph(words("No trims were recorded in this period.")))
    body = paragraph(_seen(contents, whole, words), "lead")
    if each is None or not int(each.table["cases"].sum()):
        none = N_("No lesion was recorded in this period.")
        if whole.basis.left_out:
            none = N_("No lesion was recorded at whole-herd visits in this period; other visits are left out here.")
        return Section("lesions", title, body + paragraph(words(none)))
    rows = each.table[each.table["cases"] > 0].sort_values("cases", ascending=False, kind="stable")
    shown = pd.concat([whole.table.assign(lesion="any"), rows.head(PERIOD_ROWS)], ignore_index=True)
    scale = scale_of(shown["high"].tolist(), narrow=True)
    body_rows: list[list[Cell]] = [
        [
            words.lesion(row["lesion"]),
            words.number(row["cases"]),
            words.estimate(row["prevalence"], row["low"], row["high"]).replace(" (", f"{NO_BREAK}("),
            Drawn(row_picture([Dot(row["prevalence"], row["low"], row["high"])], scale)),
        ]
        for row in shown.to_dict("records")
    ]
    head: list[Cell] = [words("Lesion"), words("Cows"), words("Share of cows"), Drawn(axis_picture(scale, words))]
    types = table(head, body_rows, css="figures first")
    if len(rows) > PERIOD_ROWS:
        types += paragraph(words("Rarer lesions, in the spreadsheet: {n}.", n=len(rows) - PERIOD_ROWS), "small")
    types += _claws(contents, words)
    zones = contents.get("zones")
    if zones is None:
        return Section("lesions", title, body + types)
    caption = words(
        "The feet from below. Numbers are cows with a lesion in that zone; the darker, the larger their share. "
        "Skin between the claws belongs to the foot."
    )
    feet = figure(feet_picture(zones.table, words, _feet_told(zones, words)), caption)
    return Section("lesions", title, body + beside(types, feet))


def _seen(contents: Contents, whole: Answer, words: Words) -> str:
    row = whole.table.iloc[0]
    basis = whole.basis
    said = words(
        "{cases} of {n} cows had a lesion at least once: {share}. Visit days {visits}, {dates}.",
        cases=int(row["cases"]),
        n=int(row["at_risk"]),
        share=words.estimate(row["prevalence"], row["low"], row["high"]),
        visits=basis.visits,
        dates=words.dates(basis.first, basis.last),
    )
    if contents.selection.all_visits:
        said += " " + words(
            "No whole-herd visit is among them: these figures rest on all kinds of visits and overstate how common "
            "lesions are in the herd."
        )
    return said


def _claws(contents: Contents, words: Words) -> str:
    answer = contents.get("claws")
    if answer is None:
        return ""
    rows = answer.table.sort_values("prevalence", ascending=False, kind="stable")
    names = {
        ("front", "lateral"): say("Outer front claws"),
        ("front", "medial"): say("Inner front claws"),
        ("hind", "lateral"): say("Outer hind claws"),
        ("hind", "medial"): say("Inner hind claws"),
    }
    body: list[list[Cell]] = [
        [words(names[str(row["limb"]), str(row["claw"])]), *_of_and_share(row, words)]
        for row in rows.to_dict("records")
        if (row["limb"], row["claw"]) in names
    ]
    head: list[Cell] = [words("Claws with a lesion"), words("Claws"), words("Share of claws")]
    unplaced = " ".join(words.said(note) for note in answer.basis.notes if getattr(note, "template", "") == UNPLACED)
    under = paragraph(unplaced, "small") if unplaced else ""
    return (table(head, body) if body and rows["prevalence"].notna().any() else "") + under


def _feet_told(zones: Answer, words: Words) -> str:
    rows = zones.table.sort_values("cases", ascending=False, kind="stable").head(4)
    parts = []
    for row in rows.to_dict("records"):
        claw = f", {words.claw(row['claw'])}" if isinstance(row["claw"], str) else ""
        parts.append(
            words(
                "{foot}{claw}, zone {zone}: {n}",
                foot=words.foot(row["foot"]),
                claw=claw,
                zone=words.zone(int(row["zone"])),
                n=int(row["cases"]),
            )
        )
    return words("The four feet with the cows that have a lesion in each zone. Most: {what}.", what="; ".join(parts))


def share_cell(row: dict[Any, Any], words: Words) -> str:
    """42: 16.7% (12.6-21.8%), kept on one line; the head of the column says of how many."""
    share = words.estimate(row["prevalence"], row["low"], row["high"])
    return f"{words.number(row['cases'])}: {share}".replace(" ", NO_BREAK)


def _of_and_share(row: dict[Any, Any], words: Words) -> list[str]:
    of = words("{n} of {of}", n=int(row["cases"]), of=int(row["at_risk"])).replace(" ", NO_BREAK)
    return [of, words.estimate(row["prevalence"], row["low"], row["high"]).replace(" ", NO_BREAK)]


def _level(answer: Answer, words: Words) -> str:
    return words.percent(answer.basis.level, 0)
