"""Locomotion, horn, signals and changes: the herd over time."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.shedding import stage_name
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.monthly_chart import lately, sides
from evenfoot.analytics.measures.lesions.change_impact import VERDICTS
from evenfoot.analytics.measures.recording_changes import TEMPLATES as RECORDING_CHANGES
from evenfoot.analytics.messages import say
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.lesion_sections import verdicts_of
from evenfoot.dashboard.report.markup import Cell, Section, beside, bullets, figure, paragraph, table
from evenfoot.dashboard.report.months import Line, months_picture

HORN_ROWS = {
    "toe_length_mm": say("Toe length as found"),
    "toe_angle_deg": "Toe angle, degrees",
    "heel_depth_mm": say("Heel depth"),
    "sole_thickness_mm": say("Sole thickness"),
    "long_toe": say("Long toes"),
    "thin_soled": say("Thin soles"),
    "toe_difference_mm": say("Difference in toe length between the claws of a foot"),
    "toe_break": "Toes broken off",
}
"""Measures of the horn that the report shows, in order."""

MONTHS_NAMED = 2


def locomotion_section(contents: Contents, words: Words) -> Section | None:
    """Share of cows lame and severely lame, month by month."""
    title = words("Locomotion")
    answer = contents.get("locomotion")
    verdicts = bullets(verdicts_of(contents, words, gait=True), "said")
    if answer is None:
        return Section("locomotion", title, verdicts + paragraph(_unscored(contents, words)))
    rows = answer.table.rename(columns={"period": "month"}).sort_values("month").reset_index(drop=True)
    lines = [
        Line(words("lame"), "lame_prevalence", "lame_low", "lame_high"),
        Line(words("severely lame"), "severe_prevalence", "severe_low", "severe_high"),
    ]
    newest = rows.iloc[-1].to_dict()
    said = _lame_said(newest, words)
    caption = words(
        "Share of scorings lame and severely lame in each month, with {level} intervals. Lame is 3 or more on the 1 "
        "to 5 scale, 2 or more on the 0 to 3 scale; severely lame is 4 or more, and 3.",
        level=words.percent(answer.basis.level, 0),
    )
    drawn = ""
    if len(rows) > 1:
        drawn = figure(months_picture(rows, lines, words, _lame_told(rows, words)), caption)
    return Section("locomotion", title, verdicts + paragraph(said, "lead") + drawn + _monthly(rows, words))


def _unscored(contents: Contents, words: Words) -> str:
    """Why there is no figure of the herd's locomotion."""
    asked = contents.answers.get("locomotion")
    if asked is None or not asked.basis.left_out:
        return words("No locomotion was scored in this period.")
    return words(
        "Only part of the herd was scored in this period, so nothing can be said of how many of the herd are lame. "
        "{left_out}",
        left_out=" ".join(words.said(line) for line in asked.basis.left_out),
    )


def _lame_said(row: dict[Any, Any], words: Words) -> str:
    return words(
        "In {month}, {lame} of {scored} scorings were lame, {share}, and {severe} severely lame, {severe_share}.",
        month=words.month(row["month"]),
        lame=int(row["lame"]),
        scored=int(row["scored"]),
        share=words.estimate(row["lame_prevalence"], row["lame_low"], row["lame_high"]),
        severe=int(row["severe"]),
        severe_share=words.estimate(row["severe_prevalence"], row["severe_low"], row["severe_high"]),
    )


def _lame_told(rows: pd.DataFrame, words: Words) -> str:
    shares = rows["lame_prevalence"]
    return words(
        "Line of the share of scorings lame from {first} to {last}: between {low} and {high}, at the end {end}.",
        first=words.month(rows["month"].iloc[0]),
        last=words.month(rows["month"].iloc[-1]),
        low=words.percent(shares.min()),
        high=words.percent(shares.max()),
        end=words.percent(shares.iloc[-1]),
    )


def _monthly(rows: pd.DataFrame, words: Words) -> str:
    """The numbers under the lines, the newest twelve months across."""
    last = rows.tail(12)
    head: list[Cell] = [words("Month"), *(words.month(day, short=True) for day in last["month"])]
    body: list[list[Cell]] = [
        [words("Scored"), *(words.number(value) for value in last["scored"])],
        [words("Lame"), *(words.number(value) for value in last["lame"])],
        [words("Severely lame"), *(words.number(value) for value in last["severe"])],
    ]
    return table(head, body, css="months whole")


def horn_section(contents: Contents, words: Words) -> Section | None:
    """The state of the horn, and how far it has been shed."""
    horn, shed = contents.get("horn"), contents.get("shedding")
    title = words("Horn and shedding")
    if horn is None and shed is None:
        return Section("horn", title, paragraph(words("No horn was measured in this period.")))
    left = "" if horn is None else _horn_table(horn, words)
    right = "" if shed is None else _shed_table(shed, words)
    under = paragraph(
        words(
            "Measured claws speak of the cows measured. Limits are starting points for a mature cow, never a verdict: "
            "how much horn comes off is decided at the foot."
        ),
        "small",
    )
    return Section("horn", title, (beside(left, right, "halves") if left and right else left + right) + under)


def _horn_table(horn: Answer, words: Words) -> str:
    rows = {str(row["measure"]): row for row in horn.table.to_dict("records")}
    body: list[list[Cell]] = []
    for name, said in HORN_ROWS.items():
        if name not in rows or not int(rows[name]["n"]):
            continue
        row = rows[name]
        body.append([words(said), _horn_value(row, words), words.number(int(row["n"]))])
    if not body:
        return ""
    unit = words("mm") if words.units == "mm" else words("inches")
    head: list[Cell] = [words("Horn, lengths in {unit}", unit=unit), words("Mean or share"), words("Readings")]
    return table(head, body, css="figures")


