"""Horn: its state, how it is shed, and how fast it grows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import dash_mantine_components as dmc
from dash import html

from evenfoot.analytics.domain.shedding import EXPECTED
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.horn.growth import growth
from evenfoot.analytics.measures.horn.horn_state import horn
from evenfoot.analytics.measures.horn.shedding import shedding
from evenfoot.analytics.queries.horn import SHARES
from evenfoot.dashboard.charts import findings, shed_claw
from evenfoot.dashboard.charts import horn as drawn
from evenfoot.dashboard.charts.columns import OF_RATE, shown
from evenfoot.dashboard.charts.labels import column_label, value_label
from evenfoot.dashboard.charts.lengths import grown, measured
from evenfoot.dashboard.charts.theme import percent, percent_range
from evenfoot.dashboard.i18n.translation import _, _n, told
from evenfoot.dashboard.pages import compared
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import FITTING, Drawn, Panel, mark, number_table
from evenfoot.dashboard.ui.period_filter import choosing
from evenfoot.dashboard.ui.view import View

FIELD_OF = {**compared.FIELD_OF, "claw": "claws"}
GROUPINGS = ("housing", "floor", "wetness", "season", "month", "group", "parity", "breed", "claw", "limb", "farm")
OF_MEAN = {"mean": "mean", "low": "mean_low", "high": "mean_high"}
OF_SHARE = {"mean": "share"}
OF_GROWTH = {**OF_RATE, "pairs": "looks_in_pairs"}


def _by(view: View) -> str:
    by = view.option("by", "housing")
    return by if by in GROUPINGS else "housing"


def _measure(view: View) -> str:
    measure = view.option("measure", "toe_length_mm")
    return measure if measure in drawn.NAMES else "toe_length_mm"


def closer(view: View) -> Callable[[dict[str, Any]], str]:
    """For the rows of a chart the address narrowed to their group, place or month."""

    def to(row: dict[str, Any]) -> str:
        out = view
        for name, field in FIELD_OF.items():
            if isinstance(row.get(name), str):
                out = out.changed(**{field: (row[name],)})
        return choosing(out, "month", row["month"]) if "month" in row else out.href

    return to


def one_measure(answer: Answer, measure: str) -> Answer:
    """The answer narrowed to one measure, its columns named for what they hold."""
    table = measured(drawn.of_measure(answer, measure))
    narrowed = Answer(answer.name, table, answer.basis, answer.cautions, answer.by, answer.extra)
    if measure in SHARES:
        return shown(narrowed, OF_SHARE, leave=("measure", "unit", "sd", "q1", "median", "q3"))
    return shown(narrowed, OF_MEAN, leave=("measure",))


def _state(ledger: Ledger, view: View) -> Drawn:
    measure = _measure(view)
    answer = horn(ledger, view.selection, by=(_by(view),))
    to = closer(view)
    figure = drawn.state(answer, measure=measure, **view.look, drill=lambda row: mark(to(row)))
    said = findings.mean_of_horn(one_measure(answer, measure), "mean")
    return Drawn(figure, one_measure(answer, measure), drawn.describe("state", answer, measure), to, finding=said)


def _breaks(ledger: Ledger, view: View) -> Any:
    broken = horn(ledger, view.selection, by=()).extra
    if not broken or broken["toe_breaks"].empty:
        return html.P(_("No toe was recorded as broken off."), className="empty")

    to = view.to_cows()
    columns = ["cow", "farm", "visit_date", "foot", "claw", "toe_break_mm", "lame"]
    sentences = [
        html.P(
            _(
                "Breaks {distance}: {breaks}; the cow was scored at {scored} of them, and lame at {lame}.",
                distance=_(row["distance"]),
                breaks=row["breaks"],
                scored=row["scored"],
                lame=row["lame"],
            )
        )
        for row in broken["breaks_and_lameness"].to_dict("records")
    ]
    lame = broken["toe_breaks"]["lame"].map({0: _("no"), 1: _("yes")})
    return [
        html.P(_n("{n} toe was broken off", "{n} toes were broken off", len(broken["toe_breaks"])), className="lead"),
        *sentences,
        number_table(broken["toe_breaks"][columns].assign(lame=lame), to, _("Toes broken off"), cards=True),
    ]


def _claws(ledger: Ledger, view: View) -> Drawn:
    answer = shedding(ledger, view.selection, by=())
    finding = findings.shedding(answer)
    return Drawn(shed_claw.shed_claws(answer, **view.look), answer, shed_claw.describe(answer), finding=finding)


def _stages(ledger: Ledger, view: View) -> Drawn:
    answer = shedding(ledger, view.selection, by=(_by(view),))
    to = closer(view)
    figure = drawn.stages(answer, **view.look, drill=lambda row: mark(to(row)))
    finding = findings.shed_most(answer, _by(view))
    return Drawn(figure, answer, drawn.describe("stages", answer), to, lead=_expected(answer), finding=finding)


def _expected(answer: Answer) -> list[Any]:
    """What the ground lets one expect, beside what was seen."""
    if answer.empty:
        return []
    lines = []
    for row in answer.extra["expected"].to_dict("records"):
        if row["feet"] == row["feet"]:  # groups without a foot have no number
            seen = f"{percent(row['share_stage_0'])} ({percent_range(row['low'], row['high'])})"
            lines.append(
                html.Li(
                    _(
                        "{wetness}: {expected} Seen: {seen} of {feet} feet had shed nothing.",
                        wetness=value_label("wetness", row["wetness"]),
                        expected=told(EXPECTED[row["wetness"]].words),
                        seen=seen,
                        feet=int(row["feet"]),
                    )
                )
            )
    return [html.Ul(lines)] if lines else []


def _goes_with(ledger: Ledger, view: View) -> Any:
    answer = shedding(ledger, view.selection, by=())
    if answer.empty:
        return html.P(told(answer.cautions[0]), className="empty")
    model = answer.extra["model"].rename(columns={"low": "or_low", "high": "or_high", "note": "remark"})
    wrong = answer.extra["out_of_order"]
    parts: list[Any] = [
        html.P(
            _(
                "Odds of a further stage, against the commonest housing and season, cows being alike to themselves "
                "(proportional odds). Association is not cause."
            )
        ),
        number_table(model, None, _("What shedding goes with")),
    ]
    if len(wrong):
        parts += [
            html.P(
                _n(
                    "{n} row names horn as shed that should still stand at the stage it gives.",
                    "{n} rows name horn as shed that should still stand at the stage they give.",
                    len(wrong),
                )
            ),
            number_table(wrong, None, _("Rows out of order")),
        ]
    return parts


def _growth(ledger: Ledger, view: View) -> Drawn:
    answer = growth(ledger, view.selection)
    to = closer(view)
    figure = drawn.rates(answer, **view.look, drill=lambda row: mark(to(row)))
    table = shown(replace(answer, table=grown(answer.table)), OF_GROWTH)
    finding = findings.mean_of_horn(answer, "mm_per_month")
    return Drawn(figure, table, drawn.describe("rates", answer), to, finding=finding)


def _choices(ledger: Ledger, view: View) -> Any:
    return html.Div(
        [
            dmc.Select(
                label=_("What is shown"),
                id={"type": "choice", "field": "measure"},
                data=[{"value": name, "label": told(label)} for name, label in drawn.NAMES.items()],
                value=_measure(view),
                allowDeselect=False,
            ),
            dmc.Select(
                label=_("By"),
                id={"type": "choice", "field": "by"},
                data=[{"value": name, "label": column_label(name)} for name in GROUPINGS],
                value=_by(view),
                allowDeselect=False,
            ),
        ],
        className="choices",
    )


PAGE = Page(
    path="/horn",
    title="Horn",
    group="herd",
    question="In what state is the horn, and how fast do toes grow?",
    choices=_choices,
    panels=(
        Panel(
            "horn-state",
            "State of the horn",
            _state,
            "Mean, or share, of the claws measured, once a day; claws of one cow are allowed to be alike. Limits are "
            "starting points, never a verdict.",
            wide=True,
        ),
        Panel(
            "horn-growth",
            "How fast toes grow",
            _growth,
            "Length found less length left at the look before, against the months spent in each housing and season; "
            "cows and herds differ by chance. Few records are drawn toward the published rate.",
            wide=True,
            busy=FITTING,
        ),
        Panel("horn-breaks", "Toes broken off", _breaks, wide=True),
    ),
)

SHEDDING = Page(
    path="/shedding",
    title="Shedding",
    group="herd",
    question="How far is horn shed, and what does it go with?",
    choices=_choices,
    panels=(
        Panel(
            "horn-claws",
            "The stages of shedding",
            _claws,
            "Share of feet at each stage, once a day; where two claws differ the further stage counts.",
            wide=True,
        ),
        Panel("horn-stages", "How far horn is shed", _stages, "Share of feet at each stage in each group.", wide=True),
        Panel("horn-model", "What shedding goes with", _goes_with, wide=True, busy=FITTING),
    ),
)
