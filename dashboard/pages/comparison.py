"""Comparison: do housing, floor, season and the rest go together with more or less disease."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.locomotion import locomotion
from evenfoot.dashboard.charts import comparison as drawn_comparison
from evenfoot.dashboard.charts import describe, findings
from evenfoot.dashboard.charts import locomotion as drawn_locomotion
from evenfoot.dashboard.charts.columns import OF_TERM
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.charts.theme import capital
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages.compared import (
    FIELD_OF,
    compared,
    grouping,
)
from evenfoot.dashboard.pages.comparison_choices import choices
from evenfoot.dashboard.pages.comparison_feet import where
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import FITTING, Drawn, Panel, mark, number_table, rests_on
from evenfoot.dashboard.ui.period_filter import choosing_by
from evenfoot.dashboard.ui.view import View

SHARES = ("prevalence", "reference_share")


def _risks(ledger: Ledger, view: View) -> Drawn:
    answer = compared(ledger, view)

    def to(row: dict[str, Any]) -> str:
        return view.changed(reference=row["group"]).href

    figure = drawn_comparison.risks(answer, **view.look, drill=lambda row: mark(to(row)))

    def closer(row: dict[str, Any]) -> dict[str, str]:
        by = grouping(view)
        if by in FIELD_OF:
            return mark(view.open("/lesions", **{FIELD_OF[by]: (row["group"],)}))
        return mark(to(row))

    ratios = drawn_comparison.ratios(answer, **view.look, drill=closer)
    by = grouping(view)
    return Drawn(
        figure,
        with_strata(named(answer, by), view.options.get("stratify", "")),
        describe.describe("comparison", answer),
        lambda row: view.changed(reference=row[by]).href,
        beside=((ratios, describe.describe("ratios", answer)),),
        finding=findings.difference_of_groups(answer, by),
    )


def named(answer: Answer, by: str) -> Answer:
    """The numbers with what was compared as their heading, so that its values are told by name."""
    return replace(answer, table=answer.table.rename(columns={"group": by}))


def with_strata(answer: Answer, stratify: str) -> Answer:
    """The numbers followed by those of the strata, with the property that makes them as a column."""
    strata = answer.extra.get("strata")
    if strata is None or strata.empty:
        return answer
    rows = strata.rename(columns={"stratum": stratify, "group": answer.table.columns[0]})
    table = pd.concat([answer.table.assign(**{stratify: _("All together")}), rows], ignore_index=True)
    first = [answer.table.columns[0], stratify]
    return replace(answer, table=table[[*first, *(name for name in table.columns if name not in first)]])


def _lesions(ledger: Ledger, view: View) -> Any:
    """Every lesion chosen on its own, with p-values that allow for asking several times."""
    answer = compared(ledger, view)
    frame = answer.extra.get("by_lesion")
    if frame is None or frame.empty:
        return html.P(
            _("Choose two lesions or more, or something to hold alike, to see each lesion on its own."),
            className="empty",
        )
    by = grouping(view)
    reference = str(answer.table.loc[answer.table["risk_ratio"] == 1, "group"].iloc[0])
    table = findings.with_words(frame)
    return Drawn(
        None,
        replace(answer, table=table.rename(columns={"group": by})),
        "",
        lambda row: view.open("/lesions", lesions=(row["lesion"],)),
        finding=findings.difference_of_lesions(table, by, reference),
        columns=("lesion", *([by] if table["group"].nunique() > 1 else []), "real", *SHARES),
    )


def _herds(ledger: Ledger, view: View) -> Any:
    """The random-herd model, where there are herds enough."""
    answer = compared(ledger, view)
    frame = answer.extra.get("herd_model")
    if frame is None or frame.empty:
        return html.P(
            _("With five farms or more, and something held alike, herds are modelled as drawn from many."),
            className="empty",
        )
    terms = [_term(str(term), grouping(view)) for term in frame["term"]]
    named = frame.assign(term=terms).rename(columns=OF_TERM)
    return [
        rests_on(answer),
        html.P(_("Odds ratios, each against the group not listed; the last two rows say how far herds differ.")),
        number_table(named, None, _("Herds as drawn from many")),
    ]


def _term(term: str, by: str) -> str:
    """A term of a model in words: ``Lactation: 3+``."""
    name, equals, level = term.partition("=")
    if not equals:
        return capital(told(term))
    column = by if name == "group" else name
    return f"{column_label(column)}: {value_label(column, level)}"


def _lameness(ledger: Ledger, view: View) -> Drawn:
    by = grouping(view)
    answer = locomotion(ledger, view.selection, by=("quarter", by if by not in ("year", "season") else "housing"))
    to = choosing_by(view, "period", "quarter")
    figure = drawn_locomotion.by_group(answer, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(
        figure, answer, describe.describe("locomotion", answer), to, finding=findings.groups_lately(answer, by)
    )


PAGE = Page(
    path="/comparison",
    title="Comparison",
    group="compare",
    question=(
        "Do groups differ: housing, ground, season, parity, trimmer. Choose a group in the first chart to compare "
        "the others with it, or its ratio to see its lesions."
    ),
    choices=choices,
    panels=(
        Panel(
            "comparison-risks",
            "Share in each group, and against the reference",
            _risks,
            "Share: cows that are a case at any trim while in the group, out of all cows trimmed while in it; trims in "
            "place of cows where groups were trimmed unequally often. Ratio: how many times the reference group's "
            "share, groups of one farm held against each other; its interval allows for cows looked at more than once.",
            wide=True,
            busy=FITTING,
            slide=True,
        ),
        Panel(
            "comparison-feet",
            "Where on the foot two groups differ",
            where,
            "For every claw and zone: the share of cows with a lesion there in one group, less the share in the "
            "reference, with Newcombe's interval.",
            wide=True,
        ),
        Panel(
            "comparison-lesions",
            "Each lesion on its own",
            _lesions,
            "The surest difference first. Whether it is real allows for how many lesions and groups are compared "
            "(Benjamini and Hochberg).",
            wide=True,
            busy=FITTING,
            cards=True,
        ),
        Panel("comparison-herds", "Herds as drawn from many", _herds, wide=True, busy=FITTING),
        Panel(
            "comparison-lameness",
            "Cows lame in each group, quarter by quarter",
            _lameness,
            "Lame scorings out of all scorings of the group in the quarter.",
            wide=True,
            over_time=True,
        ),
    ),
)
