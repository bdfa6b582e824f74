"""Early warning: is a month unlike the months before, is there a trend, is there a season."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import html

from evenfoot.analytics.domain.lesions import PARENTS
from evenfoot.analytics.domain.seasons import SEASON_OF_MONTH
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lameness.control_chart import OF_LATE, control_chart
from evenfoot.analytics.measures.lameness.season import season
from evenfoot.analytics.measures.lameness.transitions import transitions
from evenfoot.analytics.measures.lameness.trend import trend
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts import findings as drawn_findings
from evenfoot.dashboard.charts import findings_in_time
from evenfoot.dashboard.charts import season as drawn_season
from evenfoot.dashboard.charts import signals as drawn_signals
from evenfoot.dashboard.charts.columns import OF_TERM, shown
from evenfoot.dashboard.charts.control import control, signals
from evenfoot.dashboard.charts.describe_more import describe
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.slope import slope
from evenfoot.dashboard.charts.steps import steps
from evenfoot.dashboard.charts.theme import percent
from evenfoot.dashboard.i18n.translation import _, _n, told
from evenfoot.dashboard.pages.dated_changes import with_changes
from evenfoot.dashboard.pages.lesions import CLEARED, lesion_name
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Drawn, Panel, mark
from evenfoot.dashboard.ui.period_filter import choosing_by, span_of
from evenfoot.dashboard.ui.view import View

WATCHED = "DD"
"""Watched where no lesion is chosen: it is the one that spreads. [common practice, no source]"""

MOST_TOLD = 6
"""Signals told above a chart; all are in its numbers."""


def long_run(selection: Selection) -> Selection:
    """The records from the first on: what is usual is learnt from the months before the period chosen."""
    return selection.with_(since=None)


def lameness_only(selection: Selection) -> Selection:
    """The selection without what narrows lesions."""
    return selection.with_(**CLEARED, families=(), severity=())


def told_signals(answer: Answer, what: str) -> list[Any]:
    """The signals of a control chart in plain sentences, the newest first."""
    found = signals(answer)
    if answer.empty:
        return []
    if answer.table["baseline"].all() or not answer.table["upper"].notna().any():
        few = _(
            "Not enough months with records to say whether one of them is out of the ordinary for {what}.", what=what
        )
        return [html.P(few, className="lead")]
    if found.empty:
        return [html.P(_("No month is out of the ordinary for {what}.", what=what), className="lead")]
    half_year = [html.P(told(note), className="lead") for note in answer.basis.notes if note.template in OF_LATE]
    lines = [
        _(
            "{month}: {share}, {side} than the {centre} usual in the first year ({signal}).",
            month=value_label("month", row["month"]),
            share=percent(row["prevalence"]),
            side=told(row["side"]),
            centre=percent(row["centre"]),
            signal=told(row["signal"]),
        )
        for row in records(found.head(MOST_TOLD))
    ]
    more = len(found) - MOST_TOLD
    return [
        *half_year,
        html.P(_("Months out of the ordinary for {what}, newest first:", what=what), className="lead"),
        html.Ul([html.Li(line) for line in lines], className="signals"),
        *(
            [
                html.P(
                    _n("{n} earlier one is in the numbers.", "{n} earlier ones are in the numbers.", more),
                    className="basis",
                )
            ]
            if more > 0
            else []
        ),
    ]


def _chart(ledger: Ledger, answer: Answer, view: View, what: str) -> Drawn:
    if answer.by == ("farm",):
        return farm_by_farm(answer, view)
    to = choosing_by(view, "month")
    figure = control(with_changes(ledger, view, answer), **view.look, drill=lambda row: mark(to(row)))
    finding = findings_in_time.months_out_of_the_ordinary(answer, what)
    return Drawn(figure, answer, describe("control", answer), to, lead=told_signals(answer, what), finding=finding)


def farm_by_farm(answer: Answer, view: View) -> Drawn:
    """Of several farms those with a signal, the loudest first."""

    def to(row: dict[str, Any]) -> str:
        return view.open(
            "/warning", farms=(row["farm"],), lesions=view.selection.lesions, span=span_of("month", row["month"])
        )

    figure = drawn_signals.signals(answer, **view.look, drill=lambda row: mark(to(row)))
    lines = drawn_signals.sentences(answer)
    lead = [html.Ul([html.Li(line) for line in lines], className="signals")] if lines else []
    finding = drawn_findings.farms_with_signal(answer)
    return Drawn(figure, answer, drawn_signals.describe(answer), to, lead=lead, finding=finding)


def _lameness(ledger: Ledger, view: View) -> Drawn:
    return _chart(ledger, control_chart(ledger, long_run(lameness_only(view.selection))), view, _("lameness"))


def _lesion(ledger: Ledger, view: View) -> Drawn:
    lesions = view.selection.lesions or (WATCHED,)
    answer = control_chart(ledger, long_run(view.selection).with_(lesions=lesions))
    return _chart(ledger, answer, view, ", ".join(lesion_name(code) for code in lesions))


FOUND = ("The {what} ", "No trend ", "No season ", "That is less than two years")
"""How the sentences begin that say what was found; the other notes say how it was worked out."""


def findings(answer: Answer) -> list[Any]:
    """What an answer found, as its own sentences say it."""
    return [html.P(told(note), className="lead") for note in answer.basis.notes if note.template.startswith(FOUND)]


def _trend(ledger: Ledger, view: View) -> Drawn:
    answer = trend(ledger, view.selection)

    def to(row: dict[str, Any]) -> str:
        return view.changed(farms=(row["farm"],)).href

    figure = slope(answer, **view.look, drill=lambda row: mark(to(row)))
    finding = findings_in_time.rising_or_falling(answer)
    return Drawn(figure, shown(answer, OF_TERM), describe("slope", answer), lead=findings(answer), finding=finding)


def _season(ledger: Ledger, view: View) -> Drawn:
    answer = season(ledger, long_run(view.selection).with_(seasons=()))

    def to(row: dict[str, Any]) -> str:
        here = str(SEASON_OF_MONTH[view.selection.hemisphere][int(row["calendar_month"])])
        return view.changed(seasons=() if view.selection.seasons == (here,) else (here,)).href

    figure = drawn_season.season(answer, **view.look, drill=lambda row: mark(to(row)))
    lead = [*findings(answer), _by_season(view)]
    finding = findings_in_time.time_of_most(answer)
    return Drawn(figure, shown(answer, OF_TERM), describe("season", answer), lead=lead, finding=finding)


def _by_season(view: View) -> html.P:
    """Where the months of the chart lead, for the keyboard."""
    seasons = dict.fromkeys(str(name) for name in SEASON_OF_MONTH[view.selection.hemisphere].values())
    parts: list[Any] = [_("One season alone:")]
    for name in seasons:
        here = view.selection.seasons == (name,)
        parts += [" ", html.A(value_label("season", name), href=view.changed(seasons=() if here else (name,)).href)]
    return html.P(parts, className="basis")


def _steps(ledger: Ledger, view: View) -> Drawn:
    answer = transitions(ledger, lameness_only(view.selection))

    figure = steps(answer, **view.look, drill=lambda _row: mark(view.open("/locomotion")))
    finding = drawn_findings.becoming_lame(answer)
    return Drawn(figure, answer, describe("steps", answer), lambda _row: view.open("/locomotion"), finding=finding)


def lesion_choice(view: View, label: str, placeholder: str) -> Any:
    """Which lesions a page is about."""
    return dmc.MultiSelect(
        label=label,
        id={"type": "choice", "field": "lesions"},
        data=[{"value": code, "label": value_label("lesion", code)} for code in PARENTS],
        value=list(view.selection.lesions),
        placeholder=placeholder if not view.selection.lesions else "",
        clearable=True,
        searchable=True,
    )


def _choices(ledger: Ledger, view: View) -> Any:
    name = value_label("lesion", WATCHED)
    return html.Div([lesion_choice(view, _("Lesion to watch beside lameness"), name)], className="choices")


PAGE = Page(
    path="/warning",
    title="Early warning",
    group="herd",
    question="Is a month unlike the months before, more than chance explains? Is there a trend, or a season?",
    choices=_choices,
    panels=(
        Panel(
            "warning-lameness",
            "Lameness",
            _lameness,
            "Each month's share of scorings that were lame, between limits worked out from the first twelve months "
            "with records, for each time of the year. Of several farms each is held against its own limits, and the "
            "loudest come first. All records up to the end of the period count, because what is usual is learnt from "
            "the months before.",
            wide=True,
            over_time=True,
        ),
        Panel(
            "warning-lesion",
            "The lesion watched",
            _lesion,
            "The same for trims that show the lesion, out of all trims of the month.",
            wide=True,
            over_time=True,
        ),
        Panel(
            "warning-trend",
            "Rising or falling",
            _trend,
            "How many times as high the odds are after a year, for lameness or the lesion chosen, in the period "
            "chosen. The interval allows for records of one cow being alike.",
        ),
        Panel(
            "warning-season",
            "By month of the year",
            _season,
            "Lameness, or the lesion chosen, in all records up to the end of the period, by month of the calendar; the "
            "dashed line is the yearly wave fitted to them.",
        ),
        Panel(
            "warning-steps",
            "Who becomes lame, who recovers",
            _steps,
            "Two scorings in a row of one cow are a step. The share is of the steps that began sound, or lame.",
            wide=True,
        ),
    ),
)
