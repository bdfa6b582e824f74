"""The charts of signals, changes, recurrence, farms and records in words, for a screen reader."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts.agreement import in_kappa
from evenfoot.dashboard.charts.control import signals
from evenfoot.dashboard.charts.cost import money
from evenfoot.dashboard.charts.describe import INTERVALS, MOST_NAMED, grouped_by
from evenfoot.dashboard.charts.dots import ratio_words
from evenfoot.dashboard.charts.frame import records, rests_on
from evenfoot.dashboard.charts.funnel import is_outside, outside_words
from evenfoot.dashboard.charts.impact import odds_ratios, term_sentence, term_words
from evenfoot.dashboard.charts.incidence import rate_words
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.charts.planning import points
from evenfoot.dashboard.charts.quality import SCORES, completeness_of
from evenfoot.dashboard.charts.season import month_name
from evenfoot.dashboard.charts.shrunken import rank_words
from evenfoot.dashboard.charts.slope import slopes
from evenfoot.dashboard.charts.steps import NAMES, step_words
from evenfoot.dashboard.charts.theme import between, capital, number, percent, percent_range, plural
from evenfoot.dashboard.i18n.translation import _, told


def describe(kind: str, answer: Answer) -> str:
    """One to three sentences that say what a chart shows.

    Parameters
    ----------
    kind : str
        control, season, steps, slope, terms, impact, incidence, survival, funnel, shrunken, family, cost, agreement,
        completeness,
        scores or planning.
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
    sentences = [str(sentence) for sentence in _KINDS[kind](answer) if sentence]
    basis = rests_on(answer, INTERVALS)
    return " ".join([*sentences, f"{basis}." if basis else ""]).strip()


def _told(answer: Answer, head: str, parts: Sequence[str]) -> list[str]:
    """What the chart is and what it shows, or why it shows nothing."""
    if parts:
        return [head, "; ".join(parts) + "."]
    return [told(answer.cautions[-1]) if answer.cautions else _("Not enough to say.")]


def _control(answer: Answer) -> list[str]:
    table = answer.table[answer.table["at_risk"] > 0].sort_values("month")
    if table.empty:
        return []
    last = records(table)[-1]
    found = signals(answer)
    named = [
        f"{value_label('month', row['month'])} ({told(row['side'])})" for row in records(found.head(2 * MOST_NAMED))
    ]
    return [
        _("Control chart of {n} months, with limits of what chance alone explains.", n=len(table)),
        _(
            "{month}: {share}; the usual share is {centre}.",
            month=value_label("month", last["month"]),
            share=percent(last["prevalence"]),
            centre=percent(last["centre"]),
        ),
        _("Signals: {months}.", months=", ".join(named)) if named else _("No month has a signal."),
    ]


def _season(answer: Answer) -> list[str]:
    table = answer.extra.get("by_month", pd.DataFrame())
    if table.empty:
        return []
    rows = records(table[table["at_risk"] > 0])
    top, low = max(rows, key=lambda r: r["prevalence"]), min(rows, key=lambda r: r["prevalence"])
    parts = [
        f"{month_name(int(row['calendar_month']))} {percent(row['prevalence'])} "
        f"({percent_range(row['low'], row['high'])})"
        for row in (top, low)
    ]
    return [
        _("Share by month of the year, {n} months.", n=len(rows)),
        _("Highest in {top}, lowest in {low}.", top=parts[0], low=parts[1]),
    ]


def _steps(answer: Answer) -> list[str]:
    rows = [row for row in records(answer.table) if row["transition"] in NAMES and row["of"] > 0]
    return [
        _("Dot-and-interval chart of steps from one scoring to the next."),
        "; ".join(f"{told(NAMES[row['transition']])}: {step_words(row)}" for row in rows) + "." if rows else "",
    ]


def _slope(answer: Answer) -> list[str]:
    parts = [f"{name}: {ratio_words(*figures)}" for name, *figures in slopes(answer)[: 2 * MOST_NAMED]]
    return _told(answer, _("Chart of the odds ratio a year, 1 is no trend."), parts)


def _terms(answer: Answer) -> list[str]:
    rows = records(answer.table[odds_ratios(answer.table)])
    parts = [f"{term_words(str(row['term']))}: {term_sentence(row)}" for row in rows]
    return _told(answer, _("Chart of odds ratios, 1 is no change."), parts)


def _impact(answer: Answer) -> list[str]:
    series = answer.extra.get("series", pd.DataFrame())
    if series.empty:
        return []
    after = series[series["counterfactual"].notna()]
    said = [
        _(
            "Line chart of {n} months: what was seen, the fitted line, and the line had it gone on as before.",
            n=len(series),
        )
    ]
    if len(after):
        row = records(after)[-1]
        said.append(
            _(
                "In {month} {seen} were seen and {expected} ({range}) expected had it gone on as before.",
                month=value_label("month", row["month"]),
                seen=percent(row["prevalence"]),
                expected=percent(row["counterfactual"]),
                range=percent_range(row["cf_low"], row["cf_high"]),
            )
        )
    return [*said, *_terms(answer)[1:2]]


def _incidence(answer: Answer) -> list[str]:
    table = answer.table[answer.table["rate_per_100"].notna()].sort_values("rate_per_100", ascending=False)
    parts = [
        f"{', '.join(value_label(name, row[name]) for name in answer.by)}: {rate_words(row)}"
        for row in records(table.head(MOST_NAMED))
    ]
    by = grouped_by(answer)
    return [
        _("New cases per 100 cow-months by {by}, {n} rows.", by=by, n=len(table)),
        _("Most: {parts}.", parts="; ".join(parts)) if parts else "",
    ]


