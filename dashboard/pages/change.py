"""Changes: what came after something was changed on a farm, against how it would have gone on."""

from __future__ import annotations

import datetime as dt
from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lesions.change_impact import VERDICTS, change_impact
from evenfoot.analytics.messages import Message
from evenfoot.analytics.queries.selection import read_date
from evenfoot.dashboard.charts import findings_in_time
from evenfoot.dashboard.charts.columns import OF_TERM, shown
from evenfoot.dashboard.charts.describe_more import describe
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.impact import impact, odds_ratios, term_sentence, term_words, terms
from evenfoot.dashboard.charts.labels import date_label, value_label
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages.dated_changes import form, recorded, register
from evenfoot.dashboard.pages.warning import lesion_choice, long_run
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import FITTING, Drawn, Panel, mark, number_table
from evenfoot.dashboard.ui.period_filter import days_of, span_of
from evenfoot.dashboard.ui.view import View


def day_of(ledger: Ledger, view: View) -> dt.date | None:
    """The day in the address, else the farm's latest recorded change."""
    if "change" in view.options:
        return read_date(view.options["change"], "change")
    frame = recorded(ledger, view)
    return None if frame.empty or view.farm is None else pd.Timestamp(frame["date"].iloc[0]).date()


def _recorded(ledger: Ledger, view: View) -> Any:
    frame = recorded(ledger, view)
    if frame.empty:
        return [
            html.P(
                _("No change is recorded here. Import a sheet of changes (farm, date, what), or choose a day above."),
                className="empty",
            ),
        ]

    def to(row: dict[str, Any]) -> str:
        day = pd.Timestamp(row["changed_on"]).date().isoformat()
        return view.changed(farms=(row["farm"],), change=day, against=None).href

    aims = [", ".join(value_label("lesion", code) for code in codes.split()) for codes in frame["lesions"]]
    table = frame.assign(aimed_at=[names or _("any lesion") for names in aims])
    table = table.rename(columns={"what": "change", "date": "changed_on"})
    table = table[["change", "changed_on", "farm", "aimed_at", "note"]]
    return [number_table(table, to, _("Changes recorded; choose one to see what came after"), view=view, cards=True)]


def _impact(ledger: Ledger, view: View) -> Any:
    day = day_of(ledger, view)
    if view.farm is None:
        return html.P(_("Choose one of the recorded changes, or a farm and a day above."), className="empty")
    if day is None:
        return html.P(_("No change is recorded at {farm}; choose a day above.", farm=view.farm), className="empty")
    answer = impact_of(ledger, view, day)
    what = next((row["what"] for row in recorded(ledger, view).to_dict("records") if row["date"].date() == day), "")
    heading = f"{view.farm}, {date_label(pd.Timestamp(day))}" + (f": {what}" if what else "")
    verdict = verdict_of(answer)
    lead = [told(line) for line in (*verdict, *counted_in(answer))]

    def to(row: dict[str, Any]) -> str:
        first, last = days_of(span_of("month", row["month"]))
        return view.open("/lesions", since=first, until=last)

    return Drawn(
        impact(answer, change=day, **view.look, drill=lambda row: mark(to(row))),
        shown(answer, OF_TERM, leave=("headline",)),
        describe("impact", answer),
        lead=[html.H3(heading), *(html.P(line, className="lead") for line in lead)],
        finding=findings_in_time.after_the_change(verdict[0]) if verdict else "",
    )


def verdict_of(answer: Answer) -> list[Message]:
    """The verdict of `change-impact`, as its own sentence says it."""
    return [line for line in (*answer.basis.notes, *answer.cautions) if line.template in VERDICTS.values()]


def counted_in(answer: Answer) -> list[Message]:
    """What `change-impact` counted, and why that."""
    return [line for line in answer.basis.notes if line.template.startswith("Counted is {lesions}")]


def impact_of(ledger: Ledger, view: View, day: dt.date) -> Answer:
    """What came after the day, with the months before the period chosen, which tell how it went before."""
    against = view.options.get("against")
    return change_impact(ledger, long_run(view.selection), change=day, against=against)


def _terms(ledger: Ledger, view: View) -> Any:
    day = day_of(ledger, view)
    if view.farm is None or day is None:
        return html.P(_("Choose a farm and a day first."), className="empty")
    answer = impact_of(ledger, view, day)
    lines = [f"{term_words(str(row['term']))}: {term_sentence(row)}." for row in records(answer.table)]

    def since(row: dict[str, Any]) -> dict[str, str]:
        until = view.selection.until
        after = until is None or until >= day
        return mark(view.open("/lesions", since=day, until=until if after else None))

    figure = terms(answer, **view.look, drill=since)
    lead = [html.Ul([html.Li(line) for line in lines], className="signals")]
    if not answer.empty and not answer.table.loc[odds_ratios(answer.table), "estimate"].notna().any():
        return [*lead, *(html.P(told(caution), className="caution") for caution in answer.cautions)]
    return Drawn(figure, shown(answer, OF_TERM, leave=("headline",)), describe("terms", answer), lead=lead)


def _choices(ledger: Ledger, view: View) -> Any:
    day = day_of(ledger, view)
    others = [farm for farm in ledger.farms(view.selection.allowed) if farm != view.farm]
    return html.Div(
        [
            dmc.DatePickerInput(
                label=_("Day of the change"),
                id={"type": "choice", "field": "change"},
                value=day.isoformat() if day else None,
                valueFormat="D MMM YYYY",
                placeholder=_("Choose a day"),
                clearable=False,
            ),
            lesion_choice(view, _("Lesions that count"), _("What the change aims at")),
            dmc.Select(
                label=_("Against a farm without the change"),
                id={"type": "choice", "field": "against"},
                data=[{"value": "", "label": _("None")}, *({"value": farm, "label": farm} for farm in others)],
                value=view.option("against", ""),
                allowDeselect=False,
            ),
        ],
        className="choices",
    )


PAGE = Page(
    path="/change",
    title="Changes",
    group="compare",
    question="What came after a change on the farm: a new floor, more bedding, foot baths, another trimmer?",
    choices=_choices,
    register=register,
    panels=(
        Panel(
            "change-impact",
            "Before and after",
            _impact,
            "A line with a trend and a season is fitted to the months before and after the change. The dashed line is "
            "how it would have gone on without the change; the difference of the two over the first 12 months after it "
            "is what came with the change. How much months wander, and how long, is estimated and allowed for.",
            wide=True,
            busy=FITTING,
        ),
        Panel(
            "change-terms",
            "How much it moved, in words",
            _terms,
            "Odds ratios of the fitted line: 1 is no change, 0.5 half the odds. Trend, season and kind of visit are "
            "held alike.",
            wide=True,
            busy=FITTING,
        ),
        Panel("change-recorded", "Recorded changes", _recorded, wide=True, form=form),
    ),
)