def _horn_value(row: dict[Any, Any], words: Words) -> str:
    mean, low, high = (float(row[one]) for one in ("mean", "low", "high"))
    if row["unit"] == "share":
        return words.estimate(mean, low, high)

    def said(value: float) -> str:
        return words.length(value) if row["unit"] == "mm" else words.number(value, 1)

    if not (math.isfinite(low) and math.isfinite(high)):
        return words("{mean} (interval not known)", mean=said(mean))
    return words("{mean} ({low} to {high})", mean=said(mean), low=said(low), high=said(high))


def _shed_table(shed: Answer, words: Words) -> str:
    rows = shed.table[shed.table["feet"] > 0].sort_values("shed_stage")
    if rows.empty:
        return ""
    body: list[list[Cell]] = [
        [
            f"{int(row['shed_stage'])}, {words(stage_name(int(row['shed_stage'])))}",
            words("{n} of {of}", n=int(row["feet"]), of=int(row["seen"])),
            words.estimate(row["share"], row["low"], row["high"]),
        ]
        for row in rows.to_dict("records")
    ]
    return table([words("Stage of natural shedding"), words("Feet"), words("Share")], body, css="figures")


def signals_section(contents: Contents, words: Words) -> Section | None:
    """Months unlike the months before."""
    title = words("Signals")
    parts, picture = [], ""
    for key, what in (("control", "Lameness"), ("control lesions", say("Cows with any lesion"))):
        answer = contents.get(key)
        if answer is None:
            continue
        parts.append(signal_said(answer, words(what), words))
        if key == "control" and (answer.table["signal"].astype(str) != "").any():
            picture = _control_picture(answer, words)
    if not parts:
        said = words("Not enough months with records to say whether a month is unlike the others.")
        return Section("signals", title, paragraph(said))
    return Section("signals", title, bullets(parts, "said") + picture)


def signal_said(answer: Answer, what: str, words: Words) -> str:
    """One sentence on the months with a signal, the newest by name; then who recorded from when on, if that changed."""
    if not answer.table["upper"].notna().any() or answer.table["baseline"].all():
        return words("{what}: not enough months with records to say whether one is unlike the others.", what=what)
    rows = answer.table[answer.table["signal"].astype(str) != ""]
    if rows.empty:
        return words("{what}: no month lies outside what is usual for this herd.", what=what)
    half, newest = lately(answer.table), rows.sort_values("month").tail(MONTHS_NAMED)
    named = "; ".join(f"{words.month(row['month'])}: {words.said(row['signal'])}" for row in newest.to_dict("records"))
    above, below = (int((sides(half) == side).sum()) for side in (1, -1))
    if max(above, below) > 1:
        figures = {"what": what, "n": max(above, below), "of": len(half), "named": named}
        if above >= below:
            said = words(
                "{what}: {n} of the last {of} months with records lie above the limits; the newest: {named}.", **figures
            )
        else:
            said = words(
                "{what}: {n} of the last {of} months with records lie below the limits; the newest: {named}.", **figures
            )
    else:
        said = words(
            "{what}: months outside what is usual for this herd: {n}; the newest: {named}.",
            what=what,
            n=len(rows),
            named=named,
        )
    changed = [words.said(line) for line in answer.cautions if getattr(line, "template", "") in RECORDING_CHANGES]
    return " ".join([said, *changed])


def _control_picture(answer: Answer, words: Words) -> str:
    rows = answer.table.sort_values("month").reset_index(drop=True)
    rows = rows.assign(marked=rows["signal"].astype(str))
    told = words(
        "Control chart of the share of scorings lame from {first} to {last}; months with a signal: {n}.",
        first=words.month(rows["month"].iloc[0]),
        last=words.month(rows["month"].iloc[-1]),
        n=int((rows["marked"] != "").sum()),
    )
    caption = words(
        "Share of scorings lame, every month on record, with limits for each time of the year worked out from the "
        "first months; a large diamond is a month with a signal. A signal says that something is unlike before, not "
        "what."
    )
    lines = [Line(words("lame"), "prevalence")]
    return figure(months_picture(rows, lines, words, told, limits=True, marked="marked"), caption)


def changes_section(contents: Contents, words: Words) -> Section | None:
    """What was changed on the farm, and what happened to lesions after it."""
    title = words("What changed on the farm")
    if contents.changes.empty:
        return Section("changes", title, paragraph(words("No change on the farm is recorded.")))
    parts = []
    for place, change in enumerate(contents.changes.to_dict("records")):
        said = words("{day}: {what}.", day=change["date"], what=str(change["what"]).rstrip("."))
        parts.append(said + " " + change_said(contents.answers.get(f"change {place}"), words))
    under = words("Other things change in the same months: this is what went together, not what caused it.")
    return Section("changes", title, bullets(parts) + paragraph(under, "small"))


def change_said(answer: Answer | None, words: Words) -> str:
    """What a change went together with: the verdict of `change-impact`, which is its row marked as headline."""
    for line in () if answer is None else (*answer.basis.notes, *answer.cautions):
        if getattr(line, "template", "") in VERDICTS.values():
            return words.said(line)
    return words("Not enough records before and after it to say what it went together with.")