def _survival(answer: Answer) -> list[str]:
    table = answer.table[answer.table["free_180"].notna()].sort_values("at_risk", ascending=False)
    parts = [
        _(
            "{lesion} on the same {level}: {share} ({range}) still free after 180 days, {n} followed",
            lesion=value_label("lesion", row["lesion"]),
            level=_(row["level"]),
            share=percent(row["free_180"]),
            range=percent_range(row["free_180_low"], row["free_180_high"]),
            n=number(row["at_risk"]),
        )
        for row in records(table.head(MOST_NAMED))
    ]
    return _told(answer, _("Curves of the share of cases that have not come back, against days."), parts)


def _funnel(answer: Answer) -> list[str]:
    rows = [row for row in records(answer.table) if row["at_risk"] > 0]
    out = [row for row in rows if is_outside(row)]
    parts = [f"{row['farm']}, {percent(row['prevalence'])}, {outside_words(row)}" for row in out[: 2 * MOST_NAMED]]
    limited = any(not pd.isna(row["funnel_low"]) for row in rows)
    none = _("No farm is outside.") if limited else _("There are too few farms for limits.")
    return [
        _("Funnel chart of {n} farms against luck and the usual spread of farms.", n=len(rows)),
        _("Outside: {parts}.", parts="; ".join(parts)) if parts else none,
    ]


def _shrunken(answer: Answer) -> list[str]:
    rows = records(answer.table[answer.table["shrunken"].notna()].sort_values("shrunken"))
    if not rows:
        return []
    ends = [rows[0], rows[-1]] if len(rows) > 1 else rows
    parts = [
        f"{row['farm']} {percent(row['shrunken'])} ({percent_range(row['shrunken_low'], row['shrunken_high'])}), "
        f"{rank_words(row)}"
        for row in ends
    ]
    return [
        _("{n} farms in order, each drawn towards the mean.", n=len(rows)),
        _("Lowest and highest: {parts}.", parts="; ".join(parts)),
    ]


def _family(answer: Answer) -> list[str]:
    rows = records(answer.table[answer.table["shrunken"].notna()].sort_values("shrunken"))
    if not rows:
        return []
    parts = [
        f"{row['sire']} {percent(row['shrunken'])} ({percent_range(row['low'], row['high'])})"
        for row in ([rows[0], rows[-1]] if len(rows) > 1 else rows)
    ]
    return [
        _("Share of daughters with a lesion for {n} sires, drawn towards the mean.", n=len(rows)),
        _("Lowest and highest: {parts}.", parts="; ".join(parts)),
    ]


def _cost(answer: Answer) -> list[str]:
    rows = records(answer.table[answer.table["cost"].notna()].sort_values("cost", ascending=False))
    parts = [
        f"{value_label('lesion', row['lesion'])} {money(row['cost'], str(row['currency']))} "
        f"({between(money(row['low']), money(row['high']))})"
        for row in rows[:MOST_NAMED]
    ]
    return [
        _("Bars of what {n} lesions cost.", n=len(rows)),
        _("Dearest: {parts}.", parts="; ".join(parts)) if parts else "",
    ]


def _agreement(answer: Answer) -> list[str]:
    parts = [f"{name}: {text}" for name, text in in_kappa(answer)[:MOST_NAMED]]
    return _told(answer, _("Chart of kappa, how much two people agree beyond chance."), parts)


def _completeness(answer: Answer) -> list[str]:
    cells = completeness_of(answer)
    if cells.empty:
        return []
    totals = cells.assign(filled=cells["share"] * cells["n"]).groupby("field")[["filled", "n"]].sum()
    least = (totals["filled"] / totals["n"]).sort_values().head(MOST_NAMED)
    parts = [f"{column_label(str(name))} {percent(share)}" for name, share in least.items()]
    return [
        _("Grid of the share of records filled in, {n} fields.", n=cells["field"].nunique()),
        _("Least complete: {parts}.", parts=", ".join(parts)),
    ]


def _scores(answer: Answer) -> list[str]:
    table = answer.table[answer.table["check"] == SCORES]
    rows = records(table.sort_values("p_adjusted", kind="stable").head(MOST_NAMED))
    return _told(answer, _("Dots of how often each scorer gives each score."), [told(row["sentence"]) for row in rows])


def _planning(answer: Answer) -> list[str]:
    rows = records(answer.table[answer.table["needed"].notna()])
    parts = [
        _(
            "a {direction} of {points} points: {n}",
            direction=row["direction"],
            points=number(points(row)),
            n=number(row["needed"]),
        )
        for row in rows
    ]
    unit = answer.basis.unit
    head = _("{units} needed in each group to see a difference four times in five.", units=capital(plural(unit, 2)))
    at_hand = _("At hand: {n}.", n=number(rows[0]["at_hand"])) if rows else ""
    return [head, "; ".join(parts) + "." if parts else "", at_hand]


_KINDS: dict[str, Callable[[Answer], list[str]]] = {
    "control": _control,
    "season": _season,
    "steps": _steps,
    "slope": _slope,
    "terms": _terms,
    "impact": _impact,
    "incidence": _incidence,
    "survival": _survival,
    "funnel": _funnel,
    "shrunken": _shrunken,
    "family": _family,
    "cost": _cost,
    "agreement": _agreement,
    "completeness": _completeness,
    "scores": _scores,
    "planning": _planning,
}
