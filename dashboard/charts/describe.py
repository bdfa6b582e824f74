"""A chart in words, for a screen reader: the highest, the lowest, the newest, each with its interval."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import N_, say
from evenfoot.dashboard.charts.frame import records, rests_on
from evenfoot.dashboard.charts.labels import VERDICTS, column_label, group_label, small, value_label, what_label
from evenfoot.dashboard.charts.periods import period_words
from evenfoot.dashboard.charts.theme import between, estimate, percent, plural, ratio
from evenfoot.dashboard.charts.zone_marks import place_words, zone_rows
from evenfoot.dashboard.i18n.translation import _, told, words

INTERVALS = N_("{level} intervals")

MOST_NAMED = 3
"""How many rows a sentence names; the table under the chart has all."""


def describe(kind: str, answer: Answer) -> str:
    """One to three sentences that say what a chart shows.

    Parameters
    ----------
    kind : str
        prevalence, trend, foot, difference, locomotion, transitions, comparison, ratios or review.
    answer : Answer
        What the chart was drawn from.

    Returns
    -------
    str

    Raises
    ------
    UserError
        There is no such kind of chart.
    """
    if kind not in _KINDS:
        raise UserError(
            say("There is no chart '{kind}' to describe; use one of {known}.", kind=kind, known=", ".join(_KINDS))
        )
    if answer.empty:
        return told(answer.cautions[0]) if answer.cautions else _("Nothing was recorded for this choice.")
    sentences = [sentence for sentence in _KINDS[kind](answer) if sentence]
    basis = rests_on(answer, INTERVALS)
    return " ".join([*sentences, f"{basis}." if basis else ""]).strip()


def _names(row: dict[str, Any], by: tuple[str, ...]) -> str:
    return ", ".join(value_label(name, row[name]) for name in by if name in row)


def grouped_by(answer: Answer) -> str:
    """The groupings of an answer, as they stand in a sentence."""
    return words().listed([small(column_label(name)) for name in answer.by]) or _("all")


def _of(row: dict[str, Any], unit: str) -> str:
    return estimate(row["cases"], row["at_risk"], row["low"], row["high"], unit)


def _prevalence(answer: Answer) -> list[str]:
    table = answer.table[answer.table["at_risk"] > 0].sort_values("prevalence", ascending=False, kind="stable")
    what = grouped_by(answer)
    parts = [f"{_names(row, answer.by)}: {_of(row, answer.basis.unit)}" for row in records(table.head(MOST_NAMED))]
    head = _("Dot-and-interval chart of prevalence by {what}, {n} rows.", what=what, n=len(table))
    return [str(head), _("Commonest: {parts}.", parts="; ".join(parts))]


def _trend(answer: Answer) -> list[str]:
    period = next(name for name in ("month", "quarter", "year", "period") if name in answer.table)
    table = answer.table[answer.table["at_risk"] > 0].sort_values(period, kind="stable")
    if table.empty:
        return []
    unit, rows = answer.basis.unit, records(table)
    first, last = rows[0], rows[-1]
    top = max(rows, key=lambda row: row["prevalence"])
    said = [
        _("Line chart of prevalence over time, {n} {points}.", n=len(rows), points=plural("point", len(rows))),
        f"{period_words(first[period], table[period])}: {_of(first, unit)};",
        f"{period_words(last[period], table[period])}: {_of(last, unit)}.",
    ]
    when = period_words(top[period], table[period])
    said.append(_("Highest in {when}: {share}.", when=when, share=percent(top["prevalence"])))
    if "signal" in table:
        out = [period_words(row[period], table[period]) for row in rows if row["signal"] and not pd.isna(row["signal"])]
        said.append(
            str(_("Outside the limits: {out}.", out=", ".join(out)) if out else _("No point is outside the limits."))
        )
    return said


def _foot(answer: Answer) -> list[str]:
    rows = sorted(zone_rows(answer).values(), key=lambda row: -row["prevalence"])[:MOST_NAMED]
    parts = [
        f"{place_words(str(row['foot']), row['claw'], int(row['zone']))}: {_of(row, answer.basis.unit)}" for row in rows
    ]
    return [
        _("Drawing of the four feet from below, each zone shaded by how common lesions are there."),
        _("Commonest: {parts}.", parts="; ".join(parts)) if parts else "",
    ]


def _difference(answer: Answer) -> list[str]:
    clear = answer.table[(answer.table["low"] > 0) | (answer.table["high"] < 0)]
    clear = clear.reindex(clear["difference"].abs().sort_values(ascending=False).index)
    parts = [
        f"{place_words(str(r['foot']), None if pd.isna(r['claw']) else str(r['claw']), int(r['zone']))}: "
        f"{percent(r['difference'])} ({between(percent(r['low']), percent(r['high']))})"
        for r in records(clear.head(MOST_NAMED))
    ]
    text = _("Clearest: {parts}.", parts="; ".join(parts)) if parts else _("No zone differs clearly.")
    return [_("Drawing of the four feet from below, shaded by the difference of two groups."), str(text)]


def _locomotion(answer: Answer) -> list[str]:
    table = answer.table[answer.table["scored"] > 0].sort_values("period", kind="stable")
    if table.empty:
        return []
    groups = [name for name in answer.by if name != "period" and name in table]
    said = [_("Line chart of the share of cows scored that were lame, by period.")]
    newest = table.groupby(groups, sort=False).tail(1) if groups else table.tail(1)
    for row in records(newest.head(2 * MOST_NAMED)):
        figures = estimate(row["lame"], row["scored"], row["lame_low"], row["lame_high"], "scoring")
        name = ", ".join([period_words(row["period"], table["period"]), *(value_label(g, row[g]) for g in groups)])
        if groups or "severe_prevalence" not in row:
            said.append(_("{name}: {figures} lame.", name=name, figures=figures))
        else:
            severe = percent(row["severe_prevalence"])
            said.append(_("{name}: {figures} lame, {severe} severely.", name=name, figures=figures, severe=severe))
    if not groups and len(table) > 1:
        top = records(table)[int(table["lame_prevalence"].to_numpy().argmax())]
        when = period_words(top["period"], table["period"])
        said.append(_("Highest in {when}: {share}.", when=when, share=percent(top["lame_prevalence"])))
    return said


def _transitions(answer: Answer) -> list[str]:
    table = answer.table
    total = table["cases"].sum()
    if not total:
        return []
    better, worse = (
        table.loc[mask, "cases"].sum() for mask in (table["after"] < table["before"], table["after"] > table["before"])
    )
    return [
        _("Tiles of the score before against the score after, {n} pairs of scorings.", n=int(total)),
        _(
            "{same} stayed, {worse} got worse, {better} got better.",
            same=percent((total - better - worse) / total),
            worse=percent(worse / total),
            better=percent(better / total),
        ),
    ]


def _comparison(answer: Answer) -> list[str]:
    table = answer.table[answer.table["at_risk"] > 0]
    parts = [f"{group_label(row['group'])}: {_of(row, answer.basis.unit)}" for row in records(table.head(8))]
    head = _("Dot-and-interval chart of prevalence in {n} groups.", n=len(table))
    return [str(head), "; ".join(parts) + "."]


def _ratios(answer: Answer) -> list[str]:
    table = answer.table
    adjusted = "adj_odds_ratio" in table and bool(table["adj_odds_ratio"].notna().any())
    kind, low, high, words = (
        ("adj_odds_ratio", "adj_or_low", "adj_or_high", _("adjusted odds ratio"))
        if adjusted
        else ("risk_ratio", "rr_low", "rr_high", _("risk ratio"))
    )
    reference = group_label(table["group"].iloc[0])
    parts = [
        f"{group_label(row['group'])}: {ratio(row[kind])} ({between(ratio(row[low]), ratio(row[high]))})"
        for row in records(table.iloc[1:9])
        if not pd.isna(row[kind])
    ]
    head = _("Chart of the {words} of each group, {reference} being 1.", words=words, reference=reference)
    return [str(head), "; ".join(parts) + "." if parts else ""]


def _review(answer: Answer) -> list[str]:
    said = [_("Chart of the newest visits against what was to be expected, in percentage points.")]
    for verdict in ("worse", "better"):
        rows = answer.table[answer.table["verdict"] == verdict]
        parts = [
            f"{what_label(row['what'])} {percent(row['difference'])} "
            f"({between(percent(row['low']), percent(row['high']))})"
            for row in records(rows)
        ]
        if parts:
            said.append(f"{told(VERDICTS[verdict])}: {'; '.join(parts)}.")
    return said if len(said) > 1 else [*said, _("Nothing is clearly better or worse.")]


_KINDS: dict[str, Callable[[Answer], list[str]]] = {
    "prevalence": _prevalence,
    "trend": _trend,
    "foot": _foot,
    "difference": _difference,
    "locomotion": _locomotion,
    "transitions": _transitions,
    "comparison": _comparison,
    "ratios": _ratios,
    "review": _review,
}
