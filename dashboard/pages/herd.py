"""The herd now: what is up, what is down, what to look at next, on which records it rests."""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import html

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.measures.herd_review import herd_review
from analytics.measures.locomotion import locomotion
from analytics.measures.prevalence import prevalence
from analytics.tally.needs import cows_in_need
from analytics.words import say, unfilled
from dashboard.accounts import current_viewer
from dashboard.charts import describe
from dashboard.charts import locomotion as drawn_locomotion
from dashboard.charts import prevalence as bars
from dashboard.charts.labels import date_label, value_label
from dashboard.charts.review import review
from dashboard.charts.theme import between, cases_of, percent, points
from dashboard.language import _, _n, told, words
from dashboard.page import Page
from dashboard.pages.herd_signals import driven_by, fired
from dashboard.pages.lesions import CLEARED
from dashboard.panel import Drawn, Panel, mark, number_table
from dashboard.span import choosing_by
from dashboard.view import View

SENTENCES = {
    "up": unfilled("{what} is up: {now} in {month}, against {past} in the twelve months before ({gap})."),
    "down": unfilled("{what} is down: {now} in {month}, against {past} in the twelve months before ({gap})."),
    "unclear": unfilled("{what}: {now} in {month} against {past} before; no clear change ({gap})."),
    "too few": unfilled("{what}: {now} in {month}; not enough to say."),
    "pooled": unfilled("{what}: {now} in {month}, {past} in the twelve months before, all farms together."),
}
NAMES = {"lame": say("Lameness"), "severe": say("Severe lameness"), "any": say("Any lesion")}


def sentences(answer: Answer) -> list[str]:
    """The review in plain sentences, never bolder than the interval."""
    table = answer.table
    order = {"up": 0, "down": 1, "unclear": 2, "too few": 3}
    headline = table[table["what"].isin(list(NAMES))]
    rest = table[~table["what"].isin(list(NAMES)) & table["direction"].isin(["up", "down"])]
    chosen = pd.concat([headline, rest.sort_values("direction", key=lambda s: s.map(order))])
    return [_sentence({str(k): v for k, v in row.items()}) for row in chosen.to_dict("records")]


def _sentence(row: dict[str, Any]) -> str:
    what = told(NAMES[row["what"]]) if row["what"] in NAMES else value_label("lesion", row["what"])
    gap = _(
        "{gap} points, 95% interval {interval}",
        gap=points(row["difference"]),
        interval=between(points(row["low"]), points(row["high"])),
    )
    return _(
        SENTENCES[row["direction"]],
        what=what,
        now=f"{percent(row['prevalence'])} ({cases_of(row['cases'], row['at_risk'], None)})",
        past=f"{percent(row['past_prevalence'])} ({cases_of(row['past_cases'], row['past_at_risk'], None)})",
        month=date_label(row["month"], "month"),
        gap=gap,
    )


def _review(ledger: Ledger, view: View) -> Any:
    answer = herd_review(ledger, view.selection)
    if answer.empty:
        return Drawn(None, answer, "")

    def to(row: dict[str, Any]) -> str:
        if row["what"] in ("lame", "severe"):
            return view.open("/locomotion")
        lesions = () if row["what"] == "any" else (row["what"],)
        return view.open("/lesions", **{**CLEARED, "lesions": lesions})

    return Drawn(
        review(answer, **view.look, drill=lambda row: mark(to(row))),
        answer,
        describe.describe("review", answer),
        to,
        lead=[html.P(sentence, className="lead") for sentence in sentences(answer)],
    )


def _needs(ledger: Ledger, view: View) -> Any:
    frame = cows_in_need(ledger, view.selection)
    if frame.empty:
        return html.P(
            _("No cow in these records is severely lame, due for a recheck, or has a finding for the veterinarian."),
            className="empty",
        )

    to = view.to_cows()
    first = _("{cow} at {farm}", cow=frame["cow"].iloc[0], farm=frame["farm"].iloc[0])
    return [
        html.P(
            _n(
                "{n} cow: {first}. Ask your veterinarian about her where she is marked so. As of {day}, the newest "
                "record; "
                "every kind of visit counts here.",
                "{n} cows, the most pressing first: cow {first}. Ask your veterinarian about those marked so. As of "
                "{day}, "
                "the newest record; every kind of visit counts here.",
                len(frame),
                first=first,
                day=words().date(frame.attrs["as_of"]),
            ),
            className="basis",
        ),
        number_table(frame, to, _("Cows that need someone")),
    ]


def _lameness(ledger: Ledger, view: View) -> Drawn:
    answer, to = locomotion(ledger, view.selection, by=("month",)), choosing_by(view, "period", "month")
    figure = drawn_locomotion.locomotion(answer, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(figure, answer, describe.describe("locomotion", answer), to)


def _common(ledger: Ledger, view: View) -> Drawn:
    selection = view.selection.with_(**CLEARED)
    answer = prevalence(ledger, selection, by=("lesion",))

    def to(row: dict[str, Any]) -> str:
        return view.open("/lesions", **{**CLEARED, "lesions": (row["lesion"],)})

    figure = bars.prevalence(answer, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(figure, answer, describe.describe("prevalence", answer), to)


def _records(ledger: Ledger, view: View) -> Any:
    farms = ledger.farms(view.selection.allowed)
    if not farms:
        if not current_viewer().may("import sheets"):
            return html.P(_("There are no records that you may see yet."), className="empty")
        return html.P([_("No records yet."), " ", html.A(_("Import a sheet"), href=view.to("/import"))])
    answer = prevalence(ledger, view.selection, by=("farm", "visit_kind"))

    def to(row: dict[str, Any]) -> str:
        return view.open("/lesions", farms=(row["farm"],), visits=(row["visit_kind"],))

    return Drawn(None, answer, "", to)


PAGE = Page(
    path="/",
    title="Herd",
    question="Better or worse than this herd's own past, what drives it, and which cows need someone.",
    panels=(
        Panel(
            "herd-review",
            "The newest month against the twelve months before",
            _review,
            "Share of cows in the newest month with records, less the share in the twelve months before. Up or down "
            "is said only when the whole interval lies on one side of no difference.",
            wide=True,
        ),
        Panel(
            "herd-drivers",
            "What drives it: in which cows lameness has changed",
            driven_by,
            "The same difference within each group, lactation and housing; each cow is compared with herself.",
            wide=True,
        ),
        Panel(
            "herd-signals",
            "Signals of late",
            fired,
            "A month outside the limits of the control chart, or a long run on one side, in the last three months with "
            "records.",
            wide=True,
        ),
        Panel("herd-needs", "Cows that need someone", _needs, wide=True),
        Panel(
            "herd-lameness",
            "Lameness month by month",
            _lameness,
            "Lame scorings out of all scorings in the month. Choose a month to see the other figures for it alone.",
            over_time=True,
        ),
        Panel(
            "herd-lesions",
            "Most common lesions",
            _common,
            "A cow counts once for a lesion if any of her trims in the period shows it.",
        ),
        Panel(
            "herd-records",
            "What these figures rest on",
            _records,
            "Cows trimmed and cows with any lesion, by farm and kind of visit.",
            wide=True,
        ),
    ),
)
